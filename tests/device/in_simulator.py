"""The small kernels in numba-cuda's simulator: `python -m tests.device.in_simulator`."""

import os

os.environ["NUMBA_ENABLE_CUDASIM"] = "1"

import numpy as np


def main() -> None:
    from slipbench.device.filling import clear, spread, used_span

    words = np.arange(10, dtype=np.int64)
    clear[2, 2](words)
    assert not words.any()

    rows = np.array([7, 8, 1, 2, 5, 6], dtype=np.int64)  # three rows of two words
    ends = np.array([3, 4, 9], dtype=np.int64)
    words = np.zeros(18, np.int64)
    spread[2, 2](rows, 2, ends, words)
    assert words.reshape(9, 2).tolist() == 3 * [[7, 8]] + [[1, 2]] + 5 * [[5, 6]]

    values = np.array([0.0, 0.0, 3.0, 0.0, 4.0, 0.0, 0.0, 0.0, 1.0])
    starts, lengths = np.array([0, 6, 8]), np.array([6, 2, 1])
    span = np.zeros((3, 2), np.int64)
    used_span[2, 2](values, starts, lengths, span)
    found = [values[s + a : s + b].tolist() for s, (a, b) in zip(starts, span, strict=True)]
    assert found == [[3.0, 0.0, 4.0], [], [1.0]]
    print("three kernels as they should be")


if __name__ == "__main__":
    main()
