"""How functions are compiled: the same from Python and from compiled code, nothing taken away."""

import subprocess
import sys

import numba
from numba.core import ir

from slipbench.compiling.jit import apart, part


@part
def halved(value):
    """Return half of it."""
    return 0.5 * value


@part
def quartered(value):
    return halved(halved(value))


def test_a_part_is_called_from_python_from_a_part_and_from_compiled_code():
    assert halved(3.0) == 1.5
    assert quartered(3.0) == 0.75
    assert numba.njit(lambda value: quartered(value) + halved(value))(3.0) == 2.25


def test_a_part_keeps_name_and_docstring():
    assert (halved.__name__, halved.__doc__) == ("halved", "Return half of it.")
    assert halved.py_func(5.0) == 2.5


def test_linear_algebra_compiles_though_numba_started_without_scipy():
    code = (
        "import sys, numba, numpy as np, slipbench.compiling.jit\n"
        "assert 'scipy.linalg.cython_blas' not in sys.modules\n"
        "solve = numba.njit(lambda a, b: np.linalg.solve(a, np.dot(a, b)))\n"
        "b = np.array([3.0, 5.0])\n"
        "print(solve(np.array([[2.0, 1.0], [1.0, 3.0]]), b).round(12).tolist())\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[3.0, 5.0]"


@apart
def tripled(value):
    return 3.0 * value


def test_what_stays_apart_computes_the_same_and_numba_is_put_back():
    assert tripled(2.0) == 6.0
    assert numba.njit(lambda value: tripled(value) + tripled(halved(value)))(2.0) == 9.0
    assert "__deepcopy__" not in vars(ir.Scope)
