"""The version, where anything can read it without importing more."""

VERSION = "0.2.0"
