"""Keys that cannot act are refused where they are given, dropped where a file below gave them."""

import pytest

from slipbench.ground.errors import InputError
from slipbench.results.scenario_file import scenario_file
from slipbench.scenario import load_scenario
from slipbench.scenario.assemble import with_values
from slipbench.scenario.rules import rules

CURVE = "creepage,adhesion\n0,0\n0.01,0.03\n0.1,0.05\n1,0.04\n"
FLOW, RAMPS = 'based_on = "dry"\n', 'based_on = "dry"\n[brake]\nair = "ramps"\n'
INERT = {
    "ramps under flow": (f"{FLOW}[brake]\nfill_rate_bar_per_s = 4\n", 'brake.air = "ramps"'),
    "flow under ramps": (f"{RAMPS}reservoir_volume_l = 100\n", 'brake.air = "flow"'),
    "no main reservoir": (
        'based_on = "dry"\n[train.vehicle]\nmain_reservoir_volume_l = 0\n'
        "compressor_flow_nl_per_min = 0\nauxiliary_flow_nl_per_min = 0\n"
        "[brake]\nmain_pressure_bar = 9\n",
        "main_reservoir_volume above 0",
    ),
    "weighing switched off": (
        f"{FLOW}[brake]\nvariable_load = false\nweighs_rotating_mass = false\n",
        "brake.variable_load = true",
    ),
    "cut-out at no speed": (
        f'{FLOW}[slip_control]\ncut_out_speed_mph = 0\nreference = "vehicle"\n',
        "cut_out_speed above 0",
    ),
    "blocks on discs": (f"{FLOW}[train.vehicle]\nblocks_per_axle = 2\n", "brake_kind = cast_iron"),
    "two laws of cleaning": (f"{FLOW}[rail]\ncontact_share = 0.5\n", "cleaning_law = rail_and"),
    "rail that forgets": (
        f'{FLOW}[rail]\ncleaning_law = "contact_only"\nredeposition = 0.1\n',
        "other than contact_only",
    ),
    "friction drawn": (
        f"{FLOW}[rail.random]\nseed = 1\n[rail.section]\nfriction = 0.1\n", "neither [rail.random]",
    ),
    "another law": (
        f'{FLOW}[contact]\nlaw = "carter"\n[rail.section]\nslip_reduction = 0.1\n',
        "contact.law = polach",
    ),
    "measured curve": (
        f'{FLOW}[contact]\nlaw = "measured"\nmeasured_curve = "curve.csv"\n'
        "[rail.section]\nfriction_decay_s_per_m = 0.1\n",
        "contact.law other than measured",
    ),
    "no transducer": (
        f"{FLOW}[sensing]\nhas_pressure_transducer = false\n[equipment]\ntransducer_lag_ms = 9\n",
        "sensing.has_pressure_transducer",
    ),
    "routine of another kind": (
        f'{FLOW}[driver.routine]\nkind = "hold"\nposition = 2\npause_time_s = 3\n', "kind = pause",
    ),
    "sand at a fixed rate": (
        f"{FLOW}[[sander]]\naxle = 3\nrate_kg_per_min = 2\ndensity_g_per_m = 5\n",
        "mode = speed_proportional",
    ),
    "no noise": (
        f'{FLOW}[[fault]]\nkind = "sensor_dead"\naxle = 1\nat_time_s = 0\nnoise_mm = 3\n',
        "kind = sensor_noisy",
    ),
    "load of every car its own": (
        f"{FLOW}[train]\nload = 0.5\n[train.vehicle]\nload = 1.0\n", "a load of its own",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", INERT)
def test_key_that_cannot_act_is_refused_with_the_key_that_decides(load, tmp_path, case):
    (tmp_path / "curve.csv").write_text(CURVE)
    text, decider = INERT[case]
    with pytest.raises(InputError) as caught:
        load(text)
    message = str(caught.value)
    assert "case.toml: line" in message and "cannot act here: needs" in message
    assert decider in message


def test_key_of_a_file_below_is_dropped_when_it_acts_no_more(load):
    scenario = load(f"{RAMPS}fill_rate_bar_per_s = 2\n", "below.toml")
    assert scenario.brake.fill_rate == 2e5
    above = load('based_on = "below.toml"\n[brake]\nair = "flow"\n')
    assert above.brake.fill_rate == load_scenario("dry").brake.fill_rate
    assert "brake.fill_rate" not in {value.path for value in above.values()}
    assert "fill_rate" not in scenario_file(above)


def test_measured_curve_needs_no_key_of_another_law(load, tmp_path):
    (tmp_path / "curve.csv").write_text(CURVE)
    (tmp_path / "rail.toml").write_text(
        "[rail]\n[[rail.section]]\nfriction = 0.05\nrecovered_friction = 0.05\n"
        '[contact]\nlaw = "measured"\nmeasured_curve = "curve.csv"\n'
    )
    scenario = load_scenario("dry", rail=tmp_path / "rail.toml")
    assert scenario.rail.sections[0].friction_ratio == 1.0
    assert scenario.contact.measured_curve == str(tmp_path / "curve.csv")
    on_leaf = load(
        'based_on = "wet_leaf"\n[contact]\nlaw = "measured"\nmeasured_curve = "curve.csv"\n'
    )
    assert on_leaf.rail.sections[0].friction_ratio == 1.0  # the leaf's own 0.7 is no law's now


def test_rail_drawn_at_random_needs_no_friction_of_its_own(load, minimal):
    text = minimal.replace("\nfriction = 0.05", "").replace(
        "[[driver", "[rail.random]\nseed = 1\n[[driver"
    )
    assert load(text).rail.random.seed == 1


def test_set_and_replace_refuse_what_cannot_act():
    dry = load_scenario("dry")
    with pytest.raises(InputError, match=r"brake.fill_rate = 300000.0: cannot act here"):
        with_values(dry, ["brake.fill_rate=3bar/s"])
    ramps = dry.replace({"brake.air": "ramps"})  # what breathed by flow does so no more
    assert {vehicle.main_reservoir_volume for vehicle in ramps.train.vehicles} == {0.0}
    both = with_values(dry, ["brake.fill_rate=3bar/s", "brake.air=ramps"])
    assert (both.brake.air, both.brake.fill_rate) == ("ramps", 3e5)


def test_profile_says_where_its_numbers_are_from(load, tmp_path):
    (tmp_path / "along.csv").write_text("distance_m,friction\n0,0.05\n100,0.03\n")
    scenario = load('based_on = "wet_leaf"\n[rail]\nprofile = "along.csv"\n')
    origins = scenario.provenance
    for i in range(2):
        assert origins[f"rail.sections.{i}.friction"].source.endswith("along.csv")
        assert origins[f"rail.sections.{i}.friction_ratio"].mark == "assumed"


def test_rail_with_nothing_to_clean_needs_no_cleaning_work(load, minimal):
    text = minimal.replace("cleaning_work_kj_per_m = 10\n", "")
    clean = text.replace("recovered_friction = 0.15", "recovered_friction = 0.05")
    assert load(clean).rail.sections[0].cleaning_work == 1e4
    with pytest.raises(InputError, match=r"cleaning_work: missing"):
        load(text)


def test_rules_name_fields_there_are():
    assert len(list(rules())) > 40


def test_hollow_tread_that_lies_in_the_rail_head_is_refused_by_the_reader(load):
    text = 'based_on = "dry"\n[contact]\nwheel_profile_curvature_per_m = {}\n'
    assert load(text.format(-3.2)).contact.wheel_profile_curvature == -3.2
    with pytest.raises(
        InputError, match=r"wheel_profile_curvature_per_m = -3.4: a tread so hollow"
    ):
        load(text.format(-3.4))
