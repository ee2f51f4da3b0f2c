"""Tables of the handbook made from the code itself: scenario keys, strategies."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from importlib import import_module

from slipbench.contract import Controller, Parameter
from slipbench.ground.telling import shown
from slipbench.results.quantities import BESIDE, SUMMARY, TRACES
from slipbench.scenario import Scenario
from slipbench.scenario.fields import FieldSpec, default_of, specs_of
from slipbench.scenario.units import DIMENSIONS
from slipbench.strategies.registry import Known


def table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    """Return a Markdown table; a `|` in a cell is escaped."""
    lines = [heads, tuple("---" for _ in heads), *rows]
    return "\n".join(
        f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in r)} |" for r in lines
    )


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


def key_tables() -> str:
    """Return every scenario key: spelling in a file, range, default, meaning, part by part."""
    parts = []
    for path, is_list, record in _records(Scenario, "", False):
        head = f"[[{path}]]" if is_list else f"[{path}]"
        rows = [
            (_spelling(name, spec), _allowed(spec), _default(record, name, spec), spec.doc)
            for name, spec in specs_of(record).items()
            if spec.kind != "record"
        ]
        if rows:
            title = f"## `{head}`" if path else "## At the top of the file"
            parts.append(f"{title}\n\n{table(('key', 'allowed (SI)', 'default', 'meaning'), rows)}")
    return "\n\n".join(parts)


def _records(record: type, path: str, is_list: bool) -> Iterator[tuple[str, bool, type]]:
    yield path, is_list, record
    for name, spec in specs_of(record).items():
        if spec.kind == "record" and spec.record_type is not None:
            inner = spec.key or name
            yield from _records(
                spec.record_type, f"{path}.{inner}" if path else inner, spec.is_list
            )


def _spelling(name: str, spec: FieldSpec) -> str:
    """Return how the key is written, with the units it may end in."""
    suffixes = [unit.suffix for unit in DIMENSIONS[spec.dimension] if unit.suffix]
    key = spec.key or name
    if spec.kind != "quantity" or not suffixes:
        return f"`{key}`"
    return ", ".join(f"`{key}_{suffix}`" for suffix in suffixes)


def _allowed(spec: FieldSpec) -> str:
    return f"{'list, each ' if spec.is_list else ''}{spec.allowed_text()}"


def _default(record: type, name: str, spec: FieldSpec) -> str:
    """Return the default with its mark and source; `required` where there is none."""
    default = default_of(record, name)
    if default is dataclasses.MISSING:
        return "required"
    text = "none" if default in (None, ()) else shown(default).replace("'", "")
    return f"{text} ({spec.mark}: {spec.source})" if spec.mark else text


def strategy_pages(known: Iterable[Known]) -> str:
    """Return principle and parameters of every strategy known here."""
    return "\n\n".join(_strategy(one.controller) for one in known)


def _strategy(controller: Controller) -> str:
    module = controller.update.__module__ if hasattr(controller.update, "__module__") else ""
    lines = [f"## `{controller.name}`", f"{controller.title}.", *_principle(module)]
    sees = ", ".join(f"`{name}`" for name in controller.observes) or "nothing"
    facts = [f"Sees {sees}", f"one call a {controller.scope}"]
    if controller.uses_truth:
        facts.append("sees the truth: an upper bound, ranked apart")
    lines.append("; ".join(facts) + ".")
    if controller.parameters:
        heads = (
            "parameter",
            "default",
            "from",
            "to",
            "unit",
            "meaning",
            "where the default is from",
        )
        lines.append(table(heads, map(_parameter, controller.parameters)))
    return "\n\n".join(lines)


def _parameter(parameter: Parameter) -> tuple[str, ...]:
    return (
        f"`{parameter.name}`", f"{parameter.default:g}", f"{parameter.low:g}",
        f"{parameter.high:g}", parameter.unit, parameter.doc, parameter.source,
    )  # fmt: skip


def _principle(module: str) -> list[str]:
    """Return the docstring of the module a strategy is written in, without its first line."""
    text = (import_module(module).__doc__ or "") if module else ""
    rest = text.strip().partition("\n")[2].strip()
    return [rest] if rest else []


def result_tables() -> str:
    """Return every name of a stop's summary and traces with unit, meaning and origin."""
    heads = ("name", "unit", "meaning", "of", "from")
    return "\n\n".join(
        f"## {title}\n\n"
        + table(heads, [(f"`{q.name}`", q.unit, q.meaning, q.of, q.origin) for q in quantities])
        for title, quantities in (
            ("`Stop.summary`", SUMMARY),
            ("`Stop.traces`", TRACES),
            ("Beside a summary, in rows of comparisons and campaigns", BESIDE),
        )
    )
