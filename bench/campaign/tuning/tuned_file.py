"""Tuned settings as a TOML file; `tuned_reader` reads it."""

from __future__ import annotations

import math
from collections.abc import Mapping

from slipbench.campaign.tuning.beside import Code
from slipbench.campaign.tuning.flags import flags
from slipbench.campaign.tuning.judge import Setting
from slipbench.campaign.tuning.tuned_reader import KIND
from slipbench.campaign.tuning.tuning import Tuned
from slipbench.ground.caution import CAUTION
from slipbench.ground.version import VERSION
from slipbench.results.scenario_file import text_value
from slipbench.running.candidate import source_hash
from slipbench.statistics.intervals import Interval, Paired
from slipbench.strategies.registry import Known
from slipbench.strategies.spelling import split_written


def tuned_file(tuned: Tuned, known: Known, command: str = "", code: Code | None = None) -> str:
    """Return a tuning's result as TOML: settings, how they did, the whole front.

    Parameters
    ----------
    command : str   the command that made it, kept for the reader
    code : Code     the strategy's file as it lies beside the settings; None: a registered one
    """
    units = {p.name: p.unit for p in known.controller.parameters}
    lines = [
        *_head(tuned, known, command, code),
        "",
        "[parameters]",
        *_values(_all_values(known, tuned.chosen), units),
        *_goal(tuned),
        *_compared(tuned),
    ]
    for setting in tuned.front:
        lines += ["", "[[front]]", *_scores(tuned, setting), "[front.parameters]"]
        lines += _values(_all_values(known, setting), units)
    return "\n".join(lines) + "\n"


def _head(tuned: Tuned, known: Known, command: str, code: Code | None) -> list[str]:
    return [
        f"# {CAUTION}",
        "# The numbers under [training] are those the settings were chosen by, so they flatter;",
        "# those under [held_out] were made on rails the search never saw.",
        "",
        f"kind = {text_value(KIND)}",
        *_strategy(known, code),
        f"source_hash = {text_value(source_hash(known.controller, known.runs_compiled))}",
        f"compile = {str(known.runs_compiled).lower()}",
        f"version = {text_value(VERSION)}",
        f"command = {text_value(command)}",
        f"started_from = {text_value(tuned.start)}  # called default below",
        f"worse = [{', '.join(text_value(str(flag)) for flag in flags(tuned))}]",
    ]


def _goal(tuned: Tuned) -> list[str]:
    goal = tuned.goal
    return [
        "",
        "[goal]",
        f"objectives = [{', '.join(text_value(o.name) for o in goal.objectives)}]",
        f"lock_limit = {_number(goal.lock_limit)}  # s",
        f"extension_limit = {_number(goal.extension_limit)}  # times the dry distance",
        f"n_stops = {tuned.n_stops}",
        f"n_settings = {tuned.n_settings}",
        f"weights = [{', '.join(map(repr, goal.weights))}]  # of the objectives; none: not weighed",
    ]


def _compared(tuned: Tuned) -> list[str]:
    """Return how start and tuned setting did, and how they differ on held-out rails."""
    held_out = tuned.held_out
    lines: list[str] = []
    for table, default, chosen in (
        ("training", tuned.default, tuned.chosen),
        ("held_out", held_out.default, held_out.tuned),
    ):
        lines += ["", f"[{table}.default]", *_scores(tuned, default)]
        lines += ["", f"[{table}.tuned]", *_scores(tuned, chosen)]
    lines += _differences("held_out.difference", held_out.differences)
    if not tuned.is_from_shipped:
        lines += ["", "[held_out.shipped]", *_scores(tuned, held_out.shipped)]
        lines += _differences("held_out.from_shipped", held_out.from_shipped)
    if len(held_out.by_family) > 1:
        for family, differences in held_out.by_family.items():
            lines += _differences(f"held_out.scenario.{text_value(family)}", differences)
    return lines


def _strategy(known: Known, code: Code | None) -> list[str]:
    if code is None:
        return [f"strategy = {text_value(split_written(known.reference)[0])}"]
    return [
        f"strategy = {text_value(code.reference)}  # runs this file's code, with your rights",
        *(f"{key} = {text_value(digest)}" for key, digest in code.stated.items()),
    ]


def _all_values(known: Known, setting: Setting) -> dict[str, float]:
    """Return a setting's values with those it leaves alone."""
    controller = known.controller
    names = [p.name for p in controller.parameters]
    now = dict(zip(names, controller.parameter_values.tolist(), strict=True))
    return now | setting.values


def _values(values: Mapping[str, float], units: Mapping[str, str]) -> list[str]:
    return [f"{name} = {value!r}  # {units[name]}" for name, value in values.items()]


def _scores(tuned: Tuned, setting: Setting) -> list[str]:
    pairs = zip(tuned.goal.objectives, setting.scores, strict=True)
    return [
        *(f"{objective.name} = {score!r}  # {objective.unit}" for objective, score in pairs),
        f"worst_lock = {setting.longest_lock!r}  # s",
        f"worst_extension = {_number(setting.longest_extension)}  # times the dry distance",
        f"n_overruns = {setting.n_overruns}",
    ]


def _differences(table: str, differences: Mapping[str, Paired]) -> list[str]:
    """Return a table an objective: how the tuned setting differs from the start."""
    lines: list[str] = []
    for name, difference in differences.items():
        lines += [
            "",
            f"[{table}.{name}]  # tuned - start, {difference.n_pairs} rails",
            *_interval("mean", difference.mean),
            *_interval("median", difference.median),
            f"n_better = {difference.n_better}",
            f"n_worse = {difference.n_worse}",
        ]
    return lines


def _interval(name: str, interval: Interval) -> list[str]:
    bounds = f"[{_number(interval.low)}, {_number(interval.high)}]"
    return [f"{name} = {_number(interval.estimate)}", f"{name}_interval = {bounds}"]


def _number(value: float) -> str:
    if math.isnan(value):
        return "nan"
    return repr(float(value)) if math.isfinite(value) else ("inf" if value > 0 else "-inf")
