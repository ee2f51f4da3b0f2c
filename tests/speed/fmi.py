"""What a unit costs: `python -m tests.speed.fmi` builds units and times calls and whole stops.

Compared with the same strategy built in; stops by processor time, which a busy machine moves less.
A call is one sample of one vehicle of four axles: inputs set, a step, outputs got. The empty unit
does nothing in its step, so its time is the exchange's.
"""

import statistics
import tempfile
import time
from pathlib import Path

import numba
import numpy as np
from tests.exchange.units import build_unit

from slipbench.contract import OBSERVED, SIGNALS
from slipbench.controllers import by_name
from slipbench.kernel.records import UPDATE_SIGNATURE
from slipbench.scenario import load_scenario
from slipbench.stop.simulation import simulate
from slipbench.strategies.registry import find_controller
from slipbench.strategies.update import compile_update

N_CALLS, N_AXLES, N_TIMES = 20_000, 4, 15


@numba.njit(numba.void(numba.int64, numba.types.FunctionType(UPDATE_SIGNATURE),
            *UPDATE_SIGNATURE.args))  # fmt: skip
def call_often(n, update, observation, parameters, memory, command, signals):  # type: ignore[no-untyped-def]
    for _ in range(n):
        update(observation, parameters, memory, command, signals)


def call_time(controller) -> float:  # type: ignore[no-untyped-def]
    """Return the shortest time of a call seen. [s]"""
    update = compile_update(controller.update)
    observation = np.full((N_AXLES, len(OBSERVED)), np.nan)
    observation[:, :4], observation[:, 4:6] = (20.0, 3e5, 1.0, 0.01), 0.0
    best = np.inf
    for _ in range(N_TIMES):
        memory = np.zeros((N_AXLES + 1, controller.n_memory))
        command, signals = np.zeros((N_AXLES, 2)), np.zeros(len(SIGNALS))
        given = (observation, controller.parameter_values, memory, command, signals)
        call_often(1, update, *given)
        start = time.perf_counter()
        call_often(N_CALLS, update, *given)
        best = min(best, (time.perf_counter() - start) / N_CALLS)
    return best


def main() -> None:
    """Print times."""
    scenario = load_scenario("wet_leaf")
    with tempfile.TemporaryDirectory() as folder:
        units = {
            "built in": by_name("slip_band"),
            "FMI 2.0": _unit(folder, 2),
            "FMI 3.0": _unit(folder, 3),
            "FMI 2.0, empty": _unit(folder, 2, "-DFAULT=return 0"),
            "FMI 3.0, empty": _unit(folder, 3, "-DFAULT=return 0"),
        }
        print("a call of one vehicle, four axles")
        for name, controller in units.items():
            print(f"  {name:16} {1e9 * call_time(controller):7.1f} ns")
        times: dict[str, list[float]] = {name: [] for name in list(units)[:3]}
        n_samples = 0.0
        for _ in range(N_TIMES):
            for name, own in times.items():
                start = time.process_time()
                stop = simulate(scenario, units[name], 1, with_traces=False)
                own.append(1e3 * (time.process_time() - start))
            n_samples = stop.summary["stopping_time"] / 0.01 * len(scenario.train.vehicles)
        print(f"a stop on {scenario.name}, 16 axles, about {n_samples:.0f} calls")
        for name, own in times.items():
            base = times["built in"]
            more = statistics.median(a - b for a, b in zip(own, base, strict=True))
            print(f"  {name:16} {min(own):7.2f} ms at best, {more:+.2f} ms in the median")


def _unit(folder: str, version: int, *options: str):  # type: ignore[no-untyped-def]
    unit = build_unit(Path(folder), version, *options, stem=f"m{version}{len(options)}")
    return find_controller(str(unit)).controller


if __name__ == "__main__":
    main()
