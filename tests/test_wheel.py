"""A wheel brings one top-level package, with all its data, and works in a clean environment."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest
from tests.places import ROOT

DATA = (".toml", ".h", ".c", ".html", ".css", ".js", ".md", "py.typed")
"""Endings of what the package reads at run time."""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a wheel built from a copy of the sources, so that nothing is left beside them."""
    pytest.importorskip("setuptools")
    copy = tmp_path_factory.mktemp("sources") / "slipbench"
    copy.mkdir()
    for name in ("bench", "controllers", "experiments", ".src"):
        shutil.copytree(
            ROOT / name,
            copy / name,
            symlinks=True,
            ignore=shutil.ignore_patterns("__pycache__", "*.egg-info"),
        )
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, copy)
    made = tmp_path_factory.mktemp("wheel")
    options = ["--no-deps", "--no-build-isolation", "--no-index", "--quiet", "--wheel-dir", made]
    subprocess.run([sys.executable, "-m", "pip", "wheel", *options, copy], check=True)
    (path,) = made.glob("*.whl")
    return path


def test_a_wheel_has_one_package_and_all_of_it(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    tops = {name.partition("/")[0] for name in names}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"slipbench"}
    package = ROOT / ".src" / "slipbench"
    for folder, folders, files in os.walk(package, followlinks=True):
        folders[:] = [name for name in folders if name != "__pycache__"]
        here = Path(folder).relative_to(package)
        for file in files:
            if file.endswith((".py", *DATA)):
                assert (Path("slipbench") / here / file).as_posix() in names


@pytest.mark.slow
def test_a_wheel_works_in_a_clean_environment(wheel: Path, tmp_path: Path) -> None:
    """Its dependencies come from here, by path alone: editable installs are not followed there."""
    home = tmp_path / "env"
    venv.create(home, with_pip=True)
    python = home / "bin" / "python"
    subprocess.run(
        [python, "-m", "pip", "install", "--no-deps", "--no-index", "--quiet", wheel], check=True
    )
    (site,) = home.glob("lib/python*/site-packages")
    added = {path.name for path in site.iterdir()} - {
        "pip",
        "setuptools",
        "pkg_resources",
        "_distutils_hack",
    }
    assert {n for n in added if "." not in n and n != "__pycache__"} == {"slipbench"}
    here = [path for path in sys.path if "site-packages" in path]
    here += [sysconfig.get_path("purelib")]
    (site / "dependencies.pth").write_text("\n".join(here))

    def works(*words: str) -> str:
        done = subprocess.run(
            [home / "bin" / "slipbench", *words], cwd=tmp_path, capture_output=True, text=True,
            check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout

    where = "import slipbench; print(slipbench.__file__)"
    done = subprocess.run([python, "-c", where], capture_output=True, text=True, check=True)
    assert Path(done.stdout.strip()).is_relative_to(site)
    assert "slip_band" in works("compare", "dry", "--speed", "20mph", "--workers", "1")
    assert "Answer:" in works("experiment", "disc_or_tread", "--quick")
