"""Rail cells: what a wheel meets on entering one, and the cleaning it leaves behind."""

import math
from typing import Any

from slipbench.compiling.jit import apart, folded, inner, part
from slipbench.kernel.codes import CONTACT_ONLY
from slipbench.kernel.creep import find_peak, follow_peak, shape_of_peak
from slipbench.kernel.records import Axle, AxleState, Cell, Law, Train


@part
def conditioned_friction(cell: Cell, work: float) -> float:
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


@folded
def cleaning_efficiency(
    creepage: float, full_cleaning_slip: float, locked_cleaning_share: float
) -> Any:
    """Return the share of the contact's power that cleans the rail. [-]

    Full up to `full_cleaning_slip`, then falling linearly to `locked_cleaning_share` at creepage
    one: a locked wheel offers one coated spot and carries no film away. Assumed, this project's
    own; the sensitivity to it is an experiment.
    """
    beyond = (creepage - full_cleaning_slip) / (1.0 - full_cleaning_slip)
    return 1.0 - min(1.0, max(beyond, 0.0)) * (1.0 - locked_cleaning_share)


@part
def sanded_friction(sand: float, train: Train) -> float:
    """Return the friction gained under sand on one rail. [-]

    Parameters
    ----------
    sand : float   [kg/m]

    Notes
    -----
    dmu (1 - exp(-S / S0)): this project's form, fitted to the published sanding trial; the two
    numbers are not separately identifiable, only their ratio.
    """
    if sand <= 0.0 or train.sand_friction == 0.0:
        return 0.0
    return train.sand_friction * (1.0 - math.exp(-sand / train.sand_scale))


@part
def enter_cell(
    i_cell: int, cells: Any, rail_work: Any, rail_sand: Any, train: Train, axle_state: AxleState
) -> None:
    """Put an axle into a cell: it reads the friction there once, as the wheels before left it.

    Under the law without memory it reads the friction of the film untouched; its own cleaning
    comes on top (`clean_own_contact`), as it does under that of rail and contact
    (`share_own_contact`).
    """
    cell = cells[i_cell]
    axle_state.i_cell = i_cell
    work = 0.0 if train.cleaning_law == CONTACT_ONLY else rail_work[i_cell]
    axle_state.friction = conditioned_friction(cell, work) + sanded_friction(
        rail_sand[i_cell], train
    )
    is_same_curve = (
        axle_state.friction_ratio == cell.friction_ratio
        and axle_state.friction_decay == cell.friction_decay
        and axle_state.adhesion_reduction == cell.adhesion_reduction
        and axle_state.slip_reduction == cell.slip_reduction
    )
    if is_same_curve:
        return
    axle_state.friction_ratio = cell.friction_ratio
    axle_state.friction_decay = cell.friction_decay
    axle_state.adhesion_reduction = cell.adhesion_reduction
    axle_state.slip_reduction = cell.slip_reduction
    axle_state.peak_speed = -1.0


@part
def leave_cell(train: Train, rail_work: Any, rail_sand: Any, axle_state: AxleState) -> None:
    """Put the cleaning energy an axle collected in its cell onto the rail for those behind.

    Before that each wheel lays down again a share of the film (`redeposition`) and carries off a
    share of the sand.
    """
    i_cell = axle_state.i_cell
    if train.redeposition > 0.0:
        kept = rail_work[i_cell] * math.exp(-train.redeposition)
        axle_state.redeposited += (rail_work[i_cell] - kept) * train.cell_length
        rail_work[i_cell] = kept
    rail_work[i_cell] += axle_state.cell_energy / train.cell_length
    rail_sand[i_cell] *= train.sand_retention
    axle_state.cell_energy = 0.0


@part
def clean_own_contact(
    train_speed: float, cell: Cell, sand: float, train: Train, axle_state: AxleState
) -> None:
    """Set the friction that the contact's own work of sliding keeps up (law without memory).

    Parameters
    ----------
    train_speed : float   [m/s]
    cell : CELL
    sand : float          on the rail here [kg/m]
    axle_state : AXLE_STATE    its rail force and slip of this moment

    Notes
    -----
    W = F s, the work of one wheel per metre at this moment, takes the place of the rail's memory:
    the degraded and recovered adhesion model (Allotta, Meli and others, 2014, from memory). Force
    and friction depend on each other; each piece of time takes the friction that the piece before
    kept up, so where the self-consistent curve is S-shaped the branch reached continuously is
    followed. First order in the step, for this law only.
    """
    slip = max(train_speed - axle_state.wheel_speed, 0.0) / max(train_speed, 1e-3)
    work = 0.5 * abs(axle_state.rail_force) * min(slip, 1.0)
    friction = conditioned_friction(cell, work) + sanded_friction(sand, train)
    axle_state.friction = friction


_PASS_STEPS = 8
"""Steps of fourth order through a pass over a film of two layers, which has no closed form."""


@part
def pass_friction(cell: Cell, work: float, sliding: float, sand: float) -> float:
    """Return the mean static friction of a pass that cleans for itself and for those behind. [-]

    Parameters
    ----------
    cell : CELL
    work : float      W on the rail as the wheel comes. [J/m]
    sliding : float   k of the pass: its work per metre over its mean friction, h s Q F / (mu Q);
                      what it leaves is W + k times what is returned. [J/m]
    sand : float      friction gained under the sand that lies there. [-]

    Notes
    -----
    Inside the contact the film is worn through as the load q passes over it: dW = mu(W) dk, with
    mu(W) = mu_r - (mu_r - mu_d) exp(-W / W0) and the sand's gain on top. Solved from W on,

        W' = W + W0 ln(1 + mu(W) / mu_r (exp(mu_r k / W0) - 1)),    mean mu = (W' - W) / k.

    So each joule is spent once: what the pass cleaned for itself is what it leaves, and two passes
    of k leave what one of 2 k leaves. The rail's memory takes mu(W), the friction at the start of
    the pass, for all of it (one explicit step of this equation); the law without memory takes the
    friction at its end, on a rail untouched (one implicit step from W = 0). The mean lies between.
    With p other than 1 the equation is integrated in eight steps, to some 1e-5 (tested).
    """
    start = conditioned_friction(cell, work) + sand
    if sliding <= 0.0 or cell.recovered_friction == cell.friction:
        return start
    if cell.cleaning_exponent == 1.0:
        clean = cell.recovered_friction + sand
        power = clean * sliding / cell.cleaning_work
        gained = power + math.log1p((1.0 - start / clean) * math.expm1(-power))
        return max(gained * cell.cleaning_work / sliding, start)
    step = sliding / _PASS_STEPS
    after = work
    for _ in range(_PASS_STEPS):
        first = conditioned_friction(cell, after) + sand
        second = conditioned_friction(cell, after + 0.5 * step * first) + sand
        third = conditioned_friction(cell, after + 0.5 * step * second) + sand
        last = conditioned_friction(cell, after + step * third) + sand
        after += step / 6.0 * (first + 2.0 * (second + third) + last)
    return max((after - work) / sliding, start)


@part
def share_own_contact(
    train_speed: float,
    traction: float,
    cell: Cell,
    work: float,
    sand: float,
    train: Train,
    axle_state: AxleState,
) -> None:
    """Set the friction of a contact on a rail that remembers, its own pass counted once.

    Parameters
    ----------
    train_speed : float   [m/s]
    traction : float      rail force over load and friction in the piece before. [-]
    cell : CELL
    work : float          W as the wheels before left it. [J/m]
    sand : float          on the rail here [kg/m]
    axle_state : AXLE_STATE    its slip of this moment

    Notes
    -----
    Force and friction are proportional but for the little that friction shifts in the creep law, so
    the share of friction used is taken from the piece before: first order in the step, for this law
    only. `contact_share` of the work acts in the contact itself (1: the law; 0: `rail_memory`); all
    of it stays on the rail.
    """
    slip = min(max(train_speed - axle_state.wheel_speed, 0.0) / max(train_speed, 1e-3), 1.0)
    share = cleaning_efficiency(slip, train.full_cleaning_slip, train.locked_cleaning_share)
    sliding = train.contact_share * share * slip * axle_state.wheel_load * traction
    axle_state.friction = pass_friction(cell, work, sliding, sanded_friction(sand, train))


@inner
def _is_peak_old(train_speed: float, axle_state: AxleState) -> bool:
    """Return whether speed or friction have moved by one per cent since the peak was found.

    It then moves by less than 0.2 per cent.
    """
    return (
        abs(train_speed - axle_state.peak_speed) > 0.01 * axle_state.peak_speed
        or abs(axle_state.friction - axle_state.peak_friction) > 0.01 * axle_state.peak_friction
    )


@apart
def _find_peak_anew(
    train_speed: float, axle: Axle, axle_state: AxleState, law: Law
) -> tuple[Any, Any, Any]:
    """Return creepage and force at the peak, and whether it had to be searched for.

    It is followed from where it was found last, and searched for where the curve's shape changed,
    or when speed or friction have moved far since the last search.
    """
    creepage = force = 0.0
    if (
        axle_state.peak_bend > 0.0
        and axle_state.peak_speed >= 0.0
        and abs(train_speed - axle_state.found_speed) <= 0.3 * axle_state.found_speed
        and abs(axle_state.friction - axle_state.found_friction) <= 0.5 * axle_state.found_friction
    ):
        creepage, force = follow_peak(train_speed, axle, axle_state, law)
    is_sought = creepage == 0.0
    if is_sought:
        creepage, force = find_peak(train_speed, axle, axle_state, law)
    return creepage, force, is_sought


@part
def peak_met(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    """Return the largest force the axle's creep curve offers where it stands now. [N]

    The peak over load and friction is found anew where it is old, and kept.
    """
    if _is_peak_old(train_speed, axle_state):
        creepage, force, is_sought = _find_peak_anew(train_speed, axle, axle_state, law)
        if is_sought:
            axle_state.peak_bend, axle_state.locked_share = shape_of_peak(
                creepage, force, train_speed, axle, axle_state, law
            )
            axle_state.found_speed, axle_state.found_friction = train_speed, axle_state.friction
        axle_state.peak_creepage = creepage
        axle_state.peak_ratio = force / (axle_state.wheel_load * axle_state.friction)
        axle_state.peak_speed = train_speed
        axle_state.peak_friction = axle_state.friction
    return axle_state.peak_ratio * axle_state.wheel_load * axle_state.friction


@part
def peak_seen(train_speed: float, axle: Axle, axle_state: AxleState, law: Law) -> float:
    """Return what `peak_met` would, and keep nothing: a stop that is watched stays the same. [N]"""
    if _is_peak_old(train_speed, axle_state):
        return _find_peak_anew(train_speed, axle, axle_state, law)[1]
    return axle_state.peak_ratio * axle_state.wheel_load * axle_state.friction
