"""What a strategy was given and what it gave, call by call: in a stop, or shown again later."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from slipbench.contract import DEMAND_FACTOR, FILL, SIGNALS, Controller, Floats, Update
from slipbench.ground.errors import InputError
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.foreign import ForeignUpdate
from slipbench.strategies.registry import one_line

OUTPUTS = ("commands", "memories", "signals")
"""What a call gives, by the names of a recording."""


class UpdateFailed(Exception):
    """The update function raised or could not be used; the text says why."""


@dataclass(frozen=True)
class Recording:
    """What the strategy of one vehicle was given and gave, call by call. Copies, SI.

    Attributes
    ----------
    observations : (n_calls, n_axles, n_observed)
    memories_before, memories : (n_calls, n_axles + 1, n_memory)
    commands_before, commands : (n_calls, n_axles, 2)
    signals_before, signals : (n_calls, n_signals)
    """

    observations: Floats
    memories_before: Floats
    commands_before: Floats
    signals_before: Floats
    memories: Floats
    commands: Floats
    signals: Floats

    def __len__(self) -> int:
        """Return the number of calls."""
        return len(self.observations)

    def first(self, n_calls: int) -> Recording:
        """Return the first calls alone."""
        return Recording(*(getattr(self, f.name)[:n_calls] for f in dataclasses.fields(self)))


@dataclass(frozen=True)
class RecordedStop:
    """One stop in the plain Python loop.

    Attributes
    ----------
    vehicles : tuple of Recording   from the front; one for the whole train in scope `train`
    stop : Stop or None             None where it broke off
    refusal : str                   why it broke off, else empty
    """

    vehicles: tuple[Recording, ...]
    stop: Stop | None
    refusal: str = ""


def plain_update(controller: Controller) -> Update:
    """Return the update function as plain Python, also where its author compiled it."""
    update: Update = getattr(controller.update, "py_func", controller.update)
    return update


def call_update(
    update: Update, parameters: Floats, observation: Floats, outputs: tuple[Floats, Floats, Floats]
) -> tuple[Floats, ...]:
    """Call once, on copies of what is given.

    Parameters
    ----------
    update : callable
    parameters : (n_parameters,)
    observation : (n_axles, n_observed)
    outputs : memory, command and signals, which are changed

    Returns
    -------
    tuple   the fields of a `Recording` for this call, copied

    Raises
    ------
    UpdateFailed   when the function raises
    """
    before = [array.copy() for array in outputs]
    try:
        with np.errstate(all="ignore"):  # compiled code gives no warnings either
            update(observation.copy(), parameters.copy(), *outputs)
    except Exception as problem:
        raise UpdateFailed(f"update raised {one_line(problem)}") from problem
    memory, command, signals = (array.copy() for array in outputs)
    return observation.copy(), before[0], before[1], before[2], memory, command, signals


def _stacked(rows: list[tuple[Floats, ...]]) -> Recording:
    return Recording(*(np.array(column) for column in zip(*rows, strict=True)))


def play(
    update: Update, controller: Controller, observations: Floats, *, is_carried: bool = True
) -> Recording:
    """Show observations to an update function one after the other, from zero memory, open loop.

    Parameters
    ----------
    update : callable
    controller : Controller     gives parameters and size of memory
    observations : (n_calls, n_axles, n_observed)
    is_carried : bool           False: every command is NaN before each call, not the last one

    Returns
    -------
    Recording

    Raises
    ------
    UpdateFailed   when the function raises
    """
    n_axles = observations.shape[1]
    memory = np.zeros((n_axles + 1, controller.n_memory))
    command = np.tile([float(FILL), *[1.0] * (controller.n_command - 1)], (n_axles, 1))
    signals = np.zeros(len(SIGNALS))
    parameters = controller.parameter_values
    rows = []
    for observation in observations:
        if not is_carried:
            command[:] = np.nan
        rows.append(call_update(update, parameters, observation, (memory, command, signals)))
    return _stacked(rows)


def record_stop(
    controller: Controller,
    scenario: Scenario,
    seed: int = 0,
    change: Callable[[Floats, int], None] | None = None,
    update: Update | None = None,
) -> RecordedStop:
    """Run a stop in the plain Python loop and keep every call.

    Parameters
    ----------
    controller : Controller
    scenario : Scenario
    seed : int
    change : callable or None   `change(observation, i_call)` may falsify what the strategy sees
    update : callable or None   what is called; None: the strategy as plain Python

    Returns
    -------
    RecordedStop   its recordings end early where the strategy raised or gave an invalid command
    """
    rows: dict[int, list[tuple[Floats, ...]]] = {}
    called = update or plain_update(controller)

    def recorded(
        observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
    ) -> None:
        own = rows.setdefault(memory.ctypes.data, [])  # a vehicle's memory stays where it is
        seen = observation.copy()
        if change is not None:
            change(seen, len(own))
        own.append(call_update(called, parameters, seen, (memory, command, signals)))
        if isinstance(called, ForeignUpdate):
            said = called.complaint(float(command[0, DEMAND_FACTOR]))
            if said:
                raise UpdateFailed(said)

    stop, refusal = None, ""
    try:
        listening = dataclasses.replace(controller, update=recorded)
        stop = simulate(scenario, listening, seed, compiled=False)
    except (InputError, UpdateFailed) as problem:
        refusal = str(problem)
    vehicles = tuple(_stacked(rows[place]) for place in sorted(rows) if rows[place])
    return RecordedStop(vehicles, stop, refusal)


def first_difference(one: Recording, other: Recording, *names: str) -> str | None:
    """Return where two recordings first differ in any bit, None where they do not."""
    for name in names:
        a, b = getattr(one, name), getattr(other, name)
        if a.shape != b.shape:
            return f"{name}: {len(a)} calls against {len(b)}"
        differs = a.view(np.int64) != b.view(np.int64)
        if differs.any():
            place = tuple(int(i) for i in np.argwhere(differs)[0])
            values = f"{float(a[place])!r} against {float(b[place])!r}"
            return f"{name} differ first at call {place[0]}, row {place[1]}: {values}"
    return None
