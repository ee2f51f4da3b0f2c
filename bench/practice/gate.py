"""Who may come in: addresses with random words, exact Host and Origin, and a log of refusals."""

from __future__ import annotations

import secrets
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from slipbench.ground.telling import quoted

DRIVE, WATCH, LEAD = "drive", "watch", "lead"
"""What an address is for: the handle; looking on and guessing; leading the lesson."""

ROLES = (DRIVE, WATCH, LEAD)
PAGE, LIVE, DEBRIEF = "", "live", "debrief"
"""What stands behind an address: its page, its socket, the debrief of the last run."""


def _to_stderr(line: str) -> None:
    print(f"slipbench practice: {line}", file=sys.stderr, flush=True)


@dataclass
class Log:
    """Lines about what happens, refusals of one kind told at the 1st, 10th, 100th ... only."""

    write: Callable[[str], None] = _to_stderr
    refused: Counter[str] = field(default_factory=Counter)

    def say(self, line: str) -> None:
        """Write a line."""
        self.write(line)

    def refuse(self, reason: str, detail: str = "") -> None:
        """Count a refusal, and tell it unless many of its kind were told."""
        self.refused[reason] += 1
        n = self.refused[reason]
        if str(n).strip("0") == "1":
            more = f" ({n} so far)" if n > 1 else ""
            self.write(f"refused: {reason}{': ' if detail else ''}{quoted(detail)}{more}")


class Gate:
    """The addresses of one desk.

    Parameters
    ----------
    log : Log
    """

    def __init__(self, log: Log) -> None:
        self.log = log
        self.tokens = {role: secrets.token_urlsafe(18) for role in ROLES}
        self.hosts: list[str] = []

    def open_at(self, names: list[str], port: int) -> None:
        """Set where the desk is reached; only these hosts are answered."""
        self.hosts = [f"{name}:{port}" for name in names]

    def address(self, role: str, place: str = PAGE, host: int = -1) -> str:
        """Return the address of a page; `host` counts the names given to `open_at`."""
        return f"http://{self.hosts[host]}/{self.tokens[role]}/{place}"

    def admit(self, path: str, headers: Callable[[str], list[str]]) -> tuple[str, str] | None:
        """Return role and place of a request, or None where it is refused, which is logged.

        Parameters
        ----------
        path : str           with its query
        headers : callable   returns all values of a header
        """
        hosts = headers("Host")
        if len(hosts) != 1 or hosts[0] not in self.hosts:
            self.log.refuse("wrong Host", ", ".join(hosts) or "none")
            return None
        word, _, place = path.partition("?")[0].removeprefix("/").partition("/")
        role = next((r for r in ROLES if secrets.compare_digest(word, self.tokens[r])), None) if (
            word.isascii()
        ) else None  # fmt: skip
        if role is None:
            self.log.refuse("no token", "a request without the address's random word")
            return None
        if place not in (PAGE, LIVE, DEBRIEF):
            self.log.refuse("no such page", place)
            return None
        if place == LIVE and headers("Origin") != [f"http://{hosts[0]}"]:
            self.log.refuse("foreign Origin", ", ".join(headers("Origin")) or "none")
            return None
        return role, place
