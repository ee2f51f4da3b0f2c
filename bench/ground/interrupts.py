"""Hold off Ctrl-C where it would leave something half done."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn


class Terminated(KeyboardInterrupt):
    """SIGTERM, where it is taken like Ctrl-C by whatever has something to put in order."""


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


@contextmanager
def interrupts_end_at_once(message: str) -> Iterator[None]:
    """End the process at Ctrl-C or SIGTERM in the `with` body: a line on stderr, code 130 or 143.

    For importing and compiling: an exception thrown into the compiler can be swallowed by it, or
    end in a crash (both seen). Nothing must be open that has to be closed. Does nothing off the
    main thread.
    """

    def end(number: int, frame: FrameType | None) -> NoReturn:
        os.write(2, f"{message}\n".encode())
        os._exit(128 + number)

    before = {}
    try:
        for number in (signal.SIGINT, signal.SIGTERM):
            before[number] = signal.signal(number, end)
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
