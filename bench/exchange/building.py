"""Compile, link and pack a unit that is written."""

from __future__ import annotations

import hashlib
import io
import platform
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path

from slipbench.exchange.binary import library_suffix, platform_names
from slipbench.exchange.described import description_of
from slipbench.exchange.outline import Outline
from slipbench.ground.errors import InputError
from slipbench.ground.telling import message

COMPILERS = ("cc", "gcc", "clang")

_FLAGS = ("-std=c99", "-O2", "-ffp-contract=off", "-fPIC", "-fvisibility=hidden", "-Wall")
_DATE = (1980, 1, 1, 0, 0, 0)
"""Of the files in a unit: the same model gives the same unit."""


def compiler() -> str:
    """Return the C compiler that is there.

    Raises
    ------
    InputError   if there is none
    """
    for name in COMPILERS:
        found = shutil.which(name)
        if found:
            return found
    raise InputError(
        f"no C compiler found ({', '.join(COMPILERS)}); a unit is linked by one: install one "
        "(Debian: package gcc)"
    )


def sources_of(outline: Outline, model: str) -> dict[str, str]:
    """Return the C sources that every unit of a kind has, by name; model: `train` or `strategy`."""
    names = ("unit.h", "unit.c", f"fmi{outline.version}.c", f"{model}.c")
    folder = files("slipbench.exchange").joinpath("shim")
    return {name: folder.joinpath(name).read_text(encoding="utf-8") for name in names}


def link(sources: Mapping[str, str], objects: Mapping[str, bytes], version: int) -> bytes:
    """Return the library of C sources and object files.

    It is built in a folder of its own by names without a path, so that no path can disturb it, and
    shows the functions of the interface alone.

    Raises
    ------
    InputError   when the compiler refuses, with its first words
    """
    with tempfile.TemporaryDirectory(prefix="slipbench-") as folder:
        place = Path(folder)
        for name, text in sources.items():
            (place / name).write_text(text, encoding="utf-8")
        for name, code in objects.items():
            (place / name).write_bytes(code)
        (place / "shown.map").write_text(f"{{ global: fmi{version}*; local: *; }};\n")
        words = [compiler(), *_FLAGS, "-shared", "-o", "unit.out"]
        words += [name for name in sources if name.endswith(".c")] + list(objects)
        if sys.platform.startswith("linux"):
            words += ["-Wl,--version-script=shown.map", "-Wl,-z,defs", "-Wl,-z,noexecstack"]
            words += ["-Wl,--build-id=none"]
        done = subprocess.run(
            [*words, "-lm"], cwd=place, capture_output=True, text=True, errors="replace"
        )
        if done.returncode != 0:
            told = [
                line for line in done.stderr.splitlines() if "error" in line or "undefined" in line
            ]
            raise InputError(
                f"{words[0]} cannot build the unit: {message((told or ['no reason given'])[0])}"
            )
        return (place / "unit.out").read_bytes()


def pack_unit(outline: Outline, library: bytes, page: str, sources: Mapping[str, str]) -> bytes:
    """Return a unit as the content of its file: library, description, documentation, sources."""
    new, old = platform_names()
    folder = old if outline.version == 2 else new
    content: dict[str, bytes] = {
        "modelDescription.xml": description_of(outline).encode(),
        f"binaries/{folder}/{outline.identifier}{library_suffix()}": library,
        "documentation/index.html": page.encode(),
    }
    content |= {f"documentation/sources/{name}": text.encode() for name, text in sources.items()}
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in content.items():
            member = zipfile.ZipInfo(name, _DATE)
            member.compress_type = zipfile.ZIP_DEFLATED
            member.external_attr = 0o100644 << 16
            archive.writestr(member, data)
    return packed.getvalue()


def token_of(*parts: str | bytes) -> str:
    """Return a token for what these decide: another model has another."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part if isinstance(part, bytes) else part.encode())
        digest.update(b"\0")
    return digest.hexdigest()[:32]


def built_for(is_native: bool) -> str:
    """Return in words what platforms a library built now is for."""
    new, _ = platform_names()
    libc = " ".join(part for part in platform.libc_ver() if part) or "the system's C library"
    kind = "this processor and those that have all it has" if is_native else "any processor of it"
    return f"{new}, {kind}; built beside {libc}, and needs that or a later one"
