"""A verdict as text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from slipbench.campaign.verdict import ALIKE, MEANINGS, Plane, Shares, Verdict
from slipbench.contract import Floats
from slipbench.results.tables import plain_table
from slipbench.statistics.intervals import Interval

WIDTH = 100


def share_text(share: Interval) -> str:
    """Return a share with its interval, in per cent."""
    return f"{share.estimate:.0%} [{share.low:.0%}, {share.high:.0%}]"


def verdict_text(verdict: Verdict) -> str:
    """Return how often, where, and by what the verdict on two sides turns."""
    first, second = verdict.sides
    shares = verdict.shares
    head = (
        f"{first} stops shorter than {second} in {share_text(shares.first)} of {shares.n} "
        f"situations; by more than {ALIKE:.1%} in {shares.clearly_first:.0%}, {second} in "
        f"{shares.clearly_second:.0%}."
    )
    parts = [textwrap.fill(head, WIDTH), _effects_table(verdict), *_notes(verdict)]
    if len(verdict.by_rail) > 1:
        parts.insert(1, _rails_table(verdict))
    if verdict.plane is not None:
        parts.append(textwrap.fill(plane_text(verdict.plane, verdict.sides), WIDTH))
    return "\n\n".join(parts)


def _rails_table(verdict: Verdict) -> str:
    first, second = verdict.sides
    rows = [
        [rail, share_text(own.first), f"{own.clearly_first:.0%}", f"{own.clearly_second:.0%}",
         str(own.n)]
        for rail, own in verdict.by_rail.items()
    ]  # fmt: skip
    heads = ["rail", f"{first}\nshorter [95 %]", f"{first}\nclearly", f"{second}\nclearly", "n"]
    return plain_table(heads, rows)


def _effects_table(verdict: Verdict) -> str:
    effects, rows = verdict.effects, []
    for i in verdict.ranked():
        name = verdict.names[i]
        thirds = verdict.by_third.get(name)
        rows.append(
            [
                name,
                _with_interval(effects.total[i], effects.total_interval[i]),
                _with_interval(effects.first[i], effects.first_interval[i]),
                "" if thirds is None else " ".join(f"{share:4.0%}" for share in thirds),
                MEANINGS.get(name, ""),
            ]
        )
    heads = [
        "assumption", "total effect\n[95 %]", "first-order\n[95 %]",
        f"{verdict.sides[0]} shorter\nlow, mid, high third", "what it is",
    ]  # fmt: skip
    return plain_table(heads, rows)


def _with_interval(value: float, interval: Floats) -> str:
    return f"{value:.2f} [{interval[0]:.2f}, {interval[1]:.2f}]"


def _notes(verdict: Verdict) -> Sequence[str]:
    return [
        textwrap.fill(
            "Total effect: the chance that the verdict flips when this assumption alone is drawn "
            "anew, over that of two unrelated situations. First-order: the share of the verdict's "
            "variance it causes by itself. Effects whose intervals overlap are not told apart.",
            WIDTH,
        )
    ]


def plane_text(plane: Plane, sides: tuple[str, str]) -> str:
    """Say how much of the plane of two assumptions is whose."""
    n = plane.mean.size
    n_first, n_second = int((plane.low > 0.0).sum()), int((plane.high < 0.0).sum())
    return (
        f"On the plane of {plane.names[0]} and {plane.names[1]}, everything else drawn: {sides[0]} "
        f"is shorter on the mean at {n_first} of {n} nodes, {sides[1]} at {n_second}, undecided "
        f"at {n - n_first - n_second} (95 % interval spans 0)."
    )


def headline(verdict: Verdict, rail: str | None = None) -> str:
    """Return one sentence: the share in which the first is shorter, and what it hangs on most."""
    shares: Shares = verdict.shares if rail is None else verdict.by_rail[rail]
    name = verdict.names[verdict.ranked()[0]]
    return (
        f"{verdict.sides[0]} stops shorter than {verdict.sides[1]} in {share_text(shares.first)} "
        f"of the situations; it hangs most on {MEANINGS.get(name, name)}"
    )
