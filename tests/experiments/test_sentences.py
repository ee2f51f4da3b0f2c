"""Sentences say of made-up rows what the rows say: ties, losses, one row, all alike, no stop.

Each property makes a table up, takes the sentence apart, and holds every statement against the
table by another way than the sentence was built. What no sentence may hold at all is asked of all.
"""

import math
import re

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from slipbench.experiments import (
    does_load_matter,
    how_deep_should_it_slip,
    how_locked_wheels_clean,
    how_sure_are_we,
    what_breaks_first,
    what_isolation_costs,
    what_moved_demand_gains,
    what_real_equipment_costs,
    what_sand_buys,
    what_the_dynamic_brake_does,
    what_the_low_speed_cut_out_costs,
    when_to_ease,
    where_the_verdict_turns,
    where_to_start_braking,
    which_strategy,
    who_cleans_the_rail,
    why_holding_beats_easing,
)

FINITE = st.one_of(st.sampled_from([500.0, 500.0, 648.0, 648.3, 1000.0]), st.floats(50.0, 5000.0))
DISTANCE = st.one_of(FINITE, FINITE, FINITE, st.just(math.inf))
GAIN = st.one_of(st.sampled_from([0.0, 0.04, -0.04]), st.floats(-400.0, 400.0))
SHARE = st.one_of(st.sampled_from([0.0, 1.0]), st.floats(0.0, 1.0))
TIME = st.one_of(st.just(0.0), st.floats(0.0, 90.0))

quick = settings(max_examples=30, deadline=None)

NEVER = re.compile(
    r"nan|\binf\b|-0 m\b|-0\.0 m\b"
    r"|(?:saves|shorten\w*|lengthen\w*|longer|shorter|farther|earlier|later|past it|sooner)"
    r"[^.;,(]{0,20} -\d"
    r"|(?:by|only|to|runs|stops) -\d[\d.]* m\b"
    r"| times the error|\b1 cases\b|\bfor (\d+) to \1 cars"
)  # fmt: skip
"""What a sentence must not hold: no number, a negative gain, a thing set against itself."""


def well_formed(sentence):
    assert sentence.endswith(".") and not sentence.endswith("..")
    found = NEVER.search(sentence)
    assert found is None, sentence
    assert "  " not in sentence and " ," not in sentence and "(;" not in sentence
    return sentence


def stopped_words(distance):
    return f"stops in {distance:.0f} m" if math.isfinite(distance) else "does not stop"


@quick
@given(*[st.one_of(GAIN, st.just(math.inf))] * 3, st.floats(0.0, 2.0), st.floats(0.0, 2.0))
@example(42.0, 42.0, 60.0, 0.5, 0.5)  # said once: eased right it stops there
@example(5.0, 0.0, -18.0, 0.5, 1.5)
def test_easing(early, right, late, jolt, late_jolt):
    rows = [
        {"easing": "too early", "past_the_platform_end": early, "jolt": 0.3},
        {"easing": "right", "past_the_platform_end": right, "jolt": jolt},
        {"easing": "too late", "past_the_platform_end": late, "jolt": late_jolt},
    ]
    said = well_formed(when_to_ease.sentence(rows))
    for way, past in (("too early the train", early), ("right it", right)):
        words = re.search(rf"eased {way} (.*?)[;,]", said)[1]
        if not math.isfinite(past):
            assert words == "does not stop"
        elif abs(past) < 0.5:
            assert words == "stops there"
        elif abs(past) > 0.5:
            side = "past" if past > 0 else "short of"
            assert words == f"stops {abs(past):.0f} m {side} it"
    assert ("not smooth" in said) == (jolt >= when_to_ease.SMOOTH)
    if math.isfinite(late - right) and abs(late - right) >= 0.05:
        assert ("farther than eased right" in said) == (late > right)


@quick
@given(FINITE, st.lists(DISTANCE, min_size=2, max_size=4), st.booleans())
def test_holding(held, others, never):
    held = math.inf if never else held
    ways = ["eased to step 2", "eased to step 1", "eased to release", "released and re-applied"]
    rows = [{"rail": "r", "brake": "held", "distance": held, "longer_than_held": 0.0,
             "share_longer": 0.0}]  # fmt: skip
    for way, distance in zip(ways, others, strict=False):
        longer = distance - held if not never else math.nan
        rows.append({"rail": "r", "brake": way, "distance": distance, "longer_than_held": longer,
                     "share_longer": longer / held})  # fmt: skip
    said = well_formed(why_holding_beats_easing.sentence(rows))
    if never:
        assert "held, does not stop" in said
        assert ("nor does it eased" in said) == (not any(map(math.isfinite, others)))
        return
    for row in rows[1:]:
        share, way = row["share_longer"], row["brake"]
        (clause,) = [part for part in re.split(r"[;,] ", said) if way in part]
        if abs(share) < 0.01:
            assert "stops there too" in clause
        elif math.isinf(share):
            assert f"{way} it does not stop" in clause
        else:
            assert f"{abs(row['longer_than_held']):.0f} m" in clause
            assert ("less far" in clause) == (share < 0)


@quick
@given(st.lists(DISTANCE, min_size=4, max_size=4), st.floats(0.3, 4.0))
@example([500.0, 500.0, 500.0, 500.0], 0.8)  # said once: uses 0.80 times
def test_cleaning(distances, ratio):
    slips = ((2, 0.04), (4, 0.04), (2, 0.5), (4, 0.5))
    rows = [
        {"cars": cars, "leading_slip": slip, "distance": distance, "last_over_first": ratio}
        for (cars, slip), distance in zip(slips, distances, strict=True)
    ]
    said = well_formed(who_cleans_the_rail.sentence(rows))
    assert ("times the adhesion" in said) == (ratio > 1.0 and abs(ratio - 1.0) > 0.005 * ratio)
    assert ("less adhesion" in said) == (ratio < 1.0 and abs(ratio - 1.0) > 0.005)
    for cars, distance in ((2, distances[0]), (4, distances[1])):
        assert f"{cars} cars {stopped_words(distance)}" in said
    if "shorten that stop of" in said:
        assert distances[3] < distances[1]
        assert f"4 cars to {distances[3]:.0f} m" in said
    else:
        assert not distances[3] < 0.999 * distances[1]


@quick
@given(st.lists(st.sampled_from([0.1, 0.3, 0.5]), min_size=1, max_size=5))
def test_deep(targets):
    rows = []
    for cars, best in enumerate(targets, 2):
        for target in (0.1, 0.3, 0.5):
            rows.append({
                "creep_curve": "falling", "cars": cars,
                "full_cleaning_up_to": how_deep_should_it_slip.FULL_CLEANING,
                "slip_target": target, "longer_than_best": 0.0 if target == best else 0.1,
            })  # fmt: skip
    said = well_formed(how_deep_should_it_slip.sentence(rows))
    for target in set(targets):
        label = "0.1 or less" if target == 0.1 else f"{target:g}"
        cars = re.search(rf"{label} for ([\d, and]+) cars", said)[1]
        named = [int(number) for number in re.findall(r"\d+", cars)]
        assert named == [i for i, best in enumerate(targets, 2) if best == target]


@quick
@given(st.lists(st.floats(0.0, 500.0), min_size=1, max_size=5))
@example([0.016, 100.0])  # said once: with 6222 times the error of the computation
def test_sure(sizes):
    kinds = ("computation", "chance", "strategy", "equipment", "rail")
    rows = [
        {"kind": kind, "what": f"w{kind}", "moves_the_distance_by": size}
        for kind, size in zip(kinds, sizes, strict=False)
    ]
    said = well_formed(how_sure_are_we.sentence(rows))
    assert "times" not in said
    most = max(sizes)
    if (found := re.search(r"; the ((?!computation itself).*?) decides?\b", said)) is not None:
        named = re.split(r", | and ", found[1])
        by_kind = dict(zip(kinds, sizes, strict=False))
        assert all(by_kind[kind] >= 0.95 * most for kind in named)
        assert by_kind["computation"] < most
    else:
        assert sizes[0] >= 0.94 * most


@quick
@given(st.lists(st.tuples(GAIN, st.floats(0.0, 100.0), GAIN, FINITE), min_size=1, max_size=4))
def test_moved(made):
    rows = [
        {"rail": f"r{i}", "no_cleaning": before, "limit_1": before, "cleaning_gains": gain,
         "at_least": gain - width, "at_most": gain + width, "moving_gains": moved,
         "moving_at_least": moved - width, "moving_at_most": moved + width}
        for i, (gain, width, moved, before) in enumerate(made)
    ]  # fmt: skip
    said = well_formed(what_moved_demand_gains.sentence(rows))
    first, second = said.split("; equipment")
    for clause, low, high in (
        (first, "at_least", "at_most"),
        (second, "moving_at_least", "moving_at_most"),
    ):
        shorter = re.search(r"shorten the stop on ((?:(?!lengthen).)*)", clause)
        longer = re.search(r"lengthen the stop on (.*)", clause)
        for row in rows:
            name = row["rail"]
            assert (bool(shorter) and f"{name} (" in shorter[1]) == (row[low] > 0.0)
            assert (bool(longer) and f"{name} (" in longer[1]) == (row[high] < 0.0)
        assert ("change no stop" in clause) == (not shorter and not longer)


def test_moved_of_one_seed_says_that_it_cannot_tell():
    keys = ("at_least", "at_most", "moving_at_least", "moving_at_most")
    rows = [{"rail": name, **dict.fromkeys(keys, math.nan)} for name in "ab"]
    assert what_moved_demand_gains.sentence(rows).count("one seed cannot tell") == 1


@quick
@given(st.lists(DISTANCE, min_size=6, max_size=6), st.sampled_from([0.0, 0.3, 50.0]))
def test_isolation(distances, slid):
    rows, made = [], iter(distances)
    for share in (what_isolation_costs.SHARE, 1.0):
        for button in what_isolation_costs.PRESSES:
            rows.append({"button": button, "locked_cleaning_share": share, "friction_ratio":
                         what_isolation_costs.CURVE, "distance": next(made),
                         "locked_wheel_distance": slid})  # fmt: skip
    said = well_formed(what_isolation_costs.sentence(rows))
    alone, at_once, late = distances[:3]
    assert said.startswith(f"left alone the train {stopped_words(alone)}")
    assert f"pressed at once it {stopped_words(at_once)}" in said
    assert f"below 20 mph it {stopped_words(late)}" in said
    assert ("no wheel locked" in said) == (slid < 0.5)
    shares = re.search(r"shortens the stop at: (.*)\.$", said)
    named = re.findall(r"share ([\d.]+)", shares[1]) if shares else []
    expected = [
        f"{share:g}" for share, at, left in (
            (what_isolation_costs.SHARE, distances[1], distances[0]),
            (1.0, distances[4], distances[3]),
        ) if at < left
    ]  # fmt: skip
    assert sorted(named) == sorted(expected)


@quick
@given(st.lists(FINITE, min_size=4, max_size=4))
def test_load(distances):
    brakes = (does_load_matter.WEIGHING, does_load_matter.NO_CONTROL)
    rows = [
        {"rail": "dry", "brake": brake, "tare": tare, "crush": crush,
         "crush_over_tare": 100.0 * (crush / tare - 1.0)}
        for brake, tare, crush in zip(brakes, distances[:2], distances[2:], strict=True)
    ]  # fmt: skip
    said = well_formed(does_load_matter.sentence(rows))
    for row, pattern in zip(rows, (r"distance is (.*?) against", r"added, and (.*?) without"),
                            strict=True):  # fmt: skip
        words, by = re.search(pattern, said)[1], row["crush_over_tare"]
        if abs(by) < 0.005:
            assert words == "as long"
        else:
            assert words == f"{abs(by):.2f}% {'longer' if by > 0 else 'shorter'}"


@quick
@given(FINITE, st.lists(st.tuples(DISTANCE, TIME), min_size=1, max_size=5))
def test_faults(healthy, made):
    rows = [{"fault": "nothing", "distance": healthy, "longer_by": 0.0, "longest_lock": 0.0}]
    rows += [
        {"fault": f"f{i}", "distance": distance, "longer_by": distance - healthy,
         "longest_lock": lock}
        for i, (distance, lock) in enumerate(made)
    ]  # fmt: skip
    said = well_formed(what_breaks_first.sentence(rows))
    longer = [distance - healthy for distance, _ in made]
    head = said.split("; ")[0]
    if math.isinf(max(longer)):
        named = {f"f{i}" for i, by in enumerate(longer) if math.isinf(by)}
        assert named == set(re.findall(r"f\d", head.split(" the train does not stop")[0]))
    elif max(longer) < 0.5:
        assert "no fault lengthens" in head
    else:
        assert f"+{max(longer):.0f} m" in head
    locks = [lock for _, lock in made]
    if max(locks) < 0.05:
        assert "no wheel locks" in head
    elif max(locks) > 0.06:
        assert f"({max(locks):.1f} s)" in head
    n_little = sum(by < 0.01 * healthy for by in longer)
    assert f"{n_little} of {len(made)} faults" in said


@quick
@given(st.lists(st.tuples(st.one_of(GAIN, st.just(math.inf)), TIME, TIME), min_size=1, max_size=4))
def test_equipment(made):
    rows = [
        {"strategy": f"s{i}", "rail": "wet" if i % 2 else "frost", "service_over_clean": over,
         "vents_service": vents, "lock_worn": lock}
        for i, (over, vents, lock) in enumerate(made)
    ]  # fmt: skip
    said = well_formed(what_real_equipment_costs.sentence(rows))
    most = max(over for over, *_ in made)
    assert ("lengthens no stop" in said) == (most < 0.05)
    if math.isfinite(most) and most > 0.05:
        assert f"by {most:.1f} % at most" in said
    assert ("no wheel locks" in said) == (max(lock for *_, lock in made) <= 0.05)


@quick
@given(FINITE, st.lists(GAIN, min_size=1, max_size=4))
def test_sand(base, gains):
    rows = [{"rail": what_sand_buys.TRIAL, "sanders": what_sand_buys.NO_SAND, "model": base,
             "model_over_published": 1.0, "shorter_than_no_sand": 0.0}]  # fmt: skip
    rows += [
        {"rail": what_sand_buys.TRIAL, "sanders": f"n{i}", "model": base - gain,
         "model_over_published": 1.1, "shorter_than_no_sand": gain}
        for i, gain in enumerate(gains)
    ]  # fmt: skip
    said = well_formed(what_sand_buys.sentence(rows))
    assert f"the trial's train {stopped_words(base)}" in said
    for gain in (min(gains), max(gains)):
        if gain > 0.5:  # half a metre rounds to none
            assert f"{gain:.0f} m shorter" in said
        elif gain < -0.5:
            assert f"{-gain:.0f} m longer" in said
        elif abs(gain) <= 0.5:
            assert "as long" in said


@quick
@given(st.lists(st.one_of(GAIN, st.just(math.inf)), min_size=3, max_size=3), st.floats(0.0, 30.0))
def test_dynamic(over, energy):
    rules = [rule for rule in what_the_dynamic_brake_does.RULES if rule != "friction alone"]
    rows = [{"rail": "a", "strategy": "x", "slide_rule": "friction alone", "over_friction": 0.0,
             "recovered": 0.0}]  # fmt: skip
    rows += [
        {"rail": "a", "strategy": "x", "slide_rule": rule, "over_friction": by, "recovered": energy}
        for rule, by in zip(rules, over, strict=True)
    ]
    said = well_formed(what_the_dynamic_brake_does.sentence(rows))
    by_rule = dict(zip(rules, over, strict=True))
    if (
        found := re.search(r"x (.*?) costs most, ([+-][\d.]+) %.*and (.*?) least", said)
    ) is not None:
        assert by_rule[found[1]] == max(over) > min(over) == by_rule[found[3]]
    elif "every rule costs" in said:
        assert max(over) - min(over) < 0.11
    else:
        assert math.isinf(max(over))
    assert ("no energy" in said) == (energy <= 0.5)


@quick
@given(st.lists(st.tuples(st.floats(0, 40), st.floats(0, 40), FINITE, TIME, TIME), min_size=2,
                max_size=2))  # fmt: skip
def test_cut_out(made):
    speeds = (0.0, what_the_low_speed_cut_out_costs.SHIPPED)
    rows = [
        {"rail": "a", "strategy": "x", "cut_out": speed, "distance": distance, "longest_lock": lock,
         "flat_low": min(low, high), "flat_high": max(low, high), "vents_below_6_mph": vents}
        for speed, (low, high, distance, lock, vents) in zip(speeds, made, strict=True)
    ]  # fmt: skip
    said = well_formed(what_the_low_speed_cut_out_costs.sentence(rows))
    before, after = rows
    grown = after["flat_high"] - before["flat_high"]
    assert ("no flat grows" in said) == (grown < 0.5)
    if "vents below 6 mph fall" in said:
        assert after["vents_below_6_mph"] < before["vents_below_6_mph"]
    if "vents below 6 mph rise" in said:
        assert after["vents_below_6_mph"] > before["vents_below_6_mph"]


@quick
@given(st.lists(st.tuples(st.one_of(st.floats(1.0, 3.0), st.just(math.inf)), SHARE,
                          st.integers(0, 4)), min_size=1, max_size=5))  # fmt: skip
def test_strategies(made):
    rows = [
        {"strategy": f"s{i}", "ranked": "yes", "mean_over_shortest": ratio, "flat_risk": risk,
         "cases_ahead": ahead, "of_cases": 4}
        for i, (ratio, risk, ahead) in enumerate(made)
    ]  # fmt: skip
    assume(sum(ahead for *_, ahead in made) <= 4)
    said = well_formed(which_strategy.sentence(rows))
    least = min(ratio for ratio, *_ in made)
    if math.isinf(least):
        assert "no strategy stops in every case" in said
        return
    named = re.findall(r"s\d", said.split(" shortest on the mean")[0])
    assert all(made[int(name[1:])][0] <= 1.002 * least for name in named)
    assert f"({least:.2f} times" in said
    for i, (_, _, ahead) in enumerate(made):
        assert (re.search(rf"s{i} in {ahead}\b", said) is not None) == (ahead > 0)
    assert ("in any case" in said) == (not any(ahead for *_, ahead in made))


@quick
@given(st.lists(st.tuples(st.one_of(GAIN, st.just(math.inf)), SHARE, TIME), min_size=1, max_size=3))
def test_where_to_start(made):
    rows = [
        {"rail": f"r{i}", "gradient": where_to_start_braking.LEVEL, "speed_in_mph": 75.0,
         "earlier_yards": yards, "passes": share, "at_least": 0.0, "at_most": 1.0,
         "time_lost": lost}
        for i, (yards, share, lost) in enumerate(made)
    ]  # fmt: skip
    said = well_formed(where_to_start_braking.sentence(rows))
    for i, (yards, *_) in enumerate(made):
        clause = said.split(f"on r{i} ")[1].split("; ")[0]
        if math.isinf(yards):
            assert clause.startswith("without end earlier")
        elif abs(yards) < 0.49:
            assert clause.startswith("no earlier")
        elif abs(yards) > 0.51:
            way = "earlier" if yards > 0 else "later"
            assert re.match(rf"{abs(yards):.0f} yd \(\d+ m\) {way}", clause)


@quick
@given(st.lists(st.tuples(DISTANCE, DISTANCE), min_size=2, max_size=4))
def test_locked(made):
    rows = [
        {"rail": "a", "share": 0.1 * (i + 1), "none": none, "slip_band": band}
        for i, (none, band) in enumerate(made)
    ]
    said = well_formed(how_locked_wheels_clean.sentence(rows))
    turned = [f"a at {row['share']:g}" for row in rows if row["none"] < row["slip_band"]]
    where = said.rsplit("than slip control ", 1)[1]
    assert where == (f"on {', '.join(turned)}." if turned else "nowhere in this table.")


@quick
@given(st.lists(st.tuples(SHARE, st.floats(0.0, 0.5)), min_size=1, max_size=4))
def test_verdict(made):
    rows = [
        {"first": f"a{i}", "second": f"b{i}", "share_first": share,
         "at_least": max(0.0, share - width), "at_most": min(1.0, share + width)}
        for i, (share, width) in enumerate(made)
    ]  # fmt: skip
    said = well_formed(where_the_verdict_turns.sentence(rows))
    for row in rows:
        (clause,) = [part for part in said.split("; ") if row["first"] in part]
        if "no winner" in clause:
            assert row["at_least"] <= 0.5 <= row["at_most"]
        elif "does not beat" in clause:
            assert row["at_most"] < 0.5
        else:
            assert row["at_least"] > 0.5
