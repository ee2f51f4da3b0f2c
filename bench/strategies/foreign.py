"""What is no Python: strategies whose function comes out of a file of machine code."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from slipbench.contract import Floats, Update

UNIT = ".fmu"
"""A path that ends so is taken for an FMI unit."""

SUFFIXES = (".so", ".dylib", ".dll", UNIT)
"""A path that ends so is taken for machine code: a shared library, or an FMI unit."""


def is_foreign(text: str) -> bool:
    """Return whether a strategy's reference is the path of a file of machine code."""
    return text.lower().endswith(SUFFIXES)


def is_unit(text: str) -> bool:
    """Return whether a strategy's reference is the path of an FMI unit."""
    return text.lower().endswith(UNIT)


class ForeignUpdate:
    """An update function of a file; called as Python, compiled for the kernel, or pickled.

    Attributes
    ----------
    path : Path     of the file a user names
    digest : str    hash of its content, by which another process makes sure it has the same
    runs_apart : bool    its stops are run in a process of their own, which may crash
    """

    path: Path
    digest: str
    runs_apart: bool = False

    @property
    def compiled(self) -> Update:
        """The function compiled for the kernel."""
        raise NotImplementedError

    @property
    def files(self) -> tuple[Path, ...]:
        """All files that decide what it does."""
        return (self.path,)

    @property
    def kind(self) -> str:
        """What it is, in words."""
        return "shared library"

    def __call__(
        self,
        observation: Floats,
        parameters: Floats,
        memory: Floats,
        command: Floats,
        signals: Floats,
    ) -> None:
        """Call it once."""
        self.compiled(observation, parameters, memory, command, signals)

    def complaint(self, factor: float) -> str:
        """Return in words what a demand factor nobody gave stands for; empty for any other."""
        raise NotImplementedError

    def release(self, memory: Floats) -> None:
        """Let go what was made for a stop that is over, by its memory."""

    def __eq__(self, other: object) -> bool:
        """Tell whether both are the same file with the same content."""
        return type(other) is type(self) and (self.path, self.digest) == (
            other.path,
            other.digest,
        )

    def __hash__(self) -> int:
        """Return a hash of path and content."""
        return hash((self.path, self.digest))

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle as path and content's hash."""
        return type(self), (self.path, self.digest)
