"""One writer at a time: a lock the system gives back even after kill -9."""

from __future__ import annotations

import fcntl
import os
from dataclasses import dataclass
from pathlib import Path

from slipbench.ground.errors import InputError


@dataclass(frozen=True)
class Held:
    """A lock that is held, on an empty file beside the campaign."""

    handle: int
    path: Path

    def release(self) -> None:
        """Give the lock back and remove its file."""
        self.path.unlink(missing_ok=True)
        os.close(self.handle)


def hold(campaign: Path) -> Held:
    """Take the lock of a campaign file.

    The lock is not on the campaign itself: closing such a handle would drop SQLite's own locks.

    Raises
    ------
    InputError   if another process holds it, or the folder cannot be written
    """
    path = campaign.with_name(campaign.name + ".lock")
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        except OSError as problem:
            raise InputError(f"campaign {campaign}: {problem.strerror}: {path}") from problem
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as problem:
            os.close(handle)
            raise InputError(
                f"campaign {campaign}: another process is writing it; wait for it to end"
            ) from problem
        try:
            if os.fstat(handle).st_ino == os.stat(path).st_ino:
                return Held(handle, path)
        except FileNotFoundError:
            pass
        os.close(handle)  # its holder has just removed it: take a new one
