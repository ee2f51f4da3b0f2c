"""By hand, `python -m tests.measured.hundred`: many trials, and what their bands hold."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np


def reading_time(folder: Path, minutes: float = 10.0) -> float:
    """Return how long a log of 16 axles at 100 Hz takes to be read, and print it. [s]"""
    from slipbench.measured.reading import read_log

    n = round(minutes * 60 * 100)
    rng = np.random.default_rng(0)
    names = ["time_s", "train_speed_m_per_s"]
    names += [f"axle_{i}_wheel_speed_m_per_s" for i in range(1, 17)]
    names += [f"axle_{i}_pressure_pa" for i in range(1, 17)]
    values = np.column_stack([0.01 * np.arange(n), rng.uniform(5, 30, (n, 17)),
                              rng.uniform(0, 3e5, (n, 16))])  # fmt: skip
    file = folder / "long.csv"
    np.savetxt(file, values, delimiter=",", header=",".join(names), comments="", fmt="%.6g")
    begin, own = time.perf_counter(), time.process_time()
    log = read_log(file)
    took, own = time.perf_counter() - begin, time.process_time() - own
    assert len(log.channels) == 33 and len(log.channels[0].time) == n
    print(f"{n} rows of {len(names)} columns, {file.stat().st_size / 1e6:.1f} MB: read in "
          f"{took:.2f} s by the clock, {own:.2f} s of processor")  # fmt: skip
    return own


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        reading_time(Path(made))
