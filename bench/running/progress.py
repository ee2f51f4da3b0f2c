"""Progress on stderr: how many stops, how fast, how long still."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

LOG_INTERVAL = 30.0
"""Between two lines where stderr is no terminal, such as the log of a night's run. [s]"""

FIRST_SHOWN = 0.5
"""No bar before that, so that a refused command stays one line. [s]"""


class Bar:
    """A progress bar that stays quiet if told to."""

    def __init__(self, bar: Any) -> None:
        self._bar = bar

    def found(self, n_stored: int) -> None:
        """Count stops that were stored already; they do not enter the rate."""
        if not self._bar.disable:
            self._bar.initial += n_stored
            self._bar.n += n_stored

    def done(self) -> None:
        """Count a stop that has been run."""
        self._bar.update()


@contextmanager
def progress(n_stops: int, what: str = "", is_quiet: bool = False) -> Iterator[Bar]:
    """Show a bar in the `with` body."""
    from tqdm import tqdm

    is_terminal = sys.stderr.isatty()
    with tqdm(
        total=n_stops,
        desc=what or None,
        unit="stop",
        disable=is_quiet,
        delay=FIRST_SHOWN,
        leave=not is_terminal,
        mininterval=0.2 if is_terminal else LOG_INTERVAL,
        dynamic_ncols=is_terminal,
        file=sys.stderr,
    ) as bar:
        yield Bar(bar)
