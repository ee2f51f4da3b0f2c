"""Rail memory: cleaning against closed forms through a stop, its account, the rail handed on."""

import math
from pathlib import Path

import numpy as np
import pytest
from tests.figures.legibility import faults
from tests.support_stops import clean, on_one_axle

from slipbench.commands.main import main
from slipbench.controllers import none, slip_band
from slipbench.figures import style
from slipbench.figures.conditioning import (
    Conditioning,
    draw_conditioning,
    run_conditioning,
    shown_axles,
)
from slipbench.ground.errors import InputError
from slipbench.kernel.loop import run_compiled
from slipbench.kernel.records import World
from slipbench.packing import pack
from slipbench.packing.rail_state import RailState
from slipbench.scenario import Scenario
from slipbench.stop.simulation import simulate
from slipbench.stop.stop import Stop
from slipbench.strategies.update import compile_update

GRAVITY = 9.80665


def run_world(scenario: Scenario, controller: object = slip_band.CONTROLLER) -> World:
    """Run a stop and keep its world, whose tallies the account needs."""
    world = pack(scenario, controller, 0)  # type: ignore[arg-type]
    memory = np.zeros((len(world.axles) + len(world.groups), controller.n_memory))  # type: ignore[attr-defined]
    update = compile_update(controller.update)  # type: ignore[attr-defined]
    assert run_compiled(world, update, controller.parameter_values, memory) == -1  # type: ignore[attr-defined]
    return world


# --- the cleaning law through a stop --------------------------------------------------------------

FILM = {
    "friction": 0.03,
    "recovered_friction": 0.08,  # below the demand of 0.09 g: what has locked stays locked
    "friction_ratio": 1.0,
    "adhesion_reduction": 1.0,
    "slip_reduction": 1.0,
}


def all_locked(exponent: float, redeposition: float) -> Stop:
    """A stop without slip control whose locked wheels slide at exactly the friction limit."""
    film = {**FILM, "cleaning_exponent": exponent, "cleaning_work": 2000.0}
    scenario = clean("wet").replace(
        {
            "contact.law": "vermeulen_johnson",
            "rail.redeposition": redeposition,
            "train.vehicles.*.body_height": 0.0,  # equal loads: no transfer
            "train.vehicles.*.pivot_height": 0.0,
            "train.resistance_constant": 0.0,
            "train.resistance_linear": 0.0,
            "train.resistance_quadratic": 0.0,
            **{f"rail.sections.0.{name}": value for name, value in film.items()},
        }
    )
    return simulate(scenario, none.CONTROLLER)


def frictions_in_closed_form(stop: Stop) -> np.ndarray:
    """Friction met by axle after axle, all locked: each adds its share times mu Q per metre."""
    rail, section = stop.scenario.rail, stop.scenario.rail.sections[0]
    vehicle = stop.scenario.train.vehicles[0]
    wheel_load = 0.5 * vehicle.tare_mass / vehicle.n_axles * GRAVITY
    work, met = 0.0, []
    for _ in range(stop.scenario.train.n_axles):
        lost = math.exp(-((work / section.cleaning_work) ** section.cleaning_exponent))
        met.append(section.recovered_friction - lost * (FILM["recovered_friction"] - 0.03))
        work = work * math.exp(-rail.redeposition)
        work += rail.locked_cleaning_share * met[-1] * wheel_load
    return np.array(met)


@pytest.mark.parametrize("redeposition", [0.0, 0.05])
@pytest.mark.parametrize("exponent", [1.0, 2.0])
def test_locked_train_meets_the_friction_of_the_closed_form_axle_by_axle(
    exponent: float, redeposition: float
) -> None:
    stop = all_locked(exponent, redeposition)
    expected = frictions_in_closed_form(stop)
    assert expected[-1] > 1.1 * expected[0]
    # once the last axle has entered rail that the first crossed locked, and all wheels are locked
    distance = stop.traces["distance"]
    is_steady = (distance > 450.0) & (stop.traces["train_speed"] > 1.0)
    assert is_steady.sum() > 50
    assert stop.traces["wheel_speed"][is_steady].max() == 0.0
    found = stop.traces["friction"][is_steady]
    # a step moves the train by its foreseen speed and corrects it: parts in a million of a cell
    assert found == pytest.approx(np.tile(expected, (is_steady.sum(), 1)), rel=2e-5)
    speeds, times = stop.traces["train_speed"][is_steady], stop.traces["time"][is_steady]
    deceleration = (speeds[0] - speeds[-1]) / (times[-1] - times[0])
    assert deceleration == pytest.approx(expected.mean() * GRAVITY, rel=2e-5)


@pytest.mark.parametrize("exponent", [1.0, 2.0])
def test_friction_on_a_rail_handed_over_is_the_closed_form_of_the_work_left(
    exponent: float,
) -> None:
    scenario = on_one_axle(clean("wet_leaf")).replace(
        {"rail.sections.0.cleaning_exponent": exponent, "rail.sections.0.cleaning_work": 2000.0}
    )
    before = simulate(scenario, slip_band.CONTROLLER, with_traces=False).rail_after
    stop = simulate(scenario, slip_band.CONTROLLER, seed=1, rail_before=before)
    is_moving = stop.traces["train_speed"] > 0.5
    place = stop.traces["distance"][is_moving] - scenario.train.axle_positions[0]
    cells = np.floor((place - before.start) / before.cell_length).astype(int)
    # at the end of the first run's last cells the rail is untouched again
    work = before.work[cells]
    assert work.max() > 200.0
    expected = 0.15 - 0.12 * np.exp(-((work / 2000.0) ** exponent))
    # rounding only: both read the same cell
    assert stop.traces["friction"][is_moving, 0] == pytest.approx(expected, rel=1e-12)


# --- the account ----------------------------------------------------------------------------------


@pytest.mark.parametrize("controller", [none.CONTROLLER, slip_band.CONTROLLER])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"rail.redeposition": 0.1},
        {"rail.cell_length": 0.25},
        {"rail.cleaning_law": "contact_only"},
    ],
    ids=lambda changes: str(*changes.values()) or "plain",
)
def test_work_on_the_rail_is_what_wheels_cleaned_less_what_they_laid_down(
    changes: dict[str, object], controller: object
) -> None:
    """Sum of W times cell length = one wheel's cleaning energies - the film laid down again."""
    scenario = clean("wet_leaf").replace({"initial_speed": 15.0, **changes})
    world = run_world(scenario, controller)
    on_rail = world.rail_work.sum() * scenario.rail.cell_length
    cleaned = world.axle_states["cleaning_energy"].sum()
    laid_down = world.axle_states["redeposited"].sum()
    assert on_rail == pytest.approx(cleaned - laid_down, rel=1e-12)
    assert (laid_down > 0.05 * cleaned) == ("rail.redeposition" in changes)
    # both wheels of an axle give off heat, one of them cleans this rail: a factor of two hides here
    heat = 0.5 * world.axle_states["contact_energy"].sum()
    assert cleaned <= heat
    if controller is slip_band.CONTROLLER:
        assert cleaned > 0.6 * heat  # not all slides stay below full_cleaning_slip
    else:
        assert cleaned < 0.2 * heat  # locked wheels clean with a share of 0.05


def test_account_holds_on_a_rail_that_was_cleaned_before() -> None:
    scenario = clean("wet_leaf").replace({"initial_speed": 15.0, "rail.redeposition": 0.1})
    before = simulate(scenario, slip_band.CONTROLLER, with_traces=False).rail_after
    world = pack(scenario, slip_band.CONTROLLER, 0, False, before)
    start = world.rail_work.sum()
    memory = np.zeros((len(world.axles) + len(world.groups), slip_band.CONTROLLER.n_memory))
    update = compile_update(slip_band.CONTROLLER.update)
    run_compiled(world, update, slip_band.CONTROLLER.parameter_values, memory)
    states = world.axle_states
    grown = (world.rail_work.sum() - start) * scenario.rail.cell_length
    balance = states["cleaning_energy"].sum() - states["redeposited"].sum()
    assert start > 0.0
    assert grown == pytest.approx(balance, rel=1e-11)


def test_rail_is_cleaned_only_where_wheels_went() -> None:
    stop = simulate("wet_leaf", slip_band.CONTROLLER, with_traces=False)
    after, reach = stop.rail_after, stop.summary["stopping_distance"]
    first_wheel = -stop.scenario.train.axle_positions[0]
    assert (after.work[after.distance > reach + first_wheel + 1.0] == 0.0).all()
    assert (after.work[(after.distance > 10.0) & (after.distance < reach - 10.0)] > 0.0).all()


# --- handing the rail on --------------------------------------------------------------------------


@pytest.mark.parametrize("rail", ["wet_leaf", "detergent", "grease"])
def test_second_train_stops_shorter_and_redeposition_lengthens_it_again(rail: str) -> None:
    scenario = clean(rail).replace(initial_speed=22.0)

    def distance(before: RailState | None) -> float:
        stop = simulate(scenario, slip_band.CONTROLLER, rail_before=before, with_traces=False)
        found: float = stop.summary["stopping_distance"]
        return found

    first = simulate(scenario, slip_band.CONTROLLER, with_traces=False)
    untouched = first.summary["stopping_distance"]
    left = first.rail_after
    chain = [distance(left.redeposited(share)) for share in (0.0, 0.5, 0.9, 1.0)]
    assert chain[0] < 0.98 * untouched
    assert chain == sorted(chain)
    assert chain[1] < chain[2]
    # all film back: the same rail, the same stop
    assert chain[-1] == untouched


def test_work_of_several_trains_adds_up() -> None:
    scenario = clean("wet_leaf").replace(initial_speed=15.0)
    left, totals = None, []
    for _ in range(3):
        left = simulate(scenario, slip_band.CONTROLLER, rail_before=left).rail_after
        totals.append(left.work.sum())
    assert totals == sorted(totals)
    # the sand and work are copies: handing a rail on leaves it as it was
    again = simulate(scenario, slip_band.CONTROLLER, rail_before=left)
    assert left.work.sum() == totals[-1]
    assert again.rail_after.work is not left.work


def test_longer_train_finds_the_rail_where_the_shorter_one_left_it() -> None:
    scenario = clean("wet_leaf").replace(initial_speed=15.0)
    left = simulate(scenario, slip_band.CONTROLLER, with_traces=False).rail_after
    longer = scenario.replace({"train.vehicles": scenario.train.vehicles * 2})
    world = pack(longer, slip_band.CONTROLLER, 0, False, left)
    start = float(world.train["rail_start"][0])
    places = start + (np.arange(len(world.rail_work)) + 0.5) * scenario.rail.cell_length
    assert start < left.start
    assert np.interp(200.5, places, world.rail_work) == np.interp(200.5, left.distance, left.work)
    assert world.rail_work.sum() == pytest.approx(left.work.sum(), rel=1e-12)


def test_redeposited_keeps_the_sand() -> None:
    state = RailState(0.0, 1.0, np.array([100.0, 50.0]), np.array([0.003, 0.0]))
    half = state.redeposited(0.5)
    assert half.work.tolist() == [50.0, 25.0]
    assert half.sand.tolist() == [0.003, 0.0]
    assert state.work.tolist() == [100.0, 50.0]
    assert state.distance.tolist() == [0.5, 1.5]


@pytest.mark.parametrize("share", [-0.1, 1.1, math.nan, math.inf])
def test_impossible_share_is_refused(share: float) -> None:
    state = RailState(0.0, 1.0, np.zeros(2), np.zeros(2))
    with pytest.raises(InputError, match=r"share = .*allowed: 0 to 1"):
        state.redeposited(share)


def test_rail_of_another_grain_is_refused() -> None:
    scenario = clean("wet_leaf").replace(initial_speed=5.0)
    left = simulate(scenario, none.CONTROLLER, with_traces=False).rail_after
    finer = scenario.replace({"rail.cell_length": 0.5})
    with pytest.raises(InputError, match=r"cells of 1 m cannot be met in cells of 0.5 m") as caught:
        simulate(finer, none.CONTROLLER, rail_before=left)
    assert "\n" not in str(caught.value)


def test_rail_far_from_where_it_is_remembered_is_untouched() -> None:
    state = RailState(1000.0, 1.0, np.ones(3), np.ones(3))
    work, sand = state.laid_out(0.0, 10, 1.0)
    assert not work.any()
    assert not sand.any()
    work, _ = state.laid_out(1001.0, 2, 1.0)
    assert work.tolist() == [1.0, 1.0]
    work, _ = state.laid_out(999.0, 6, 1.0)
    assert work.tolist() == [0.0, 1.0, 1.0, 1.0, 0.0, 0.0]


# --- the conditioning picture ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def conditioning() -> Conditioning:
    scenario = clean("wet_leaf").replace(initial_speed=15.0)
    return run_conditioning(scenario, slip_band.CONTROLLER)


def test_stop_watched_axle_by_axle_is_the_same_stop(conditioning: Conditioning) -> None:
    stop = simulate(conditioning.stop.scenario, slip_band.CONTROLLER)
    assert dict(conditioning.stop.summary) == dict(stop.summary)
    assert (conditioning.stop.rail_after.work == stop.rail_after.work).all()


def test_work_after_the_last_axle_is_what_the_rail_keeps(conditioning: Conditioning) -> None:
    last = conditioning.work_after[-1]
    was_there = np.isfinite(last)
    after = conditioning.stop.rail_after
    kept = after.work[np.isin(after.distance, conditioning.place[was_there])]
    assert was_there.sum() > 100
    assert (last[was_there] == kept).all()


def test_each_axle_adds_work_and_meets_the_friction_of_the_work_before_it(
    conditioning: Conditioning,
) -> None:
    added = np.diff(conditioning.work_after, axis=0)
    assert (added[np.isfinite(added)] >= 0.0).all()
    stop, section = conditioning.stop, conditioning.stop.scenario.rail.sections[0]
    is_moving = stop.traces["train_speed"] > 1.0
    gain = section.recovered_friction - section.friction
    for i_axle in (1, 7, 15):
        offset = stop.scenario.train.axle_positions[i_axle]
        place = stop.traces["distance"][is_moving] - offset
        i_cell = np.floor(place - (conditioning.place[0] - 0.5)).astype(int)
        before = conditioning.work_after[i_axle - 1, i_cell]
        is_known = np.isfinite(before)  # where it stood at the start, nobody was before
        share = -np.expm1(-before[is_known] / section.cleaning_work)
        found = stop.traces["friction"][is_moving, i_axle][is_known]
        assert found == pytest.approx(section.friction + gain * share, rel=1e-12)


def test_means_of_the_picture_lie_in_their_range(conditioning: Conditioning) -> None:
    low, high = conditioning.friction_range
    # the first axle meets one friction all the way: mean and range differ by rounding
    assert (low <= conditioning.friction * (1.0 + 1e-12)).all()
    assert (conditioning.friction <= high * (1.0 + 1e-12)).all()
    assert conditioning.friction[0] == pytest.approx(0.03, rel=1e-12)  # nobody was before it
    assert (conditioning.used < conditioning.friction).all()


def test_axles_with_a_line_of_their_own_are_few_and_end_with_the_last() -> None:
    assert shown_axles(16) == [1, 2, 4, 8, 16]
    assert shown_axles(4) == [1, 2, 4]
    assert shown_axles(12) == [1, 2, 4, 8, 12]
    assert shown_axles(20) == [1, 2, 4, 8, 20]
    assert shown_axles(1) == [1]


def test_picture_names_units_and_is_the_same_for_the_same_stop(conditioning: Conditioning) -> None:
    figure = draw_conditioning(conditioning)
    labels = [axes.get_ylabel() for axes in figure.axes]
    assert labels == ["adhesion coefficient [-]", "W left on one rail [kJ/m]"]
    assert not any(axes.get_title() for axes in figure.axes)
    assert faults(figure) == []
    assert style.save(figure)["png"] == style.save(draw_conditioning(conditioning))["png"]


def test_one_command_draws_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "out"
    arguments = ["conditioning", "wet_leaf", "--speed", "20mph", "--out", str(folder)]
    assert main(arguments) == 0
    printed = capsys.readouterr().out
    assert "this project's own extensions" in " ".join(printed.split())
    assert {file.name for file in folder.iterdir()} == {
        "conditioning.csv",
        "conditioning.json",
        "conditioning.png",
        "conditioning.svg",
    }
    head, first = (folder / "conditioning.csv").read_text().splitlines()[:2]
    assert len(head.split(",")) == len(first.split(",")) == 33
    assert main(arguments) == 0  # its own files are replaced


@pytest.mark.parametrize(
    "wrong",
    [["nowhere"], ["wet_leaf", "--strategy", "nobody"], ["wet_leaf", "--speed", "20"]],
)
def test_command_refuses_bad_input_in_one_line(
    wrong: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["conditioning", *wrong, "--out", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "out").exists()
