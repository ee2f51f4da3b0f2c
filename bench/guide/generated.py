"""Tables of the handbook made from the code itself: scenario keys, strategies."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module

from slipbench.contract import Controller, Parameter
from slipbench.guide.key_list import all_keys
from slipbench.results.quantities import BESIDE, SUMMARY, TRACES


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
    heads = ("key", "allowed", "default", "acts with", "meaning")
    tables: dict[str, list[tuple[str, ...]]] = {}
    for key in all_keys():
        spellings = ", ".join(f"`{spelling}`" for spelling in key.spellings)
        row = (spellings, key.allowed(), key.default(), key.acts, key.spec.doc)
        tables.setdefault(key.opening, []).append(row)
    return "\n\n".join(
        f"## {f'`{opening}`' if opening else 'At the top of the file'}\n\n{table(heads, rows)}"
        for opening, rows in tables.items()
    )


def strategy_pages(controllers: Iterable[Controller]) -> str:
    """Return principle and parameters of strategies."""
    return "\n\n".join(map(_strategy, controllers))


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
