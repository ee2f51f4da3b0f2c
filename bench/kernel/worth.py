"""What a metre of rail can give: the largest sum of priced rail forces of all wheels that pass it.

The axles pass one after the other. Each may brake with the peak of its creep curve, or slide
deeper, brake less and leave a cleaner rail to those behind. So what a place has given, and the
cleaning work W it has received, trade against each other. Of that trade only the upper side counts,
and it is kept by its tangents: for each of some worths of cleaning, the largest sum of priced force
and worth times W that the axles so far can reach. What the next axle makes of it has a bound in
closed form, whatever slips it runs through within a cell (proof: `slipbench.stop.shortest`).
"""

import math
from typing import Any

from slipbench.compiling.jit import inner
from slipbench.kernel.codes import MEASURED_CURVE, POLACH, RAIL_AND_CONTACT
from slipbench.kernel.creep import polach_ratio, table_ratio
from slipbench.kernel.rail import (
    cleaning_efficiency,
    conditioned_friction,
    pass_friction,
    sanded_friction,
)
from slipbench.kernel.records import Cell, Law, Train

N_SLIPS = 224
"""Intervals of creepage, each taken at its largest force and its largest work."""

N_WORTHS = 32
"""Worths of cleaning, the first of them zero."""

N_NODES = 24
"""Intervals of cleaning work in which the next axle's best is looked for."""

N_BINS = 3
"""Ranges of friction for each of which the creep curve is evaluated once, at its lowest."""

_LEAST_SLIP = 3e-3
"""Below this creepage all slips are one interval. [-]"""

_LEAST_WORTH, _WORTH_GROWTH = 0.02, 1.3
"""First worth above zero, over twice the price of a newton of force; how they grow. [-]"""


@inner
def worth_of(m: int, price: float) -> float:
    """Return a worth of cleaning, in priced newtons a J/m."""
    return 2.0 * price * _LEAST_WORTH * _WORTH_GROWTH ** (m - 1) if m > 0 else 0.0


@inner
def most_traction(
    low_slip: float,
    high_slip: float,
    speed: float,
    limit: float,
    stiffness: float,
    cell: Cell,
    law: Law,
) -> float:
    """Return a bound of the rail force over load and static friction, for a range of creepage. [-]

    Parameters
    ----------
    low_slip, high_slip : float   creepage. [-]
    speed : float                 no higher than the train's. [m/s]
    limit : float                 load times static friction of one wheel, no higher than the true
                                  one. [N]
    stiffness : float             G a b C11 of one wheel. [N]

    Notes
    -----
    Q mu(w) ratio(C s / (Q mu(w))) grows with mu(w), since ratio >= tau ratio' (`steepest_fall`),
    and with s at given mu(w): so friction is taken at the low end of the range and tau at the high
    one. Friction falls with the slip speed s v, so the bound holds for every higher speed; tau
    falls with static friction, so it holds for every higher friction. The ratio is nowhere above
    one: with kS <= kA it is at most (2/pi) (x / (1 + x^2) + atan x), which grows to one.
    """
    if law.kind == MEASURED_CURVE:
        return 1.0
    ratio = cell.friction_ratio
    fall = ratio + (1.0 - ratio) * math.exp(-cell.friction_decay * low_slip * speed)
    tau = stiffness * high_slip / (limit * fall)
    if law.kind == POLACH:
        return fall * polach_ratio(tau, cell.adhesion_reduction, cell.slip_reduction)[0]
    return fall * table_ratio(tau, law)[0]


@inner
def _top_of_work(train: Train) -> float:
    """Return the creepage at which creepage times cleaning efficiency is largest. [-]"""
    full, share = train.full_cleaning_slip, train.locked_cleaning_share
    fall = (1.0 - share) / (1.0 - full)
    if fall <= 0.0:
        return 1.0
    return min(max((1.0 + full * fall) / (2.0 * fall), full), 1.0)


@inner
def tabulate_passes(
    price: float,
    speed: float,
    limit: float,
    stiffness: float,
    cell: Cell,
    train: Train,
    law: Law,
    worths: Any,
    most: Any,
    traction_of: Any,
    slip_of: Any,
    tractions: Any,
    works: Any,
    ends: Any,
) -> None:
    """Fill, for each worth, the most a pass can be worth over load and friction of one wheel.

    Parameters
    ----------
    price : float             of a newton of rail force
    speed, limit, stiffness   as `most_traction`
    worths : (N_WORTHS,)
    most, traction_of, slip_of : (N_WORTHS,)   filled: 2 price f + worth c, with f the traction of
                              the pass and c its creepage times cleaning efficiency times traction;
                              that f and the creepage it comes from. [-]
    tractions, works, ends : (N_SLIPS,)   room

    Notes
    -----
    Every range of creepage is one pass: its largest traction with its largest work. What a wheel
    does while it crosses a cell is a mean of such passes, so worth no more than the best of them.
    """
    top = _top_of_work(train)
    for m in range(N_WORTHS):
        most[m] = -1.0
    full, locked = train.full_cleaning_slip, train.locked_cleaning_share
    low, high = 0.0, _LEAST_SLIP
    growth = (1.0 / _LEAST_SLIP) ** (1.0 / (N_SLIPS - 1))
    deepest = N_SLIPS - 1
    for i in range(N_SLIPS):
        tractions[i] = most_traction(low, high, speed, limit, stiffness, cell, law)
        slip = min(max(top, low), high)
        works[i] = tractions[i] * slip * cleaning_efficiency(slip, full, locked)
        ends[i] = high
        if low <= top < high:
            deepest = i
        low, high = high, min(high * growth, 1.0)
    for part in range(2):
        # beyond the largest work only more traction is of use; short of it likewise
        largest = 0.0
        for k in range(deepest + 1 if part == 0 else N_SLIPS - 1 - deepest):
            i = deepest - k if part == 0 else deepest + 1 + k
            if tractions[i] <= largest:
                continue
            largest = tractions[i]
            for m in range(N_WORTHS):
                found = 2.0 * price * largest + worths[m] * works[i]
                if found > most[m]:
                    most[m], traction_of[m], slip_of[m] = found, largest, ends[i]


@inner
def node_friction(
    base: float,
    step: float,
    sand: float,
    load: float,
    most: float,
    cell: Cell,
    train: Train,
    start: Any,
    largest: Any,
    slope: Any,
) -> None:
    """Fill the friction of a cell at each node of cleaning work.

    Parameters
    ----------
    base, step : float      W of the first node, and between nodes. [J/m]
    sand : float            on the rail. [kg/m]
    load : float            of the wheel. [N]
    most : float            `most_cleaning`. [-]
    start, largest : (n,)   filled: as a wheel comes, and the most it can make of it; they differ
                            only where a contact cleans for itself. [-]
    slope : (n,)            filled: no point between a node and the next lies above the node's
                            `largest` and this slope. [m/J]
    """
    gained = sanded_friction(sand, train)
    n = start.shape[0]
    is_concave = cell.cleaning_exponent <= 1.0 and train.cleaning_law != RAIL_AND_CONTACT
    own = train.contact_share * most * load if train.cleaning_law == RAIL_AND_CONTACT else 0.0
    for k in range(n):
        work = base + k * step
        start[k] = conditioned_friction(cell, work) + gained
        largest[k] = pass_friction(cell, work, own, gained) if own > 0.0 else start[k]
        slope[k] = 0.0
    if is_concave and cell.cleaning_exponent == 1.0:
        for k in range(n):
            missing = cell.recovered_friction + gained - largest[k]
            slope[k] = missing / cell.cleaning_work
        return
    for k in range(n - 1):  # friction only grows: taken at the end of each interval
        largest[k] = largest[k + 1]


@inner
def pass_place(
    price: float,
    speed: float,
    axle_load: float,
    stiffness: float,
    base: float,
    top: float,
    cell: Cell,
    train: Train,
    law: Law,
    worths: Any,
    start: Any,
    largest: Any,
    slope: Any,
    sums: Any,
    room: Any,
    best_work: Any,
    best_force: Any,
    best_slip: Any,
) -> float:
    """Let one more axle pass a place; return the largest sum of priced forces so far.

    Parameters
    ----------
    price : float             of a newton of rail force
    speed : float             no higher than the train's. [m/s]
    axle_load, stiffness      of one wheel. [N]
    base, top : float         smallest and largest W that the axles before can have left. [J/m]
    worths : (N_WORTHS,)      of a J/m of cleaning, ascending from zero
    start, largest, slope     (N_NODES + 1,), as `node_friction` fills them from `base` to `top`
    sums : (N_WORTHS,)        largest sum of priced force and worth times W; replaced by that after
                              the pass
    room : (9, N_SLIPS)
    best_work, best_force, best_slip : (N_WORTHS,)   filled: what gives it: W as the axle comes
                              [J/m], rail force of both wheels [N], creepage [-]

    Notes
    -----
    The trade of the axles before lies below each of the lines sums[q] - worths[q] W, so below their
    lowest, E(W), which is concave. A pass from W with friction mu gives E(W) + w W + Q mu(W)
    most(w) at most. Between two nodes E and mu lie below their tangents at both ends, and so does
    the sum: it is at most where those tangents cross.
    """
    n = N_NODES
    step = max(top - base, 1e-6) / n
    edge, falls = room[0], room[1]  # E at the nodes, and minus its slope
    new, most, traction_of, slip_of = room[2], room[3], room[4], room[5]
    for k in range(n + 1):
        work = base + k * step
        edge[k], falls[k] = math.inf, 0.0
        for q in range(N_WORTHS):
            here = sums[q] - worths[q] * work
            if here < edge[k]:
                edge[k], falls[k] = here, worths[q]
    for m in range(N_WORTHS):
        new[m] = -1.0
    width = max((start[n] - start[0]) / N_BINS, 1e-12)
    limit = -1.0
    for k in range(n):
        if start[k] >= limit:
            tabulate_passes(
                price,
                speed,
                axle_load * start[k],
                stiffness,
                cell,
                train,
                law,
                worths,
                most,
                traction_of,
                slip_of,
                room[6],
                room[7],
                room[8],
            )
            limit = start[k] + width
        work = base + k * step
        for m in range(N_WORTHS):
            gain = axle_load * most[m]
            low = edge[k] + worths[m] * work + gain * largest[k]
            rise = worths[m] - falls[k] + gain * slope[k]
            found, at = low, work
            if rise > 0.0:
                end = work + step
                high = edge[k + 1] + worths[m] * end + gain * _at_end(k, step, largest, slope)
                fall = falls[k + 1] - worths[m] - gain * slope[k + 1]
                found, at = high, end
                if fall > 0.0:
                    share = min((high - low + fall * step) / ((rise + fall) * step), 1.0)
                    share = max(share, 0.0)
                    found, at = low + rise * share * step, work + share * step
            if found > new[m]:
                new[m], best_work[m] = found, at
                best_force[m] = 2.0 * axle_load * largest[k] * traction_of[m]
                best_slip[m] = slip_of[m]
    for m in range(N_WORTHS):
        sums[m] = new[m]
    return sums[0]


@inner
def _at_end(k: int, step: float, largest: Any, slope: Any) -> float:
    """Return a friction no point of an interval passes at its end, on either tangent. [-]"""
    return max(largest[k + 1], largest[k]) if slope[k] > 0.0 else largest[k]
