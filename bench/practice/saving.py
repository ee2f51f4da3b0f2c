"""Runs on disk: scenario, handle log, and what replays them; a class's runs in one table."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from slipbench.ground.caution import CAUTION
from slipbench.ground.errors import InputError
from slipbench.ground.reading import LONGEST_CODE, is_regular, place, regular_bytes
from slipbench.practice.live import begun
from slipbench.results.output import MARKER, check_folder, is_sealed, write_folder
from slipbench.results.scenario_file import scenario_file, text_value
from slipbench.scenario import Scenario

WRITER, RECORD = "slipbench practice", "practice.json"
TABLE = "class.csv"
RUN_FILES = ("scenario.toml", "handle.csv", "run.toml", "held.toml", "debrief.html")
MOST_RUNS = 100_000

COLUMNS = (
    "run", "name", "lesson", "scenario", "strategy", "seed", "distance_m", "past_marker_m",
    "held_distance_m", "held_past_marker_m", "longest_lock_s", "longest_flat_mm", "movements",
    "presses", "dead_presses",
)  # fmt: skip
"""Of the class's table; `past_marker_m` is negative short of it, empty where there is no marker."""


def run_files(driven: Scenario, held: Scenario | None, title: str) -> dict[str, str]:
    """Return the files from which `stop`, `compare` and `playback` repeat a run, by name.

    Parameters
    ----------
    driven : Scenario        its driver is the log of handle and button
    held : Scenario or None  the same stop held; None where the brake was never applied
    title : str              of the run

    Returns
    -------
    dict   `scenario.toml`, complete; `handle.csv`; `run.toml` and `held.toml`, based on it
    """
    notes = ["What was driven at the desk (slipbench practice); run.toml lays the driver over it."]
    rows = "".join(f"{entry.at_time!r},{entry.position}\n" for entry in driven.driver.programme)
    presses = "".join(
        f"\n[[driver.isolation_press]]\nat_time_s = {press.at_time!r}\n"
        for press in driven.driver.presses
    )
    head = f'# {CAUTION}\n\nbased_on = "scenario.toml"\ntitle = '
    files = {
        "scenario.toml": scenario_file(begun(driven), notes),
        "handle.csv": f"# {CAUTION}\ntime_s,position\n{rows}",
        "run.toml": f'{head}{text_value(title)}\n\n[driver]\nlog = "handle.csv"\n{presses}',
    }
    if held is not None:
        movements = ",\n".join(
            f"    {{ at_time_s = {entry.at_time!r}, position = {entry.position} }}"
            for entry in held.driver.programme
        )
        told = text_value(f"{title}, held instead")
        files["held.toml"] = f"{head}{told}\n\n[driver]\nhandle = [\n{movements},\n]\n"
    return files


def new_run_folder(folder: Path) -> Path:
    """Make the next `run-001`, `run-002` ... in a folder and return it.

    Raises
    ------
    InputError   if none can be made
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        taken = [int(p.name[4:]) for p in folder.glob("run-*") if p.name[4:].isdigit()]
        for number in range(max(taken, default=0) + 1, MOST_RUNS):
            path = folder / f"run-{number:03d}"
            try:
                path.mkdir()
            except FileExistsError:
                continue
            return path
    except OSError as problem:
        raise InputError(f"output folder {place(folder)}: {problem.strerror}") from problem
    raise InputError(f"output folder {place(folder)}: holds {MOST_RUNS} runs; name another")


def save_run(folder: Path, files: Mapping[str, str], row: Mapping[str, Any]) -> Path:
    """Write one run into a folder of its own, and return that."""
    path = new_run_folder(folder)
    content = {"row": {**row, "run": path.name}}
    encoded = {name: text.encode() for name, text in files.items()}
    write_folder(path, encoded, RECORD, WRITER, content)
    return path


def check_practice_folder(folder: Path, may_overwrite: bool = False) -> None:
    """Refuse, before anything runs, a folder whose table is not ours or that cannot be written."""
    check_folder(folder, [TABLE], RECORD, WRITER, may_overwrite)


def rows_of(folder: Path) -> list[dict[str, Any]]:
    """Return the rows of a folder's runs, in their order; what is no run of ours is left out."""
    rows = []
    for path in sorted(folder.glob("run-*")):
        record = path / RECORD
        if not is_regular(record):
            continue
        try:
            content = json.loads(regular_bytes(record, "a record of a run", most=LONGEST_CODE))
        except (ValueError, RecursionError):
            continue
        is_ours = isinstance(content, dict) and content.get(MARKER) == WRITER
        if is_ours and is_sealed(content) and isinstance(content.get("row"), dict):
            rows.append(content["row"])
    return rows


def write_table(folder: Path) -> None:
    """Write the table of all runs in a folder."""
    stream = io.StringIO()
    table = csv.DictWriter(stream, COLUMNS, extrasaction="ignore", lineterminator="\n")
    table.writeheader()
    table.writerows(rows_of(folder))
    write_folder(folder, {TABLE: stream.getvalue().encode()}, RECORD, WRITER, {})
