"""Cells of a CSV that a spreadsheet takes for what they are."""

from __future__ import annotations

from typing import TypeVar

from slipbench.ground.telling import visible

Value = TypeVar("Value")

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet take text for a formula (OWASP, CSV injection)."""


def cell(value: Value) -> Value | str:
    """Return a value as it goes into a CSV: text that looks like a formula behind a '.

    Numbers, and text that is one, stay as they are.

    Examples
    --------
    >>> cell("=1+1"), cell("-3.5"), cell(-3.5)
    ("'=1+1", '-3.5', -3.5)
    """
    if not isinstance(value, str):
        return value
    if value.startswith(FORMULA_STARTS) and not _is_number(value):
        return visible(f"'{value}")
    return visible(value)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
