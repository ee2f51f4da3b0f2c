"""Where a value comes from and how far it may be trusted."""

from typing import NamedTuple

MARKS = ("published", "secondary", "memory", "derived", "assumed")
"""Marks a file may give, from the firmest to the weakest:

published (seen in the named source), secondary (seen second-hand), memory (value from memory, not
verified), derived (computed from other values here), assumed.
"""

MARKS_NEEDING_SOURCE = ("published", "secondary")


class Provenance(NamedTuple):
    """Mark and source of one value, as its file gives them."""

    mark: str
    source: str
