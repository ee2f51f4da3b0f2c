"""Lessons: TOML files that say what is practised, on which scenario, and what to notice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, place, regular_toml
from slipbench.ground.telling import nearest_text, quoted, shown
from slipbench.scenario import Scenario, load_scenario

FOLDER = Path(__file__).parent / "lessons"
LONGEST, MOST_LINES, N_QUESTIONS = 400, 12, 3
"""Characters of a text of a lesson; lines of a list; questions of its quiz."""

_TEXTS = ("sentence", "scenario", "rail", "goal")
_KNOWN = {*_TEXTS, "number", "others", "strategy", "notice", "common_practice", "quiz"}


@dataclass(frozen=True)
class Question:
    """One question of a quiz: three answers, `right` counted from 1, and why."""

    question: str
    answers: tuple[str, ...]
    right: int
    why: str


@dataclass(frozen=True)
class Lesson:
    """One lesson.

    Attributes
    ----------
    name : str               its file's
    number : int             its place in the list; 0 where it has none
    sentence : str           what it teaches, in one sentence
    scenarios : tuple        what is driven; further ones to be chosen from
    strategy : str           the unit's slip control
    rail : str               the rail in plain words
    goal : str               what the trainee is to do
    notice : tuple of str    what to notice
    common_practice : str    what the trade advises, without a source; empty if nothing
    quiz : tuple of Question
    """

    name: str
    number: int
    sentence: str
    scenarios: tuple[Scenario, ...]
    strategy: str
    rail: str
    goal: str
    notice: tuple[str, ...]
    common_practice: str
    quiz: tuple[Question, ...]


def lesson_names() -> list[str]:
    """Return the names of the shipped lessons, in their order."""
    numbers = {file.stem: _content(file).get("number", 0) for file in FOLDER.glob("*.toml")}
    return sorted(numbers, key=lambda name: (numbers[name], name))


def is_lesson(name: str) -> bool:
    """Say whether a name is a shipped lesson's, or a file that holds one."""
    if name in {file.stem for file in FOLDER.glob("*.toml")}:
        return True
    return name.endswith(".toml") and is_regular(name) and "sentence" in _content(Path(name))


def load_lesson(name: str, **parts: str | None) -> Lesson:
    """Return a shipped lesson by name, or one from a TOML file.

    Parameters
    ----------
    name : str
    **parts : str or None   `train`, `rail` and `driver` of its scenarios, as of `load_scenario`

    Raises
    ------
    InputError   one line: no such lesson, or the file, key and what is allowed
    """
    if name in {file.stem for file in FOLDER.glob("*.toml")}:
        path = FOLDER / f"{name}.toml"
    elif name.endswith(".toml"):
        path = Path(name)
    else:
        hint = nearest_text(name, lesson_names())
        raise InputError(f"lesson {quoted(name)!r}: there is none; {hint} (a file ends in .toml)")
    content, where = _content(path), place(path)
    for key in content:
        if key not in _KNOWN:
            raise InputError(f"{where}: {quoted(key)}: unknown key; {nearest_text(key, _KNOWN)}")
    files = [_text(content, "scenario", where), *_texts(content, "others", where, needed=False)]
    return Lesson(
        name=path.stem,
        number=_number(content, where),
        sentence=_text(content, "sentence", where),
        scenarios=tuple(_scenario(file, path, where, parts) for file in files),
        strategy=_text(content, "strategy", where, "slip_band"),
        rail=_text(content, "rail", where),
        goal=_text(content, "goal", where),
        notice=_texts(content, "notice", where),
        common_practice=_text(content, "common_practice", where, ""),
        quiz=_quiz(content, where),
    )


def _content(path: Path) -> dict[str, Any]:
    return regular_toml(path, "a lesson is a TOML file")


def _scenario(name: str, lesson: Path, where: str, parts: Mapping[str, str | None]) -> Scenario:
    """Return a scenario named in a lesson: a shipped name, or a path relative to it."""
    beside = lesson.parent / name
    try:
        return load_scenario(beside if name.endswith(".toml") else name, **parts)
    except InputError as problem:
        raise InputError(f"{where}: scenario {quoted(name)}: {problem}") from problem


def _number(content: Mapping[str, Any], where: str) -> int:
    value = content.get("number", 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1000:
        raise InputError(f"{where}: number = {shown(value)}: must be a whole number from 0 to 999")
    return value


def _text(content: Mapping[str, Any], key: str, where: str, default: str | None = None) -> str:
    value = content.get(key, default)
    if value is None:
        raise InputError(f"{where}: {key}: missing; give text")
    return _checked(value, key, where, may_be_empty=default == "")


def _checked(value: object, key: str, where: str, *, may_be_empty: bool = False) -> str:
    allowed = f"must be text of one line, at most {LONGEST} characters"
    if not isinstance(value, str) or not value.isprintable() or len(value) > LONGEST:
        raise InputError(f"{where}: {key} = {shown(value)}: {allowed}")
    if not value.strip() and not may_be_empty:
        raise InputError(f"{where}: {key}: is empty; {allowed}")
    return value


def _texts(
    content: Mapping[str, Any], key: str, where: str, *, needed: bool = True
) -> tuple[str, ...]:
    value = content.get(key, [])
    if not isinstance(value, list) or not needed <= len(value) <= MOST_LINES:
        raise InputError(
            f"{where}: {key} = {shown(value)}: must be a list of texts, at most {MOST_LINES}"
        )
    return tuple(_checked(item, f"{key}.{i}", where) for i, item in enumerate(value))


def _quiz(content: Mapping[str, Any], where: str) -> tuple[Question, ...]:
    items = content.get("quiz", [])
    if not isinstance(items, list) or len(items) != N_QUESTIONS:
        raise InputError(f"{where}: quiz: must be {N_QUESTIONS} tables, [[quiz]]")
    return tuple(_question(item, f"quiz.{i}", where) for i, item in enumerate(items))


def _question(item: object, key: str, where: str) -> Question:
    if not isinstance(item, dict) or set(item) != {"question", "answers", "right", "why"}:
        raise InputError(f"{where}: {key}: must be a table of question, answers, right, why")
    answers = _texts(item, "answers", f"{where}: {key}")
    right = item["right"]
    if isinstance(right, bool) or not isinstance(right, int) or not 1 <= right <= len(answers):
        raise InputError(
            f"{where}: {key}.right = {shown(right)}: must be the number of an answer, from 1"
        )
    question, why = (_text(item, name, f"{where}: {key}") for name in ("question", "why"))
    return Question(question, answers, right, why)
