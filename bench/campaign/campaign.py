"""Run the stops of a campaign that are not stored yet, and store them as they finish."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Any

from slipbench.campaign.plan import Plan
from slipbench.campaign.rig import Rig
from slipbench.campaign.store import Store
from slipbench.ground.errors import InputError
from slipbench.running.candidate import FLOOR
from slipbench.running.progress import progress
from slipbench.running.runners import Runner
from slipbench.running.task import Task

MIXED_TOLERANCE = 0.01
"""Largest relative difference between machine types at which their stops may stand together. [-]

Library maths may differ in the last bit between processors; one flipped threshold of a strategy
then changes a stop, as another seed would. Assumed: well below the spread between seeds."""

N_PROBES = 3
"""Stops run on every machine type to compare them."""

COMPARED = ("final_distance", "final_time", "brake_energy", "contact_energy")
"""Numbers of a summary that machine types are compared by."""


@dataclass(frozen=True)
class Counts:
    """What running a campaign came to.

    Attributes
    ----------
    n_stops : int      of the plan
    n_found : int      stored before
    n_run : int        run now
    notes : tuple      lines for the reader, such as the comparison of machine types
    """

    n_stops: int
    n_found: int
    n_run: int
    notes: tuple[str, ...] = ()


class Interrupted(KeyboardInterrupt):
    """Ctrl-C, with what was reached; all that had finished is stored."""


def run_campaign(plan: Plan, store: Store, runner: Runner, is_quiet: bool = False) -> Counts:
    """Run what is missing of a plan.

    Raises
    ------
    InputError    if a scenario or strategy of the plan is not the one its stored stops were run
                  with, machine types differ by more than `MIXED_TOLERANCE`, or a stop fails
    Interrupted   by Ctrl-C
    """
    notes = compare_once(plan.tasks(), store, runner)
    with progress(len(plan), is_quiet=is_quiet) as bar:
        counts = run_missing(plan.tasks(), len(plan), Rig(store, runner, bar))
    if not notes:
        notes = mixture_notes(store)
    return Counts(counts.n_stops, counts.n_found, counts.n_run, tuple(notes))


def mixture_notes(store: Store) -> list[str]:
    """Return a line for the reader if a branch's stops come from several machine types."""
    machines = store.machines()
    if len(machines) <= 1:
        return []
    names = ", ".join(json.loads(text)["processor"] for text in machines.values())
    return [f"mixed machine types, not compared with each other: {names}"]


def run_missing(tasks: Iterable[Task], n_stops: int, rig: Rig) -> Counts:
    """Run the tasks that are not stored; memory does not grow with their number."""
    store, runner, bar = rig
    found = [0]
    n_run = 0
    in_flight: set[str] = set()

    def missing() -> Iterator[Task]:
        for task in tasks:
            store.check(task)
            if task.key in in_flight or store.has(task.key):
                found[0] += 1
                if bar is not None:
                    bar.found(1)
            else:
                in_flight.add(task.key)
                yield task

    try:
        with closing(runner.run(missing())) as results:  # type: ignore[type-var]
            for task, outcome in results:
                store.add(task, outcome)
                in_flight.discard(task.key)
                n_run += 1
                if bar is not None:
                    bar.done()
    except KeyboardInterrupt as end:
        kind = Interrupted if type(end) is KeyboardInterrupt else type(end)
        raise kind(
            f"after {found[0] + n_run} of {n_stops} stops, all of them stored; "
            "the same command resumes"
        ) from None
    return Counts(n_stops, found[0], n_run)


def evaluate(tasks: Sequence[Task], rig: Rig) -> list[dict[str, Any]]:
    """Return the summaries of tasks in their order, run or read from the store.

    Raises
    ------
    InputError   as `run_campaign`
    """
    compare_once(tasks, rig.store, rig.runner)
    run_missing(tasks, len(tasks), rig)
    summaries = []
    for task in tasks:
        summary = rig.store.summary(task.key)
        assert summary is not None
        summaries.append(summary)
    return summaries


def compare_once(tasks: Iterable[Task], store: Store, runner: Runner) -> list[str]:
    """Compare machine types with the first stops an open store is asked for, and not again.

    Returns
    -------
    list of str   see `compare_machines`

    Raises
    ------
    InputError    see there
    """
    if store.comparison is None:
        store.comparison = compare_machines(tasks, store, runner)
    return store.comparison


def compare_machines(tasks: Iterable[Task], store: Store, runner: Runner) -> list[str]:
    """Compare the machine types of a mixed campaign on the plan's first stops.

    Returns
    -------
    list of str   what was compared, a line a machine type; empty if there is only one, or none of
                  these stops can be compared

    Raises
    ------
    InputError   if they differ by more than `MIXED_TOLERANCE`
    """
    here, stored = runner.machines(), store.machines()
    known = {**stored, **here}
    if len(known) <= 1:
        return []
    reference = next(iter(stored or here))
    probes = list(itertools.islice(_probes(tasks, store, runner, reference), N_PROBES))
    lines: list[str] = []
    if not probes:
        return lines
    for machine in here:
        if machine == reference:
            continue
        worst = 0.0
        for task, expected in probes:
            found = json.loads(runner.run_on(machine, task).summary)
            worst = max(worst, difference(expected, found))
        names = [json.loads(known[which])["processor"] for which in (machine, reference)]
        line = (
            f"mixed machine types: {names[0]} against {names[1]}, largest relative difference "
            f"{worst:.1e} in {len(probes)} stops (tolerance {MIXED_TOLERANCE:g})"
        )
        if worst > MIXED_TOLERANCE:
            raise InputError(f"campaign {store.path}: {line}; they do not stand together")
        lines.append(line)
    return lines


def _probes(
    tasks: Iterable[Task], store: Store, runner: Runner, reference: str
) -> Iterator[tuple[Task, dict[str, Any]]]:
    """Yield stops with what the reference machine type made, or makes now, of them."""
    is_stored = reference in store.machines()
    for task in tasks:
        if task.candidate.reference == FLOOR:  # no stop
            continue
        if not is_stored:
            yield task, json.loads(runner.run_on(reference, task).summary)
        elif store.machine(task.key) == reference:
            yield task, store.summary(task.key) or {}


def difference(first: dict[str, Any], second: dict[str, Any]) -> float:
    """Return the largest relative difference of two summaries in `COMPARED`. [-]"""
    worst = 0.0
    for name in COMPARED:
        a, b = first.get(name), second.get(name)
        if a is None or b is None:
            worst = max(worst, 0.0 if a == b else math.inf)
        elif a != b:
            worst = max(worst, abs(a - b) / max(abs(a), abs(b)))
    return worst
