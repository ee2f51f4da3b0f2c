"""Stops on a GPU: thousands in flight, by the same kernel functions. Needs the extra `cuda`."""
