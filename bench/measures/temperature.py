"""How hot a locked wheel gets: its spot, the quench after it, and the tread.

Pure functions of samples. All temperatures of the contact are rises above the body's own
temperature [K]; only the transformation of steel needs absolute ones. Properties of steel do not
change with temperature and worn metal carries no heat away, so high values are upper-side
estimates.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from slipbench.ground.errors import InputError
from slipbench.measures.materials import (
    STEEL,
    TREAD_HEAT_SINK,
    FloatArray,
    SteelProperties,
    TreadHeatSink,
    checked_length,
    checked_lock,
    checked_samples,
    moving_disc_response,
    stationary_disc_response,
)


def locked_wheel_steady_temperature(
    heat_flux: float, train_speed: float, patch_radius: float, steel: SteelProperties = STEEL
) -> tuple[float, float]:
    """Return temperature rise [K] and wheel heat share [-] of a lock that lasts for ever.

    Parameters
    ----------
    heat_flux : float      Mean friction heat flux into both bodies. [W/m2], >= 0
    train_speed : float    [m/s], >= 0
    patch_radius : float   Radius of the contact. [m], > 0

    Raises
    ------
    InputError   For a value out of its range.

    Notes
    -----
    Equal highest temperature on both sides of one disc. An upper side for a lock of constant
    speed, force and patch; real patches grow.
    """
    flux = checked_samples("heat_flux", "W/m2", heat_flux)
    speed = checked_samples("train_speed", "m/s", train_speed)
    radius = checked_length("patch_radius", patch_radius)
    rail_response = float(moving_disc_response(speed, radius, steel))
    wheel_response = radius / steel.conductivity
    wheel_share = rail_response / (rail_response + wheel_response)
    return float(flux * wheel_share * wheel_response), wheel_share


@dataclass(frozen=True)
class LockedWheelHeat:
    """Heat of one lock, one entry a sample.

    Parameters
    ----------
    time : array               Time. [s]
    temperature_rise : array   Hottest point of the spot above the bodies' own temperature. [K]
    heat_share : array         Share of the friction heat that enters the wheel. It starts at 1
        (see `locked_wheel_temperature`), is 0 where there is no friction heat, and < 0 while the
        hot wheel warms the rail. [-]
    wheel_heat_flux : array    Heat flux into the wheel. [W/m2]
    patch_radius : array       Radius of the contact. [m]
    steel : SteelProperties    Steel of wheel and rail.
    """

    time: FloatArray
    temperature_rise: FloatArray
    heat_share: FloatArray
    wheel_heat_flux: FloatArray
    patch_radius: FloatArray
    steel: SteelProperties


def locked_wheel_temperature(
    time: npt.ArrayLike,
    contact_force: npt.ArrayLike,
    train_speed: npt.ArrayLike,
    patch_radius: npt.ArrayLike,
    steel: SteelProperties = STEEL,
    max_nodes: int = 400,
) -> LockedWheelHeat:
    """Return temperature and heat share of a locked wheel, sample by sample.

    Parameters
    ----------
    time : (n_samples,) array   Samples of one lock, the first at its start. [s], increasing
    contact_force : array       Tangential force of this wheel; its sign is ignored. [N]
    train_speed : array         Sliding speed. [m/s], >= 0
    patch_radius : array        Radius of a disc as large as the contact. [m], > 0; grows with the
        flat (`slipbench.measures.flats.flat_patch_radius`)
    max_nodes : int             Longer locks are solved on this many samples, densest at the start.

    Returns
    -------
    LockedWheelHeat   Arrays (n_samples,).

    Raises
    ------
    InputError   For unequal lengths, time that does not increase, or a value out of its range.

    Notes
    -----
    The wheel holds a stationary heat source, the rail a moving one; at every node the heat is
    shared so that the hottest points of both agree (Blok's condition). Wheel: superposed steps of
    flux, each on the patch of its own time, so force, speed and patch may all change. Rail: steady
    for the speed, flux and patch of the moment. That is wrong for the first two or three patch
    lengths (milliseconds), where it gives the wheel all of the heat instead of half of it, and for
    crawling, where there is little heat. The rail arrives cold: wheels ahead have not warmed it.

    Flux steps are centred on the nodes, second order in their length where the data are smooth.
    Over a lock of 2 s at constant speed (0.05 to 10 m/s), force and patch, n equal steps gave a
    final wheel flux within 0.04 / n and a temperature within 0.01 / n of the converged ones; the
    first sample's temperature came out up to 8 % low. Locks longer than `max_nodes` samples keep
    their heat, but fast changes reach the wheel side smoothed: within 0.2 % of the peak for a
    40 s lock at 10 ms. Cost: max_nodes^2 responses, about 20 ms for 400.
    """
    instants, force, speed, radius = checked_lock(
        time,
        contact_force=("N", np.abs(contact_force)),
        train_speed=("m/s", train_speed),
        patch_radius=("m", patch_radius),
    )
    if np.any(radius == 0.0):
        raise InputError("patch_radius = 0 m is not allowed; it must be > 0")
    if max_nodes < 3:
        raise InputError(f"max_nodes = {max_nodes} is not allowed; it must be >= 3")
    power = force * speed
    flux = power / (math.pi * radius**2)
    rail_response = moving_disc_response(speed, radius, steel)
    nodes = _node_indices(instants.size, max_nodes)
    node_flux = flux[nodes]
    if nodes.size < instants.size:
        node_flux = _cell_means(instants, power, nodes) / (math.pi * radius[nodes] ** 2)
    at = instants[nodes]
    (node_wheel_flux,) = share_heat(
        at[None],
        node_flux[None],
        radius[None, nodes],
        rail_response[None, nodes],
        steel,
    )
    wheel_flux = np.interp(instants, at, node_wheel_flux)
    has_heat = flux > 0.0
    share = np.where(has_heat, wheel_flux / np.where(has_heat, flux, 1.0), 0.0)
    # Never below zero at solved nodes; an interpolated wheel flux may undershoot a rounding there.
    temperature = np.maximum(rail_response * (flux - wheel_flux), 0.0)
    return LockedWheelHeat(instants, temperature, share, wheel_flux, radius, steel)


def _node_indices(n_samples: int, max_nodes: int) -> npt.NDArray[np.int64]:
    """Choose the samples to solve on: all, or `max_nodes` with spacing growing from the start."""
    if n_samples <= max_nodes:
        return np.arange(n_samples)
    graded = np.linspace(0.0, 1.0, max_nodes) ** 1.5
    return np.unique(np.rint(graded * (n_samples - 1)).astype(np.int64))


def step_edges(time: FloatArray) -> FloatArray:
    """Return where flux steps begin, and the last one ends. [s]

    Step j lies about sample j; step 1 reaches back to the start, so step 0 is none.

    Parameters
    ----------
    time : (..., n_samples)   [s], increasing

    Returns
    -------
    (..., n_samples)   beginnings of steps 1 to n - 1, and the end
    """
    middles = 0.5 * (time[..., 2:] + time[..., 1:-1])
    edges = np.concatenate((time[..., :1], middles, time[..., -1:]), axis=-1)
    return edges[..., : time.shape[-1]]


def _cell_means(time: FloatArray, power: FloatArray, nodes: npt.NDArray[np.int64]) -> FloatArray:
    """Return the mean power of each flux step, so that thinning loses no heat."""
    steps = 0.5 * (power[1:] + power[:-1]) * np.diff(time)
    energy = np.concatenate(([0.0], np.cumsum(steps)))
    at = time[nodes]
    edges = np.concatenate((at[:1], step_edges(at)))
    widths = np.diff(edges)
    means = power[nodes].copy()
    means[1:] = np.diff(np.interp(edges, time, energy))[1:] / widths[1:]
    return means


def share_heat(
    time: FloatArray,
    flux: FloatArray,
    radius: FloatArray,
    rail_response: FloatArray,
    steel: SteelProperties,
) -> FloatArray:
    """Return the wheel's heat flux at the samples of locks side by side, by equal temperatures.

    Parameters
    ----------
    time : (n_locks, n_samples)      [s], increasing
    flux : (n_locks, n_samples)      of both sides. [W/m2]
    radius : (n_locks, n_samples)    of the patch. [m]
    rail_response : (n_locks, n_samples)   rise of the rail over its flux. [K m2/W]
    steel : SteelProperties

    Returns
    -------
    (n_locks, n_samples)   [W/m2]; at the first sample all of it, as nothing has warmed the wheel
    """
    wheel_flux = np.zeros_like(flux)
    wheel_flux[:, 0] = flux[:, 0]
    edges = step_edges(time)
    for i in range(1, flux.shape[1]):
        age = time[:, i : i + 1] - edges[:, :i]
        past = radius[:, 1:i]
        step = stationary_disc_response(age[:, :-1], past, steel) - stationary_disc_response(
            age[:, 1:], past, steel
        )
        history = np.einsum("ij,ij->i", step, wheel_flux[:, 1:i])
        own = stationary_disc_response(age[:, -1], radius[:, i], steel)
        rail = rail_response[:, i]
        wheel_flux[:, i] = (rail * flux[:, i] - history) / (rail + own)
    return wheel_flux


def wheel_spot_temperature(heat: LockedWheelHeat, instants: npt.ArrayLike) -> FloatArray:
    """Return the wheel side's temperature rise at any time from the start of a lock on.

    Parameters
    ----------
    heat : LockedWheelHeat   A solved lock; after its last sample the wheel takes up no more heat.
    instants : (n,) array    Times, during the lock or after it. [s]

    Returns
    -------
    (n,) array   Temperature rise at the centre of the spot. [K]

    Raises
    ------
    InputError   For a time before the lock.

    Notes
    -----
    Conduction into the wheel only. A wheel that turns again also gives heat to rail and air, so
    this cools too slowly. During the lock it equals `heat.temperature_rise` at the solved nodes;
    that is the equal-temperature condition seen from the wheel.
    """
    times = np.asarray(instants, dtype=np.float64)
    if np.any(times < heat.time[0]) or not np.all(np.isfinite(times)):
        raise InputError(f"instants before the lock began at {heat.time[0]} s are not allowed")
    edges = step_edges(heat.time)
    ages = np.maximum(times[:, None] - edges[None, :], 0.0)
    radius = heat.patch_radius[1:]
    steps = stationary_disc_response(ages[:, :-1], radius, heat.steel) - stationary_disc_response(
        ages[:, 1:], radius, heat.steel
    )
    return np.asarray(steps @ heat.wheel_heat_flux[1:])


def tread_bulk_temperature(
    time: npt.ArrayLike,
    sliding_power: npt.ArrayLike,
    disc_power: npt.ArrayLike,
    sink: TreadHeatSink = TREAD_HEAT_SINK,
) -> FloatArray:
    """Return the tread's mean temperature rise above ambient, from rest at ambient.

    Parameters
    ----------
    time : (n_samples,) array    Samples. [s], increasing
    sliding_power : array        Friction power of this wheel's contact. [W], >= 0
    disc_power : array           Brake power of the discs that belong to this wheel. [W], >= 0
    sink : TreadHeatSink         Heat store, its losses, and the shares it receives.

    Returns
    -------
    (n_samples,) array   Temperature rise; exactly 0 while there has been no power. [K]

    Raises
    ------
    InputError   For unequal lengths, time that does not increase, or a value out of its range.

    Notes
    -----
    One lumped store with assumed constants: C dT/dt = P - G T, exact for power that is constant
    between samples (here the mean of both ends). An order of magnitude, to see whether the body
    below the contact is warm; a flash comes on top.
    """
    instants, sliding, disc = checked_lock(
        time, sliding_power=("W", sliding_power), disc_power=("W", disc_power)
    )
    power = sink.sliding_share * sliding + sink.disc_share * disc
    durations = np.diff(instants)
    relative = durations * sink.cooling_conductance / sink.heat_capacity
    kept = np.exp(-relative)
    gained = -np.expm1(-relative) / sink.cooling_conductance * 0.5 * (power[1:] + power[:-1])
    rise = np.zeros(instants.size)
    for i_step in range(durations.size):
        rise[i_step + 1] = rise[i_step] * kept[i_step] + gained[i_step]
    return rise
