"""What readers of JSON and CSV hold to: a name or unit that changes needs a new schema version."""

import json
import sys
from pathlib import Path

from slipbench.results.quantities import AXLE_TRACE, BESIDE, SCHEMA_VERSION, SUMMARY, TRACES

RECORD = Path(__file__).with_name("schema.json")
"""Names of this version, each with its unit; written by `python -m tests.results.test_schema`."""


def schema() -> dict[str, object]:
    return {
        "schema_version": SCHEMA_VERSION,
        "results": {q.name: [q.unit, "list" if q.is_list else "one"] for q in (*SUMMARY, *BESIDE)},
        "traces": {q.name: [q.unit, "list" if q.of == AXLE_TRACE else "one"] for q in TRACES},
    }


def test_what_was_written_is_still_written_or_the_version_has_grown() -> None:
    """Names may come without one; a name may not go, nor change its unit or shape."""
    recorded, now = json.loads(RECORD.read_text(encoding="utf-8")), schema()
    assert recorded["schema_version"] == now["schema_version"]
    for part in ("results", "traces"):
        current = now[part]
        assert isinstance(current, dict)
        assert {name: current.get(name) for name in recorded[part]} == recorded[part]


if __name__ == "__main__":
    sys.stdout.write(f"{RECORD}\n")
    RECORD.write_text(json.dumps(schema(), indent=1) + "\n", encoding="utf-8")
