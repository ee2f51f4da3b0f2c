"""The shortest stop any strategy could make with the same equipment, handle and rail."""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from slipbench.contract import Controller, Floats
from slipbench.ground.errors import InputError
from slipbench.kernel.codes import CONTACT_ONLY, EDDY_CURRENT, LOAD_CRUSH, LOAD_TARE, STOPPED
from slipbench.kernel.floor import load_heaviest, run_floor
from slipbench.kernel.priced import run_priced_floor
from slipbench.kernel.records import World
from slipbench.kernel.track_brake import film_left
from slipbench.kernel.train import GRAVITY
from slipbench.packing import pack
from slipbench.packing.rail_state import RailState
from slipbench.scenario import Scenario, load_scenario
from slipbench.stop.prices import most_demanded, share_borne

NUMERICAL_ALLOWANCE = 2e-4
"""The floor is lowered by this share for the error of its own time stepping (measured: below it)
and of the simulated stops it bounds."""

SPEED_SHARES = (0.65, 0.35)
"""Train speeds, over the initial one, for which floor C chooses its shares."""

DUE_SHARE = 0.9
"""The rail may count from where the brake has built up to this share of all it can ask for."""


def _ignore(
    observation: Floats, parameters: Floats, memory: Floats, command: Floats, signals: Floats
) -> None:
    """Stand in for a strategy: the floor asks none."""


_NOBODY = Controller(name="floor", title="no strategy", update=_ignore, observes=())


def shortest_possible(
    scenario: Scenario | str | Path, rail_before: RailState | None = None, seed: int = 0
) -> float:
    """Return a distance no strategy can stop within, given equipment, handle and rail. [m]

    Parameters
    ----------
    scenario : Scenario, or the name of a shipped one, or the path of a TOML file
    rail_before : RailState      the rail as an earlier train left it
    seed : int                   of the equipment drawn (`scenario.equipment`), as in `simulate`: a
                                 floor for the stops of that seed alone

    Returns
    -------
    float   [m]; infinity where not even the floor stops before the scenario ends the stop

    Raises
    ------
    InputError   where what the proof needs does not hold

    Notes
    -----
    Two tempting bounds are none: following the peak of the creep curve stops later than sliding
    deeper where sliding cleans the rail; and min(demand, peak adhesion) metre by metre is passed by
    a wheel that slid on bad rail and, spinning up again on good rail, takes more rail force than
    its brake demands. The floor keeps the wheels' momentum instead.

    *Notation.* At distance x of the train's front: train speed v, rotating masses m_i, wheel
    momenta q_i = m_i u_i, rail forces F_i, brake forces B_i at the rim, demand D_i, resistance R(v)
    and gradient force G(x), N = R + G. Then M dv/dx = -(sum F + N)/v and dq_i/dx = (F_i - B_i)/v.
    The floor's quantities carry a hat.

    *Facts about any strategy.* 0 <= B_i <= D_i; 0 <= q_i <= m_i v; F_i is at most the peak P_i
    of the creep law at the cell's friction, and a peak only grows with cleaning and with
    falling speed; an axle cleans a cell by at most the largest product of efficiency and
    creepage times its peak force, per metre (under the law without memory a contact keeps up at
    most the largest friction its own work can); sanders lay at most what they lay when they
    never pause; D_i is at most what the cylinder reaches when its valve always fills, on a
    handle programme from which all easing is struck.

    *Lemma.* Whatever holds v >= v^ up to x also holds t <= t^ there (the faster train is there
    earlier), so D_i <= D^_i, and the rail each axle meets is no cleaner than in the floor, so
    P_i <= P^_i. Per metre an impulse C/v of a force C >= 0 is then at most C/v^. Resistance is
    raised where needed so that R/v <= R^/v^ for all speeds from v^ to the fastest possible; a
    falling gradient is credited at the fastest speed only.

    *Floor A(k).* The k leading axles take F^_i = P^_i until their store q^_i reaches m_i times
    the fastest speed, then min(P^_i, D^_i); their brakes take D^_i, or F^_i when q^_i = 0. The
    other axles take D^_i and stay at train speed. Claim: the impulse J_i = int F_i/v dx of each
    leading axle is at most J^_i. Suppose J_i = J^_i and J_i is about to grow faster. Then q^_i is
    full, for else F^_i = P^_i >= F_i. Since the last place where q^_i was 0 (there q_i >= q^_i)
    the floor's brake took all of D^_i >= B_i, so q_i >= q^_i: full as well, hence F_i <= B_i <=
    D^_i, and F_i <= P^_i: no faster. For the others sum J_i = int B_i/v dx + q_i - q_i(0) <= int
    D^_i/v^ dx + m_i (v - v(0)). Added up, (M + sum m) v >= (M + sum m) v^, so v >= v^ goes on.

    *Floor B.* All wheels share one store q^ between 0 and sum m times v^, and sum F^ = sum P^
    until it is full. Invariant: v >= v^ and total momentum M v + sum q >= M v^ + q^. Momentum
    falls by (B + N)/v per metre, no faster than the floor's (D^ + N^)/v^; where the floor's
    wheels have stopped (q^ = 0) it follows from v >= v^. Speed: where the store is not full the
    floor's sum F^ is the largest there is; where it is full, (M + sum m) v >= M v + sum q >= (M +
    sum m) v^.

    *Floor C.* What an axle spends on cleaning it does not brake with. Give every axle a share
    Lambda_i(x) between 0 and 1: it is 1 up to a place x_i and a constant lambda_i from there on.
    Along the way F_i dx/v = B_i dx/v + dq_i, so with 0 <= q_i <= m_i v

        int Lambda_i F_i/v dx <= int Lambda_i D_i/v dx + Lambda_i(x) m_i v - m_i v(0)
                                 + (1 - lambda_i) m_i v_f    (the last where x_i is behind),

    v_f being the fastest speed. That leaves sum int (1 - Lambda_i) F_i/v dx to be bounded: a sum
    over the places of the rail, each of which is passed by one axle after the other. At a place y
    let axle i pass at creepages s with static friction mu(W_i). Its force is Q_i 2 mu f(s) and it
    leaves W_i + Q_i mu h(s) s f(s), h being the cleaning efficiency and f the traction, bounded for
    every speed above the floor's (`kernel.worth.most_traction`). While it crosses the cell, (f, h s
    f) is a mean of values at several s. Let E_i(W) bound the sum of (1 - Lambda) F/v of the axles
    before i that have left W. Whatever axle i does, for every worth w >= 0

        sum + w W_{i+1} <= E_i(W) + w W + Q mu(W) max over s of (2 (1 - Lambda)/v^ f + w h s f),

    so the maximum of the right side over W, less w W', bounds E_{i+1}(W'); the lowest of these
    lines over some w is taken, and w = 0 gives the largest sum V_i(y). With V_i only growing with
    i, the places passed by x give at most the sum of V_{i(x, y)}(y), and an axle adds V_i - V_{i-1}
    where it stands. Each v^ used is a speed the true train still has at the end of the stretch of
    equal cells for which it is used: the floor's, less the hardest deceleration over its length.
    Loads are the heaviest up to a deceleration that all peaks together cannot exceed. Put together,

        (M + sum Lambda_i m_i) v >= (M + sum m_i) v(0) - sum (1 - lambda_i) m_i v_f
                                    - sum V - sum int Lambda_i D^_i/v^ dx - int N^/v^ dx

    and the floor's speed is the right side over the bracket. The lambda_i may be anything; `prices`
    looks for such that the floor is long. Under the law without memory floor C is not used.

    *Dynamic brakes* make D_i larger: by no more than their share of the demand and than their
    envelope at the speed where the fade begins, its largest. Since valves may hold air from before
    the drive took over, air counts in full beside that. Their rotors count in m_i.

    *Track brakes* act on the train, not on wheels: a resistance T(v) with T(v)/v falling, so the
    slower train's is the larger impulse per metre; on from the handle's position, lowered, and
    never lifted; under the film of the best rail. What they clean is laid on the rail before any
    wheel comes: each wheel then meets and leaves a rail no dirtier, so P^ and E only grow.

    *What it assumes of the equipment.* Pads, diameters, rotating and carried masses, and cylinders
    are those of the seed (`scenario.equipment`); sensors and valve delays may be anything. So it is
    a floor for that seed's stops, with seed 0 of grade `clean` for the train as designed.

    Each is a floor, so the longest of A, B and C is returned, less a numerical allowance. Of
    A(k) some k are tried where sliding cleans nothing, else one and all: there C is longer.
    """
    if isinstance(scenario, str | Path):
        scenario = load_scenario(scenario)
    _refuse_what_the_proof_needs(scenario)
    n_axles = scenario.train.n_axles
    cleans, numbers = _cleans(scenario), range(1, n_axles + 1)
    leading = {1, n_axles} if cleans else {1, 2, *range(4, n_axles, 4), n_axles} & {*numbers}
    distances = [_run(scenario, k, rail_before, seed) for k in (-1, *sorted(leading))]
    if cleans and scenario.rail.cleaning_law != "contact_only":
        distances += _run_priced(scenario, max(distances), rail_before, seed)
    return max(distances) * (1.0 - NUMERICAL_ALLOWANCE)


def _cleans(scenario: Scenario) -> bool:
    """Return whether sliding lifts the friction anywhere."""
    is_random = scenario.rail.random is not None
    return is_random or any(
        section.recovered_friction > section.friction for section in scenario.rail.sections
    )


def _run_priced(
    scenario: Scenario, until: float, rail_before: RailState | None, seed: int
) -> list[float]:
    """Return the distances of floor C with some shares borne by the brakes. [m]"""
    fastest = _fastest_speed(scenario)
    distances = []
    for part in SPEED_SHARES:
        world = _fictitious_world(scenario, rail_before, seed)
        hardest = _hardest_deceleration(scenario, world)
        speed, way = part * scenario.initial_speed, min(until, scenario.run.maximum_distance)
        borne = share_borne(speed, way, hardest, world)
        demanded = most_demanded(world)
        braking = float(demanded.sum()) + float(world.train["mass"][0]) * _line(scenario)
        braking += _most_dragged(world)
        gaining = _steepest_fall(scenario) * GRAVITY
        due = DUE_SHARE * demanded
        _run_interruptibly(run_priced_floor, world, fastest, hardest, gaining, braking, borne, due)
        distances.append(_distance(world))
    return distances


def _refuse_what_the_proof_needs(scenario: Scenario) -> None:
    for i, section in enumerate(scenario.rail.sections):
        if section.recovered_friction < section.friction:
            raise InputError(
                f"scenario {scenario.name}: rail.sections.{i}.recovered_friction = "
                f"{section.recovered_friction:g}: shortest_possible needs friction that cleaning "
                f"does not lower, at least {section.friction:g}"
            )
    for i, fault in enumerate(scenario.faults):
        if fault.kind.startswith("load_weighed") or fault.kind == "control_wire_broken":
            raise InputError(
                f"scenario {scenario.name}: faults.{i}.kind = {fault.kind}: shortest_possible "
                "needs faults that cannot make the train brake harder than asked"
            )
    for i, vehicle in enumerate(scenario.train.vehicles):
        if not vehicle.has_constant_friction:
            raise InputError(
                f"scenario {scenario.name}: train.vehicles.{i}: shortest_possible needs brakes "
                "whose friction does not change in the stop: disc brakes with pad_speed_term and "
                "pad_heat_term 0"
            )


def _fastest_speed(scenario: Scenario) -> float:
    """Return a speed the train cannot exceed: no axle falls more than the line's deepest descent.

    The descent is looked for from the place of the rear axle on.
    """
    start, end = -scenario.train.length, scenario.run.maximum_distance + scenario.train.length
    height = highest = descent = 0.0
    for i, grade in enumerate(scenario.gradient):
        first = max(grade.from_distance, start)
        is_last = i + 1 == len(scenario.gradient)
        last = end if is_last else max(scenario.gradient[i + 1].from_distance, start)
        height += grade.rise * max(0.0, last - first)
        highest = max(highest, height)
        descent = max(descent, highest - height)
    return math.sqrt(scenario.initial_speed**2 + 2.0 * GRAVITY * descent)


def _strike_easing(world: World) -> None:
    """Let the handle never ease, nothing break, and no car weigh less than it ever will."""
    world.handle["position"] = np.maximum.accumulate(world.handle["position"])
    world.handle["level"] = np.maximum.accumulate(world.handle["level"])
    world.fault_states[:] = 1.0
    for fault in world.faults:
        if fault["kind"] in (LOAD_TARE, LOAD_CRUSH):
            i = fault["i_target"]
            heaviest = world.vehicles["laden_factor"][i]
            factors = world.vehicle_states["load_factor"]
            factors[i] = max(factors[i], heaviest)


def _line(scenario: Scenario) -> float:
    """Return what running resistance, curves and slopes take of the train at most. [m/s2]"""
    speed = scenario.initial_speed
    resistance = scenario.train.resistance_constant + speed * (
        scenario.train.resistance_linear + speed * scenario.train.resistance_quadratic
    )
    steepest = max((abs(grade.rise) for grade in scenario.gradient), default=0.0)
    tightest = max((curve.resistance for curve in scenario.curves), default=0.0)
    return resistance + (steepest + tightest) * GRAVITY


def _steepest_fall(scenario: Scenario) -> float:
    return max((max(0.0, -grade.rise) for grade in scenario.gradient), default=0.0)


def _hardest_deceleration(scenario: Scenario, world: World) -> float:
    """Return a deceleration the train cannot exceed: all wheels at the best friction. [m/s2]

    No creep law here uses more than its friction (`kernel.worth.most_traction`), and wheels that
    spin up all at once may use it all, whatever their brakes do.
    """
    best = float(world.cells["recovered_friction"].max()) + float(
        world.train[0]["sand_friction"]
    ) * (bool(scenario.sanders) or bool(world.rail_sand.any()))
    weight = float(world.axles["mass_carried"].sum()) * GRAVITY
    outside = best * weight + _most_dragged(world)
    return outside / float(world.train[0]["mass"]) + _line(scenario)


def _most_dragged(world: World) -> float:
    """Return the largest force of all track brakes together, whatever the speed. [N]"""
    magnets = world.magnets
    held = magnets["attraction"] * magnets["friction"] * world.magnet_states["film"]
    return 2.0 * float(np.where(magnets["kind"] == EDDY_CURRENT, magnets["peak_force"], held).sum())


def _lay_magnets(world: World) -> None:
    """Give the magnets the film of the best rail, and the rail all they could ever clean of it.

    Cleaned before any wheel comes, each of which then finds, and leaves, a rail no dirtier.
    """
    best = float(world.cells["recovered_friction"].max())
    for magnet, own in zip(world.magnets, world.magnet_states, strict=True):
        own["film"] = film_left.py_func(best, float(magnet["film_factor"]))
        most = float(magnet["attraction"]) * float(magnet["friction"]) * float(own["film"])
        if magnet["kind"] != EDDY_CURRENT and world.train["cleaning_law"][0] != CONTACT_ONLY:
            world.rail_work[:] += float(magnet["cleaning_share"]) * most


def _run(
    scenario: Scenario, n_limited: int, rail_before: RailState | None = None, seed: int = 0
) -> float:
    return _distance(run_fictitious_stop(scenario, n_limited, rail_before, seed))


def _distance(world: World) -> float:
    state = world.train_state[0]
    return float(state["distance"]) if int(state["status"]) == STOPPED else math.inf


def _fictitious_world(scenario: Scenario, rail_before: RailState | None, seed: int) -> World:
    """Return a world with the handle never easing, nothing broken and the heaviest loads."""
    world = pack(scenario, _NOBODY, seed, False, rail_before)
    world.train["redeposition"] = 0.0
    _lay_magnets(world)
    _strike_easing(world)
    hardest = _hardest_deceleration(scenario, world)
    load_heaviest(hardest, hardest if _steepest_fall(scenario) > 0.0 else 0.0, world)
    return world


def run_fictitious_stop(
    scenario: Scenario, n_limited: int, rail_before: RailState | None = None, seed: int = 0
) -> World:
    """Return the world at the end of one of the floors, A(n_limited), or B at -1.

    Parameters
    ----------
    scenario : Scenario      `run.maximum_distance` ends the stop early, if need be
    n_limited : int
    rail_before : RailState
    seed : int               of the equipment drawn

    Returns
    -------
    World   `train_state` holds distance [m] and speed [m/s]; under B `wheel_speed` of the first
            axle is the momentum of all wheels [N s]
    """
    world = _fictitious_world(scenario, rail_before, seed)
    momenta = world.axles["rotating_mass"] * scenario.initial_speed
    world.axle_states["wheel_speed"] = momenta
    if n_limited < 0:
        world.axle_states["wheel_speed"][0] = momenta.sum()
    _run_interruptibly(run_floor, world, n_limited, _fastest_speed(scenario))
    return world


def _run_interruptibly(floor: Callable[..., None], world: World, *arguments: Any) -> None:
    """Run a floor beside this thread, which stays free for Ctrl-C and for a clock's alarm.

    Compiled code of one piece hears neither; on either its time limit, which it reads at every
    step, is set to nothing.
    """
    with ThreadPoolExecutor(1) as executor:
        running = executor.submit(floor, *arguments, world)
        try:
            running.result()
        except BaseException:
            world.run["maximum_time"] = 0.0
            raise
