"""What campaign commands work in: the file, the workers, what is said on the way out."""

from __future__ import annotations

import argparse
import shlex
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from slipbench.commands.line import FOLDER, stop_limit
from slipbench.ground.errors import InputError
from slipbench.results.files import RESULT_SUFFIXES, named_path

if TYPE_CHECKING:
    from slipbench.campaign.store import Store
    from slipbench.running.runners import Runner


def campaign_path(arguments: argparse.Namespace, name: str) -> Path:
    """Return the campaign file's path; its own default folder is made."""
    if arguments.out is not None:
        path = named_path(arguments.out)
        if path.suffix in RESULT_SUFFIXES:
            raise InputError(
                f"--out {path}: results beside the campaign file end in {path.suffix}; "
                "name it otherwise, such as .sqlite"
            )
        return path
    make_folder(FOLDER)
    return FOLDER / f"{name}.sqlite"


def make_folder(folder: Path) -> None:
    """Make a folder for results, or say in one line why it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise InputError(f"folder {folder}: cannot be made: {problem.strerror}") from problem


@contextmanager
def opened(arguments: argparse.Namespace, name: str) -> Iterator[tuple[Store, Runner]]:
    """Open the campaign file and the workers; say what is stored if Ctrl-C comes."""
    from slipbench.campaign.campaign import mixture_notes
    from slipbench.campaign.export import check_export, write_export
    from slipbench.campaign.store import Store
    from slipbench.running.runners import make_runner

    export = None if arguments.export is None else named_path(arguments.export, "--export")
    if export is not None:
        check_export(export)
    limit = stop_limit(arguments)
    path = campaign_path(arguments, name)
    if not arguments.branch.strip():
        raise InputError(f"--branch {arguments.branch!r}: must be a name")
    is_new = not path.exists()
    with Store(path, arguments.branch, command=typed_command()) as store:
        try:
            runner = make_runner(arguments.workers, arguments.scheduler, limit)
        except InputError:
            if is_new:
                store.discard()
            raise
        try:
            yield store, runner
            if name != "campaign":  # which compares them itself
                for note in store.comparison or mixture_notes(store):
                    print(note, file=sys.stderr)
            if export is not None:
                n_rows = write_export(store, export)
                print(f"{n_rows} rows written to {export}", file=sys.stderr)
        except KeyboardInterrupt:
            print(
                f"\nslipbench: {len(store)} stops stored in {path}; the same command resumes",
                file=sys.stderr,
            )
            raise
        except InputError:
            if is_new and not len(store):
                store.discard()
            raise
        except sqlite3.Error as problem:  # a full disk, or a file damaged meanwhile
            raise InputError(
                f"campaign {path}: cannot be used any longer: {problem}; what is intact in it stays"
            ) from problem
        finally:
            runner.close()


def typed_command() -> str:
    """Return the line that started this process, as a shell would take it."""
    return shlex.join(["slipbench", *sys.argv[1:]])
