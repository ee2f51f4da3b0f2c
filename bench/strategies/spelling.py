"""How a strategy is written: `NAME[:KEY=VALUE...]` or `FILE[:NAME][:KEY=VALUE...]`.

A value takes its unit (`slip_band:look_ahead=40ms:vent_slip=12%`) and is checked against the bounds
the strategy declares. A strategy whose parameters are given so stands in every label, table and
record under the text it was written as.
"""

from __future__ import annotations

from dataclasses import replace

from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text, shown
from slipbench.scenario.units import parse_value

GRAMMAR = "NAME[:KEY=VALUE...] or FILE[:NAME][:KEY=VALUE...]"


def split_written(text: str) -> tuple[str, tuple[str, ...]]:
    """Return what finds a strategy, and the words `KEY=VALUE` behind it.

    Raises
    ------
    InputError   if something else follows the first `KEY=VALUE`
    """
    words = [word.strip() for word in text.split(":")]
    n_base = next((i for i, word in enumerate(words) if i and "=" in word), len(words))
    for word in words[n_base:]:
        if "=" not in word:
            raise InputError(
                f"strategy {shown(text)}: {shown(word)} is no KEY=VALUE; write {GRAMMAR}"
            )
    return ":".join(words[:n_base]), tuple(words[n_base:])


def with_written(controller: Controller, words: tuple[str, ...]) -> Controller:
    """Return a strategy with the parameters of `KEY=VALUE` words set, its name unchanged.

    Raises
    ------
    InputError   for an unknown parameter, one given twice, a unit missing or wrong, or a value out
                 of the bounds the strategy declares
    """
    units = {parameter.name: parameter.unit for parameter in controller.parameters}
    values: dict[str, float] = {}
    for word in words:
        key, _, value = (part.strip() for part in word.partition("="))
        where = f"strategy {controller.name}: {key}"
        if key not in units:
            hint = nearest_text(key, units) if units else "it has none"
            raise InputError(f"{where}: no such parameter; {hint}")
        if key in values:
            raise InputError(f"{where}: given twice; give it once")
        try:
            values[key] = parse_value(value, units[key])
        except InputError as problem:
            raise InputError(f"{where} = {problem}") from None
    return controller.with_parameters(**values)


def label_of(name: str, words: tuple[str, ...]) -> str:
    """Return the name under which a strategy with parameters given stands."""
    return ":".join((name, *words))


def labelled(controller: Controller, words: tuple[str, ...]) -> Controller:
    """Return a strategy with the parameters of `KEY=VALUE` words set, under a name that says so.

    Raises
    ------
    InputError   see `with_written`
    """
    if not words:
        return controller
    set_so = with_written(controller, words)
    title = f"{controller.title}; {', '.join(words)}"
    return replace(set_so, name=label_of(controller.name, words), title=title)
