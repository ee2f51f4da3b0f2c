"""Where a campaign's stops are kept: one SQLite file, appended to as stops finish.

Every stop is committed by itself, with a write-ahead log, so a process killed at any moment loses
the stops in flight and nothing else. After a power cut the last few commits may be missing too;
they are run again. One process writes at a time; others may read meanwhile.

A branch is a set of stops that belong together: made with the same sources and libraries, each
scenario and strategy name standing for one content throughout. What does not fit is refused, and
may start a branch of its own in the same file.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from slipbench.campaign import lock
from slipbench.campaign.contents import Contents, slots_of
from slipbench.campaign.opening import (
    DATABASE_ERRORS,
    connected,
    how_to_mend,
    is_at_rest,
    refuse_other_file,
    refuse_torn,
)
from slipbench.campaign.schema import APPLICATION_ID, FORMAT, JOINED, SCHEMA
from slipbench.campaign.seals import (
    NOTHING,
    SEALED,
    added,
    branch_seal,
    examined,
    stop_name,
    stop_seal,
)
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, place
from slipbench.ground.telling import quoted, shown, told
from slipbench.results.canonical import (
    first_difference,
    scenario_from_text,
    scenario_text,
    short_hash,
)
from slipbench.results.identity import differing, versions_text
from slipbench.running.task import Outcome, Task
from slipbench.scenario import Scenario

MAIN_BRANCH = "main"
IN_MEMORY = ":memory:"


@dataclass(frozen=True)
class StoredStop:
    """One row of a campaign."""

    scenario: str
    scenario_hash: str
    candidate: str
    controller: str
    source_hash: str
    parameters: dict[str, float]
    seed: int
    machine: str
    duration: float
    summary: dict[str, Any]


class Store:
    """One branch of a campaign file, open for reading or writing.

    Parameters
    ----------
    path : str or Path       the file; `:memory:` keeps nothing
    branch : str             created if it is missing and the store is opened for writing
    command : str            kept with a new branch, for the reader
    is_writer : bool         False: read only; the file and branch must exist

    Attributes
    ----------
    comparison : list of str or None   lines on how machine types compare; None: not compared yet

    Raises
    ------
    InputError   if the file is not a campaign, cannot be opened or is being written by another
                 process, or the branch was made with other versions
    """

    def __init__(
        self,
        path: str | Path,
        branch: str = MAIN_BRANCH,
        *,
        command: str = "",
        is_writer: bool = True,
    ) -> None:
        self.path, self.branch = Path(path), branch
        self.is_kept = str(path) != IN_MEMORY
        self.comparison: list[str] | None = None
        self._lock: lock.Held | None = None
        self._command = command
        if not is_writer and not is_regular(self.path):
            raise InputError(f"campaign {place(path)}: no such file")
        if self.is_kept:
            refuse_other_file(self.path)
        if is_writer and self.is_kept:
            self._lock = lock.hold(self.path)
        try:
            self._open(is_writer)
        except DATABASE_ERRORS as problem:
            self.close()
            raise InputError(
                f"campaign {place(path)}: cannot be used: {told(problem)}; {how_to_mend(self.path)}"
            ) from problem
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file and let others write."""
        if hasattr(self, "_db"):
            self._db.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def discard(self) -> None:
        """Close and remove the file: only for one just made, that holds nothing."""
        self._db.close()
        self.path.unlink(missing_ok=True)

    def _open(self, is_writer: bool) -> None:
        if is_writer and self.is_kept and is_at_rest(self.path):
            self._db = connected(self.path, leaves_no_trace=True)
            self._branch_id = self._examined(is_writer)
            self._db.close()
            self._db = connected(self.path)
        else:
            self._db = connected(self.path)
            if is_writer and not self._db.execute("SELECT 1 FROM sqlite_master").fetchone():
                self._create()
            self._branch_id = self._examined(is_writer)
        self._db.execute("PRAGMA synchronous = NORMAL")
        self._contents = Contents(self._db)

    def _create(self) -> None:
        """Make the tables, and only then turn to a log, so that the marks are in the main file."""
        with self._db:
            self._db.execute("BEGIN IMMEDIATE")
            for statement in SCHEMA.split(";"):
                self._db.execute(statement)
            self._db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            self._db.execute(f"PRAGMA user_version = {FORMAT}")
        self._db.execute("PRAGMA journal_mode = WAL")

    def _examined(self, is_writer: bool) -> int | None:
        """Return the branch's number, None if it is not there yet; refuse what is damaged."""
        refuse_torn(self._db, self.path)
        for row in self._db.execute("SELECT name, versions, n_stops, total, seal FROM branch"):
            if branch_seal(*row[:4]) != row[4]:
                raise self._damaged(f"the entry of branch {shown(row[0])}")
        found = self._db.execute(
            "SELECT id, versions, n_stops, total FROM branch WHERE name = ?", (self.branch,)
        ).fetchone()
        if found is None:
            if not is_writer:
                raise InputError(
                    f"campaign {place(self.path)}: no branch {shown(self.branch)}; "
                    f"it has: {', '.join(map(quoted, self.branches())) or 'none'}"
                )
            return None
        if is_writer and found[1] != versions_text():
            changes = differing(json.loads(found[1]), json.loads(versions_text()))
            self._refuse(f"was run with other versions: {changes}")
        rows = self._db.execute(
            f"SELECT stop.id, stop.seal, {', '.join(SEALED)} {JOINED} WHERE branch_id = ? "
            "ORDER BY stop.id",
            (found[0],),
        )
        damage = examined(rows, found[2], found[3])
        if damage:
            raise self._damaged(f"branch {quoted(self.branch)}: {damage.text()}")
        return int(found[0])

    def _own_branch(self) -> int:
        """Return the branch's number; it is entered when there is something to keep."""
        if self._branch_id is None:
            versions = versions_text()
            made = self._db.execute(
                "INSERT INTO branch (name, created, versions, command, n_stops, total, seal) "
                "VALUES (?, datetime('now'), ?, ?, 0, ?, ?)",
                (
                    self.branch,
                    versions,
                    self._command,
                    NOTHING,
                    branch_seal(self.branch, versions, 0, NOTHING),
                ),
            )
            self._branch_id = int(made.lastrowid or 0)
        return self._branch_id

    def _refuse(self, what: str) -> None:
        raise InputError(
            f"campaign {self.path}, branch {self.branch}: {what}; stops are not mixed: "
            "start another branch (--branch NAME) or another file"
        )

    def branches(self) -> list[str]:
        """Return the names of all branches, oldest first."""
        return [name for (name,) in self._db.execute("SELECT name FROM branch ORDER BY id")]

    def versions(self) -> dict[str, str]:
        """Return the versions this branch was run with."""
        if self._branch_id is None:
            return dict(json.loads(versions_text()))
        row = self._db.execute("SELECT versions FROM branch WHERE id = ?", (self._branch_id,))
        return dict(json.loads(row.fetchone()[0]))

    def check(self, task: Task) -> None:
        """Refuse a task whose scenario, strategy or candidate name stands for something else here.

        Raises
        ------
        InputError   naming what has changed
        """
        for kind, name, content in slots_of(task):
            row = self._db.execute(
                "SELECT hash FROM slot WHERE branch_id = ? AND kind = ? AND name = ?",
                (self._branch_id, kind, name),
            ).fetchone()
            if row is not None and row[0] != content:
                old = self._scenario_text(row[0]) if kind == "scenario" else None
                change = first_difference(old, scenario_text(task.scenario)) if old else ""
                self._refuse(
                    f"{kind} {name!r} has changed since its stops were run"
                    + (f" ({change})" if change else "")
                )

    def claim(self, kind: str, name: str, content: str) -> None:
        """Let a name of this branch stand for a content, for what no single stop shows.

        Parameters
        ----------
        kind, name : str   such as `base` and a scenario's name
        content : str      hash

        Raises
        ------
        InputError   if it stands for another already, and stops are stored
        """
        known = self._db.execute(
            "SELECT hash FROM slot WHERE branch_id = ? AND kind = ? AND name = ?",
            (self._branch_id, kind, name),
        ).fetchone()
        if known is not None and known[0] == content:
            return
        if known is not None and len(self):
            self._refuse(f"{kind} {name!r} has changed since its stops were run")
        self._db.execute(
            "INSERT OR REPLACE INTO slot VALUES (?, ?, ?, ?)",
            (self._own_branch(), kind, name, content),
        )

    def has(self, key: str) -> bool:
        """Return whether a stop is stored."""
        return self._stop("1", key) is not None

    def summary(self, key: str) -> dict[str, Any] | None:
        """Return the summary of a stop, None if it is not stored."""
        text = self.summary_text(key)
        return None if text is None else self._content(text)

    def summary_text(self, key: str) -> str | None:
        """Return the summary of a stop as it is stored, None if it is not."""
        row = self._stop("summary", key)
        return None if row is None else str(row[0])

    def machine(self, key: str) -> str | None:
        """Return the hash of the machine type a stop was run on, None if it is not stored."""
        row = self._stop("(SELECT hash FROM machine WHERE machine.id = stop.machine_id)", key)
        return None if row is None else str(row[0])

    def _stop(self, column: str, key: str) -> Any:
        return self._db.execute(
            f"SELECT {column} FROM stop WHERE branch_id = ? AND key = ?", (self._branch_id, key)
        ).fetchone()

    def add(self, task: Task, outcome: Outcome) -> None:
        """Append a finished stop; one that is there already is left as it is."""
        with self._db:
            self._db.execute("BEGIN IMMEDIATE")
            branch_id = self._own_branch()
            if self.has(task.key):
                return
            self._db.executemany(
                "INSERT OR IGNORE INTO slot VALUES (?, ?, ?, ?)",
                [(branch_id, *slot) for slot in slots_of(task)],
            )
            finished = self._db.execute("SELECT datetime('now')").fetchone()[0]
            sealed = _sealed(task, outcome, finished)
            seal = stop_seal([*sealed.values()])
            given: dict[str, Any] = {
                "branch_id": branch_id,
                "scenario_id": self._contents.scenario_id(task),
                "controller_id": self._contents.controller_id(task.candidate),
                "machine_id": self._contents.machine_id(outcome.machine),
                **{name: value for name, value in sealed.items() if "." not in name},
                "seal": seal,
            }
            self._db.execute(
                f"INSERT INTO stop ({', '.join(given)}) VALUES ({', '.join('?' * len(given))})",
                tuple(given.values()),
            )
            self._count(branch_id, seal)

    def _count(self, branch_id: int, seal: str) -> None:
        """Enter one more stop into the branch's number and sum."""
        name, versions, n_stops, total = self._db.execute(
            "SELECT name, versions, n_stops, total FROM branch WHERE id = ?", (branch_id,)
        ).fetchone()
        total = added(total, seal)
        self._db.execute(
            "UPDATE branch SET n_stops = ?, total = ?, seal = ? WHERE id = ?",
            (n_stops + 1, total, branch_seal(name, versions, n_stops + 1, total), branch_id),
        )

    def scenario(self, hashed: str) -> Scenario:
        """Return a stored scenario by the hash of its text.

        Raises
        ------
        InputError   if there is none
        """
        text = self._scenario_text(hashed)
        if text is None:
            raise InputError(f"campaign {self.path}: no scenario {hashed!r} is stored")
        return scenario_from_text(text)

    def _scenario_text(self, hashed: str) -> str | None:
        row = self._db.execute("SELECT text FROM scenario WHERE hash = ?", (hashed,)).fetchone()
        if row is None:
            return None
        try:
            text = zlib.decompress(row[0]).decode()
        except (zlib.error, TypeError, UnicodeDecodeError):
            text = ""
        if short_hash(text) != hashed:
            raise self._damaged("a scenario stored in it")
        return text

    def _content(self, text: str) -> dict[str, Any]:
        try:
            return dict(json.loads(text))
        except (ValueError, TypeError, RecursionError) as problem:
            raise self._damaged("a stop stored in it") from problem

    def _damaged(self, what: str) -> InputError:
        return InputError(
            f"campaign {place(self.path)}: is damaged: {what}; {how_to_mend(self.path)}"
        )

    def machines(self) -> dict[str, str]:
        """Return the machine types of this branch's stops: hash to canonical text."""
        rows = self._db.execute(
            "SELECT hash, text FROM machine WHERE id IN "
            "(SELECT DISTINCT machine_id FROM stop WHERE branch_id = ?)",
            (self._branch_id,),
        )
        found = dict(rows)
        for hashed, text in found.items():
            if not isinstance(text, str) or short_hash(text) != hashed:
                raise self._damaged("a machine type stored in it")
        return found

    def __len__(self) -> int:
        """Return the number of stops in this branch."""
        row = self._db.execute("SELECT count(*) FROM stop WHERE branch_id = ?", (self._branch_id,))
        return int(row.fetchone()[0])

    def stops(self) -> Iterator[StoredStop]:
        """Yield the stops of this branch: by scenario, seed and candidate, so paired ones meet."""
        rows = self._db.execute(
            f"SELECT stop.id, stop.seal, {', '.join(SEALED)} {JOINED} "
            "WHERE branch_id = ? ORDER BY scenario.name, seed, candidate",
            (self._branch_id,),
        )
        for number, seal, *row in rows:
            if stop_seal(row) != seal:  # it was intact when the file was opened
                raise self._damaged(stop_name(row[1], row[3], row[7], number))
            values = [*row[1:6], self._content(row[6]), *row[7:10], self._content(row[11])]
            yield StoredStop(*values)


def _sealed(task: Task, outcome: Outcome, finished: str) -> dict[str, Any]:
    """Return what the seal of a stop covers, by the names of `SEALED`; those of `stop` plain."""
    candidate = task.candidate
    values = (
        *(task.key, task.scenario.name, task.scenario_hash, candidate.label),
        *(candidate.controller, candidate.source_hash, json.dumps(candidate.parameters())),
        *(task.seed, short_hash(outcome.machine), float(outcome.duration), finished),
        outcome.summary,
    )
    return dict(zip(SEALED, values, strict=True))
