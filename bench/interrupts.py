"""Hold off Ctrl-C where it would leave something half done."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def interrupts_ignored() -> Iterator[None]:
    """Ignore Ctrl-C in the `with` body; processes started in it go on ignoring it.

    Does nothing off the main thread, where Python delivers no interrupt anyway.
    """
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
