"""A strategy's file beside its tuned settings, which run no code but what they state the hash of.

Settings are passed on from hand to hand, so they name a registered strategy, or a file in their own
folder whose SHA-256 stands in them; what was tuned from elsewhere is copied there.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from slipbench.ground.errors import InputError
from slipbench.ground.reading import LONGEST_CODE, regular_bytes
from slipbench.ground.telling import shown
from slipbench.strategies.foreign import is_foreign, is_unit
from slipbench.strategies.registry import Known
from slipbench.strategies.spelling import split_written
from slipbench.strategies.units.unit import mapping_beside, mapping_name

_OF_MAPPING = "a unit's mapping"


@dataclass(frozen=True)
class Code:
    """The file of a strategy that is not registered.

    Attributes
    ----------
    source : Path     where it is
    name : str        how it is called beside the settings
    selected : str    which strategy of the file, empty for a library
    content : bytes
    mapping : bytes   what binds a unit's variables, a file of its own beside it; empty without one
    """

    source: Path
    name: str
    selected: str
    content: bytes
    mapping: bytes = b""

    @property
    def reference(self) -> str:
        """What stands in the settings."""
        return f"{self.name}:{self.selected}" if self.selected else self.name

    @property
    def digest(self) -> str:
        """SHA-256 of the content."""
        return hashlib.sha256(self.content).hexdigest()

    @property
    def files(self) -> dict[str, bytes]:
        """What lies beside the settings, by name."""
        beside = {mapping_name(self.name): self.mapping} if self.mapping else {}
        return {self.name: self.content, **beside}

    @property
    def stated(self) -> dict[str, str]:
        """Hashes that stand in the settings, by key."""
        hashes = {"code_sha256": self.digest}
        if self.mapping:
            hashes["mapping_sha256"] = hashlib.sha256(self.mapping).hexdigest()
        return hashes


def is_file(reference: str) -> bool:
    """Say whether a reference names a file, and no registered strategy."""
    return is_foreign(reference) or ".py" in reference or "/" in reference or "\\" in reference


def code_of(known: Known, settings: Path) -> Code | None:
    """Return the file of a strategy and its name beside its settings; None for a registered one.

    Raises
    ------
    InputError   if it cannot be read
    """
    reference = split_written(known.reference)[0]
    if not is_file(reference):
        return None
    file, _, selected = (reference, "", "") if is_foreign(reference) else reference.rpartition(":")
    source = Path(file)
    content = regular_bytes(source, "a strategy's file", most=LONGEST_CODE)
    is_beside = source.absolute().parent == settings.absolute().parent
    name = source.name if is_beside else settings.with_suffix(source.suffix).name
    beside = mapping_beside(source) if is_unit(file) else None
    mapping = b"" if beside is None else regular_bytes(beside, _OF_MAPPING, most=LONGEST_CODE)
    return Code(source, name, selected, content, mapping)


def stated_code(reference: str, stated: Mapping[str, object], settings: Path) -> str:
    """Return what finds the file that settings name, once it is what they state; nothing is run.

    Parameters
    ----------
    reference : str     as it stands in them
    stated : mapping    all that does: `code_sha256`, of a unit with a mapping `mapping_sha256` too
    settings : Path

    Raises
    ------
    InputError   if it is not beside them, its hash is not stated, or is another
    """
    digest = stated.get("code_sha256")
    is_whole = reference if is_foreign(reference) else reference.rpartition(":")[0] or reference
    if Path(is_whole).name != is_whole or "\\" in is_whole:
        raise InputError(
            f"{settings}: strategy = {shown(reference)}; allowed: a registered strategy, or a "
            "file beside the settings"
        )
    if not isinstance(digest, str):
        raise InputError(
            f"{settings}: code_sha256 is missing; settings that run {shown(is_whole)} state its "
            "hash"
        )
    place = settings.parent / is_whole
    content = regular_bytes(place, "a strategy's file", most=LONGEST_CODE)
    if hashlib.sha256(content).hexdigest() != digest:
        raise InputError(
            f"{settings}: {shown(is_whole)} beside it is another file than the one tuned (its "
            "SHA-256 is not code_sha256); tune again"
        )
    if is_unit(is_whole):
        _check_mapping(place, stated.get("mapping_sha256"), settings)
    return str(settings.parent / reference) if settings.parent != Path() else f"./{reference}"


def _check_mapping(unit: Path, digest: object, settings: Path) -> None:
    """Refuse a unit that is bound in another way than as it was tuned."""
    beside = mapping_beside(unit)
    name = mapping_name(unit.name)
    if (beside is None) != (digest is None):
        what = "is missing" if beside is None else "was not there when it was tuned"
        raise InputError(f"{settings}: {shown(name)} beside it {what}; tune again")
    if beside is None:
        return
    content = regular_bytes(beside, _OF_MAPPING, most=LONGEST_CODE)
    if hashlib.sha256(content).hexdigest() != digest:
        raise InputError(
            f"{settings}: {shown(name)} beside it is another mapping than the one tuned with (its "
            "SHA-256 is not mapping_sha256); tune again"
        )
