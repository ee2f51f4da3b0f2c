"""Exponential, arctangent and sine of which several axles share a vector instruction.

So without branches, tables or calls (see `wheelset`). The first two are within some hundred units
in the last place of the true value at worst: a creep law is known to two or three digits.
tests/kernel/test_elementary.py holds them to the mathematics library.
"""

import math
from typing import Any

import numpy as np

from slipbench.compiling.jit import folded

_FARTHEST = 80.0
"""exp(-80) is 2e-35: nothing, beside anything it is added to here."""

_PARTS = 1.0 / 512.0


@folded
def falling_exponential(x: float) -> Any:
    """Return exp(-x) for x >= 0; from 80 on exp(-80).

    Taylor's series to the tenth power for exp(-x / 512), then squared nine times: within 1e-13 of
    the value.
    """
    z = -min(x, _FARTHEST) * _PARTS
    z2 = z * z
    z4 = z2 * z2
    first = (1.0 + z) + z2 * (0.5 + z * (1.0 / 6.0))
    middle = (1.0 / 24.0 + z * (1.0 / 120.0)) + z2 * (1.0 / 720.0 + z * (1.0 / 5040.0))
    last = (1.0 / 40320.0 + z * (1.0 / 362880.0)) + z2 * (1.0 / 3628800.0)
    power = first + z4 * (middle + z4 * last)
    power *= power
    power *= power
    power *= power
    power *= power
    power *= power
    power *= power
    power *= power
    power *= power
    return power * power


_TAN_67 = 2.414213562373095  # tan(3 pi / 8)


@folded
def arctangent(x: float) -> Any:
    """Return the arctangent of any x.

    Above tan(3 pi / 8) pi / 2 - atan(1 / x), above 0.66 pi / 4 + atan((x - 1) / (x + 1)); what is
    left, within 0.66 of zero, by a quotient of polynomials, within 3e-16 of the value.

    References
    ----------
    [Moshier1989] Methods and Programs for Mathematical Functions: the reduction and the
    coefficients. From memory; the test against the mathematics library holds them.
    """
    size = abs(x)
    is_large = size > _TAN_67
    is_middle = size > 0.66
    over = -1.0 if is_large else (size - 1.0 if is_middle else size)
    under = size if is_large else (size + 1.0 if is_middle else 1.0)
    start = 0.5 * math.pi if is_large else (0.25 * math.pi if is_middle else 0.0)
    rest = over / under
    z = rest * rest
    p = -8.750608600031904122785e-1 * z - 1.615753718733365076637e1
    p = (p * z - 7.500855792314704667340e1) * z - 1.228866684490136173410e2
    p = p * z - 6.485021904942025371773e1
    q = (z + 2.485846490142306297962e1) * z + 1.650270098316988542046e2
    q = (q * z + 4.328810604912902668951e2) * z + 4.853903996359136964868e2
    q = q * z + 1.945506571482613964425e2
    angle = start + (rest + rest * (z * p / q))
    return angle if x >= 0.0 else -angle


@folded
def sine_of_turns(x: float) -> Any:
    """Return the sine of an angle given in turns, within 6e-8.

    Taylor's series to the eleventh power within a quarter of a turn; the others are folded to it.
    """
    rest = x - np.floor(x + 0.5)
    size = abs(rest)
    angle = 2.0 * math.pi * (size if size < 0.25 else 0.5 - size)
    z = angle * angle
    series = 1.0 - z * (1.0 / 72.0) * (1.0 - z * (1.0 / 110.0))
    series = 1.0 - z * (1.0 / 6.0) * (1.0 - z * (1.0 / 20.0) * (1.0 - z * (1.0 / 42.0) * series))
    sine = angle * series
    return sine if rest >= 0.0 else -sine
