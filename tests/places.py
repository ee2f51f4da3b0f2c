"""Where the checkout is, for tests that read its files."""

from pathlib import Path

ROOT = Path(__file__).parents[1]
"""The top folder of the checkout."""

SOURCE_ROOT = ROOT / ".src"
"""What goes on `PYTHONPATH` so that this checkout's `slipbench` is imported, and no other."""
