"""Long families of cases of which a plain run takes a few, and the slow tests the rest."""

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def thinned(values: Iterable[Any], quick: Collection[Any]) -> list[Any]:
    """Return parameters for `parametrize`: all but the quick ones marked slow.

    Parameters
    ----------
    values : iterable         the whole family; tuples are cases of several arguments
    quick : collection        the members of every run, by value or, for tuples, by first item
    """
    made = []
    for value in values:
        first = value[0] if isinstance(value, tuple) else value
        marks = () if first in quick else (pytest.mark.slow,)
        made.append(pytest.param(*(value if isinstance(value, tuple) else (value,)), marks=marks))
    return made


QUICK_RAILS = ("dry", "tough_film", "wet_leaf")
"""One rail where nothing slides, one that is not cleaned, one that is."""
