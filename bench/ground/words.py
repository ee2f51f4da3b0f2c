"""Words for messages."""

import difflib
from collections.abc import Iterable


def nearest_text(word: str, known: Iterable[str]) -> str:
    """Return `did you mean ...?` for the nearest known word, or the list of all known words."""
    words = list(known)
    near = difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return f"did you mean {near[0]}?" if near else f"known: {', '.join(words)}"
