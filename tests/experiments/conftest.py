"""Experiments answered once for all tests, in their small version."""

import pytest

from slipbench.experiments.notebook import Options

QUICK = Options(is_quick=True)


@pytest.fixture(scope="session")
def answered():
    """Return a function that runs an experiment once."""
    kept = {}

    def answer(module):
        if module not in kept:
            kept[module] = module.investigate(QUICK)
        return kept[module]

    return answer
