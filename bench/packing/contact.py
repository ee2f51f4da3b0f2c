"""The contact: stiffness of each axle, and the creep law as the kernel evaluates it."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np

from slipbench.contact import ContactPatch, contact_patch, contact_stiffness
from slipbench.contact.measured import MeasuredCurve, read_measured_curve
from slipbench.contact.monotone import monotone_slopes
from slipbench.contact.rolling import rolling_contact
from slipbench.contact.table import TractionTable, build_traction_table, normalised_constants
from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.kernel import codes, fixed
from slipbench.packing.tools import one
from slipbench.scenario import Contact, Scenario


@lru_cache(maxsize=256)
def stiffness(wheel_radius: float, crown_radius: float, load: float, contact: Contact) -> float:
    """Return G a b C11 of one wheel. [N]"""
    return float(
        contact_stiffness(
            patch_of(wheel_radius, crown_radius, load, contact),
            elastic_modulus=contact.elastic_modulus,
            poisson_ratio=contact.poisson_ratio,
        )
    )


@lru_cache(maxsize=256)
def patch_of(
    wheel_radius: float, crown_radius: float, load: float, contact: Contact
) -> ContactPatch:
    """Return the contact of a round wheel under its load."""
    curvature = contact.wheel_profile_curvature
    return contact_patch(
        wheel_radius,
        crown_radius,
        load,
        wheel_profile_radius=1.0 / curvature if curvature else math.inf,
        elastic_modulus=contact.elastic_modulus,
        poisson_ratio=contact.poisson_ratio,
    )


def pack_law(scenario: Scenario, axles: Any) -> Any:
    """Pack the creep law: nothing for Polach's, which is computed; a table for the others."""
    name = scenario.contact.law
    if name == "polach":
        return one(fixed.LAW, kind=codes.POLACH)
    if name == "measured":
        return pack_curve(read_measured_curve(scenario.contact.measured_curve or ""))
    table = creep_table(scenario, axles)
    law = one(fixed.LAW, kind=codes.TRACTION_TABLE)
    law["nodes"][0] = table.normalised_creepage
    law["values"][0] = table.traction_ratio
    law["slopes"][0] = table.slope
    _note_spacing(law, table.normalised_creepage)
    return law


def creep_table(scenario: Scenario, axles: Any) -> TractionTable:
    """Return the table that stands for the scenario's creep law in the hot loop.

    Parameters
    ----------
    scenario : Scenario        its law is neither `polach`, computed there, nor `measured`
    axles : (n_axles,) AXLE    packed; their loads and stiffness set how far the table reaches

    Returns
    -------
    TractionTable   `slipbench.contact.table_error` tells its error
    """
    name = scenario.contact.law
    options: dict[str, object] = {}
    if name == "strip":
        options = _strip_constants(scenario, axles)
    largest = float(axles["contact_stiffness"].max() / (axles["wheel_load"].min() * 0.002))
    return _traction_table(name, largest, tuple(options.items()))


@lru_cache(maxsize=32)
def _traction_table(
    name: str, largest: float, options: tuple[tuple[str, object], ...]
) -> TractionTable:
    given: dict[str, Any] = dict(options)
    return build_traction_table(
        name,
        largest=largest,
        n_nodes=codes.N_TABLE - 1,
        method="cubic",
        **given,
    )


def _strip_constants(scenario: Scenario, axles: Any) -> dict[str, object]:
    """Return the strip law's lateral creepage and spin, normalised at the first section."""
    contact, vehicle = scenario.contact, scenario.train.vehicles[0]
    load = float(axles["wheel_load"].mean())
    rolling = rolling_contact(
        patch_of(vehicle.wheel_radius, scenario.rail.crown_radius, load, contact),
        friction=scenario.rail.sections[0].friction,
        elastic_modulus=contact.elastic_modulus,
        poisson_ratio=contact.poisson_ratio,
    )
    return normalised_constants(rolling, contact.lateral_creepage, contact.spin)


def _note_spacing(law: Any, nodes: Floats) -> None:
    law["log_first"] = math.log(nodes[1])
    law["nodes_per_log"] = 1.0 / math.log(nodes[2] / nodes[1])


def pack_curve(curve: MeasuredCurve) -> Any:
    """Resample a measured curve on a logarithmic grid of creepage, over its largest adhesion."""
    n_speeds = len(curve.train_speeds)
    if n_speeds > codes.N_CURVE_SPEEDS:
        raise InputError(
            f"{curve.name}: {n_speeds} speeds; allowed: at most {codes.N_CURVE_SPEEDS}"
        )
    first = 0.2 * min(float(x[1]) for x in curve.creepages)
    nodes = np.concatenate([[0.0], np.geomspace(first, 1.0, codes.N_CURVE - 1)])
    speeds = [None] if n_speeds == 1 else curve.train_speeds.tolist()
    rows = np.array([curve.adhesion(nodes, speed) for speed in speeds])
    rows /= rows.max()
    slopes = monotone_slopes(nodes, rows.T).T
    law = one(fixed.LAW, kind=codes.MEASURED_CURVE, n_speeds=n_speeds)
    law["speeds"][0, :n_speeds] = 0.0 if n_speeds == 1 else curve.train_speeds
    law["creepages"][0] = nodes
    law["curve"][0, : rows.size] = rows.ravel()
    law["curve_slopes"][0, : rows.size] = slopes.ravel()
    # a monotone cubic may be half as steep again as its chord
    chords = np.diff(rows, axis=1) / np.diff(nodes)
    law["steepest_fall"] = 1.5 * max(0.0, -float(chords.min()))
    _note_spacing(law, nodes)
    return law
