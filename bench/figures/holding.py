"""Holding against easing: the table, the picture and the sheet of the advice."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure

from slipbench.figures import style
from slipbench.figures.cards import Table, sheet_page
from slipbench.guidance.holding import CLOSE, HELD, Proof, Row, sentence
from slipbench.guidance.spread import MEANINGS
from slipbench.results.cells import cell
from slipbench.results.tables import UNKNOWN, plain_table

HEADS = ("rail", "strategy", "brake", "held [m]", "longer by [m]", "95 % interval", "longer",
         "shorter", "deep slip, held", "eased")  # fmt: skip


def proof_text(proof: Proof) -> str:
    """Return the table and the sentence for a terminal."""
    rows: list[Sequence[str] | str] = [_cells(row) for row in proof.rows]
    led = ", ".join(f"{name} {mean:.0f} m" for name, mean in proof.leading)
    return "\n".join(
        [
            "Holding full service, or easing it when slip control works",
            f"train: {'; '.join(proof.trains)}; {proof.n_draws} draws each: {proof.spread.text()}",
            f"strategies, by their mean in service over these rails: {led}",
            "",
            plain_table([head.replace(" [", "\n[") for head in HEADS], rows, n_left=3),
            "",
            *notes(),
            "",
            sentence(proof),
        ]
    )


def notes() -> list[str]:
    """Return what must be known to read the table."""
    return [
        f"longer by: mean of paired differences to the held stop; longer, shorter: by more than "
        f"{CLOSE:.0%}",
        "deep slip: share of the time of sliding spent deeper than creepage 0.2",
        "eased: after the reaction time on activity in the cab, fully on again after 3 s of calm; "
        "pumped: 4 s on, 2 s off",
    ]


def _cells(row: Row) -> list[str]:
    return [
        row.rail,
        row.strategy,
        row.way,
        f"{row.held:.0f}" if math.isfinite(row.held) else "does not stop",
        _signed(row.longer.estimate),
        f"{_signed(row.longer.low)} to {_signed(row.longer.high)}",
        f"{row.n_longer}/{row.n}",
        f"{row.n_shorter}/{row.n}",
        f"{row.deep_held:.0%}",
        f"{row.deep:.0%}",
    ]


def _signed(value: float) -> str:
    return f"{value:+.0f}" if math.isfinite(value) else UNKNOWN


def proof_csv(proof: Proof) -> str:
    """Return every row as CSV, units in the heads."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        ["rail", "strategy", "brake", "held_m", "longer_m", "longer_at_least_m", "longer_at_most_m",
         "n_longer", "n_shorter", "n", "deep_slip_held", "deep_slip", "used_adhesion_held",
         "used_adhesion"]
    )  # fmt: skip
    for row in proof.rows:
        longer = row.longer
        numbers = (row.held, longer.estimate, longer.low, longer.high, row.n_longer, row.n_shorter,
                   row.n, row.deep_held, row.deep, row.used_held, row.used)  # fmt: skip
        words = (cell(row.rail), cell(row.strategy), cell(row.way))
        writer.writerow([*words, *("" if _is_no(number) else number for number in numbers)])
    return stream.getvalue()


def _is_no(number: float) -> bool:
    return not math.isfinite(number)


_LOOKS = (("o", style.BLUE), ("s", style.GREEN), ("^", style.VERMILION), ("D", style.BLACK),
          ("v", style.PURPLE), ("P", style.ORANGE))  # fmt: skip


def draw_proof(proof: Proof) -> Figure:
    """Draw the difference of every way to holding: a row a rail, a mark a strategy and way."""
    rails = list(dict.fromkeys(_bare(row.rail) for row in proof.rows))
    height = 1.5 + 0.62 * len(rails)
    of_all = f"with one of {len(proof.trains)} trains " if len(proof.trains) > 1 else ""
    with style.styled():
        figure = style.new_figure(height)
        axes: Any = figure.subplots()
        figure.subplots_adjust(left=0.15, right=0.98, top=1 - 0.75 / height, bottom=0.75 / height)
        for number, way in enumerate(proof.ways[1:]):
            marker, colour = _LOOKS[number % len(_LOOKS)]
            rows = [row for row in proof.of(way) if math.isfinite(row.share)]
            shift = 0.3 - 0.6 * number / max(1, len(proof.ways) - 2)
            axes.plot(
                [100.0 * row.share for row in rows],
                [-rails.index(_bare(row.rail)) + shift for row in rows],
                marker, color=colour, markersize=5, linestyle="none", label=way, alpha=0.85,
            )  # fmt: skip
        axes.axvline(0.0, color=style.INK, linewidth=1.0)
        axes.set_xscale("symlog", linthresh=10.0, linscale=1.2)
        ticks = [-50, -20, -10, -5, 0, 5, 10, 20, 50, 100, 200]
        low, high = min(-10.0, axes.get_xlim()[0]), max(20.0, 1.15 * axes.get_xlim()[1])
        axes.set_xlim(low, high)
        shown = [tick for tick in ticks if low <= tick <= high]
        axes.set_xticks(shown, [f"{tick:+d}" if tick else "0" for tick in shown])
        axes.minorticks_off()
        axes.set_yticks(
            [-float(i) for i in range(len(rails))], [r.replace("_", " ") for r in rails]
        )
        axes.set_ylim(-len(rails) + 0.45, 0.55)
        for i in range(1, len(rails)):
            axes.axhline(0.5 - i, color=style.FAINT, linewidth=0.6)
        axes.set_xlabel(f"distance against {HELD} [%]: right longer, left shorter")
        axes.legend(loc="lower center", bbox_to_anchor=(0.42, 1.0), ncols=len(proof.ways) - 1)
        figure.text(
            0.012, 1 - 0.2 / height, f"A mark is the mean of one strategy {of_all}on one rail; "
            f"{len(proof.leading)} leading strategies, {proof.n_draws} draws", fontsize=8,
        )  # fmt: skip
        style.write_caution(figure)
    return figure


def _bare(rail: str) -> str:
    """Return the rail without its train."""
    return rail.split(", ")[0]


def proof_sheet(proof: Proof, picture: bytes, command: str) -> str:
    """Return the advice as a page: the sentence first, then its proof."""
    values = Table(
        "The spread",
        ["value", "mark", "what it is"],
        [[name, meaning.mark, meaning.doc] for name, meaning in MEANINGS.items()],
        3,
    )
    led = Table(
        "Leading strategies",
        ["strategy", "mean in service [m]"],
        [[name, f"{mean:.0f}"] for name, mean in proof.leading],
    )
    said = Table("The advice", ["for the trainer"], [[sentence(proof)]], 1)
    table = Table("Its proof", HEADS, [_cells(row) for row in proof.rows], 3)
    return sheet_page(
        "Hold the brake, or ease it?",
        f"{'; '.join(proof.trains)}; {proof.n_draws} draws each; {proof.spread.text()}",
        [said, led, table, values],
        notes(),
        {"Distance of each way of braking against holding": picture},
        command,
    )
