"""Small kernels that make arrays on the GPU. Imported only where there is one."""

from typing import Any

from numba import cuda as untyped

cuda: Any = untyped


@cuda.jit
def clear(words):  # type: ignore[no-untyped-def]
    """Set (n,) int64 to zero: cheaper on the GPU than zeros that travel."""
    for i in range(cuda.grid(1), words.shape[0], cuda.gridsize(1)):
        words[i] = 0


@cuda.jit
def spread(rows, n_words, ends, words):  # type: ignore[no-untyped-def]
    """Write runs of equal rows out in full.

    Parameters
    ----------
    rows : (n_runs * n_words,) int64   one row of each run
    n_words : int                      of a row
    ends : (n_runs,) int64             row behind the last of each run
    words : (n_rows * n_words,) int64  written
    """
    n_rows = words.shape[0] // n_words
    for i in range(cuda.grid(1), n_rows, cuda.gridsize(1)):
        low, high = 0, ends.shape[0] - 1
        while low < high:
            middle = (low + high) // 2
            if ends[middle] <= i:
                low = middle + 1
            else:
                high = middle
        for k in range(n_words):
            words[i * n_words + k] = rows[low * n_words + k]


@cuda.jit
def used_span(values, starts, lengths, span):  # type: ignore[no-untyped-def]
    """Find where a part of each stop is not zero.

    Parameters
    ----------
    values : (n_rows,) float64
    starts, lengths : (n,) int64   rows of each stop
    span : (n, 2) int64            written: first row that is not zero, and row behind the last
    """
    i = cuda.grid(1)
    if i >= starts.shape[0]:
        return
    first, last = 0, lengths[i]
    while first < last and values[starts[i] + first] == 0.0:
        first += 1
    while last > first and values[starts[i] + last - 1] == 0.0:
        last -= 1
    span[i, 0], span[i, 1] = first, last
