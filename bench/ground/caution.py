"""The caution every output carries, where it can be read without importing anything heavy."""

CAUTION = (
    "Simulation on assumed rails. It approves nothing: local rules, standards in force and "
    "licensed practice decide."
)
