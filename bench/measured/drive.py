"""The model's wheels driven by measured brake forces: open loop in the actuators.

Slip control plays no part, so the chaos of its valves does not enter; contact, lock and re-spin,
rail cells and cleaning are the kernel's own functions.
"""

from __future__ import annotations

from typing import Any

import numba

from slipbench.compiling.cache import compiled_here
from slipbench.compiling.jit import entry
from slipbench.kernel.rail import cleaning_efficiency, enter_cell, leave_cell
from slipbench.kernel.records import part_types
from slipbench.kernel.wheelset import Course, longest_piece, turn

_matrix = numba.float64[:, ::1]
_vector = numba.float64[::1]

_PARTS = ("axles", "axle_states", "cells", "rail_work", "rail_sand", "train", "law")
_axles, _axle_states, _cells, _work, _sand, _train, _law = part_types(*_PARTS)

with compiled_here():

    @entry(  # type: ignore[untyped-decorator]
        numba.void(
            _axles, _axle_states, _cells, _work, _sand, _train, _law,
            numba.float64, _matrix, _matrix, _vector, _matrix, _matrix,
        )
    )  # fmt: skip
    def drive_compiled(
        axles: Any,
        states: Any,
        cells: Any,
        rail_work: Any,
        rail_sand: Any,
        trains: Any,
        laws: Any,
        step: float,
        brake: Any,
        loads: Any,
        speeds: Any,
        wheels: Any,
        forces: Any,
    ) -> None:
        """Take all wheels through a log.

        Parameters
        ----------
        axles, states, cells, rail_work, rail_sand, trains, laws   as packed; states are changed
        step : float                of the log [s]
        brake : (n, n_axles)        brake force at the rims [N]
        loads : (n, n_axles)        of the axles [N]
        speeds : (n,)               train speed [m/s]
        wheels, forces : (n, n_axles)   filled: rim speeds [m/s], rail forces [N]
        """
        train, law = trains[0], laws[0]
        n, n_axles = brake.shape
        for i in range(n_axles):
            wheels[0, i], forces[0, i] = states[i].wheel_speed, 0.0
        for t in range(n - 1):
            speed = speeds[t]
            slowing = (speeds[t + 1] - speed) / step
            for i in range(n_axles):
                axle, state = axles[i], states[i]
                grown = 0.5 * loads[t, i] / axle.wheel_load
                state.wheel_load = 0.5 * loads[t, i]
                state.contact_stiffness = axle.contact_stiffness * grown ** (2.0 / 3.0)
                rate = (brake[t + 1, i] - brake[t, i]) / step
                done = 0.0
                while done < step - 1e-12:
                    now = max(speed + slowing * done, 0.0)
                    piece = min(step - done, 0.005, longest_piece(now, axle, state, law))
                    if now > 1e-6:
                        piece = min(piece, max(state.to_border / now, 1e-7))
                    force_now = brake[t, i] + rate * done
                    course = Course(now, slowing, force_now, rate, axle, state, law)
                    spent, _u1, f1, u2, f2 = turn(piece, course)
                    state.wheel_speed, state.rail_force = u2, f2
                    mean = 0.5 * (f1 + f2)
                    slip = max(now - u2, 0.0)
                    efficiency = cleaning_efficiency(
                        slip / max(now, 1e-3), train.full_cleaning_slip, train.locked_cleaning_share
                    )
                    state.cell_energy += 0.5 * efficiency * abs(mean) * slip * spent
                    state.to_border -= spent * (now + 0.5 * slowing * spent)
                    done += spent
                    if state.to_border <= 1e-9:
                        leave_cell(train, rail_work, rail_sand, state)
                        ahead = min(state.i_cell + 1, cells.shape[0] - 1)
                        enter_cell(ahead, cells, rail_work, rail_sand, train, state)
                        state.to_border += train.cell_length
                wheels[t + 1, i], forces[t + 1, i] = state.wheel_speed, state.rail_force
