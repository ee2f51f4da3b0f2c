"""The GPU's code where there is no GPU: it compiles to PTX, and refuses in one line."""

import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest
from tests.places import ROOT

from slipbench.commands.main import main
from slipbench.device.runner import refuse_what_cannot
from slipbench.ground.errors import InputError
from slipbench.running.candidate import candidate_of
from slipbench.strategies.registry import find_controller

HAS_EXTRA = find_spec("numba_cuda") is not None
LINE = ["campaign", "dry", "--strategy", "none", "--quiet", "--device", "cuda", "--out", "c.sqlite"]


def printed(module: str, *words: str) -> str:
    line = [sys.executable, "-W", "ignore", "-m", module, *words]
    done = subprocess.run(line, cwd=ROOT, capture_output=True, text=True, timeout=400, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_without_the_extra_or_a_gpu_it_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(LINE) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "slipbench: " in err and "cuda" in err
    assert HAS_EXTRA or "slipbench[cuda]" in err
    assert not list(tmp_path.iterdir())


def test_device_and_scheduler_exclude_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*LINE, "--scheduler", "x:1"]) == 2
    assert "--device and --scheduler" in capsys.readouterr().err


def test_plain_python_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "own.py"
    file.write_text(
        "from slipbench import Controller\n"
        "def update(observation, parameters, memory, command, signals):\n"
        "    command[:, 0] = 0.0\n"
        "CONTROLLER = Controller(name='own', title='fills', update=update)\n"
    )
    with pytest.raises(InputError, match=r"plain Python, which no GPU does; add --compile"):
        refuse_what_cannot(candidate_of(find_controller(str(file))))


def test_nothing_of_the_gpu_is_imported_by_a_campaign_here() -> None:
    code = (
        "import sys, slipbench.commands.campaign, slipbench.device.runner;"
        "sys.exit(any(name.startswith('numba.cuda') for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.slow
@pytest.mark.skipif(not HAS_EXTRA, reason="without the extra cuda")
def test_the_loop_compiles_to_ptx() -> None:
    assert "1 entry" in printed("tests.device.to_ptx", "slip_band")


@pytest.mark.skipif(not HAS_EXTRA, reason="without the extra cuda")
def test_small_kernels_in_the_simulator() -> None:
    assert "as they should be" in printed("tests.device.in_simulator")
