"""Compile the GPU's kernel for a strategy to PTX, without a GPU: `python -m tests.device.to_ptx`.

numba-cuda asks the GPU for its compute capability when a function calls another; here a stand-in
says 9.0. What is printed: the number of lines, and the entry's name.
"""

import os
import sys

os.environ["SLIPBENCH_DEVICE_PROCESS"] = "1"


class _Card:
    compute_capability = (9, 0)


def main() -> None:
    from numba import cuda, int64, types
    from numba.cuda import dispatcher

    dispatcher.get_current_device = lambda: _Card
    from slipbench.compiling.device import compile_strategy, teach_floor
    from slipbench.device.flat import NO_TRACES, PARTS
    from slipbench.device.many import stops_kernel
    from slipbench.kernel.records import World, part_types
    from slipbench.strategies.registry import find_controller

    teach_floor()
    update = compile_strategy(find_controller(sys.argv[1]).controller.update, None, False)
    assert World._fields == (*PARTS, *NO_TRACES)
    matrix = types.Array(types.float64, 2, "C")
    table = types.Array(int64, 2, "C")
    first = [types.Array(int64, 1, "C"), int64, table, table, matrix, matrix]
    signature = types.void(*first, *part_types(*PARTS, *NO_TRACES))
    text, _ = cuda.compile(
        stops_kernel(update).py_func, signature, device=False, cc=(9, 0), output="ptx", abi="numba"
    )
    entries = [line for line in text.splitlines() if line.startswith(".visible .entry")]
    print(f"{text.count(chr(10))} lines of PTX; {len(entries)} entry")


if __name__ == "__main__":
    main()
