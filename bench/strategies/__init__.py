"""Strategies found, bound and compiled."""
