"""By hand, `python -m tests.measured.hundred`: how long a long log takes to read and identify."""

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


def identifying_time(folder: Path, minutes: float = 10.0) -> float:
    """Return how long the command takes to identify the rail of such a log, and print it. [s]

    A stop of the bench on a film of .02 down a gradient that nearly balances it, slip control at
    work throughout, written at 100 Hz with noise.
    """
    from slipbench import simulate
    from slipbench.commands.main import main
    from slipbench.scenario import GradientSection, load_scenario

    scenario = load_scenario("wet_leaf").replace({
        "initial_speed": 38.0, "rail.sections.*.friction": 0.02,
        "rail.sections.*.recovered_friction": 0.032, "run.maximum_distance": 30e3,
        "gradient": (GradientSection(from_distance=-1000.0, rise=-0.0125),),
    })  # fmt: skip
    traces = simulate(scenario, "slip_band", 1).traces
    rng = np.random.default_rng(0)
    time_s = np.arange(0.0, min(float(traces["time"][-1]), 60.0 * minutes), 0.01)
    columns = {"time_s": time_s, "handle": np.interp(time_s, traces["time"], traces["handle"])}
    for name, trace, noise in (("wheel_speed_m_per_s", "measured_wheel_speed", 0.05),
                               ("pressure_pa", "pressure", 2e3)):  # fmt: skip
        for i in range(16):
            value = np.interp(time_s, traces["time"], traces[trace][:, i])
            columns[f"axle_{i + 1}_{name}"] = value + noise * rng.standard_normal(len(time_s))
    file = folder / "slide.csv"
    np.savetxt(file, np.column_stack(list(columns.values())), delimiter=",", comments="",
               header=",".join(columns), fmt="%.6g")  # fmt: skip
    (folder / "grade.csv").write_text("distance_m,rise_permille\n0,-12.5\n")
    begin, own = time.perf_counter(), time.process_time()
    line = ["identify", str(file), "--train", "wet_leaf", "--gradient", str(folder / "grade.csv"),
            "--to", str(folder / "rail.toml"), "--overwrite"]  # fmt: skip
    assert main(line) == 0
    took, own = time.perf_counter() - begin, time.process_time() - own
    print(f"{len(time_s)} rows, {time_s[-1]:.0f} s of 16 axles: identified in {took:.1f} s by the "
          f"clock, {own:.1f} s of processor")  # fmt: skip
    return own


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as made:
        reading_time(Path(made))
        identifying_time(Path(made))
