"""Many stops: designs of experiment, running, the store, tuning, sensitivity, statistics."""
