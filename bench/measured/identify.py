"""What a log tells of its rail: values with 90 % bands, what it cannot tell, and files of it."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.account import Account
from slipbench.measured.fit import FLOORS, WIDENED, Fit, band_of_profile, bent, profile
from slipbench.measured.model import DECAY, GAIN, RATIO, RECOVERED, WORK
from slipbench.measured.scales import SCALE
from slipbench.measured.speed import Z90
from slipbench.results.scenario_file import scenario_file
from slipbench.results.tables import plain_table
from slipbench.scenario import RailSection, Scenario
from slipbench.scenario.driver import HandleEntry
from slipbench.scenario.provenance import Provenance

NARROW = np.log(4.0)
"""A number is told where its 90 % band is narrower than this factor's logarithm."""

LEAST_SHARE = 1.5
"""Work before a wheel, over the cleaning work found, below which only the slope is told."""

SLOPE_FLOOR = 0.05
"""What the rise of friction per work may be wrong by besides, deviation of its logarithm."""

WIDEST_RIM = 0.01
"""Half a band within which the error of a rim is told. [-]"""

RAIL_LIMITS = (0.002, 0.9)


class Told(NamedTuple):
    """One number the log tells, or does not: `is_told`, 90 % band; SI."""

    name: str
    unit: str
    value: float
    low: float
    high: float
    is_told: bool


@dataclass(frozen=True, eq=False)
class Identified:
    """A rail identified from a log.

    Attributes
    ----------
    account, fit
    told : tuple of Told         friction of the film (mean of the track), recovered friction,
                                 cleaning work, rise of friction per work, friction fall, brake
                                 gain; if fitted, what every rim shows over what it runs
    statements : tuple of str    what cannot be told, and from how much
    work_profile : (values, rise)   profile of the cleaning work's logarithm
    """

    account: Account
    fit: Fit
    told: tuple[Told, ...]
    statements: tuple[str, ...]
    work_profile: tuple[Floats, Floats]

    def named(self, name: str) -> Told:
        """Return one of the numbers."""
        return next(t for t in self.told if t.name == name)


def film_friction(theta: Floats, fit: Fit) -> Floats:
    """Return the film's friction, the geometric mean of the patches. [-]"""
    return np.asarray(np.exp(theta[..., fit.layout.patches].mean(axis=-1)))


def rise_per_work(theta: Floats, fit: Fit) -> Floats:
    """Return how fast friction first rises with work, (mr - md) / W0. [m/J]"""
    rise = np.exp(theta[..., RECOVERED]) - film_friction(theta, fit)
    return np.asarray(np.maximum(rise, 1e-6) / np.exp(theta[..., WORK]))


def identify(account: Account, fit: Fit) -> Identified:
    """Return what a fit tells, and what it cannot.

    Parameters
    ----------
    account : Account
    fit : Fit   by `slipbench.measured.fit.fit_rail`
    """
    draws = fit.draws(400, seed=1)
    found = profile(fit, WORK)
    low, high = band_of_profile(*found)
    at = fit.theta[WORK]
    more = Z90 * float(np.hypot(bent(fit.theta, fit.windows)[WORK], FLOORS[WORK]))
    work = (
        at - np.hypot(WIDENED * (at - low), more),
        at + np.hypot(WIDENED * (high - at), more),
    )
    told = [
        _of_draws("film_friction", "-", film_friction(fit.theta, fit), film_friction(draws, fit)),
        _of_log("recovered_friction", "-", fit, RECOVERED),
        _told("cleaning_work", "J/m", float(np.exp(at)), *(float(x) for x in np.exp(work))),
        _of_draws(
            "rise_per_work",
            "m/J",
            rise_per_work(fit.theta, fit),
            rise_per_work(draws, fit),
            SLOPE_FLOOR,
            WIDENED,  # what is told best needs no widening: with it 195 of 198 bands held
        ),
        _of_logit("friction_ratio", "-", fit),
        _of_log("friction_decay", "s/m", fit, DECAY),
        _of_log("brake_gain", "-", fit, GAIN),
    ]
    told = _with_sense(told, fit) + _rims(account, fit)
    return Identified(account, fit, tuple(told), tuple(_statements(told, fit)), found)


def _rims(account: Account, fit: Fit) -> list[Told]:
    """Return what every rim shows over what it runs, where that was fitted."""
    found = []
    for i in range(fit.layout.n_axles if fit.layout.has_rims else 0):
        place = fit.layout.rims.start + i
        half = Z90 * float(np.hypot(fit.deviation(place), SCALE))
        value = float(account.speed.diameters[i] * np.exp(fit.theta[place]))
        low, high = value * np.exp(-half), value * np.exp(half)
        found.append(Told(f"rim_{i + 1}", "-", value, float(low), float(high), half < WIDEST_RIM))
    return found


def _told(name: str, unit: str, value: float, low: float, high: float) -> Told:
    is_told = bool(np.isfinite(low * high) and low > 0.0 and np.log(high / low) < NARROW)
    return Told(name, unit, value, low, high, is_told)


def _of_log(name: str, unit: str, fit: Fit, place: int) -> Told:
    at, half = fit.theta[place], Z90 * fit.deviation(place)
    return _told(name, unit, *(float(np.exp(x)) for x in (at, at - half, at + half)))


def _of_logit(name: str, unit: str, fit: Fit) -> Told:
    at, half = fit.theta[RATIO], Z90 * fit.deviation(RATIO)
    value, low, high = (float(1.0 / (1.0 + np.exp(-x))) for x in (at, at - half, at + half))
    return Told(name, unit, value, low, high, high - low < 0.4)


def _of_draws(
    name: str, unit: str, value: Floats, draws: Floats, floor: float = 0.0, widened: float = 1.0
) -> Told:
    spread = Z90 * float(np.hypot(np.std(np.log(draws)) / widened, floor))
    return _told(name, unit, float(value), float(value * np.exp(-spread)),
                 float(value * np.exp(spread)))  # fmt: skip


def _with_sense(told: list[Told], fit: Fit) -> list[Told]:
    """Take back what cannot have been told, whatever the covariance says.

    Where the wheels ahead spent less than W0 on a metre only the slope is known: in trials the
    cleaning work was then low by up to 40 %, since gains of axles bend the rise as cleaning does.
    How far friction falls is not told where it is not told how fast.
    """
    by = {t.name: t for t in told}
    silent = set()
    if fit.windows.largest_work < LEAST_SHARE * float(np.exp(fit.theta[WORK])):
        silent |= {"recovered_friction", "cleaning_work"}
    if not by["friction_decay"].is_told:
        silent.add("friction_ratio")
    return [t._replace(is_told=False) if t.name in silent else t for t in told]


def _statements(told: list[Told], fit: Fit) -> list[str]:
    by = {t.name: t for t in told}
    found = []
    covariance = fit.covariance
    tie = covariance[RECOVERED, WORK] / (fit.deviation(RECOVERED) * fit.deviation(WORK))
    most = fit.windows.largest_work
    if not by["cleaning_work"].is_told and not by["recovered_friction"].is_told:
        rise = by["rise_per_work"]
        text = "cleaning work and recovered friction cannot be told apart here"
        if rise.is_told:
            text += (
                f": only the rise of friction by work, {1e3 * rise.value:.2g} per kJ/m "
                f"({1e3 * rise.low:.2g} to {1e3 * rise.high:.2g})"
            )
        found.append(f"{text}; the wheels before spent at most {most / 1e3:.1f} kJ on a metre")
    elif not by["cleaning_work"].is_told:
        found.append(f"the cleaning work cannot be told (tied to recovered friction by {tie:.2f})")
    elif not by["recovered_friction"].is_told:
        found.append("the recovered friction cannot be told: no metre was cleaned far enough")
    for name, text in (("friction_ratio", "how far friction falls with slip speed"),
                       ("friction_decay", "how fast friction falls with slip speed")):  # fmt: skip
        if not by[name].is_told:
            found.append(f"{text} cannot be told: slides were too alike")
    found.append(
        f"from {int(fit.windows.is_sliding.sum())} windows of sliding wheels on "
        f"{fit.layout.n_patches} patches; {fit.agreed} of {fit.n_starts} starts agree; residuals "
        f"{fit.scale:.2f} of the noise assumed, correlated by {fit.correlation:.2f}"
    )
    return found


def identified_text(found: Identified) -> str:
    """Return what was identified, for a terminal."""
    rows: list[list[str] | str] = []
    scales = {"cleaning_work": ("kJ/m", 1e-3), "rise_per_work": ("1/(kJ/m)", 1e3)}
    for t in found.told:
        unit, scale = scales.get(t.name, (t.unit, 1.0))
        values = [f"{scale * x:.4g}" for x in (t.value, t.low, t.high)]
        if not t.is_told:
            values = ["not told", "-", "-"]
        rows.append([t.name, *values, unit])
    heads = ["", "value", "90 % from", "to", "unit"]
    lines = [f"{found.account.log.source}: the rail that explains it", plain_table(heads, rows)]
    return "\n".join([*lines, "", *(f"- {text}" for text in found.statements)])


def patch_table(found: Identified) -> str:
    """Return friction along the track as CSV: patch, friction, band."""
    fit = found.fit
    lines = ["from_distance_m,to_distance_m,friction,low,high"]
    for i in range(fit.layout.n_patches):
        place = fit.layout.patches.start + i
        at, half = fit.theta[place], Z90 * fit.deviation(place)
        values = (fit.layout.edges[i], fit.layout.edges[i + 1], np.exp(at), np.exp(at - half),
                  np.exp(at + half))  # fmt: skip
        lines.append(",".join(f"{x:.6g}" for x in values))
    return "\n".join(lines) + "\n"


def sections_of(theta: Floats, fit: Fit) -> tuple[RailSection, ...]:
    """Return the rail of parameters as sections."""
    low, high = RAIL_LIMITS
    softness = float(np.exp(theta[4]))
    adhesion = min(fit.layout.reductions[0] * softness, 1.0)
    sections = []
    for i in range(fit.layout.n_patches):
        friction = float(np.clip(np.exp(theta[fit.layout.patches][i]), low, high))
        recovered = float(np.clip(np.exp(theta[RECOVERED]), friction, high))
        begin = float(fit.layout.edges[i]) if i else min(0.0, float(fit.layout.edges[0]))
        sections.append(
            RailSection(
                from_distance=begin,
                friction=friction,
                recovered_friction=recovered,
                cleaning_work=float(np.clip(np.exp(theta[WORK]), 1.0, 1e8)),
                friction_ratio=float(np.clip(1.0 / (1.0 + np.exp(-theta[RATIO])), 0.05, 1.0)),
                friction_decay=float(np.clip(np.exp(theta[DECAY]), 0.0, 20.0)),
                adhesion_reduction=adhesion,
                slip_reduction=float(
                    np.clip(fit.layout.reductions[1] * softness, 0.14 * adhesion, adhesion)
                ),
            )
        )
    return tuple(sections)


def handle_of(account: Account) -> tuple[HandleEntry, ...]:
    """Return what was done with the handle, from the log: handle, demand, or else the pressures."""
    series, brake = account.series, account.unit.scenario.brake
    levels = np.array([0.0, *brake.steps, brake.emergency]) / brake.emergency
    time = series.time - series.time[0]
    if np.isfinite(series.handle).any():
        positions = np.clip(np.rint(np.nan_to_num(series.handle)), 0, len(levels) - 1)
    else:
        demand = series.demand
        if not np.isfinite(demand).any():
            top = np.nanmax(np.where(np.isfinite(series.pressure), series.pressure, 0.0), axis=1)
            held = np.maximum.accumulate(top)
            demand = held / max(account.unit.full_pressure, 1.0)
        positions = np.argmin(np.abs(np.nan_to_num(demand)[:, None] - levels), axis=1)
    positions = positions.astype(int)
    moves = np.concatenate([[0], np.flatnonzero(np.diff(positions)) + 1])
    entries = [
        HandleEntry(at_time=float(time[i]), position=int(positions[i]))
        for i in moves[:400]
        if i == 0 or positions[i] != positions[i - 1]
    ]
    if entries[0].position == 0 and len(entries) > 1:
        entries = entries[1:]
    return tuple(entries)


def stop_scenario(found: Identified, theta: Floats, name: str) -> Scenario:
    """Return the measured stop as a scenario on the rail of some parameters.

    Brake gain as pad friction, train speed and handle as in the log; equipment as the unit's grade.
    """
    account = found.account
    base = account.unit.scenario
    grade = {"equipment.grade": "service"}
    source = f"identified from {account.log.source}"
    sections = sections_of(theta, found.fit)
    driver = dataclasses.replace(
        base.driver, programme=handle_of(account), easing=None, stopping_point=None
    )
    pads = float(np.clip(base.brake.pad_friction * np.exp(theta[GAIN]), 0.05, 1.0))
    scenario = base.replace(
        {
            "name": name,
            "title": f"the stop of {account.log.source}, its rail identified",
            "rail.sections": sections,
            "rail.cleaning_law": "rail_memory",
            "contact.law": "polach",
            "driver": driver,
            "initial_speed": max(float(account.speed.train[0]), 1.0),
            "brake.pad_friction": pads,
            **grade,
        }
    )
    return dataclasses.replace(
        scenario, provenance={**scenario.provenance, **_provenance(found, len(sections), source)}
    )


def _provenance(found: Identified, n: int, source: str) -> dict[str, Provenance]:
    by = {t.name: t for t in found.told}
    marks = {}
    for name in ("recovered_friction", "cleaning_work", "friction_ratio", "friction_decay"):
        t = by[name]
        text = f"{source}; 90 % band {t.low:.4g} to {t.high:.4g} {t.unit}"
        marked = Provenance("derived", text)
        if not t.is_told:
            marked = Provenance("assumed", f"{source}, which cannot tell it: goes with the others")
        for i in range(n):
            marks[f"rail.sections.{i}.{name}"] = marked
    fit = found.fit
    for i in range(n):
        place = fit.layout.patches.start + i
        at, half = fit.theta[place], Z90 * fit.deviation(place)
        text = f"{source}; 90 % band {np.exp(at - half):.4f} to {np.exp(at + half):.4f}"
        marks[f"rail.sections.{i}.friction"] = Provenance("derived", text)
    gain = by["brake_gain"]
    marks["brake.pad_friction"] = Provenance(
        "derived", f"{source}: brake gain {gain.value:.3f} ({gain.low:.3f} to {gain.high:.3f})"
    )
    marks["initial_speed"] = Provenance("derived", source)
    return marks


def rail_file(found: Identified, name: str) -> str:
    """Return the identified stop as a scenario file."""
    notes = [f"The rail identified from {found.account.log.source}, with the stop that was "
        "measured.",
             *found.statements]  # fmt: skip
    return scenario_file(stop_scenario(found, found.fit.theta, name), notes)


def draw_files(found: Identified, name: str, n: int, seed: int = 0) -> dict[str, str]:
    """Return rails drawn from the band, each a whole scenario file, by file name."""
    files = {}
    for i, theta in enumerate(found.fit.draws(n, seed), start=1):
        own = f"{name}-draw-{i:02d}"
        notes = [f"Draw {i} of {n} of the rails that explain {found.account.log.source}."]
        files[f"draw-{i:02d}.toml"] = scenario_file(stop_scenario(found, theta, own), notes)
    return files


def identified_json(found: Identified) -> str:
    """Return what was identified as JSON."""
    values = {
        t.name: {
            "value": t.value,
            "low": t.low if np.isfinite(t.low) else None,
            "high": t.high if np.isfinite(t.high) else None,
            "unit": t.unit,
            "is_told": t.is_told,
        }
        for t in found.told
    }
    return json.dumps({"told": values, "statements": found.statements}, indent=1) + "\n"
