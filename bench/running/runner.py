"""Run what the registry found; a failure inside a user's own strategy becomes one clear line."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from slipbench.ground.errors import InputError
from slipbench.results.quantities import SCHEMA, SCHEMA_VERSION, UNITS, units_of
from slipbench.running.apart import run_apart
from slipbench.running.limit import limited
from slipbench.scenario import Scenario
from slipbench.stop.simulation import get_ready, simulate, simulate_way
from slipbench.stop.stop import Stop, Way
from slipbench.strategies.registry import Known, one_line, where_in
from slipbench.strategies.update import compile_update

T = TypeVar("T")


def prepare(known: Known) -> None:
    """Compile a strategy that runs compiled, so that workers find it on disk."""
    if known.runs_compiled:
        as_input_error(known, lambda: compile_update(known.controller.update))


def run_stop(
    scenario: Scenario,
    known: Known,
    seed: int,
    *,
    with_traces: bool = False,
    stop_limit: float = math.inf,
) -> Stop:
    """Run one stop; whatever a strategy that is not shipped raises becomes an `InputError`.

    One under an FMI unit runs in a process beside this one, see `slipbench.running.apart`.

    Raises
    ------
    StopFailed   an `InputError`: as of `simulate`, or it takes longer than `stop_limit` [s] by the
                 clock; or the unit crashed
    """
    what = f"scenario {scenario.name}, strategy {known.controller.name}, seed {seed}"
    if getattr(known.controller.update, "runs_apart", False):
        stop: Stop = run_apart(run_here, (scenario, known, seed, with_traces), stop_limit, what)
        return stop
    return run_here(scenario, known, seed, with_traces, stop_limit=stop_limit, what=what)


def run_way(scenario: Scenario, known: Known, seed: int, before: Way | None = None) -> Way:
    """Run one stop for its way alone, over the rail an earlier one left; failures as `run_stop`."""
    if getattr(known.controller.update, "runs_apart", False):
        what = f"scenario {scenario.name}, strategy {known.controller.name}, seed {seed}"
        way: Way = run_apart(_way_here, (scenario, known, seed, before), math.inf, what)
        return way
    return _way_here(scenario, known, seed, before)


def _way_here(
    scenario: Scenario,
    known: Known,
    seed: int,
    before: Way | None,
    *,
    begin: Callable[[], None] = lambda: None,
) -> Way:
    begin()

    def run() -> Way:
        return simulate_way(
            scenario,
            known.controller,
            seed,
            compiled=known.runs_compiled,
            rail_before=None if before is None else before.rail_after,
        )

    return as_input_error(known, run)


def run_here(
    scenario: Scenario,
    known: Known,
    seed: int,
    with_traces: bool,
    *,
    stop_limit: float = math.inf,
    what: str = "",
    begin: Callable[[], None] = lambda: None,
) -> Stop:
    """Run one stop in this process; `begin` is called once all is compiled."""

    def run() -> Stop:
        get_ready(known.controller, known.runs_compiled)  # what is compiled first takes its time
        begin()
        with limited(stop_limit, what):
            return simulate(
                scenario,
                known.controller,
                seed,
                compiled=known.runs_compiled,
                with_traces=with_traces,
            )

    return as_input_error(known, run)


def stop_record(stop: Stop) -> dict[str, Any]:
    """Return a stop's summary and where it comes from, for JSON; what is not finite is None."""
    flat = {
        SCHEMA: SCHEMA_VERSION,
        "scenario": stop.scenario.name,
        "strategy": stop.controller.name,
        "seed": stop.seed,
        "uses_truth": stop.controller.uses_truth,
        "initial_speed": stop.scenario.initial_speed,
        **stop.summary,
    }
    record = {name: finite_or_none(value) for name, value in flat.items()}
    return record | {UNITS: units_of(record)}


def finite_or_none(value: Any) -> Any:
    """Return a value, or list of values, with every float that is not finite replaced by None."""
    if isinstance(value, list):
        return [finite_or_none(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def as_input_error(known: Known, act: Callable[[], T]) -> T:
    """Act; whatever a strategy that is not shipped raises becomes an `InputError` of one line."""
    try:
        return act()
    except InputError:
        raise
    except KeyboardInterrupt:
        raise
    except BaseException as problem:  # a strategy may raise, or end, by whatever it likes
        if known.is_shipped:
            raise
        where = where_in(problem, Path(known.origin))
        checked = isinstance(problem, IndexError) and known.runs_compiled and not where
        hint = "; run it without --compile to see the line" if checked else ""
        raise InputError(
            f"strategy {known.controller.name}: {known.origin}: {where}{one_line(problem)}{hint}"
        ) from problem
