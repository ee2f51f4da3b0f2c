"""Where a value comes from and how far it may be trusted."""

from typing import NamedTuple


class Provenance(NamedTuple):
    """Mark and source of one value, as its file gives them."""

    mark: str
    source: str
