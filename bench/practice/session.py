"""One run at the desk: start card, clock, handle, and what each page may know of it. No network."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from slipbench.figures.playback import DEEP, DEEP_CREEPAGE, LOCKED, ROLLING, SHALLOW, train_data
from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.kernel.rail import conditioned_friction, sanded_friction
from slipbench.practice.lessons import Lesson
from slipbench.practice.live import LiveStop, begun
from slipbench.scenario import HandleEntry, Scenario, load_scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.registry import Known

READY, RUNNING, FROZEN, ENDED = "ready", "running", "frozen", "ended"

PACES = (0.5, 1.0, 2.0)
"""Train time over wall time."""

CAB_KEYS = frozenset(
    {
        "kind",
        "state",
        "time",
        "pace",
        "speed",
        "cylinders",
        "vents",
        "marker",
        "handle",
        "isolation",
    }
)
"""All that the cab page is ever told of a run under way."""

LONGEST_NAME = 40
BRAKE_AFTER = 8.0
"""Where a scenario has no marker, one is set where step 3, selected so late and held, stops. [s]"""

_AHEAD, _BEHIND = 20, 20
"""Rail shown to the instructor before and behind the train. [m]"""

_STANDING = 0.05
"""Rim speed below which a wheel that was locked still stands. [m/s]"""


@dataclass
class Desk:
    """What is practised: scenarios to choose from, strategy and seed, and the words about them."""

    scenarios: list[Scenario]
    known: Known
    seed: int
    lesson: Lesson | None = None
    rails: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What the lesson teaches, or what the scenario is."""
        return self.lesson.sentence if self.lesson else self.scenarios[0].title

    def rail_words(self, choice: int) -> str:
        """Return the rail of a scenario in plain words."""
        return self.lesson.rail if self.lesson else self.scenarios[choice].title


def marked(scenario: Scenario, known: Known, seed: int) -> Scenario:
    """Return a scenario with a marker ahead: its own, or where a held stop ends, rounded up."""
    if scenario.driver.stopping_point is not None:
        return begun(scenario)
    start = begun(scenario)
    brake = HandleEntry(at_time=BRAKE_AFTER, position=scenario.brake.n_steps)
    held = start.replace({"driver.programme": (*start.driver.programme, brake)})
    stop = simulate(held, known.controller, seed, with_traces=False)
    place = 10.0 * math.ceil(stop.summary["final_distance"] / 10.0)
    return start.replace({"driver.stopping_point": place})


def on_rail(scenario: Scenario, name: str) -> Scenario:
    """Return a scenario on the rail of another, with the contact on it; told in name and title."""
    other = load_scenario(name)
    return scenario.replace(
        rail=other.rail,
        contact=other.contact,
        name=f"{scenario.name}, rail {other.name}"[:60],
        title=f"{scenario.title}; rail of {other.name}",
    )


@dataclass
class Session:
    """One run, from the start card to its end.

    Parameters
    ----------
    desk : Desk
    choice : int      which of its scenarios
    rail : str        another rail instead, a shipped name; empty for its own
    """

    desk: Desk
    choice: int = 0
    rail: str = ""
    name: str = ""
    state: str = READY
    pace: float = 1.0
    notes: list[tuple[float, str]] = field(default_factory=list)
    is_saved: bool = False
    is_cut: bool = False
    _base_train: float = 0.0
    _base_wall: float = 0.0
    _vents_told: int = 0

    def __post_init__(self) -> None:
        scenario = self.desk.scenarios[self.choice]
        if self.rail:
            scenario = on_rail(scenario, self.rail)
        self.start = marked(scenario, self.desk.known, self.desk.seed)
        self.live = LiveStop(self.start, self.desk.known.controller, self.desk.seed)
        self._locked = np.zeros(self.start.train.n_axles, dtype=bool)
        self.scene()  # compiles what reads the rail, before the clock runs

    # what is done

    def begin(self, now: float, name: str = "") -> None:
        """Let the train go; `now` is the wall clock. [s]"""
        if self.state == READY:
            self.name = checked_name(name)
            self.state = RUNNING
            self._rebase(now)

    def freeze(self, now: float) -> None:
        """Hold the clock."""
        if self.state == RUNNING:
            self.advance(now)
            if self.state == RUNNING:
                self.state = FROZEN

    def resume(self, now: float) -> None:
        """Let the clock go on."""
        if self.state == FROZEN:
            self.state = RUNNING
            self._rebase(now)

    def set_pace(self, now: float, pace: float) -> None:
        """Run at another pace, one of `PACES`."""
        if pace not in PACES:
            raise InputError(f"pace {pace:g}; allowed: {', '.join(f'{p:g}' for p in PACES)}")
        if self.state == RUNNING:
            self.advance(now)
        self.pace = pace
        self._rebase(now)

    def select(self, now: float, position: int) -> None:
        """Move the handle; only while the train runs."""
        if self.state == RUNNING:
            self.advance(now)
            self.live.select(position)

    def press(self, now: float) -> None:
        """Press the isolation button; only while the train runs."""
        if self.state == RUNNING:
            self.advance(now)
            is_dead = self.live.position != self.start.brake.emergency_position
            at = self.live.press()
            told = "outside emergency: dead" if is_dead else "slip control isolated"
            self.notes.append((at, f"isolation button pressed, {told}"))

    def end(self) -> None:
        """End the run by hand; the debrief lets the train run on with the handle as it is."""
        if self.state in (RUNNING, FROZEN):
            self.state, self.is_cut = ENDED, True

    def advance(self, now: float) -> None:
        """Bring the train to where it is at a wall time."""
        if self.state != RUNNING:
            return
        self.live.advance(self._base_train + (now - self._base_wall) * self.pace)
        if self.live.is_over:
            self.state = ENDED

    def skip(self, seconds: float) -> None:
        """Leave out a time in which nobody ran, as when the machine slept."""
        self._base_wall += seconds

    def _rebase(self, now: float) -> None:
        self._base_train, self._base_wall = self.live.time, now

    # what is told

    def card(self) -> dict[str, Any]:
        """Return the start card."""
        start, desk = self.start, self.desk
        steps = [str(i + 1) for i in range(start.brake.n_steps)]
        return {
            "kind": "card",
            "sentence": desk.sentence,
            "goal": desk.lesson.goal if desk.lesson else "Stop at the marker.",
            "rail": f"The rail of {self.rail}." if self.rail else desk.rail_words(self.choice),
            "train": start.train.name,
            "speed": start.initial_speed,
            "marker": start.driver.stopping_point,
            "positions": ["release", *steps, "emergency"],
            "choices": [scenario.title for scenario in desk.scenarios],
            "choice": self.choice,
            "rails": list(desk.rails),
            "isolation_time": start.brake.isolation_time,
            "caution": CAUTION,
            "state": self.state,
        }

    def cab(self) -> dict[str, Any]:
        """Return what a cab shows now, and nothing more (`CAB_KEYS`)."""
        axles, marker = self.live.world.axle_states, self.start.driver.stopping_point
        place = float(self.live.state["distance"])
        vents = self.live.vents_heard - self._vents_told
        self._vents_told = self.live.vents_heard
        return {
            "kind": "cab",
            "state": self.state,
            "time": round(self.live.time, 2),
            "pace": self.pace,
            "speed": round(float(axles["measured_speed"][0]), 1),
            "cylinders": [
                round(float(p) / 1e5, 2) for p in axles["pressure"][: self.live.n_leading]
            ],
            "vents": vents,
            "marker": None if marker is None else round(marker - place),
            "handle": self.live.position,
            "isolation": round(self.live.isolation_left, 1),
        }

    def train(self) -> dict[str, Any]:
        """Return the train as the instructor's page draws it."""
        return {
            "kind": "train",
            **train_data(self.start),
            "marker": self.start.driver.stopping_point,
        }

    def scene(self) -> dict[str, Any]:
        """Return what the instructor sees: every wheel, the rail under the train, true speed."""
        axles, state = self.live.world.axle_states, self.live.state
        front = float(state["distance"])
        first, friction = self._rail_near(front)
        return {
            "kind": "scene",
            "state": self.state,
            "time": round(self.live.time, 2),
            "pace": self.pace,
            "speed": round(float(state["speed"]), 2),
            "front": round(front, 2),
            "shown": round(float(axles["measured_speed"][0]), 1),
            "handle": self.live.position,
            "isolation": round(self.live.isolation_left, 1),
            "wheels": self._wheel_states().tolist(),
            "valves": np.rint(axles["valve"]).astype(int).tolist(),
            "pressures": np.round(axles["pressure"] / 1e5, 2).tolist(),
            "wheel_speeds": np.round(axles["wheel_speed"], 2).tolist(),
            "rail_start": first,
            "rail_cell": self.start.rail.cell_length,
            "rail": friction,
            "ignored": int(state["n_ignored_presses"]),
        }

    def _wheel_states(self) -> Any:
        run, axles = self.start.run, self.live.world.axle_states
        train, wheel = float(self.live.state["speed"]), axles["wheel_speed"]
        slip_speed = train - wheel
        creepage = slip_speed / max(train, 0.1)
        begins = (wheel < run.locked_wheel_speed) & (slip_speed > run.sliding_slip_speed)
        self._locked = begins | (self._locked & (wheel < _STANDING))
        state = np.where(creepage > run.sliding_creepage, SHALLOW, ROLLING)
        state[creepage > DEEP_CREEPAGE] = DEEP
        state[slip_speed < run.sliding_slip_speed] = ROLLING
        state[self._locked] = LOCKED
        return state

    def _rail_near(self, front: float) -> tuple[float, list[float]]:
        """Return where the rail shown begins [m], and its friction now, cell by cell."""
        world, cell = self.live.world, self.start.rail.cell_length
        origin, train = float(world.train["rail_start"][0]), world.train[0]
        low = max(0, int((front - self.start.train.length - _BEHIND - origin) / cell))
        high = min(len(world.cells), int((front + _AHEAD - origin) / cell) + 1)
        values = [
            round(
                float(conditioned_friction(world.cells[i], world.rail_work[i]))
                + float(sanded_friction(world.rail_sand[i], train)),
                3,
            )
            for i in range(low, high)
        ]
        return origin + low * cell, values

    def replayed(self) -> Stop:
        """Return the run simulated again from its log, to the end."""
        return simulate(self.live.scenario, self.desk.known.controller, self.desk.seed)


def checked_name(name: object) -> str:
    """Return a trainee's name as it may stand in tables: letters, digits, space, dot, dash."""
    if not isinstance(name, str):
        return ""
    kept = "".join(c for c in name if c.isalnum() or c in " .-_")
    return " ".join(kept.split())[:LONGEST_NAME].strip(" .-_")
