"""Many strategies on many rails, side by side."""
