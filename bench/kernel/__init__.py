"""Compiled physics: floats and arrays, SI, no input or output, no objects with behaviour."""
