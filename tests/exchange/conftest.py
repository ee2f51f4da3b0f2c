"""Units are built once for all tests of this folder; without a C compiler they are skipped."""

from collections.abc import Callable
from pathlib import Path

import pytest
from tests.exchange.units import build_unit

Build = Callable[..., Path]


@pytest.fixture(scope="session")
def build(tmp_path_factory: pytest.TempPathFactory) -> Build:
    """Return a function that builds a unit, each once: (version, *options, stem=, more=)."""
    folder = tmp_path_factory.mktemp("units")
    built: dict[object, Path] = {}

    def build_once(version: int, *options: str, stem: str = "", more: str = "") -> Path:
        key = (version, options, more)
        if key not in built:
            name = stem or f"model{len(built)}"
            built[key] = build_unit(folder, version, *options, stem=name, more=more)
        return built[key]

    return build_once


@pytest.fixture(autouse=True)
def calm_handlers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let garbage collection as it is: `main` sets it for a whole process."""
    monkeypatch.setattr("slipbench.commands.main.collect_garbage_rarely", lambda: None)
