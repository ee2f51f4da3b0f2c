"""Measured stops: logs in and out, what they show, the rail that explains them, what would be."""
