"""Units of the Functional Mock-up Interface (FMI) as strategies, on the same rails as any other.

`slipbench.exchange` reads, loads and calls them. They run with the rights of whoever starts them.
"""

from slipbench.strategies.units.unit import UnitUpdate, load_unit

__all__ = ["UnitUpdate", "load_unit"]
