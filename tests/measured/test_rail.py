"""The rail that explains a log: fit, bands, what cannot be told, reproduction, alternatives."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, chi2
from scipy.stats import t as student
from tests.measured import coverage
from tests.measured.trials import all_trials, deep_trials, make_log, make_trial, plain_trials

from slipbench import simulate
from slipbench.commands.main import main
from slipbench.ground.errors import InputError
from slipbench.measured.account import make_account
from slipbench.measured.fit import band_of_profile, fit_rail
from slipbench.measured.identify import draw_files, identify, rail_file, stop_scenario
from slipbench.measured.model import (
    GAIN,
    RECOVERED,
    WORK,
    Layout,
    make_prior,
    prior_rows,
    residuals,
)
from slipbench.measured.reproduce import reproduce, residuals_by_axle
from slipbench.measured.unit import make_unit, make_world
from slipbench.measured.whatif import Alternative, judge, with_driver
from slipbench.measured.windows import cut_windows, thinned
from slipbench.scenario import load_scenario


@pytest.fixture(scope="module")
def unit():
    return make_unit(load_scenario("wet_leaf"))


@pytest.fixture(scope="module")
def trial():
    return make_trial(31, "wet_leaf", "slip_band", law="vermeulen_johnson", speed=11.0)


@pytest.fixture(scope="module")
def account(trial, unit):
    return make_account(trial.log, unit)


@pytest.fixture(scope="module")
def found(account):
    return identify(account, fit_rail(account))


def test_bands_hold_a_truth_the_fit_was_not_made_for(trial, account, found):
    """Another creep law, finer cells, another step, noise, wrong diameters, unknown pads."""
    true = coverage.true_values(trial)
    told = [t for t in found.told if t.is_told]
    held = [t.low <= true[t.name] <= t.high for t in told]
    assert len(told) >= 4 and sum(held) >= binom.ppf(0.005, len(told), 0.9)
    film = found.named("film_friction")
    assert film.is_told and film.value == pytest.approx(true["film_friction"], rel=0.12)


def test_where_metres_are_cleaned_over_and_over_the_cleaning_work_is_told(unit):
    """W_max / W0 of 2 and more: a 90 % band narrower than a factor of 2, and it holds the truth."""
    trial = make_trial(**deep_trials(1)[0])
    account = make_account(trial.log, unit)
    found = identify(account, fit_rail(account))
    true = coverage.true_values(trial)["cleaning_work"]
    assert found.fit.windows.largest_work / true >= 2.0
    told = found.named("cleaning_work")
    assert told.is_told and told.high / told.low < 2.0
    assert told.low <= true <= told.high
    assert found.named("recovered_friction").is_told


def test_a_second_stop_of_another_kind(unit):
    counts = coverage.run([{"seed": 44, "film": "detergent", "strategy": "cleaning_balance",
                            "speed": 13.0}])  # fmt: skip
    held = [is_held for values in counts.held.values() for is_held in values]
    assert len(held) >= 6 and sum(held) >= binom.ppf(0.005, len(held), 0.9), counts.text()


@pytest.mark.parametrize("has_rims", [False, True])
def test_the_jacobian_is_that_of_the_residuals(account, unit, has_rims):
    """Against scipy's differences; the creep law's slopes themselves are differences of 1e-5."""
    world = make_world(unit.scenario)
    w = thinned(cut_windows(account, world.axles["contact_stiffness"]), 40)
    layout = Layout(np.linspace(-40.0, 300.0, 4), unit.n_axles, (0.3, 0.1), has_rims)
    prior = make_prior(layout, 1.0, 0.05, 0.3)
    theta = prior.mean + 0.05 * prior.deviation.clip(0.0, 1.0) * np.random.default_rng(
        1
    ).standard_normal(layout.size)
    rest, slopes = residuals(theta, layout, w, with_slopes=True)
    own, own_slopes = prior_rows(theta, layout, prior)
    for i in range(layout.size):
        moved = theta.copy()
        moved[i] += 1e-6
        by = (residuals(moved, layout, w, with_slopes=False)[0] - rest) / 1e-6
        assert slopes[:, i] == pytest.approx(by, abs=2e-3 * max(1.0, np.abs(by).max()))
        assert own_slopes[:, i] == pytest.approx(
            (prior_rows(moved, layout, prior)[0] - own) / 1e-6, abs=1e-4
        )


def test_rims_that_show_too_fast_are_told_if_asked_for(trial, account):
    """Truth: diameters set over those that run, 0.2 % apart, from the traces of the stop."""
    found = identify(account, fit_rail(account, with_rims=True))
    traces = trial.stop.traces
    turning = traces["wheel_speed"] > 3.0
    shown = np.where(turning, traces["measured_wheel_speed"], np.nan)
    true = np.nanmedian(shown / np.where(turning, traces["wheel_speed"], np.nan), axis=0)
    told = [found.named(f"rim_{i + 1}") for i in range(len(true))]
    held = sum(t.low <= x <= t.high for t, x in zip(told, true, strict=True))
    assert all(t.is_told for t in told)
    assert held >= binom.ppf(0.005, len(true), 0.9)
    assert np.ptp(true) > 0.003


def test_a_profile_ends_where_the_likelihood_says():
    """90 % of one parameter: a rise of 2.706 (chi-squared, one degree of freedom)."""
    assert chi2.ppf(0.9, 1) == pytest.approx(2.706, abs=1e-3)
    values = np.linspace(-3.0, 3.0, 601)
    low, high = band_of_profile(values, values**2)
    assert (low, high) == pytest.approx((-1.645, 1.645), abs=2e-3)
    assert band_of_profile(values, np.maximum(values, 0.0) ** 2)[0] == -np.inf


def test_coverage_is_judged_by_the_exact_binomial():
    assert binom.ppf([0.005, 0.995], 100, 0.9).tolist() == [82, 97]


def test_what_cannot_be_told_apart_is_said_and_not_printed(account, found):
    fit = found.fit
    wide = fit.covariance.copy()
    for place in (WORK, RECOVERED):
        wide[place, place] += 1.0
    few = thinned(fit.windows, 8)
    w = replace(few, work=few.work * 0.1)
    blind = identify(account, replace(fit, covariance=wide, windows=w))
    assert not blind.named("cleaning_work").is_told
    assert not blind.named("recovered_friction").is_told
    assert "cannot be told apart" in " ".join(blind.statements)
    assert "which cannot tell it" in rail_file(blind, "blind")


def test_the_rail_is_a_scenario_with_its_provenance(found, tmp_path):
    (tmp_path / "rail.toml").write_text(rail_file(found, "rail"))
    scenario = load_scenario(tmp_path / "rail.toml")
    assert scenario.initial_speed == pytest.approx(11.0, abs=0.2)
    origin = scenario.provenance["rail.sections.0.friction"]
    assert origin.mark == "derived" and "identified from trial 31" in origin.source
    assert "90 % band" in origin.source
    for name, text in draw_files(found, "rail", 2).items():
        (tmp_path / name).write_text(text)
        drawn = load_scenario(tmp_path / name)
        assert drawn.rail.sections[0].friction != scenario.rail.sections[0].friction
    assert load_scenario("wet_leaf", rail=str(tmp_path / "rail.toml")).rail == scenario.rail


def test_the_model_reproduces_its_own_stop(unit):
    """With its own rail, law and no noise, what is left is the log's sampling."""
    scenario = unit.scenario.replace({"initial_speed": 12.0})
    stop = simulate(scenario, "slip_band", 1)
    account = make_account(make_log(stop, 1, 0.0, True), unit)
    again = reproduce(account, scenario)
    rows = residuals_by_axle(account, again)
    assert np.median([r.fresh_rim for r in rows]) < 0.3
    assert np.median([r.adhesion for r in rows]) < 0.006
    assert again.distance == pytest.approx(float(account.speed.distance[-1]), rel=0.06)


def test_too_little_sliding_identifies_nothing(unit):
    trial = make_trial(3, "dry", "none", speed=12.0)
    with pytest.raises(InputError, match="wheels slid for"):
        fit_rail(make_account(trial.log, unit))


def alternative(name, distances):
    values = np.array(distances, dtype=float)
    return Alternative(name, "logged", values if values.ndim == 2 else values[:, None])


def test_a_verdict_needs_a_band_clear_of_zero():
    rng = np.random.default_rng(0)
    base = 500.0 + 20.0 * rng.standard_normal(20)
    first = alternative("a", base)
    longer = judge(first, alternative("b", base + 30.0 + 5.0 * rng.standard_normal(20)))
    assert longer.claim == "a would have stopped shorter than b" and longer.low > 0.0
    even = judge(first, alternative("c", base + 5.0 + 20.0 * rng.standard_normal(20)))
    assert even.claim == "" and even.low < 0.0 < even.high
    gone = judge(first, alternative("d", [*(base[:19] + 300.0), np.inf]))
    assert gone.claim == ""  # it did not stop on one rail: no number, no verdict
    assert judge(alternative("a", [1.0] * 4), alternative("b", [2.0] * 4)).claim == ""


def test_what_valves_scatter_is_not_taken_for_the_rail():
    """Made-up ensembles: the band of the difference on a further rail holds it in nine of ten."""
    rng = np.random.default_rng(7)
    held, widths = [], []
    for _ in range(400):
        rails = 40.0 + 15.0 * rng.standard_normal(21)  # the last is the rail that was there
        noise = 60.0 * rng.standard_normal((20, 3))
        base = 700.0 + 100.0 * rng.standard_normal((20, 3))
        found = judge(alternative("a", base), alternative("b", base + rails[:20, None] + noise))
        held.append(found.low <= rails[20] <= found.high)
        widths.append(found.high - found.low)
    low, high = binom.ppf([0.005, 0.995], 400, 0.9)
    assert low <= sum(held) <= high
    # a band of single stops would be 1.73 * 2 * hypot(15, 60) wide
    assert np.median(widths) < 0.5 * 1.73 * 2.0 * np.hypot(15.0, 60.0)
    assert found.scatter == pytest.approx(60.0, rel=0.4)


def test_with_one_seed_the_band_is_students():
    """Against scipy: of one further value of twelve, t sqrt(1 + 1/n)."""
    values = np.random.default_rng(3).standard_normal(12)
    found = judge(alternative("a", np.zeros(12)), alternative("b", values))
    half = student.ppf(0.95, 11) * values.std(ddof=1) * np.sqrt(1.0 + 1.0 / 12.0)
    wanted = (values.mean() - half, values.mean() + half)
    assert (found.low, found.high) == pytest.approx(wanted, abs=0.09)  # drawn 20,000 times


def test_held_is_the_hardest_position_throughout(found):
    scenario = stop_scenario(found, found.fit.theta, "x")
    assert with_driver(scenario, "logged") is scenario
    held = with_driver(scenario, "held").driver
    assert [entry.position for entry in held.programme] == [3] and held.easing is None


def test_the_gain_goes_into_the_pads(found):
    scenario = stop_scenario(found, found.fit.theta, "x")
    wanted = 0.35 * np.exp(found.fit.theta[GAIN])
    assert scenario.brake.pad_friction == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("identify a.csv --train wet_leaf --to rail.csv", "ends in .toml"),
        ("identify gone.csv --train wet_leaf --to rail.toml", "no such file"),
        ("identify a.csv --to rail.toml", "--train"),
        ("identify a.csv --train wet_leaf --to a.toml --overwrite", "a.csv: is read by this"),
        ("whatif a.csv --train wet_leaf --rail wet_leaf --strategy none", "slipbench identify"),
        ("whatif a.csv --train wet_leaf --rail gone.toml --strategy none", "no such file"),
        ("reproduce a.csv --train wet_leaf", "--rail"),
        ("reproduce a.csv --train nowhere --rail wet_leaf", "nowhere"),
    ],
)
def test_bad_lines_are_one_line(line, words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text(
        "time_s,axle 1 [m/s],axle 2 [m/s]\n" + "".join(f"{0.1 * i},9,9\n" for i in range(60))
    )
    assert main(line.split()) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and words in said, said


@pytest.mark.slow
@pytest.mark.parametrize("part", range(6))
def test_bands_hold_over_a_dozen_trials(part):
    """Twelve stops, two a part: three films, three strategies, held and eased; nobody tuned on."""
    specs = [{**spec, "seed": spec["seed"] + 400} for spec in all_trials(12)[2 * part :][:2]]
    counts = coverage.run(specs)
    held = [is_held for values in counts.held.values() for is_held in values]
    assert len(held) >= 10
    assert sum(held) >= binom.ppf(0.005, len(held), 0.9) - 1, counts.text()


@pytest.mark.slow
def test_a_verdict_has_the_sign_of_the_truth():
    """Four stops, held: what is claimed of the next strategy on that very rail is so."""
    n_claimed = 0
    for spec in plain_trials(7)[::2]:
        true, verdict = coverage.whatif_trial({**spec, "seed": spec["seed"] + 500})
        assert not verdict.claim or (verdict.mean > 0.0) == (true > 0.0), spec
        n_claimed += bool(verdict.claim)
    assert n_claimed >= 2


@pytest.mark.slow
def test_a_patchy_rail_is_mapped_in_rank_order():
    """Patches of 5 to 40 m, the blind case: friction under the leading axle, cells of 5 m."""
    assert coverage.patchy_rank() > 0.9


@pytest.mark.slow
def test_the_commands_run_from_log_to_page(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    for line in (
        "stop wet_leaf --strategy slip_band --speed 35mph --log e.csv",
        "identify e.csv --train wet_leaf --to rail.toml --draws 8",
        "reproduce e.csv --train wet_leaf --rail rail.toml",
        "whatif e.csv --train wet_leaf --rail rail.toml --strategy slip_band,deceleration",
    ):
        assert main(line.split()) == 0, line
    assert "shorter than deceleration" in capsys.readouterr().out
    page = (tmp_path / "slipbench-results" / "whatif" / "whatif.html").read_text()
    for words in ("assigns no blame", "approves nothing", "Assumptions", "What would have been"):
        assert words in page
    assert "http" not in page.replace("http-equiv", "")  # needs nothing else


def test_ctrl_c_while_the_picture_is_drawn_says_that_the_rail_is_there(
    tmp_path, monkeypatch, capsys
):
    def interrupted(_found):
        raise KeyboardInterrupt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("slipbench.figures.measured_fit.draw_rail", interrupted)
    assert (
        main(["stop", "wet_leaf", "--strategy", "slip_band", "--speed", "25mph", "--log", "e.csv"])
        == 0
    )
    assert (
        main(["identify", "e.csv", "--train", "wet_leaf", "--to", "rail.toml", "--draws", "1"])
        == 130
    )
    assert "the rail is in rail.toml" in capsys.readouterr().err
    assert (tmp_path / "rail.toml").is_file()
