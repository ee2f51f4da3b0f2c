"""Evidence of each strategy, gathered once for all its checks."""

from collections.abc import Callable
from functools import lru_cache

import pytest

from slipbench.conformance import Evidence
from slipbench.contract import Controller


@pytest.fixture(scope="session")
def evidence_of() -> Callable[[Controller], Evidence]:
    return lru_cache(maxsize=None)(lambda controller: Evidence(controller, runs_compiled=True))
