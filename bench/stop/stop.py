"""One stop, as it came out: summary, traces, the rail left behind."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.ground.caution import CAUTION
from slipbench.kernel.codes import STOPPED
from slipbench.kernel.columns import TRACED_AXLE, TRACED_TRAIN
from slipbench.kernel.records import World
from slipbench.packing.rail_state import RailState
from slipbench.results.quantities import with_unit
from slipbench.scenario import Scenario
from slipbench.stop.finding import Finding
from slipbench.stop.findings import find
from slipbench.stop.frames import summary_frame, trace_dataset
from slipbench.stop.worth import Worth, assess_world
from slipbench.stop.worth_summary import worth_summary


@dataclass(frozen=True, eq=False)
class Stop:
    """One simulated stop.

    Attributes
    ----------
    scenario : Scenario
    controller : Controller
    seed : int
    summary : mapping      numbers by name, SI
    traces : mapping       of the train (n,) and of the axles (n, n_axles) by name; empty without
                           traces. Names, units and meanings of both:
                           `slipbench.results.quantities`
    rail_after : RailState the rail as the train left it; hand it to the next one
    worth : Worth          everything measured, by axle and place (`slipbench.stop.worth`)
    findings : tuple       what an engineer would circle in red (`slipbench.stop.findings.Finding`)
    """

    scenario: Scenario
    controller: Controller
    seed: int
    summary: Mapping[str, Any]
    traces: Mapping[str, Floats]
    rail_after: RailState = field(repr=False)
    worth: Worth = field(repr=False)
    findings: tuple[Finding, ...] = ()

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle as what it holds: the views that guard its mappings cannot be pickled."""
        held = {one.name: getattr(self, one.name) for one in fields(self)}
        held |= {name: dict(held[name]) for name in ("summary", "traces")}
        return _restored, (held,)

    def __repr__(self) -> str:
        """Return a short account for a terminal."""
        lines = [f"{self.scenario.name}, {self.controller.name}, seed {self.seed}: {self.outcome}"]
        lines += [f"  {label:<24}{text}" for label, text in self._rows()]
        if self.findings:
            lines += ["  findings", *(f"  - {finding.text}" for finding in self.findings)]
        return "\n".join([*lines, f"  {CAUTION}"])

    def _repr_html_(self) -> str:
        """Return the same account for a notebook."""
        rows = "".join(
            f"<tr><th style='text-align:left'>{html.escape(label)}</th>"
            f"<td style='text-align:left'>{html.escape(text)}</td></tr>"
            for label, text in self._rows()
        )
        title = html.escape(f"{self.scenario.name}, {self.controller.name}, seed {self.seed}")
        found = "".join(f"<li>{html.escape(finding.text)}</li>" for finding in self.findings)
        return (
            f"<table><caption><b>{title}</b>: {html.escape(self.outcome)}</caption>{rows}</table>"
            f"{f'<p><b>Findings</b></p><ul>{found}</ul>' if found else ''}"
            f"<p><small>{html.escape(CAUTION)}</small></p>"
        )

    def to_frame(self) -> Any:
        """Return the summary as a frame of one row, its units in `attrs["units"]`; needs pandas.

        Returns
        -------
        pandas.DataFrame   scenario, strategy, seed and the summary, a column for each item of a
                           list (`locked_time.1`)

        Raises
        ------
        InputError   without the extra `tables`
        """
        return summary_frame(self._heads(), self.summary)

    def to_dataset(self) -> Any:
        """Return the traces as a dataset over time and axle, units and meanings as attributes.

        Returns
        -------
        xarray.Dataset   coordinates `time` [s] and `axle` (from 1); the summary's single numbers
                         in `attrs`

        Raises
        ------
        InputError   without the extra `tables`, and for a stop run without traces
        """
        n_axles = self.scenario.train.n_axles
        return trace_dataset(self._heads(), self.summary, self.traces, n_axles)

    def _heads(self) -> dict[str, Any]:
        return {
            "scenario": self.scenario.name,
            "strategy": self.controller.name,
            "seed": self.seed,
            "initial_speed": self.scenario.initial_speed,
        }

    @property
    def outcome(self) -> str:
        """One phrase: how it ended."""
        summary = self.summary
        if summary["is_stopped"]:
            return f"stopped in {summary['stopping_distance']:.1f} m"
        return (
            f"NOT stopped: {summary['final_speed']:.1f} m/s left after "
            f"{summary['final_distance']:.0f} m, {summary['final_time']:.0f} s"
        )

    def _flat_row(self) -> str:
        length = self.worth.wheels.flat_length
        i_axle = int(np.argmax(length.high))
        if not length.high[i_axle] > 0.0:
            return "none"
        low, high = 1e3 * float(length.low[i_axle]), 1e3 * float(length.high[i_axle])
        return f"{low:.0f} to {high:.0f} mm (axle {i_axle + 1}; a band, by two wear laws)"

    def _rows(self) -> list[tuple[str, str]]:
        s = self.summary
        worst = int(np.argmax(s["locked_time"])) + 1
        longest = with_unit("longest_lock", s["longest_lock"], 2)
        if s["longest_lock"] > 0.0:
            longest += f" (axle {worst} locked longest in all, {max(s['locked_time']):.2f} s)"

        def told(name: str, decimals: int) -> str:
            return with_unit(name, s[name], decimals)

        rows = [
            ("from", f"{self.scenario.initial_speed:.2f} m/s"),
            ("time", told("final_time", 1)),
            ("mean deceleration", told("mean_deceleration", 3)),
            ("adhesion utilisation", told("adhesion_utilisation", 3)),
            ("longest lock", longest),
            ("sliding, worst axle", f"{max(s['sliding_distance']):.0f} m"),
            ("longest flat", self._flat_row()),
            ("flat risk", f"{told('flat_risk', 3)} (index 0 to 1, from the top of that band)"),
            ("vent commands", f"{s['vent_count']}, {told('air_vented_litres', 0)}"),
            ("energy not accounted", f"{s['energy_residual']:.1e} of the initial energy"),
        ]
        if s["dynamic_energy"] or s["track_energy"]:
            rows.insert(-1, ("energy", self._energy_row()))
        if s["sand_used"]:
            rows.insert(-1, ("sand, per rail", self._sand_row()))
        return rows

    def _energy_row(self) -> str:
        s = self.summary
        parts = [
            ("to the line", s["recovered_energy"]),
            ("to resistors", s["resistor_energy"]),
            ("friction brakes", s["brake_energy"]),
            ("wheels on rails", s["contact_energy"]),
            ("track brakes", s["track_energy"]),
        ]
        return ", ".join(f"{name} {1e-6 * energy:.2f} MJ" for name, energy in parts)

    def _sand_row(self) -> str:
        s = self.summary
        used = ", ".join(f"{mass:.2f}" for mass in s["sand_used"])
        emptied = f"; hoppers run empty: {s['emptied_sanders']}" if s["emptied_sanders"] else ""
        under_rear = 1e3 * s["sand_under_rear_axles"]
        return f"{used} kg by sander{emptied}; at the end {under_rear:.2f} g/m under the rear axles"


def make_stop(scenario: Scenario, controller: Controller, seed: int, world: World) -> Stop:
    """Return the account of a finished run; `world` is not needed afterwards."""
    n_traces = int(world.train_state["n_traces"][0])
    traces: dict[str, Floats] = {}
    if n_traces:
        for i, name in enumerate(TRACED_TRAIN):
            traces[name] = world.train_traces[:n_traces, i].copy()
        for i, name in enumerate(TRACED_AXLE):
            traces[name] = world.axle_traces[:n_traces, :, i].copy()
    worth = assess_world(scenario, world)
    summary = summarise(scenario, world, worth)
    return Stop(
        scenario=scenario,
        controller=controller,
        seed=seed,
        summary=MappingProxyType(summary),
        traces=MappingProxyType(traces),
        rail_after=_rail_after(scenario, world),
        worth=worth,
        findings=find(scenario, summary, worth),
    )


def _rail_after(scenario: Scenario, world: World) -> RailState:
    return RailState(
        start=float(world.train["rail_start"][0]),
        cell_length=scenario.rail.cell_length,
        work=world.rail_work,
        sand=world.rail_sand,
    )


class Way(NamedTuple):
    """How far one stop went, and no more.

    Attributes
    ----------
    distance : float       to standstill; infinite for a train that did not stop [m]
    point_speed : float    at the driver's stopping point; 0 where it stopped before [m/s]
    rail_after : RailState
    """

    distance: float
    point_speed: float
    rail_after: RailState


def make_way(scenario: Scenario, world: World) -> Way:
    """Return the way of a finished run; `world` is not needed afterwards."""
    train = world.train_state[0]
    is_stopped = int(train["status"]) == STOPPED
    distance = float(train["distance"]) if is_stopped else math.inf
    return Way(distance, max(float(train["point_speed"]), 0.0), _rail_after(scenario, world))


def _restored(held: dict[str, Any]) -> Stop:
    views = {name: MappingProxyType(held[name]) for name in ("summary", "traces")}
    return Stop(**{**held, **views})


def energy_residual(initial_speed: float, world: World) -> float:
    """Return the energy the stop does not account for, over the initial kinetic energy. [-]

    Kinetic energy lost = brake heat + what drives took + contact heat + work of track brakes +
    resistance work + work against gravity. The
    heats are quadratures of the time stepping, so this measures its error.
    """
    train, axles = world.train_state[0], world.axle_states
    rotating = world.axles["rotating_mass"]
    mass = float(world.train["mass"][0])
    before = 0.5 * (mass + rotating.sum()) * initial_speed**2
    after = 0.5 * (mass * train["speed"] ** 2 + (rotating * axles["wheel_speed"] ** 2).sum())
    heat = axles["brake_energy"].sum() + axles["contact_energy"].sum()
    heat += axles["dynamic_energy"].sum() + train["track_work"]
    spent = heat + train["resistance_work"] + train["gradient_work"] + train["curve_work"]
    return float((before - after - spent) / before)


def _sand_summary(world: World) -> dict[str, Any]:
    """Return sand used by each sander per rail [kg], and the most left under the last two axles."""
    used = (world.sanders["hopper"] - world.sander_states["hopper"]).tolist()
    under_rear = world.rail_sand[world.axle_states["i_cell"][-2:]]
    return {
        "sand_used": used,
        "sand_under_rear_axles": float(under_rear.max()),
        "emptied_sanders": int((world.sander_states["hopper"] <= 0.0).sum()),
    }


def summarise(scenario: Scenario, world: World, worth: Worth) -> dict[str, Any]:
    """Return the summary of a finished run.

    Names, units and meanings: `slipbench.results.quantities.SUMMARY`. Lists have a value an axle;
    what there is not is NaN or None.
    """
    train, axles = world.train_state[0], world.axle_states
    is_stopped = int(train["status"]) == STOPPED
    distance, time = float(train["distance"]), float(train["time"])
    return {
        "stopping_distance": distance if is_stopped else math.nan,
        "stopping_time": time if is_stopped else math.nan,
        "is_stopped": is_stopped,
        "mean_deceleration": (
            scenario.initial_speed**2 / (2.0 * distance) if is_stopped and distance else math.nan
        ),
        "adhesion_utilisation": worth.adhesion.train,
        "longest_lock": float(axles["longest_lock"].max()),
        "longest_lock_speed": float(axles["longest_lock_speed"][axles["longest_lock"].argmax()]),
        "locked_time": axles["locked_time"].tolist(),
        "locked_distance": axles["locked_distance"].tolist(),
        "sliding_distance": axles["sliding_distance"].tolist(),
        "locked_energy": axles["locked_energy"].tolist(),
        "vent_count": int(axles["vent_count"].sum()),
        "contact_energy": float(axles["contact_energy"].sum()),
        "brake_energy": float(axles["brake_energy"].sum()),
        **_sand_summary(world),
        "energy_residual": energy_residual(scenario.initial_speed, world),
        "final_distance": distance,
        "final_time": time,
        "final_speed": float(train["speed"]),
        "n_steps": int(train["n_steps"]),
        "n_axle_steps": int(train["n_axle_steps"]),
        **worth_summary(worth),
    }
