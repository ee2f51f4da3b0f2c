"""Rail cells: what a wheel meets on entering one, and the cleaning it leaves behind."""

import math

from numba import njit

from bench.kernel.creep import find_peak


@njit(error_model="numpy")
def conditioned_friction(cell, work):
    """Return the static friction of a cell after cleaning work W. [-]

    Parameters
    ----------
    cell : CELL    its friction uncleaned and recovered, cleaning work W0 and exponent p
    work : float   W, cleaning work of one wheel per metre, summed over all wheels before. [J/m]

    Notes
    -----
    mu = mu_d + (mu_r - mu_d) (1 - exp(-(W / W0)^p)). The exponential form is that of the
    degraded-adhesion model (Allotta, Meli and others, 2014, from memory), where W is the momentary
    work of the contact itself. That the rail keeps W for the wheels behind is this project's own
    extension.
    """
    if work <= 0.0 or cell.recovered_friction == cell.friction:
        return cell.friction
    share = work / cell.cleaning_work
    if cell.cleaning_exponent != 1.0:
        share = share**cell.cleaning_exponent
    return cell.recovered_friction - (cell.recovered_friction - cell.friction) * math.exp(-share)


@njit(error_model="numpy")
def cleaning_efficiency(creepage, train):
    """Return the share of the contact's power that cleans the rail. [-]

    Full up to `full_cleaning_slip`, then falling linearly to `locked_cleaning_share` at creepage
    one: a locked wheel offers one coated spot and carries no film away. Assumed, this project's
    own; the sensitivity to it is an experiment.
    """
    if creepage <= train.full_cleaning_slip:
        return 1.0
    beyond = min(1.0, (creepage - train.full_cleaning_slip) / (1.0 - train.full_cleaning_slip))
    return 1.0 - beyond * (1.0 - train.locked_cleaning_share)


@njit(error_model="numpy")
def enter_cell(i_cell, cells, rail_work, state):
    """Put an axle into a cell: it reads the friction there once, as the wheels before left it."""
    cell = cells[i_cell]
    state.i_cell = i_cell
    state.friction = conditioned_friction(cell, rail_work[i_cell])
    state.friction_ratio = cell.friction_ratio
    state.friction_decay = cell.friction_decay
    state.adhesion_reduction = cell.adhesion_reduction
    state.slip_reduction = cell.slip_reduction
    state.peak_speed = -1.0


@njit(error_model="numpy")
def leave_cell(cell_length, rail_work, state):
    """Put the cleaning energy an axle collected in its cell onto the rail for those behind."""
    rail_work[state.i_cell] += state.cell_energy / cell_length
    state.cell_energy = 0.0


@njit(error_model="numpy")
def peak_met(train_speed, axle, state):
    """Return the largest force the axle's creep curve offers where it stands now. [N]

    The peak over load and friction is found again on entering a cell, and whenever the speed has
    moved by one per cent since (it then moves by less than 0.2 per cent).
    """
    if abs(train_speed - state.peak_speed) > 0.01 * state.peak_speed or state.peak_speed < 0.0:
        creepage, force = find_peak(train_speed, axle, state)
        state.peak_creepage = creepage
        state.peak_ratio = force / (axle.wheel_load * state.friction)
        state.peak_speed = train_speed
    return state.peak_ratio * axle.wheel_load * state.friction
