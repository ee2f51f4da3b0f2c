"""One version everywhere, and what moved numbers since the one before it stands in the guide."""

import re
import tomllib

from tests.places import ROOT

import slipbench

CHANGES = (ROOT / "bench" / "guide" / "changes.md").read_text(encoding="utf-8")


def test_the_version_is_that_of_the_package() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert slipbench.__version__ == project["version"]
    assert re.fullmatch(r"\d+\.\d+\.\d+", slipbench.__version__)


def test_the_page_of_changes_ends_with_this_version() -> None:
    told = re.findall(r"^## (\S+)$", CHANGES, re.MULTILINE)
    assert told[-1] == slipbench.__version__
    assert told == sorted(told, key=lambda one: [int(part) for part in one.split(".")])
    parts = re.split(r"^## \S+$", CHANGES, flags=re.MULTILINE)[1:]
    assert all(part.strip().startswith("- ") for part in parts)
