"""Intervals, effects, designs: pure functions of arrays."""
