"""One writer at a time: a lock the system gives back even after kill -9."""

from __future__ import annotations

import fcntl
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.reading import place

_FLAGS = os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
"""A link is not followed, so that nothing comes to be where it leads; a pipe is not waited for."""


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
            handle = os.open(path, _FLAGS, 0o666)
        except OSError as problem:
            raise InputError(
                f"campaign {place(campaign)}: {problem.strerror}: {place(path)}"
            ) from problem
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode) or found.st_size:
            os.close(handle)
            raise InputError(
                f"campaign {place(campaign)}: {place(path)} is there and is no lock of slipbench; "
                "move or rename it"
            )
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as problem:
            os.close(handle)
            raise InputError(
                f"campaign {place(campaign)}: another process is writing it; wait for it to end"
            ) from problem
        try:
            if os.fstat(handle).st_ino == os.stat(path).st_ino:
                return Held(handle, path)
        except FileNotFoundError:
            pass
        os.close(handle)  # its holder has just removed it: take a new one
