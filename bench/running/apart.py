"""Stops under units run in a process beside this one: a crash or an endless call costs a stop.

Each process that runs stops has at most one such companion, started when it is first needed and
anew after it died. It gets one stop at a time and hands back what it gave.
"""

from __future__ import annotations

import math
import multiprocessing
import os
import signal
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from slipbench.ground.errors import InputError, StopFailed
from slipbench.ground.interrupts import interrupts_ignored
from slipbench.running.pool import end_with_parent

READY, DONE, REFUSED, FAILED = "ready", "done", "refused", "failed"
"""What the companion sends: it begins; a result; an `InputError`; a `StopFailed`."""

START_TIME = 600.0
"""Longest the companion may take to import, compile and load. [s]"""


class Companion:
    """A process that runs stops for this one."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._line, other = context.Pipe()
        self._process: BaseProcess = context.Process(target=_serve, args=(other,), daemon=True)
        with interrupts_ignored():  # Ctrl-C is for this process, which ends the other
            self._process.start()
        other.close()

    def run(self, function: Any, arguments: tuple[Any, ...], limit: float, what: str) -> Any:
        """Run one stop there.

        Parameters
        ----------
        function : function   of a module, called with the arguments and `begin=`, a function it
                              calls once it is ready
        arguments : tuple
        limit : float       by the clock, once it is ready [s]
        what : str          names stop and unit in messages

        Raises
        ------
        InputError    what the stop raised there
        StopFailed    as well, and when the process crashed or time is up; it is gone then
        """
        is_whole = False
        try:
            self._line.send((function, arguments))
            kind, value = self._answer(START_TIME, f"{what}: did not begin in {START_TIME:g} s")
            if kind == READY:
                clock = f"{limit:g} s by the clock (--stop-limit)"
                late = f"{what}: still at work after {clock}, given up"
                kind, value = self._answer(limit, late)
            is_whole = True
        except (EOFError, OSError):
            self._process.join(5.0)
            raise StopFailed(f"{what}: its unit {self._end()} in the middle of the stop") from None
        finally:
            if not is_whole:
                self.end()
        if kind == FAILED:
            raise StopFailed(value)
        if kind == REFUSED:
            raise InputError(value)
        return value

    def _answer(self, seconds: float, late: str) -> tuple[str, Any]:
        wait = None if math.isinf(seconds) else seconds
        if not self._line.poll(wait):
            raise StopFailed(late)
        answer: tuple[str, Any] = self._line.recv()
        return answer

    def _end(self) -> str:
        code = self._process.exitcode
        if code is None or code >= 0:
            return f"ended the process (exit code {code})"
        with suppress(ValueError):
            return f"crashed ({signal.Signals(-code).name})"
        return f"crashed (signal {-code})"

    def end(self) -> None:
        """Let the process go, whatever it does."""
        self._process.kill()
        self._process.join(5.0)
        self._line.close()
        _companions.clear()


_companions: dict[int, Companion] = {}
"""The companion of each process id: a forked process does not take its parent's for its own."""


def run_apart(function: Any, arguments: tuple[Any, ...], limit: float, what: str) -> Any:
    """Run one stop in the companion of this process; see `Companion.run`."""
    companion = _companions.get(os.getpid())
    if companion is None:
        companion = Companion()
        _companions.clear()
        _companions[os.getpid()] = companion
    return companion.run(function, arguments, limit, what)


def _serve(line: Connection) -> None:
    """Run stops until the line is closed."""
    end_with_parent()
    while True:
        try:
            function, arguments = line.recv()
        except (EOFError, OSError):
            return
        answer: tuple[str, Any]
        try:
            answer = (DONE, function(*arguments, begin=lambda: line.send((READY, None))))
        except StopFailed as problem:
            answer = (FAILED, str(problem))
        except InputError as problem:
            answer = (REFUSED, str(problem))
        line.send(answer)
