"""The pictures of the README: there, small, described, and with the line that makes them."""

import re
from pathlib import Path

from tests.places import ROOT


def test_readme_pictures_are_small_and_described():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = re.findall(r"!\[(.*?)\]\((.*?)\)", text)
    assert len(shown) == 1
    for words, path in shown:
        data = (ROOT / path).read_bytes()
        assert data.startswith(b"\x89PNG") and len(data) < 120_000
        assert len(words) > 20
        assert f"slipbench {Path(path).stem} wet_leaf" in text


def test_templates_are_shipped_with_the_package():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    patterns = project["tool"]["setuptools"]["package-data"]["slipbench"]
    shipped = {path for pattern in patterns for path in (ROOT / "bench").glob(pattern)}
    for kind in ("html", "css", "js"):
        assert set((ROOT / "bench" / "figures").glob(f"*.{kind}")) <= shipped
