"""What `simulate` takes and refuses, and that the public names are where the guide says."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import slipbench
from slipbench import controllers
from slipbench.contract import Controller
from slipbench.ground.errors import InputError

SHORT = 'based_on = "dry"\ntitle = "short"\ninitial_speed_mph = 5\n'


def test_a_name_a_path_and_a_scenario_give_the_same_stop(tmp_path: Path) -> None:
    path = tmp_path / "short.toml"
    path.write_text(SHORT)
    none = controllers.by_name("none")
    told = [path, str(path), slipbench.load_scenario(path)]
    distances = [slipbench.simulate(one, none).summary["stopping_distance"] for one in told]
    assert distances == [distances[0]] * 3
    floors = [slipbench.shortest_possible(one) for one in told]
    assert floors == [floors[0]] * 3
    assert 0.0 < floors[0] <= distances[0]
    assert slipbench.load_scenario("dry").name == "dry"


@pytest.mark.parametrize(
    ("scenario", "controller", "seed", "part"),
    [
        ("dry", "slip_bend", 0, "strategy 'slip_bend': unknown"),
        ("dry", None, 0, "strategy None: must be a Controller"),
        (3, controllers.by_name("none"), 0, "scenario 3: must be a Scenario"),
        ("dyr", controllers.by_name("none"), 0, "did you mean dry"),
        ("dry", controllers.by_name("none"), -1, "seed = -1; allowed"),
        ("dry", controllers.by_name("none"), 1.5, "seed = 1.5; allowed"),
        ("dry", controllers.by_name("none"), True, "seed = True; allowed"),
        ("dry", controllers.by_name("none"), 2**63, "2**63 - 1"),
    ],
)
def test_what_it_cannot_use_is_one_line(
    scenario: Any, controller: Any, seed: Any, part: str
) -> None:
    with pytest.raises(InputError) as refusal:
        slipbench.simulate(scenario, controller, seed)
    assert part in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_the_summary_has_the_names_promised() -> None:
    scenario = slipbench.load_scenario("wet_leaf").replace(initial_speed=8.0)
    stop = slipbench.simulate(scenario, controllers.by_name("slip_band"), seed=3)
    scalars = {
        "stopping_distance", "stopping_time", "mean_deceleration", "adhesion_utilisation",
        "longest_lock", "vent_count", "energy_residual",
    }  # fmt: skip
    for name in scalars:
        assert float(stop.summary[name]) == stop.summary[name]
    assert stop.summary["is_stopped"] is True
    for name in ("locked_time", "sliding_distance"):
        assert len(stop.summary[name]) == scenario.train.n_axles
    n_rows = len(stop.traces["time"])
    assert all(len(trace) == n_rows > 100 for trace in stop.traces.values())


def test_a_strategy_may_make_arrays_of_its_own() -> None:
    """It is then compiled with references counted, which others are spared."""

    def update(observation: Any, parameters: Any, memory: Any, command: Any, signals: Any) -> None:
        wanted = np.zeros(observation.shape[0])
        command[:, 0] = wanted
        command[:, 1] = wanted + 1.0
        signals[0] = 0.0

    own = Controller(name="maker", title="fills, from arrays it makes", update=update)
    scenario = slipbench.load_scenario("dry").replace({"initial_speed": 5.0})
    filled = slipbench.simulate(scenario, own, with_traces=False).summary
    assert (
        filled
        == slipbench.simulate(scenario, controllers.by_name("none"), with_traces=False).summary
    )
