"""How numba works inside: how a function is compiled, linked, kept."""
