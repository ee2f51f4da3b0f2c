"""Track brakes: forces on the rail beside those of the wheels, and what they do to its film."""

import math

from slipbench.compiling.jit import apart, inner, part
from slipbench.kernel.codes import CONTACT_ONLY, EDDY_CURRENT
from slipbench.kernel.rail import conditioned_friction
from slipbench.kernel.records import Magnet, World

FILM_UP_TO, CLEAN_FROM = 0.1, 0.2
"""Static friction of a rail that counts as covered, and of one that counts as clean (assumed)."""

_NO_WAY = 1e-9


@part
def magnet_force(speed: float, film: float, magnet: Magnet) -> float:
    """Return the force of one magnet on its rail. [N]

    Parameters
    ----------
    speed : float   of the train. [m/s]
    film : float    what the film leaves of its friction, 1 on a clean rail. [-]
    magnet : MAGNET

    Notes
    -----
    Magnetic: F_N mu_0 / (1 + k v) film. Eddy current: F_pk 2 / (v/v_k + v_k/v), from memory.
    """
    if magnet.kind == EDDY_CURRENT:
        share = max(speed, 1e-6) / magnet.critical_speed
        return magnet.peak_force * 2.0 / (share + 1.0 / share)
    friction = magnet.friction / (1.0 + magnet.friction_speed_term * speed)
    return magnet.attraction * friction * film


@part
def film_left(static_friction: float, film_factor: float) -> float:
    """Return what a film leaves of a magnet's friction: all on a clean rail. [-] (assumed)"""
    clean = (static_friction - FILM_UP_TO) / (CLEAN_FROM - FILM_UP_TO)
    return film_factor + (1.0 - film_factor) * min(max(clean, 0.0), 1.0)


@apart
def aim_magnets(world: World) -> None:
    """Apply or lift the track brakes as handle, speed and faults say; act once they are lowered."""
    train_state = world.train_state[0]
    for i in range(world.magnets.shape[0]):
        magnet, own = world.magnets[i], world.magnet_states[i]
        is_applied = (
            train_state.acting_position >= magnet.least_position
            and train_state.speed > magnet.lowest_speed + 1e-7
            and world.vehicle_states[magnet.i_vehicle].is_track_lost == 0
        )
        if not is_applied:
            own.applied_time, own.is_acting = -1.0, 0
            continue
        if own.applied_time < 0.0:
            own.applied_time = train_state.time
        lowered = own.applied_time + magnet.lowering_time
        own.is_acting = 1 if train_state.time >= lowered - 1e-10 else 0


@apart
def time_to_magnet_event(world: World) -> float:
    """Return how long until some track brake is lowered, or lifted for lack of speed. [s]"""
    train_state, wait = world.train_state[0], math.inf
    for i in range(world.magnets.shape[0]):
        magnet, own = world.magnets[i], world.magnet_states[i]
        if own.applied_time >= 0.0 and not own.is_acting:
            wait = min(wait, own.applied_time + magnet.lowering_time - train_state.time)
        if own.applied_time >= 0.0 and train_state.acceleration < 0.0 and magnet.lowest_speed > 0.0:
            wait = min(wait, (train_state.speed - magnet.lowest_speed) / -train_state.acceleration)
    return max(wait, 1e-10)


@inner
def _drag_over_cells(i_magnet: int, path: float, speed: float, world: World) -> float:
    """Drag a bogie's magnets over the cells of a step's way; return their mean force. [N]"""
    train = world.train[0]
    magnet, own = world.magnets[i_magnet], world.magnet_states[i_magnet]
    place = (world.train_state[0].distance - magnet.offset - train.rail_start) / train.cell_length
    end, work = place + path / train.cell_length, 0.0
    i_cell = int(math.floor(place))  # noqa: RUF046 - a float on a GPU
    while True:
        i = min(i_cell, world.cells.shape[0] - 1)
        if i != own.i_cell:
            static = conditioned_friction(world.cells[i], world.rail_work[i])
            own.i_cell, own.film = i, film_left(static, magnet.film_factor)
        upto = min(end, i_cell + 1.0)
        force = magnet_force(speed, own.film, magnet)
        share = upto - place
        work += 2.0 * force * share
        if train.cleaning_law != CONTACT_ONLY:
            gained = magnet.cleaning_share * force * share
            world.rail_work[i] += gained
            own.cleaning_energy += gained * train.cell_length
        place = upto
        i_cell += 1
        if place >= end:
            break
    return work * train.cell_length / path


@apart
def run_magnets(duration: float, world: World) -> None:
    """Set what the track brakes give in the coming step, and let them clean the rail under them.

    Parameters
    ----------
    duration : float   of the step. [s]
    world : World      `track_force`, the rail's `rail_work` and the magnets' states are changed

    Notes
    -----
    Force at the middle of the step; the film is that met on coming over a cell, as it is for
    wheels. A magnet stands between the axles of its bogie, and a cell is at most half as long, so
    the axle behind meets the cell as the magnet left it.
    """
    train_state = world.train_state[0]
    middle = max(train_state.speed + 0.5 * duration * train_state.acceleration, 0.0)
    path, total = middle * duration, 0.0
    for i in range(world.magnets.shape[0]):
        magnet, own = world.magnets[i], world.magnet_states[i]
        if own.is_acting == 0 or path <= _NO_WAY:
            continue
        if magnet.kind == EDDY_CURRENT:
            force = 2.0 * magnet_force(middle, 1.0, magnet)
        else:
            force = _drag_over_cells(i, path, middle, world)
        own.work += force * path
        total += force
    train_state.track_force = total
