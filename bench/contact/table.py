"""Any creep law as a table over normalised creepage, for the hot loop."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from slipbench.contact.laws import creep_law, traction_ratio
from slipbench.contact.monotone import monotone_slopes
from slipbench.contact.rolling import Creepages, RollingContact
from slipbench.ground.errors import InputError

FloatArray = NDArray[np.float64]
Method = Literal["linear", "cubic"]

_POINTS_BETWEEN_NODES = 5


@dataclass(frozen=True)
class TractionTable:
    """F/(mu N) against tau on a log-spaced grid with the origin in front.

    Attributes
    ----------
    law_name : str                               Law the table stands for.
    options : dict                               Options the law was called with.
    normalised_creepage : (n_nodes + 1,) float64 tau; 0, then log-spaced. [-]
    traction_ratio : (n_nodes + 1,) float64      F/(mu N) at the nodes. [-]
    slope : (n_nodes + 1,) float64               d(F/(mu N))/d tau at the nodes, for the cubic. [-]
    method : {"linear", "cubic"}                 Interpolation in tau between nodes.

    Notes
    -----
    Constant past the last node, odd in tau.  For tau >= `normalised_creepage[1]` the interval
    index is 1 + floor(ln(tau/tau_1)/ln(tau_2/tau_1)).  Any tau between two nodes with spacing h
    and t = (tau - tau_i)/h follows the Hermite cubic of values and h x slopes, or the chord.
    """

    law_name: str
    options: dict[str, object]
    normalised_creepage: FloatArray
    traction_ratio: FloatArray
    slope: FloatArray
    method: Method

    def evaluate(self, normalised_creepage: ArrayLike) -> FloatArray:
        """Return F/(mu N) from the table.

        Parameters
        ----------
        normalised_creepage : (...,) float   tau. [-], either sign

        Returns
        -------
        (...,) float64   Signed like tau. [-]
        """
        tau = np.asarray(normalised_creepage, dtype=np.float64)
        nodes, values, slopes = self.normalised_creepage, self.traction_ratio, self.slope
        size = np.minimum(np.abs(tau), nodes[-1])
        if self.method == "linear":
            chord: FloatArray = np.sign(tau) * np.interp(size, nodes, values)
            return chord
        i = np.clip(np.searchsorted(nodes, size, side="right") - 1, 0, len(nodes) - 2)
        h = nodes[i + 1] - nodes[i]
        t = (size - nodes[i]) / h
        rise = values[i + 1] - values[i]
        bend = (1.0 - t) * (h * slopes[i] - rise) + t * (rise - h * slopes[i + 1])
        curve: FloatArray = np.sign(tau) * (values[i] + t * rise + t * (1.0 - t) * bend)
        return curve


def normalised_constants(contact: RollingContact, lateral: float, spin: float) -> dict[str, object]:
    """Return the strip law's options for given lateral creepage and spin.

    Parameters
    ----------
    contact : RollingContact   Patch, material, load and friction: sets mu N.
    lateral : float            Lateral creepage, held constant. [-]
    spin : float               Spin, held constant. [1/m]

    Returns
    -------
    dict   Options `lateral`, `spin` (linear forces over mu N) and `axis_ratio`.

    Notes
    -----
    They hold at this mu N only: a table made with them is wrong at any other.
    """
    normalised = contact.normalise(Creepages(0.0, lateral, spin))
    return {
        "lateral": normalised.lateral,
        "spin": normalised.spin,
        "axis_ratio": contact.patch.axis_ratio,
    }


def build_traction_table(
    law_name: str,
    *,
    smallest: float = 1e-2,
    largest: float = 1e5,
    n_nodes: int = 400,
    method: Method | Literal["best"] = "best",
    **options: object,
) -> TractionTable:
    """Tabulate a law over normalised creepage.

    Parameters
    ----------
    law_name : str      A name in `CREEP_LAWS`.
    smallest : float    First tau after the origin. [-], > 0
    largest : float     Last tau, held constant beyond: cover G a b C11/(mu N), slip one. [-]
    n_nodes : int       Log-spaced nodes from `smallest` to `largest`. >= 4
    method : str        "linear", "cubic" (shape-preserving) or "best": whichever of the two has
        the smaller error against the law.
    **options           The law's own options.

    Returns
    -------
    TractionTable

    Raises
    ------
    InputError
        If the law, an option, the grid or the method is not usable.

    Notes
    -----
    The strip law's lateral creepage and spin are constants of the table; take them from
    `normalised_constants`.  Errors per law: `tests/contact/test_table.py`.
    """
    if not (math.isfinite(largest) and 0.0 < smallest < largest):
        raise InputError(
            f"smallest = {smallest!r}, largest = {largest!r} -: allowed are 0 < smallest < largest"
        )
    if n_nodes < 4:
        raise InputError(f"n_nodes = {n_nodes!r}: must be at least 4")
    if method not in ("linear", "cubic", "best"):
        raise InputError(f"method = {method!r}: allowed are 'linear', 'cubic', 'best'")
    law = creep_law(law_name)
    tau = np.concatenate([[0.0], np.geomspace(smallest, largest, n_nodes)])
    ratio = traction_ratio(law_name, tau, **options)
    slope = monotone_slopes(tau, ratio)
    linear = TractionTable(law.name, dict(options), tau, ratio, slope, "linear")
    cubic = TractionTable(law.name, dict(options), tau, ratio, slope, "cubic")
    if method != "best":
        return linear if method == "linear" else cubic
    return cubic if table_error(cubic) <= table_error(linear) else linear


def table_error(table: TractionTable) -> float:
    """Return the largest error of a table against its law between the nodes.

    Parameters
    ----------
    table : TractionTable

    Returns
    -------
    float   Largest |table - law| of F/(mu N) over five points in every interval, the first
        interval from 0 included. [-]
    """
    nodes = table.normalised_creepage
    inside = (np.arange(_POINTS_BETWEEN_NODES) + 0.5) / _POINTS_BETWEEN_NODES
    tau = (nodes[:-1, None] + np.diff(nodes)[:, None] * inside).ravel()
    exact = traction_ratio(table.law_name, tau, **table.options)
    return float(np.max(np.abs(table.evaluate(tau) - exact)))
