"""How far a value may be trusted: the marks that stand beside every assumed or published number."""

MARKS = ("published", "secondary", "memory", "derived", "assumed")
"""Marks a file may give, from the firmest to the weakest:

published (seen in the named source), secondary (seen second-hand), memory (value from memory, not
verified), derived (computed from other values here), assumed.
"""

MARKS_NEEDING_SOURCE = ("published", "secondary")
