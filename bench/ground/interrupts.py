"""Hold off Ctrl-C where it would leave something half done."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn


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
    """End the process at Ctrl-C in the `with` body, with a line on stderr and exit code 130.

    For importing and compiling: an exception thrown into the compiler can be swallowed by it, or
    end in a crash (both seen). Nothing must be open that has to be closed. Does nothing off the
    main thread.
    """

    def end(number: int, frame: FrameType | None) -> NoReturn:
        os.write(2, f"{message}\n".encode())
        os._exit(130)

    try:
        before = signal.signal(signal.SIGINT, end)
    except ValueError:
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
