"""What a slip-control strategy is: one function, and a frozen record that says what it claims.

The function, written in the part of Python that numba compiles (so it runs either way):

    update(observation, parameters, memory, command, signals)

It is called once every sample time with the axles under its control and fills the last three.

=============  =====================  ==========================================================
argument       shape, float64         holds
=============  =====================  ==========================================================
observation    (n_axles, n_observed)  a row an axle, front first; columns by `COLUMN`, see below
parameters     (n_parameters,)        values of the record's parameters, in their order, SI
memory         (n_axles+1, n_memory)  zero at the start; a row an axle, the last for the vehicle
command        (n_axles, 2)           valve (`FILL`, `HOLD`, `VENT`) and demand factor [-]; a third
                                      column, the dynamic brake's factor from 0 to 1, where the
                                      record says `commands_dynamic`
signals        (n_signals,)           what the vehicle tells the rest, see `SIGNALS`
=============  =====================  ==========================================================

Columns of the observation:

=====================  ======  ==============================================================
measured_wheel_speed   m/s     rim speed as the toothed-wheel sensor and its timing give it
measured_pressure      Pa      brake cylinder, gauge
brake_demand           -       demand acting now over the emergency demand
sample_time            s       time between two calls
dynamic_force          N       what the axle's drive gives at the rim; 0 without one
dynamic_demand         N       what it would give, had no slip control taken off
train_speed            m/s     truth; NaN unless the strategy declares `uses_truth`, like the rest
wheel_speed            m/s     truth, at the rim
peak_force             N       truth: rail force of the axle at the peak of the curve it meets
peak_creepage          -       truth: where that peak is
demanded_force         N       truth: rim force at demand factor one
rotating_mass          kg      truth: J / r^2
train_acceleration     m/s2    truth: mean over the last step
=====================  ======  ==============================================================

Valve fill connects the cylinder to the demanded pressure times the demand factor, hold isolates
it, vent empties it to atmosphere; each acts after the valve's delay. A strategy of `scope="train"`
sees all axles of the train; else one call sees one vehicle's axles. Functions a strategy calls must
be decorated with `slipbench.compiling.helper.helper`, or with `numba.njit` where they make arrays.
For numbers that are the same to the last bit compiled and plain, keep to + - * /, comparisons, min,
max, abs and functions of `math`.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Literal, NoReturn

import numpy as np

from slipbench.ground.arrays import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.telling import quoted, shown
from slipbench.kernel.columns import (
    DEMAND_FACTOR,
    DYNAMIC_FACTOR,
    FILL,
    HOLD,
    N_MEASURED,
    OBSERVED,
    VALVE,
    VENT,
)

__all__ = [
    "COLUMN",
    "DEMAND",
    "DEMAND_FACTOR",
    "DYNAMIC_FACTOR",
    "FILL",
    "HOLD",
    "ISOLATED",
    "MEASURED",
    "OBSERVED",
    "PRESSURE",
    "SAMPLE_TIME",
    "SIGNALS",
    "SLIDE",
    "TRUTH",
    "VALVE",
    "VENT",
    "WHEEL_SPEED",
    "Controller",
    "Floats",
    "Parameter",
    "Update",
]

Update = Callable[[Floats, Floats, Floats, Floats, Floats], None]

MEASURED = OBSERVED[:N_MEASURED]
"""Observation columns that fitted equipment can see."""

TRUTH = OBSERVED[N_MEASURED:]
"""Observation columns only a strategy with `uses_truth` gets."""

COLUMN = {name: i for i, name in enumerate(OBSERVED)}
"""Column number of each observed quantity."""

SLIDE, ISOLATED = 0, 1
SIGNALS = ("slide", "isolated")
"""Signals a vehicle gives: a slide is in progress (sanders trigger on it); slip control is out."""

WHEEL_SPEED = COLUMN["measured_wheel_speed"]
PRESSURE = COLUMN["measured_pressure"]
DEMAND = COLUMN["brake_demand"]
SAMPLE_TIME = COLUMN["sample_time"]


LONGEST_TEXT = {"name": 120, "title": 1000}
"""Characters of a strategy's name, with the parameters written behind it, and of its title."""

MOST_MEMORY = 100_000
"""Columns of memory; more are taken for a mistake."""


@dataclass(frozen=True)
class Parameter:
    """One number a strategy can be tuned by."""

    name: str
    default: float
    unit: str
    low: float
    high: float
    source: str
    """Where the default comes from, with its mark (published, memory, assumed, tuned ...)."""
    doc: str = ""
    is_data: bool = False
    """A fact of the vehicle or its equipment, which no tuning may change."""


@dataclass(frozen=True)
class Controller:
    """A strategy and what it declares about itself; the declarations are tested claims."""

    name: str
    title: str
    """One line: the principle."""
    update: Update
    parameters: tuple[Parameter, ...] = ()
    observes: tuple[str, ...] = ("measured_wheel_speed", "sample_time")
    """Names of the observation columns the command may depend on."""
    n_memory: int = 1
    scope: Literal["vehicle", "train"] = "vehicle"
    uses_truth: bool = False
    """It sees the true state: an upper bound, ranked apart."""
    commands_dynamic: bool = False
    """It commands the dynamic brake by a factor, in place of the drives' own slip control."""
    actuator: Literal["valves", "ideal"] = "valves"
    """`ideal`: the demand factor acts on the brake torque at once; allowed with `uses_truth`."""
    is_permutable: bool = False
    """The order of the axles does not matter: permuted, they get the same commands, permuted."""
    values: tuple[float, ...] | None = None
    """Parameter values in their order; None stands for the defaults."""

    def __post_init__(self) -> None:
        """Check the record against itself."""
        self._check_words()
        self._check_function()
        self._check_parameters()
        self._check_observed()

    def _refuse(self, what: str) -> NoReturn:
        raise InputError(f"strategy {quoted(str(self.name))}: {what}")

    def _check_words(self) -> None:
        """Check names, and the fields that hold one of a few words."""
        for field in ("name", "title"):
            text = getattr(self, field)
            is_line = isinstance(text, str) and text.strip() and text.isprintable()
            if not is_line or len(text) > LONGEST_TEXT[field]:
                raise InputError(
                    f"strategy: {field} = {shown(text)}; allowed: printable text of one line, at "
                    f"most {LONGEST_TEXT[field]} characters"
                )
        if any(sign in self.name for sign in "/\\"):
            self._refuse(
                "its name; allowed: one that can be part of a file's name, without / or \\"
            )
        for field, allowed in (("scope", ("vehicle", "train")), ("actuator", ("valves", "ideal"))):
            value = getattr(self, field)
            if not isinstance(value, str) or value not in allowed:
                self._refuse(f"{field} = {shown(value)}; allowed: {' or '.join(allowed)}")
        for field in ("uses_truth", "is_permutable", "commands_dynamic"):
            if not isinstance(getattr(self, field), bool):
                self._refuse(f"{field} = {shown(getattr(self, field))}; allowed: True or False")
        if self.actuator == "ideal" and self.commands_dynamic:
            self._refuse("the ideal actuator's factor acts on the dynamic brake already")
        if self.actuator == "ideal" and not self.uses_truth:
            self._refuse("the ideal actuator is for strategies with uses_truth=True")
        is_count = isinstance(self.n_memory, int) and not isinstance(self.n_memory, bool)
        if not is_count or not 1 <= self.n_memory <= MOST_MEMORY:
            self._refuse(
                f"n_memory = {shown(self.n_memory)}; allowed: >= 1, whole, at most {MOST_MEMORY}"
            )

    def _check_function(self) -> None:
        """Check that the function is one that does something when it is called."""
        function = getattr(self.update, "py_func", self.update)
        if not callable(function):
            self._refuse(f"update = {shown(function)}; allowed: a function")
        of_object = vars(type(function)).get("__call__")
        for one in (function, of_object):
            if inspect.iscoroutinefunction(one) or inspect.isasyncgenfunction(one):
                self._refuse("update is an async function, which does nothing when it is called")
            if inspect.isgeneratorfunction(one):
                self._refuse("update is a generator (it yields), which does nothing when called")

    def _check_parameters(self) -> None:
        """Check the parameters' records, and their values."""
        is_list = isinstance(self.parameters, tuple | list)
        if not is_list or not all(isinstance(one, Parameter) for one in self.parameters):
            self._refuse(f"parameters = {shown(self.parameters)}; allowed: a tuple of Parameter")
        names = [parameter.name for parameter in self.parameters]
        for name in names:
            if not isinstance(name, str) or not name.strip() or not name.isprintable():
                self._refuse(f"parameter {shown(name)}; allowed: a name of printable text")
            if names.count(name) > 1:
                self._refuse(f"parameter {shown(name)} is there twice")
        for parameter in self.parameters:
            for field in ("default", "low", "high"):
                value = getattr(parameter, field)
                if isinstance(value, bool) or not isinstance(value, int | float | np.number):
                    self._refuse(f"{parameter.name}: {field} = {shown(value)}; allowed: a number")
        if self.values is not None and len(self.values) != len(names):
            self._refuse(f"{len(self.values)} values for {len(names)} parameters")
        for parameter, value in zip(self.parameters, self.parameter_values, strict=True):
            if not (math.isfinite(value) and parameter.low <= value <= parameter.high):
                self._refuse(
                    f"{parameter.name} = {value:g} {parameter.unit}; "
                    f"allowed: {parameter.low:g} to {parameter.high:g} {parameter.unit}"
                )

    def _check_observed(self) -> None:
        """Check what it says it observes."""
        if isinstance(self.observes, str):
            self._refuse(
                f"observes = {shown(self.observes)}; allowed: a tuple of names, "
                f"({shown(self.observes)},)"
            )
        if not isinstance(self.observes, Iterable):
            self._refuse(f"observes = {shown(self.observes)}; allowed: a tuple of names")
        for name in self.observes:
            if not isinstance(name, str) or name not in OBSERVED:
                self._refuse(
                    f"observes {shown(name)}, which is no observation column; "
                    f"allowed: {', '.join(OBSERVED)}"
                )
        if not self.uses_truth and any(name in TRUTH for name in self.observes):
            self._refuse("observes a truth column without uses_truth=True")

    @property
    def n_command(self) -> int:
        """Columns of its command."""
        return 3 if self.commands_dynamic else 2

    @property
    def parameter_values(self) -> Floats:
        """The parameters as the update function gets them. (n_parameters,), SI"""
        if self.values is not None:
            return np.array(self.values, dtype=np.float64)
        return np.array([p.default for p in self.parameters], dtype=np.float64)

    def with_parameters(self, /, **values: float) -> Controller:
        """Return the strategy with some parameters set; an unknown name or value is refused."""
        names = [p.name for p in self.parameters]
        for name in values:
            if name not in names:
                raise InputError(
                    f"strategy {quoted(self.name)}: no parameter {shown(name)}; "
                    f"it has: {', '.join(names) or 'none'}"
                )
        now = dict(zip(names, self.parameter_values.tolist(), strict=True))
        now.update(values)
        return replace(self, values=tuple(float(now[name]) for name in names))
