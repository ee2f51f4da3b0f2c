"""A wall-clock limit for one stop, for strategies that loop.

A thread watches the clock. When time is up it has an exception raised in the thread that runs the
stop, which Python notices between two of its instructions: in a strategy that loops as Python, and
whenever compiled physics comes back. Compiled or native code that loops never comes back; then its
process ends, after some last words that tell whoever started it which stop that was.
"""

from __future__ import annotations

import ctypes
import math
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from slipbench.ground.errors import InputError, StopFailed

GRACE = 3.0
"""How long after its time a stop may take to come back before its process is ended. [s]"""

AGAIN = 6
"""How often in that time the exception is raised."""

ENDED = 2
"""Exit code of a process ended so."""


class _TimeIsUp(BaseException):
    """Raised in the thread that runs the stop; a strategy that catches `Exception` does not."""


@dataclass
class LastWords:
    """Where a worker leaves word of the stop it ended over; without a folder it goes to stderr.

    Attributes
    ----------
    folder : Path or None
    key : str      of the piece of work now in hand: the name of a file
    """

    folder: Path | None = None
    key: str = ""

    def leave(self, reason: str) -> None:
        """Write the reason down."""
        if self.folder is None:
            os.write(2, f"slipbench: {reason}; its compiled code cannot be interrupted\n".encode())
            return
        (self.folder / self.key).write_text(reason, encoding="utf-8")

    @staticmethod
    def read(folder: Path, key: str) -> str:
        """Return what was left of a piece of work, empty if nothing was."""
        path = folder / key
        return path.read_text(encoding="utf-8") if path.is_file() else ""


LAST_WORDS = LastWords()
"""Of this process."""


class _Watch:
    """Watches one stop until it is told that it is over."""

    def __init__(self, seconds: float, reason: str) -> None:
        self._seconds, self._reason = seconds, reason
        self._runner = threading.get_ident()
        self._over = threading.Event()
        self._lock = threading.Lock()

    def start(self) -> None:
        """Let time run."""
        threading.Thread(target=self._watch, daemon=True).start()

    def _watch(self) -> None:
        wait = self._seconds
        for _ in range(AGAIN):  # raised where Python lets nothing out, it is lost
            if self._over.wait(wait):
                return
            wait = GRACE / AGAIN
            with self._lock:
                if not self._over.is_set():
                    _raise_in(self._runner, ctypes.py_object(_TimeIsUp))
        if not self._over.wait(wait):
            with suppress(OSError):
                LAST_WORDS.leave(self._reason)
            os._exit(ENDED)

    @property
    def is_over(self) -> bool:
        """Whether the stop is over."""
        return self._over.is_set()

    def end(self) -> None:
        """Let the stop be over: nothing is raised any more."""
        with self._lock:
            self._over.set()
            _raise_in(self._runner, None)


def _raise_in(thread: int, problem: ctypes.py_object[type[BaseException]] | None) -> None:
    """Have an exception raised in a thread, or with None take back one not yet raised."""
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), problem)


def too_long(what: str, seconds: float) -> str:
    """Return what is said of a stop beyond its time."""
    return f"{what}: still at work after {seconds:g} s by the clock (--stop-limit), given up"


@contextmanager
def limited(seconds: float, what: str) -> Iterator[None]:
    """Let the `with` body, one stop, take so long by the clock and no longer.

    Parameters
    ----------
    seconds : float   [s], infinite for no limit
    what : str        names the stop in the message

    Raises
    ------
    StopFailed   when time is up. Where code that cannot be interrupted does not come back within
                 `GRACE` either, the process ends (`LAST_WORDS`)
    """
    if not math.isfinite(seconds):
        yield
        return
    reason = too_long(what, seconds)
    watch = _Watch(seconds, reason)
    try:
        watch.start()
        yield
    except _TimeIsUp:
        raise StopFailed(reason) from None
    finally:
        while not watch.is_over:
            with suppress(_TimeIsUp):  # raised at the very last moment
                watch.end()


def parse_limit(text: str) -> float:
    """Read a time such as `60s`, `5min` or `2h`, or `none`. [s]

    Raises
    ------
    InputError   for what is no time from 1 s to a week
    """
    allowed = "write a number and s, min or h, from 1s to 168h, or none"
    words = text.strip().lower()
    if words == "none":
        return math.inf
    for unit, factor in (("min", 60.0), ("h", 3600.0), ("s", 1.0)):
        number = words.removesuffix(unit)
        if number != words:
            try:
                value = float(number) * factor
            except ValueError:
                break
            if 1.0 <= value <= 168.0 * 3600.0:
                return value
            break
    raise InputError(f"--stop-limit {text[:40]!r}; {allowed}")


DEFAULT_LIMIT = 1800.0
"""What a stop may take by the clock where no limit is given: far beyond any that ends. [s]"""
