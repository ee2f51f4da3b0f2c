"""A strategy with settings, as a campaign knows it: found again in any process, source hashed."""

from __future__ import annotations

import importlib.util
import inspect
import sys
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from slipbench.contract import Controller, Update
from slipbench.ground.errors import InputError
from slipbench.ground.reading import regular_bytes
from slipbench.results.canonical import as_json, short_hash
from slipbench.results.identity import hash_of_files, imported_names
from slipbench.strategies.foreign import ForeignUpdate
from slipbench.strategies.registry import Known, find_controller
from slipbench.strategies.spelling import label_of, split_written

_HASHED_ELSEWHERE = {"slipbench", "numba", "numpy", "scipy", "llvmlite"}


@dataclass(frozen=True)
class Candidate:
    """One strategy with one set of parameter values.

    Attributes
    ----------
    label : str             name in the campaign
    reference : str         finds the strategy again, as `find_controller` of the registry reads it
    compile_file : bool     a strategy of a file runs compiled
    source_hash : str       of its sources and declarations, see `source_hash`
    controller : str        its name
    names : tuple of str    of its parameters
    values : tuple of float their values, SI
    uses_truth : bool
    """

    label: str
    reference: str
    compile_file: bool
    source_hash: str
    controller: str
    names: tuple[str, ...]
    values: tuple[float, ...]
    uses_truth: bool = False

    def parameters(self) -> dict[str, float]:
        """Return the parameter values by name."""
        return dict(zip(self.names, self.values, strict=True))

    def with_values(self, values: dict[str, float], label: str) -> Candidate:
        """Return the candidate with some parameters set; they are checked when it is found."""
        now = self.parameters() | values
        return replace(self, label=label, values=tuple(float(now[name]) for name in self.names))


FLOOR = "shortest possible"
"""Reference of the candidate that stands for the distance no strategy can beat."""

FLOOR_CANDIDATE = Candidate(FLOOR, FLOOR, True, "floor", FLOOR, (), (), uses_truth=True)


def candidate_of(known: Known, label: str | None = None) -> Candidate:
    """Return a known strategy, with the values its controller holds, as a candidate."""
    controller = known.controller
    reference, words = split_written(known.reference)
    file, colon, name = reference.rpartition(":")
    if colon and file.endswith(".py"):
        reference = f"{Path(file).absolute()}:{name}"
    elif isinstance(controller.update, ForeignUpdate):
        reference = str(controller.update.path)
    reference = label_of(reference, words)
    return Candidate(
        label=label or controller.name,
        reference=reference,
        compile_file=known.runs_compiled,
        source_hash=source_hash(controller, known.runs_compiled),
        controller=controller.name,
        names=tuple(p.name for p in controller.parameters),
        values=tuple(controller.parameter_values.tolist()),
        uses_truth=controller.uses_truth,
    )


@lru_cache(maxsize=256)
def found(reference: str, compile_file: bool, expected_hash: str) -> Known:
    """Return the strategy of a reference if it still is what its hash says.

    Raises
    ------
    InputError   if it cannot be found here, or its source is another
    """
    known = find_controller(reference, compile_file=compile_file)
    here = source_hash(known.controller, known.runs_compiled)
    if here != expected_hash:
        raise InputError(
            f"strategy {reference}: its source here has hash {here}, the campaign's has "
            f"{expected_hash}; the same files are needed everywhere, and unchanged while it runs"
        )
    return known


def controller_of(candidate: Candidate) -> Known:
    """Return the strategy of a candidate with its values set."""
    known = found(candidate.reference, candidate.compile_file, candidate.source_hash)
    controller = known.controller.with_parameters(**candidate.parameters())
    return replace(known, controller=controller)


def source_hash(controller: Controller, runs_compiled: bool = True) -> str:
    """Return a hash of all that makes a strategy besides its parameter values.

    Its declarations, its source file and whatever that file imports, installed libraries and this
    package (which `identity.versions` covers) apart.
    """
    declared = {
        "name": controller.name,
        "observes": list(controller.observes),
        "n_memory": controller.n_memory,
        "scope": controller.scope,
        "uses_truth": controller.uses_truth,
        "actuator": controller.actuator,
        "parameters": [[p.name, p.unit, p.low, p.high] for p in controller.parameters],
        "runs_compiled": runs_compiled,
    }
    files = _source_files(controller.update)
    return short_hash(as_json(declared) + hash_of_files(files))


def source_text(controller: Controller) -> str:
    """Return the text of the file a strategy's function stands in; of a library, what it is."""
    update = controller.update
    if isinstance(update, ForeignUpdate):
        return f"{update.kind} {update.path}, sha256 {update.digest}"
    content = regular_bytes(_own_file(controller.update), "a strategy is a Python file")
    return content.decode("utf-8", "backslashreplace")


def _own_file(update: Update) -> Path:
    if isinstance(update, ForeignUpdate):
        return update.path
    function = inspect.unwrap(getattr(update, "py_func", update))
    try:
        return Path(inspect.getfile(function))
    except TypeError:
        raise InputError(
            f"strategy function {function!r}: its source file cannot be found, so a campaign "
            "could not tell whether it changes; define it in a file"
        ) from None


def _source_files(update: Update) -> dict[str, Path]:
    """Return the strategy's own file and those it imports, by name; libraries left out."""
    own = _own_file(update)
    if not own.is_file():
        raise InputError(f"strategy source {own}: no such file; define it in a file")
    files = {"": own}
    if isinstance(update, ForeignUpdate):
        # by what they are beside it: a copy under another name is the same strategy
        return files | {path.name.removeprefix(own.stem): path for path in update.files[1:]}
    waiting = imported_names(own)
    while waiting:
        name = waiting.pop()
        path = _user_file(name)
        if name not in files and path is not None and path != own:
            files[name] = path
            waiting += imported_names(path)
    return files


def _user_file(name: str) -> Path | None:
    top = name.partition(".")[0]
    if top in _HASHED_ELSEWHERE or top in sys.stdlib_module_names:
        return None
    try:
        spec = importlib.util.find_spec(name)
    except (ImportError, ValueError, AttributeError):
        return None
    if spec is None or spec.origin is None or not spec.origin.endswith(".py"):
        return None
    path = Path(spec.origin)
    return None if "site-packages" in path.parts else path
