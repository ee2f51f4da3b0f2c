"""What the stops of a campaign file share: scenarios, strategies and machines, each kept once."""

from __future__ import annotations

import sqlite3
import zlib
from typing import Any

from slipbench.results.canonical import scenario_text, short_hash
from slipbench.running.candidate import FLOOR, Candidate, controller_of, source_text
from slipbench.running.task import Task

MOST_REMEMBERED = 100
"""Rows whose numbers are held: memory must not grow with the number of rails."""


class Contents:
    """Rows of an open file, one for each content, found again by its hash.

    Parameters
    ----------
    db : sqlite3.Connection   in the transaction in which a stop is added
    """

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._ids: dict[tuple[str, str], int] = {}

    def scenario_id(self, task: Task) -> int:
        """Return the row of a task's scenario."""
        scenario, hashed = task.scenario, task.scenario_hash
        text = "" if ("scenario", hashed) in self._ids else scenario_text(scenario)
        content = {"name": scenario.name, "text": zlib.compress(text.encode())}
        return self._id("scenario", hashed, content)

    def controller_id(self, candidate: Candidate) -> int:
        """Return the row of a candidate's strategy, with its source."""
        content: dict[str, Any] = {}
        if ("controller", candidate.source_hash) not in self._ids:
            source = ""
            if candidate.reference != FLOOR:
                source = source_text(controller_of(candidate).controller)
            content = {"name": candidate.controller, "source": source}
        return self._id("controller", candidate.source_hash, content)

    def machine_id(self, text: str) -> int:
        """Return the row of a machine type, given as its canonical text."""
        return self._id("machine", short_hash(text), {"text": text})

    def _id(self, table: str, hashed: str, content: dict[str, Any]) -> int:
        """Return the row of a content in its table, inserted if it is new."""
        if (table, hashed) in self._ids:
            return self._ids[table, hashed]
        row = self._db.execute(f"SELECT id FROM {table} WHERE hash = ?", (hashed,)).fetchone()
        if row is None:
            names = ["hash", *content]
            marks = ", ".join("?" * len(names))
            made = self._db.execute(
                f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})",
                (hashed, *content.values()),
            )
            row = (made.lastrowid,)
        if len(self._ids) >= MOST_REMEMBERED:
            self._ids.clear()
        self._ids[table, hashed] = int(row[0])
        return int(row[0])


def slots_of(task: Task) -> list[tuple[str, str, str]]:
    """Return what the names of a task stand for, as (kind, name, hash of the content)."""
    candidate = task.candidate
    settings = short_hash(f"{candidate.source_hash} {candidate.values!r}")
    return [
        ("scenario", task.scenario.name, task.scenario_hash),
        ("strategy", candidate.controller, candidate.source_hash),
        ("candidate", candidate.label, settings),
    ]
