"""The second process that compiles: what it is for, and gone when it is not needed."""

import multiprocessing
import os
import subprocess
import sys

import pytest

from slipbench.kernel import loop  # noqa: F401 - it must be compiled
from slipbench.running.ahead import compiling_ahead

AHEAD = """
import time
from slipbench.running.ahead import compiling_ahead
from slipbench.compiling.cache import is_cold

if __name__ == "__main__":
    assert is_cold("floor.run_floor")
    with compiling_ahead(["floor.run_floor"], []):
        began = time.monotonic()
        while is_cold("floor.run_floor") and time.monotonic() < began + 300.0:
            time.sleep(0.1)
    print("cold" if is_cold("floor.run_floor") else "warm")
"""


def test_the_helper_is_gone_after_the_body():
    others = set(multiprocessing.active_children())
    with compiling_ahead(["loop.run_compiled"], ["none"]):
        pass
    assert set(multiprocessing.active_children()) <= others


@pytest.mark.slow
def test_the_helper_compiles_the_floor_for_the_process_that_waits(tmp_path):
    script = tmp_path / "ahead.py"
    script.write_text(AHEAD)
    cold = os.environ | {"SLIPBENCH_CACHE": str(tmp_path / "cache")}
    done = subprocess.run(
        [sys.executable, str(script)], env=cold, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "warm"
