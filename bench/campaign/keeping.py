"""Keep campaigns safe: copy one while it runs, and take what is intact out of a damaged one."""

from __future__ import annotations

import json
import os
import sqlite3
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from slipbench.campaign.opening import DATABASE_ERRORS, connected, refuse_other_file
from slipbench.campaign.schema import APPLICATION_ID, FORMAT, JOINED, SCHEMA
from slipbench.campaign.seals import (
    NOTHING,
    SEALED,
    added,
    branch_seal,
    stop_name,
    stop_seal,
)
from slipbench.ground.errors import InputError
from slipbench.ground.reading import is_regular, is_there, place
from slipbench.ground.telling import quoted, shown, told
from slipbench.results.canonical import short_hash
from slipbench.results.files import new_file

CHECKED = ("scenario", "strategy", "controller")
"""Kinds of names whose content is kept, so that it can be looked for; old files have the last."""

MOST_LOST = 1_000_000
"""Rows beyond the last that is found, for which a damaged file is searched."""


@dataclass(frozen=True)
class Mended:
    """What was taken out of a damaged campaign.

    Attributes
    ----------
    n_kept : int            stops that are intact
    lost : tuple of str     stops that are not, in words; those whose row is gone only counted
    n_gone : int
    branches : dict         branch to the command that was typed for it
    """

    n_kept: int
    lost: tuple[str, ...]
    n_gone: int
    branches: dict[str, str]

    def text(self) -> str:
        """Return it in words, a line each."""
        lines = [f"{self.n_kept} stops are intact and copied"]
        lines += [f"lost: {name}" for name in self.lost]
        if self.n_gone:
            lines.append(f"lost: {self.n_gone} stops whose rows are gone")
        if len(lines) > 1:
            lines.append("to compute the lost ones again, repeat with --out on the copy:")
            lines += [f"  {name}: {command}" for name, command in self.branches.items()]
        return "\n".join(lines)


def _refuse_target(source: Path, target: Path) -> None:
    if not is_regular(source):
        raise InputError(f"campaign {place(source)}: no such file")
    if is_there(target):
        raise InputError(f"{place(target)}: is there; name a new file")
    if not target.absolute().parent.is_dir():
        raise InputError(f"{place(target)}: its folder is missing; make it first")


def backup(source: Path, target: Path) -> int:
    """Copy a campaign, running or not, as it is at one moment; return the number of stops in it.

    The copy is one file, complete in itself. Only stops finished before are in it; the campaign
    need not wait.

    Raises
    ------
    InputError   if the source is no campaign, or the target is there or cannot be written
    """
    _refuse_target(source, target)
    refuse_other_file(source)
    try:
        db = connected(source)
        try:
            with new_file(target) as temporary:
                copy = sqlite3.connect(temporary, isolation_level=None)
                try:
                    db.backup(copy, pages=1024)
                    copy.execute("PRAGMA journal_mode = DELETE")
                    n_stops = int(copy.execute("SELECT count(*) FROM stop").fetchone()[0])
                finally:
                    copy.close()
        finally:
            db.close()
    except DATABASE_ERRORS as problem:
        raise InputError(f"campaign {place(source)}: cannot be copied: {told(problem)}") from None
    return n_stops


def mend(source: Path, target: Path) -> Mended:
    """Copy the intact stops of a damaged campaign into a new file; the damaged one stays as it is.

    Raises
    ------
    InputError   if the source is no campaign at all, or the target is there or cannot be written
    """
    _refuse_target(source, target)
    refuse_other_file(source)
    if os.path.lexists(f"{target}-wal") or os.path.lexists(f"{target}-journal"):
        raise InputError(f"{place(target)}: another database's log is beside it; name another")
    try:
        old = connected(source)
        old.execute("PRAGMA query_only = ON")
        try:
            with new_file(target) as temporary:
                return _Salvage(old, temporary).done()
        finally:
            old.close()
    except DATABASE_ERRORS as problem:
        raise InputError(
            f"campaign {place(source)}: nothing can be read from it: {told(problem)}"
        ) from None


class _Salvage:
    """Reads a damaged file row by row, by number, past every row that cannot be read."""

    def __init__(self, old: sqlite3.Connection, target: Path) -> None:
        self.old = old
        self.new = sqlite3.connect(target, isolation_level=None)
        self.lost: list[str] = []
        self.branches: dict[int, list[Any]] = {}

    def done(self) -> Mended:
        try:
            with self.new:
                self.new.execute("BEGIN IMMEDIATE")
                for statement in SCHEMA.split(";"):
                    self.new.execute(statement)
                self.new.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                self.new.execute(f"PRAGMA user_version = {FORMAT}")
                return self._copied()
        finally:
            self.new.close()

    def _copied(self) -> Mended:
        n_written = self._branches()
        self._contents("scenario", _scenario_is_whole)
        self._contents("machine", lambda hashed, text: short_hash(text) == hashed)
        self._contents("controller", None)
        n_kept = self._stops()
        commands = {}
        for number, (name, created, versions, command, n_stops, total) in self.branches.items():
            seal = branch_seal(name, versions, n_stops, total)
            row = (number, name, created, versions, command, n_stops, total, seal)
            self.new.execute("INSERT INTO branch VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)
            commands[quoted(name)] = quoted(command or "")
        n_gone = max(0, n_written - n_kept - len(self.lost))
        return Mended(n_kept, tuple(self.lost), n_gone, commands)

    def _rows(self, query: str, table: str) -> Any:
        """Yield the rows of a table, by number; those that cannot be read are passed over."""
        try:
            last = int(self.old.execute(f"SELECT max(id) FROM {table}").fetchone()[0] or 0)
        except (*DATABASE_ERRORS, TypeError, ValueError):
            last = 0
        for number in range(1, min(last, MOST_LOST) + 1):
            try:
                row = self.old.execute(f"{query} WHERE {table}.id = ?", (number,)).fetchone()
            except DATABASE_ERRORS:
                if table == "stop":
                    self.lost.append(f"row {number}, which cannot be read")
                continue
            if row is not None:
                yield row

    def _branches(self) -> int:
        """Take the branches; return how many stops were written in all."""
        n_written = 0
        query = "SELECT id, name, created, versions, command, n_stops, total, seal FROM branch"
        for number, name, created, versions, command, n_stops, total, seal in self._rows(
            query, "branch"
        ):
            if branch_seal(name, versions, n_stops, total) != seal:
                self.lost.append(f"branch {shown(name)} with all its stops")
                continue
            n_written += n_stops
            self.branches[number] = [name, created, versions, command, 0, NOTHING]
        return n_written

    def _contents(self, table: str, is_whole: Any) -> None:
        for row in self._rows(f"SELECT * FROM {table}", table):
            try:
                if is_whole is None or is_whole(row[1], row[-1]):
                    marks = ", ".join("?" * len(row))
                    self.new.execute(f"INSERT INTO {table} VALUES ({marks})", row)
            except (*DATABASE_ERRORS, TypeError, AttributeError, zlib.error):
                continue  # the stops that need it are lost with it

    def _stops(self) -> int:
        query = (
            f"SELECT stop.id, branch_id, scenario_id, controller_id, machine_id, stop.seal, "
            f"{', '.join(SEALED)} {JOINED}"
        )
        n_kept = 0
        for number, branch_id, scenario, controller, machine, seal, *values in self._rows(
            query, "stop"
        ):
            is_whole = branch_id in self.branches and stop_seal(values) == seal
            if not is_whole or not self._holds(scenario, controller, machine):
                self.lost.append(stop_name(values[1], values[3], values[7], number))
                continue
            key, _, _, candidate, _, _, parameters, seed, _, duration, finished, summary = values
            try:
                json.loads(summary)
                self.new.execute(
                    "INSERT INTO stop VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    [
                        *(number, branch_id, key, scenario, controller, candidate, parameters),
                        *(seed, machine, duration, finished, summary, seal),
                    ],
                )
            except (*DATABASE_ERRORS, ValueError, RecursionError):
                self.lost.append(stop_name(values[1], values[3], values[7], number))
                continue
            branch = self.branches[branch_id]
            branch[4], branch[5] = branch[4] + 1, added(branch[5], seal)
            n_kept += 1
        self._slots()
        return n_kept

    def _holds(self, scenario: int, controller: int, machine: int) -> bool:
        """Say whether what a stop belongs to has been taken over."""
        pairs = (("scenario", scenario), ("controller", controller), ("machine", machine))
        return all(
            self.new.execute(f"SELECT 1 FROM {table} WHERE id = ?", (number,)).fetchone()
            for table, number in pairs
        )

    def _slots(self) -> None:
        """Enter what names stand for from the stops themselves, and the rest where it is readable.

        A name whose entry is damaged is entered again when its stops are run.
        """
        try:
            rows = self.old.execute("SELECT branch_id, kind, name, hash FROM slot").fetchall()
        except DATABASE_ERRORS:
            rows = []
        known = {
            (branch, hashed)
            for branch, *hashes in self.new.execute(
                "SELECT branch_id, scenario.hash, controller.hash FROM stop "
                "JOIN scenario ON scenario.id = scenario_id "
                "JOIN controller ON controller.id = controller_id"
            )
            for hashed in hashes
        }
        for branch, kind, name, hashed in rows:
            is_sure = kind not in CHECKED or (branch, hashed) in known
            if branch in self.branches and is_sure and isinstance(name, str):
                self.new.execute(
                    "INSERT OR IGNORE INTO slot VALUES (?, ?, ?, ?)", (branch, kind, name, hashed)
                )


def _scenario_is_whole(hashed: str, text: bytes) -> bool:
    return short_hash(zlib.decompress(text).decode()) == hashed
