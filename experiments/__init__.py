"""One question a file, like a lab notebook: `slipbench experiment NAME`.

`python -m slipbench.experiments.NAME` does the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

QUESTIONS = {
    "why_holding_beats_easing": (
        "Why does holding the brake beat easing it when slip control works?"
    ),
    "when_to_ease": "How early may the brake be eased before the stop, and how late?",
    "who_cleans_the_rail": (
        "Which axles clean the rail, which profit, and how much is a long train worth?"
    ),
    "how_deep_should_it_slip": (
        "How deep should wheels slip, for a short or a long train, on different creep curves?"
    ),
    "how_locked_wheels_clean": "How much do results hang on what a locked wheel still cleans?",
    "which_cleaning_law_fits": (
        "Which published trials does each cleaning law fit, and which does it not?"
    ),
    "which_strategy": "Which strategy stops shortest, and what does it cost the wheels?",
    "where_the_verdict_turns": (
        "Where does the verdict turn: which strategy wins where rail and equipment are not known?"
    ),
    "where_to_start_braking": (
        "How much earlier must braking begin on a poor rail, and what does it cost?"
    ),
    "what_moved_demand_gains": (
        "What does it gain to coordinate a train's axles, with and without moving demand?"
    ),
    "what_isolation_costs": "What does it cost to isolate slip control when the train slides?",
    "what_the_low_speed_cut_out_costs": (
        "What does it cost that slip control is still below walking pace?"
    ),
    "what_the_dynamic_brake_does": (
        "What does the dynamic brake do on a slippery rail, and which slide rule costs most "
        "distance?"
    ),
    "what_breaks_first": "Which fault of the train costs most metres, and which most wheel?",
    "what_real_equipment_costs": "What does equipment as it comes cost each strategy?",
    "what_sand_buys": (
        "What does sand buy, and how close does the model come to the published trial?"
    ),
    "does_load_matter": "Does a full train stop where an empty one does?",
    "disc_or_tread": "Disc or tread: how does deceleration change with speed?",
    "how_the_brake_builds_up": "How fast does the brake come on, go off, and vent?",
    "how_sure_are_we": (
        "What moves a stopping distance: the computation, chance, or what was assumed?"
    ),
}
"""Every shipped experiment and what it asks; importing none of them tells it. A new one is added
here by hand; a test notices a forgotten one."""


@dataclass(frozen=True)
class Listed:
    """An experiment as it is listed; its module is imported when it is run."""

    name: str
    question: str

    def load(self) -> Any:
        """Return the experiment itself (`notebook.Experiment`)."""
        return import_module(f"slipbench.experiments.{self.name}").EXPERIMENT

    def main(self, argv: Sequence[str] | None = None) -> int:
        """Run the experiment from a command line; return the exit code."""
        code: int = self.load().main(argv)
        return code

    @staticmethod
    def together(listed: Sequence[Listed], argv: Sequence[str]) -> int:
        """Answer all of them on one page; return the exit code."""
        code: int = import_module("slipbench.experiments.everything").main(listed, argv)
        return code


ALL_EXPERIMENTS = tuple(Listed(name, question) for name, question in QUESTIONS.items())
