"""One stop, or many: here, in a pool, on a cluster."""
