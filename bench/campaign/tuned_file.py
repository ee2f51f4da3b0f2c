"""Tuned settings as a TOML file that other commands read."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import bench
from bench.campaign.candidate import source_hash
from bench.campaign.judge import Setting
from bench.campaign.scenario_file import text_value
from bench.campaign.statistics import Interval
from bench.campaign.tuning import Tuned
from bench.caution import CAUTION
from bench.contract import Controller
from bench.errors import InputError
from bench.registry import Known, find_controller

KIND = "slipbench tuned settings"
"""Value of the key `kind` that marks such a file."""


def tuned_file(tuned: Tuned, known: Known, command: str = "") -> str:
    """Return a tuning's result as TOML: settings, how they did, the whole front.

    Parameters
    ----------
    command : str   the command that made it, kept for the reader
    """
    units = {p.name: p.unit for p in known.controller.parameters}
    goal, held_out = tuned.goal, tuned.held_out
    lines = [
        f"# {CAUTION}",
        "# The numbers under [training] are those the settings were chosen by, so they flatter;",
        "# those under [held_out] were made on rails the search never saw.",
        "",
        f"kind = {text_value(KIND)}",
        f"controller = {text_value(known.reference)}",
        f"source_hash = {text_value(source_hash(known.controller, known.runs_compiled))}",
        f"compile = {str(known.runs_compiled).lower()}",
        f"version = {text_value(bench.__version__)}",
        f"command = {text_value(command)}",
        f"started_from = {text_value(tuned.start)}  # called default below",
        "",
        "[parameters]",
        *_values(_all_values(known, tuned.chosen), units),
        "",
        "[goal]",
        f"objectives = [{', '.join(text_value(o.name) for o in goal.objectives)}]",
        f"lock_limit = {_number(goal.lock_limit)}  # s",
        f"extension_limit = {_number(goal.extension_limit)}  # times the dry distance",
        f"n_stops = {tuned.n_stops}",
        f"n_settings = {tuned.n_settings}",
    ]
    for table, default, chosen in (
        ("training", tuned.default, tuned.chosen),
        ("held_out", held_out.default, held_out.tuned),
    ):
        lines += ["", f"[{table}.default]", *_scores(tuned, default)]
        lines += ["", f"[{table}.tuned]", *_scores(tuned, chosen)]
    for name, difference in held_out.differences.items():
        lines += [
            "",
            f"[held_out.difference.{name}]  # tuned - start, {held_out.n_rails} rails",
            *_interval("mean", difference.mean),
            *_interval("median", difference.median),
            f"n_better = {difference.n_better}",
            f"n_worse = {difference.n_worse}",
        ]
    for setting in tuned.front:
        lines += ["", "[[front]]", *_scores(tuned, setting), "[front.parameters]"]
        lines += _values(_all_values(known, setting), units)
    return "\n".join(lines) + "\n"


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


def _interval(name: str, interval: Interval) -> list[str]:
    bounds = f"[{_number(interval.low)}, {_number(interval.high)}]"
    return [f"{name} = {_number(interval.estimate)}", f"{name}_interval = {bounds}"]


def _number(value: float) -> str:
    if math.isnan(value):
        return "nan"
    return repr(float(value)) if math.isfinite(value) else ("inf" if value > 0 else "-inf")


def load_tuned(path: str | Path) -> Controller:
    """Return the strategy of a tuned-settings file with its parameters set.

    Raises
    ------
    InputError   see `find_tuned`
    """
    return find_tuned(path).controller


def find_tuned(path: str | Path) -> Known:
    """Return the strategy of a tuned-settings file, as the registry finds it, parameters set.

    Raises
    ------
    InputError   if the file is none, its strategy cannot be found or has changed since, or it does
                 not take these parameters
    """
    content = _read(Path(path))
    reference, parameters = content.get("controller"), content.get("parameters")
    if not isinstance(reference, str) or not isinstance(parameters, dict):
        raise InputError(f"{path}: needs controller (text) and the table [parameters]")
    for name, value in parameters.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{path}: parameters.{name} = {value!r}; allowed: a number")
    known = find_controller(reference, compile_file=bool(content.get("compile", False)))
    here = source_hash(known.controller, known.runs_compiled)
    if content.get("source_hash", here) != here:
        raise InputError(
            f"{path}: tuned for another version of {reference}, whose source has changed since; "
            "tune again, or remove the line source_hash to use the settings all the same"
        )
    try:
        controller = known.controller.with_parameters(**parameters)
    except InputError as problem:
        raise InputError(f"{path}: {problem}") from problem
    return replace(known, controller=controller)


def _read(path: Path) -> dict[str, Any]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise InputError(f"{path}: cannot be read ({problem.strerror})") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise InputError(f"{path}: not valid TOML: {' '.join(str(problem).split())}") from None
    if content.get("kind") != KIND:
        raise InputError(f"{path}: no tuned settings; such a file has kind = {KIND!r}")
    return content
