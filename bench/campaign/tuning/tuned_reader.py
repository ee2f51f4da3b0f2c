"""Read tuned settings back: wherever the name of a strategy is asked for, such a file will do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from slipbench.campaign.tuning.beside import is_file, stated_code
from slipbench.contract import Controller
from slipbench.ground.errors import InputError
from slipbench.ground.reading import regular_toml
from slipbench.ground.telling import nearest_text, shown
from slipbench.running.candidate import source_hash
from slipbench.strategies.registry import Known, find_controller, known_controllers
from slipbench.strategies.spelling import label_of, split_written, with_written

KIND = "slipbench tuned settings"
"""Value of the key `kind` that marks such a file."""


def load_tuned(path: str | Path) -> Controller:
    """Return the strategy of a tuned-settings file with its parameters set, under its own name.

    Raises
    ------
    InputError   see `find_tuned`
    """
    return find_tuned(path).controller


def find_tuned(path: str | Path) -> Known:
    """Return the strategy of a tuned-settings file, as the registry finds it, parameters set.

    Raises
    ------
    InputError   if the file is none, its strategy is neither registered nor a file beside it with
                 the hash it states, has changed since, or does not take these parameters
    """
    content = _read(Path(path))
    reference, parameters = content.get("strategy"), content.get("parameters")
    if not isinstance(reference, str) or not isinstance(parameters, dict):
        raise InputError(f"{path}: needs strategy (text) and the table [parameters]")
    if reference.endswith(".toml"):
        raise InputError(f"{path}: strategy = {shown(reference)}; allowed: a strategy's own name")
    for name, value in parameters.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{path}: parameters.{name} = {shown(value)}; allowed: a number")
    is_compiled = content.get("compile", False)
    if not isinstance(is_compiled, bool):
        raise InputError(f"{path}: compile = {shown(is_compiled)}; allowed: true or false")
    if split_written(reference)[1]:
        raise InputError(f"{path}: strategy = {shown(reference)}; allowed: no parameters in it")
    if is_file(reference):
        reference = stated_code(reference, content, Path(path))
    elif reference not in known_controllers():
        raise InputError(
            f"{path}: strategy = {shown(reference)}: unknown; "
            f"{nearest_text(reference, known_controllers())}"
        )
    known = find_controller(reference, compile_file=is_compiled)
    here = source_hash(known.controller, known.runs_compiled)
    if content.get("source_hash", here) != here:
        raise InputError(
            f"{path}: tuned for another version of {shown(reference)}, whose source has changed "
            "since; tune again, or remove the line source_hash to use the settings all the same"
        )
    try:
        controller = known.controller.with_parameters(**parameters)
    except InputError as problem:
        raise InputError(f"{path}: {problem}") from problem
    return replace(known, controller=controller)


def named_after_file(path: str | Path) -> Known:
    """Return the strategy of a tuned-settings file, told from the untuned one: `slip_band@file`.

    Raises
    ------
    InputError   see `find_tuned`
    """
    known = find_tuned(path)
    controller = known.controller
    title = f"{controller.title}; tuned settings"
    named = replace(controller, name=tuned_name(known, path), title=title)
    return replace(known, controller=named, reference=str(path), origin=str(path), is_shipped=False)


def find_setting(text: str, *, compile_file: bool = False) -> tuple[Known, str | None]:
    """Return a strategy as written, under its own name, and the label that tells its settings.

    What tunes and samples sets parameters of its own, so it takes a strategy by its own name and
    keeps what was written as a label.

    Parameters
    ----------
    text : str            see `find_controller` of the registry
    compile_file : bool   compile the function of a file's strategy

    Returns
    -------
    known : Known         parameters set, name unchanged
    label : str or None   None where nothing was set

    Raises
    ------
    InputError   see `find_controller` and `find_tuned`
    """
    base, words = split_written(text)
    if base.endswith(".toml"):
        known = find_tuned(base)
        label = tuned_name(known, base)
    else:
        known = find_controller(base, compile_file=compile_file)
        label = known.controller.name
        if not words:
            return known, None
    controller = with_written(known.controller, words)
    return replace(known, controller=controller), label_of(label, words)


def tuned_name(known: Known, path: str | Path) -> str:
    """Return the name under which a tuned strategy stands beside the untuned one."""
    return f"{known.controller.name}@{Path(path).stem}"


def _read(path: Path) -> dict[str, Any]:
    content = regular_toml(path, "tuned settings are a TOML file")
    if content.get("kind") != KIND:
        raise InputError(f"{path}: no tuned settings; such a file has kind = {KIND!r}")
    return content
