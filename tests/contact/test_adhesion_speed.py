"""Adhesion-against-speed registry."""

import numpy as np
import pytest

from slipbench.contact.adhesion_speed import ADHESION_FORMULAS, adhesion_at_speed
from slipbench.ground.errors import InputError


@pytest.mark.parametrize("name", list(ADHESION_FORMULAS))
def test_every_formula_is_documented_and_never_rises_with_speed(name: str) -> None:
    formula = ADHESION_FORMULAS[name]
    assert formula.name == name
    assert formula.mark in ("published", "secondary", "memory")
    assert all((formula.formula, formula.use, formula.validity, formula.source))
    values = adhesion_at_speed(name, np.linspace(0.0, 100.0, 400))
    assert np.all(np.diff(values) <= 0.0)
    assert np.all((values > 0.02) & (values < 0.4))


def test_unknown_formula_suggests_near_names() -> None:
    with pytest.raises(InputError, match="curtius_kniffler_dry"):
        adhesion_at_speed("curtius_knifler", 10.0)


@pytest.mark.parametrize("speed", [-1.0, np.nan, np.inf])
def test_impossible_speed_is_refused(speed: float) -> None:
    with pytest.raises(InputError, match="train_speed"):
        adhesion_at_speed("kother", speed)
