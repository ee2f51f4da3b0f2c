"""What stops are run with: the file they are kept in, the workers, and the bar that counts them."""

from __future__ import annotations

from typing import NamedTuple

from slipbench.campaign.store import Store
from slipbench.running.progress import Bar
from slipbench.running.runners import Runner


class Rig(NamedTuple):
    """Store, runner and bar, which go together through everything that asks for many stops.

    Attributes
    ----------
    store : Store        stops are read from it, and appended to it as they finish
    runner : Runner      runs what is not stored
    bar : Bar or None    counts both; None: nothing is shown
    """

    store: Store
    runner: Runner
    bar: Bar | None = None
