"""Which wheels are flat, by every rule on flats there is, and by the one that is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from slipbench.assess.limits import Limit
from slipbench.assess.sheet import Sheet
from slipbench.ground.errors import InputError
from slipbench.ground.telling import nearest_text
from slipbench.measures.limits import FLAT_LIMITS, FlatLimit

FLAT_MEASURE = "flat_length_high"
"""Of the line of the sheet that a chosen rule is judged by."""

NAMES = (
    "us-locomotives", "indian-coaches", "indian-wagons", "aar-wagons", "gcu-large", "gcu-small",
)  # fmt: skip
"""Of the rules in `measures.limits.FLAT_LIMITS`, in their order."""

RULES: dict[str, FlatLimit] = dict(zip(NAMES, FLAT_LIMITS, strict=True))


@dataclass(frozen=True)
class Flats:
    """Wheels of the worst stop by one rule.

    Attributes
    ----------
    name : str                 of the rule
    rule : FlatLimit
    rail, where : str          the stop with most wheelsets over it; empty if none is
    surely, perhaps : tuple    axles, from 1: over it at the low end of the band, or at the high
    """

    name: str
    rule: FlatLimit
    rail: str
    where: str
    surely: tuple[int, ...]
    perhaps: tuple[int, ...]


def with_rule(limits: Sequence[Limit], name: str | None) -> tuple[Limit, ...]:
    """Return the limits with that on flats taken from a rule; None leaves them.

    Raises
    ------
    InputError   for a name that is none, or limits without one on flats
    """
    if name is None:
        return tuple(limits)
    if name not in RULES:
        raise InputError(f"--flat-limit {name!r}: unknown; {nearest_text(name, RULES)}")
    if not any(limit.measure == FLAT_MEASURE for limit in limits):
        raise InputError(f"--flat-limit {name}: the limits judge no {FLAT_MEASURE}")
    rule = RULES[name]
    changes = {"document": f"{rule.document} ({rule.scope})", "mark": rule.mark,
               "reading": rule.reading, "high": rule.single_length}  # fmt: skip
    return tuple(
        replace(limit, name=f"flat length by {name}", **changes)  # type: ignore[arg-type]
        if limit.measure == FLAT_MEASURE
        else limit
        for limit in limits
    )


def flat_table(sheet: Sheet) -> list[Flats]:
    """Return for every rule the stop of the programme with most wheelsets over it.

    Single flats are held against it; pairs of adjoining ones are not known here.
    """
    return [_worst(sheet, name, rule) for name, rule in RULES.items()]


def _worst(sheet: Sheet, name: str, rule: FlatLimit) -> Flats:
    found = Flats(name, rule, "", "", (), ())
    for result in sheet.results:
        if result.failure or "flat_length_low" not in result.summary:
            continue
        low, high = (_over(result.summary[f"flat_length_{end}"], rule) for end in ("low", "high"))
        if (len(low), len(high)) > (len(found.surely), len(found.perhaps)):
            rail = f"{result.case.rail}, dry reference" if result.case.is_dry else result.case.rail
            found = Flats(name, rule, rail, result.where, low, high)
    return found


def _over(lengths: Sequence[float], rule: FlatLimit) -> tuple[int, ...]:
    return tuple(i for i, length in enumerate(lengths, 1) if length >= rule.single_length)


def axles_text(axles: Sequence[int], most: int = 8) -> str:
    """Return axles in words: `none`, `2, 3, 7`, or the first few and how many more."""
    if not axles:
        return "none"
    shown = ", ".join(map(str, axles[:most]))
    return shown if len(axles) <= most else f"{shown} and {len(axles) - most} more"
