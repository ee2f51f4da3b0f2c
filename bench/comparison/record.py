"""What a comparison leaves behind for its report: everything needed to read and repeat it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from slipbench.comparison.compare import ComparedStop, Comparison, Score, scores_on, shortest_stop
from slipbench.ground.errors import InputError
from slipbench.ground.reading import LONGEST_CODE, place, regular_bytes
from slipbench.ground.telling import told
from slipbench.results.identity import machine_text, versions
from slipbench.results.output import MARKER, is_sealed
from slipbench.results.quantities import UNITS, units_of
from slipbench.results.tables import shown_values, value_text

RECORD = "compare.json"
WRITER = "slipbench compare"


@dataclass(frozen=True)
class KeptValue:
    """One value of a scenario, as text, with its unit, mark and source."""

    path: str
    value: str
    unit: str
    mark: str
    source: str


@dataclass(frozen=True)
class KeptRail:
    """A scenario of the comparison; `values` are those it does not share with all others."""

    name: str
    title: str
    train: str
    no_floor: str
    """Why there is no floor; empty if there is one."""
    values: tuple[KeptValue, ...]


@dataclass(frozen=True)
class KeptStrategy:
    """A strategy of the comparison."""

    name: str
    title: str
    origin: str
    uses_truth: bool


@dataclass(frozen=True)
class KeptComparison:
    """A comparison as its record keeps it."""

    command: str
    n_seeds: int
    versions: Mapping[str, str]
    machine: Mapping[str, Any]
    rails: tuple[KeptRail, ...]
    shared_values: tuple[KeptValue, ...]
    strategies: tuple[KeptStrategy, ...]
    rows: tuple[ComparedStop, ...]

    def scores(self) -> dict[str, list[Score]]:
        """Return the scores on each rail, that with the shortest stop first."""
        found = {rail.name: scores_on(rail.name, self.rows) for rail in self.rails}
        return dict(sorted(found.items(), key=lambda item: shortest_stop(item[1])))


def as_record(comparison: Comparison, command: str) -> dict[str, Any]:
    """Return what `compare.json` holds of a comparison, plain JSON values.

    Parameters
    ----------
    comparison : Comparison
    command : str   the line that repeats it
    """
    values = {s.name: [_value(v) for v in shown_values(s)] for s in comparison.scenarios}
    first, *others = values.values()
    shared = [value for value in first if all(value in other for other in others)]
    if not others:
        shared = []
    return {
        "command": command,
        "n_seeds": comparison.n_seeds,
        "versions": dict(versions()),
        "machine": json.loads(machine_text()),
        "rails": [
            {
                "name": s.name,
                "title": s.title,
                "train": s.train.name,
                "no_floor": comparison.yardsticks[s.name].reason,
                "values": [value for value in values[s.name] if value not in shared],
            }
            for s in comparison.scenarios
        ],
        "shared_values": shared,
        "strategies": [
            {
                "name": known.controller.name,
                "title": known.controller.title,
                "origin": known.origin,
                "uses_truth": known.controller.uses_truth,
            }
            for known in comparison.strategies
        ],
        UNITS: units_of(comparison.rows[0].as_record()),
        "rows": [row.as_record() for row in comparison.rows],
        "findings": [list(row.findings) for row in comparison.rows],
    }


def read_record(folder: Path) -> KeptComparison:
    """Read what `slipbench compare` left in a folder.

    Raises
    ------
    InputError   if there is no such record, it is another program's, or of another version's form
    """
    path = folder / RECORD
    try:
        content = json.loads(
            regular_bytes(path, "allowed: a folder that slipbench compare wrote", most=LONGEST_CODE)
        )
    except InputError:
        raise
    except (ValueError, RecursionError) as problem:
        raise InputError(f"{place(path)}: no JSON; run slipbench compare again") from problem
    if not isinstance(content, dict) or content.get(MARKER) != WRITER:
        raise InputError(f"{place(path)}: not written by {WRITER}; name a folder that is")
    try:
        if not is_sealed(content):
            raise ValueError("its seal is broken")
        return _kept(content)
    except (KeyError, TypeError, AttributeError, ValueError, RecursionError) as problem:
        raise InputError(
            f"{place(path)}: {type(problem).__name__} {told(problem)}: written by another version "
            "of slipbench, or changed; run slipbench compare again"
        ) from problem


def _kept(content: Mapping[str, Any]) -> KeptComparison:
    findings = content.get("findings") or [()] * len(content["rows"])
    rails = [KeptRail(**{**rail, "values": _values(rail["values"])}) for rail in content["rails"]]
    return KeptComparison(
        command=str(content["command"]),
        n_seeds=int(content["n_seeds"]),
        versions=content["versions"],
        machine=content["machine"],
        rails=tuple(rails),
        shared_values=_values(content["shared_values"]),
        strategies=tuple(KeptStrategy(**strategy) for strategy in content["strategies"]),
        rows=tuple(
            ComparedStop.from_record(row, own)
            for row, own in zip(content["rows"], findings, strict=True)
        ),
    )


def _value(value: Any) -> dict[str, str]:
    return {
        "path": value.path,
        "value": value_text(value.value),
        "unit": value.unit,
        "mark": value.mark,
        "source": value.source,
    }


def _values(kept: Sequence[Mapping[str, str]]) -> tuple[KeptValue, ...]:
    return tuple(KeptValue(**value) for value in kept)
