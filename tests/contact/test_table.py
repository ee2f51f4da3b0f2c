"""Traction tables: error against every law, interpolation, constants of the strip law."""

import dataclasses
import math

import numpy as np
import pytest

from slipbench.contact import (
    Creepages,
    build_traction_table,
    contact_patch,
    creep_forces,
    rolling_contact,
    table_error,
    traction_ratio,
)
from slipbench.contact.measured import MeasuredCurve
from slipbench.contact.table import normalised_constants
from slipbench.ground.errors import InputError

CURVE = MeasuredCurve(
    "typed in",
    np.array([math.nan]),
    (np.array([0.0, 0.004, 0.01, 0.03, 0.2]),),
    (np.array([0.0, 0.08, 0.14, 0.16, 0.12]),),
)
CASES: list[tuple[str, dict[str, object]]] = [
    ("carter", {}),
    ("vermeulen_johnson", {}),
    ("shen_hedrick_elkins", {}),
    ("polach", {}),
    ("polach", {"adhesion_reduction": 0.3, "slip_reduction": 0.1}),
    ("polach", {"adhesion_reduction": 1.0, "slip_reduction": 0.05}),
    ("strip", {"n_strips": 20, "n_cells": 20}),
    ("strip", {"lateral": 0.5, "spin": 0.5, "axis_ratio": 1.3, "n_strips": 20, "n_cells": 20}),
]


@pytest.mark.parametrize(("name", "options"), CASES)
def test_table_is_within_a_ten_thousandth_of_its_law(name: str, options: dict[str, object]) -> None:
    """1e-4 mu N, an order below the 0.1 % asked of a stopping distance."""
    assert table_error(build_traction_table(name, **options)) < 1e-4


def test_table_of_a_measured_curve_cuts_its_corners_only() -> None:
    """A polyline's corner of slope change J inside a step h costs at most J h/4."""
    table = build_traction_table("measured", curve=CURVE)
    # Largest at tau 1.75, where the slope falls from .75 to .05 (scaled): h = .041 tau.
    assert 0.0 < table_error(table) < 0.7 * 0.041 * 1.75 / 4.0


@pytest.mark.parametrize("method", ["linear", "cubic"])
def test_error_falls_with_the_grid(method: str) -> None:
    coarse = build_traction_table("polach", n_nodes=100, method=method)  # type: ignore[arg-type]
    fine = build_traction_table("polach", n_nodes=200, method=method)  # type: ignore[arg-type]
    # Chords: order 2, a factor 4; the shape-preserving cubic is of order 2 to 3.
    assert table_error(coarse) > 3.5 * table_error(fine)


def test_best_takes_the_smaller_error() -> None:
    errors = {
        method: table_error(build_traction_table("carter", method=method))  # type: ignore[arg-type]
        for method in ("linear", "cubic", "best")
    }
    assert errors["best"] == min(errors.values())
    assert errors["linear"] != errors["cubic"]


def test_table_error_sees_a_wrong_node() -> None:
    table = build_traction_table("carter", n_nodes=50, method="linear")
    values = table.traction_ratio.copy()
    values[20] += 0.1
    wrong = dataclasses.replace(table, traction_ratio=values)
    # The nearest probes lie a tenth of a step from the node.
    assert table_error(wrong) == pytest.approx(0.09, abs=2e-3)


@pytest.mark.parametrize("method", ["linear", "cubic"])
def test_table_meets_its_nodes_and_is_odd(method: str) -> None:
    table = build_traction_table("polach", n_nodes=60, method=method)  # type: ignore[arg-type]
    nodes = table.normalised_creepage
    assert table.evaluate(nodes) == pytest.approx(table.traction_ratio, abs=1e-15)
    assert table.evaluate(-nodes) == pytest.approx(-table.traction_ratio, abs=1e-15)
    assert float(table.evaluate(1e9)) == table.traction_ratio[-1]
    assert float(table.evaluate(0.0)) == 0.0


def test_cubic_keeps_the_shape_of_the_law() -> None:
    table = build_traction_table("vermeulen_johnson", n_nodes=60, method="cubic")
    tau = np.linspace(0.0, 10.0, 5001)
    values = table.evaluate(tau)
    assert np.all(np.diff(values) >= -1e-15)
    assert np.max(values) <= 1.0 + 1e-15


def test_slopes_are_those_of_the_cubic() -> None:
    table = build_traction_table("polach", n_nodes=60, method="cubic")
    nodes = table.normalised_creepage[5:40]
    step = 1e-6 * nodes
    around = (table.evaluate(nodes + step) - table.evaluate(nodes - step)) / (2.0 * step)
    # The second derivative jumps at a node by less than 1/tau: 1e-6 relative to it.
    assert around == pytest.approx(table.slope[5:40], abs=1e-5)


def test_strip_table_with_constant_lateral_creepage_and_spin_is_the_strip_force() -> None:
    contact = rolling_contact(contact_patch(0.46, 0.30, 60e3), 0.2)
    options = normalised_constants(contact, 4e-4, 0.2)
    table = build_traction_table("strip", n_nodes=200, n_strips=20, n_cells=20, **options)
    for xi in (1e-4, 1e-3, 1e-2):
        force = creep_forces("strip", contact, Creepages(xi, 4e-4, 0.2), n_strips=20, n_cells=20)
        tau = contact.stiffness * xi / contact.friction_limit
        ratio = -force.longitudinal / contact.friction_limit
        assert float(traction_ratio("strip", tau, n_strips=20, n_cells=20, **options)) == (
            pytest.approx(ratio, rel=1e-12)
        )
        assert float(table.evaluate(tau)) == pytest.approx(ratio, abs=4e-4)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"smallest": 0.0}, "smallest"),
        ({"smallest": 2.0, "largest": 1.0}, "largest"),
        ({"largest": math.inf}, "largest"),
        ({"n_nodes": 3}, "n_nodes"),
        ({"method": "spline"}, "method"),
        ({"colour": 1}, "colour"),
    ],
)
def test_unusable_grid_is_refused_in_one_line(options: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        build_traction_table("carter", **options)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)
