"""Build libraries with the system's compiler. Without one these tests are skipped, loudly."""

import shutil
import subprocess
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest

from slipbench.strategies.native import native_folder

Build = Callable[..., Path]

DESCRIBED = """
#include "slipbench.h"
#include <string.h>
#include <stdlib.h>
#include <math.h>
SLIPBENCH_EXPORT const int64_t slipbench_abi = SLIPBENCH_ABI;
static const slipbench_parameter GAIN[1] = {{"gain", 0.5, "-", 0.0, 4.0, "assumed"}};
static const slipbench_description SAID = {
    "mine", "made for a test", "measured_wheel_speed, sample_time", 2, 1, GAIN, 0};
const slipbench_description *slipbench_describe(void) { return &SAID; }
"""

UPDATE = """
void slipbench_update(const double *observation, int64_t n_axles, int64_t n_observed,
                      const double *parameters, int64_t n_parameters, double *memory,
                      int64_t n_memory, double *command, double *signals, int64_t n_signals)
{
    int64_t i;
    memory[n_axles * n_memory] += 1.0; /* calls */
    for (i = 0; i < n_axles; i++) {
        command[2 * i] = 0.0;
        command[2 * i + 1] = 1.0;
    }
    (void)observation; (void)n_observed; (void)parameters; (void)n_parameters;
    (void)signals; (void)n_signals;
    %s
}
"""


@pytest.fixture(scope="session")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    """Return a function that compiles a source text or file into a library."""
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if compiler is None:
        reason = "NO C COMPILER (cc, gcc, clang): the C door is NOT tested here"
        warnings.warn(reason, stacklevel=1)
        pytest.skip(reason)
    folder = tmp_path_factory.mktemp("native")

    def compile_it(source: str | Path, name: str = "mine", *options: str) -> Path:
        path = source
        if isinstance(source, str):
            path = folder / f"{name}.c"
            path.write_text(source)
        library = folder / f"{name}.so"
        flags = ["-std=c99", "-O2", "-ffp-contract=off", "-shared", "-fPIC", *options]
        words = [compiler, *flags, "-I", str(native_folder()), str(path), "-o", str(library), "-lm"]
        done = subprocess.run(words, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return library

    return compile_it


@pytest.fixture(scope="session")
def make(build: Build) -> Build:
    """Return a function that builds a library whose update ends with the given lines."""
    return lambda name, lines="", described=DESCRIBED: build(described + UPDATE % lines, name)


@pytest.fixture(scope="session")
def described() -> str:
    """Return the source of a sound description."""
    return DESCRIBED
