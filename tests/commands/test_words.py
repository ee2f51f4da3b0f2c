"""What is said of a comparison holds for its rows, clause by clause, whatever the rows are."""

import math
import re
import statistics

from hypothesis import example, given, settings
from hypothesis import strategies as st
from tests.commands.test_compare import made_up

from slipbench.comparison.compare import ComparedStop, Comparison, Yardsticks
from slipbench.comparison.standing import frontier_text
from slipbench.figures.words import ONE_SEED, rail_sentence, rail_sentences

RUN = st.one_of(
    st.sampled_from([648.0, 648.0, 648.2, 1000.0]), st.floats(100.0, 4000.0), st.just(math.inf)
)
NAMES = ("a", "b", "c", "d")


@st.composite
def tables(draw):
    """Return distances by strategy over the seeds, infinite where it did not stop."""
    n_seeds = draw(st.integers(1, 7))
    runs = st.lists(RUN, min_size=n_seeds, max_size=n_seeds)
    return {name: draw(runs) for name in NAMES[: draw(st.integers(1, 4))]}


KNOWN = made_up({name: [1.0] for name in NAMES})
MARKS = Yardsticks(dry_distance=100.0, shortest_possible=80.0)


def as_rows(distances):
    rows = []
    for name, own in distances.items():
        for seed, distance in enumerate(own):
            summary = {"stopping_distance": distance, "is_stopped": math.isfinite(distance),
                       "longest_lock": 0.5 * seed, "flat_risk": 0.25, "vent_count": 10}  # fmt: skip
            rows.append(ComparedStop("dry", 30.0, name, False, seed, MARKS, summary))
    return tuple(rows)


@settings(max_examples=100, deadline=None)
@given(tables())
@example({"a": [1102.0], "b": [1355.0]})  # said once: not told apart with one seed
@example({"a": [648.0, 648.0], "b": [648.0, 648.0]})  # said once: a stopped shortest
@example({"a": [648.0] * 6, "b": [math.inf] * 6})
def test_a_rail_is_told_as_its_rows_are(distances):
    said = rail_sentence("dry", as_rows(distances))
    assert said.startswith("On dry, ") and said.endswith(".") and "nan" not in said
    means = {name: statistics.fmean(own) for name, own in distances.items()}
    stopped = {name: mean for name, mean in means.items() if math.isfinite(mean)}
    for name, own in distances.items():
        n_over = sum(map(math.isinf, own))
        if stopped:
            count = f"{name} ({n_over} of {len(own)})"
            assert (count in said) == (n_over > 0)
    if not stopped:
        most = max(sum(map(math.isfinite, own)) for own in distances.values())
        n_runs = len(distances["a"])
        if len(distances) == 1:
            assert f"stopped in {most} of {n_runs} runs" in said
        elif most:
            assert f"({most} of {n_runs})" in said
        else:
            assert "no strategy stopped in any run" in said
        return
    least, longest = min(stopped.values()), max(stopped.values())
    firsts = {name for name, mean in stopped.items() if mean - least <= 1e-3 * mean}
    head = said.removeprefix("On dry, ").split(" stopped ")[0]
    if head.startswith("all "):
        assert firsts == set(distances) and f"all {len(firsts)} strategies" == head
    else:
        assert set(re.findall(r"\b[abcd]\b", head)) == firsts
    assert f"{least:.0f} m" in said
    assert ("alike" in said) == (len(firsts) > 1)
    if "stopped shortest" in said:
        assert len(distances) > 1 and (firsts != set(stopped) or len(stopped) < len(distances))
    assert ("took longest" in said) == (firsts != set(stopped))
    if "took longest" in said:
        name, value = re.search(r"(\w) took longest, (\d+) m", said).groups()
        assert means[name] == longest and value == f"{longest:.0f}"
    if found := re.search(r"By these runs (.*) (?:is|are) not told apart from (\w)", said):
        (first,) = firsts
        assert found[2] == first
        for name in re.findall(r"\b[abcd]\b", found[1]):
            gains = [b - a for a, b in zip(distances[first], distances[name], strict=True)]
            assert name in stopped and name not in firsts
            # wide against its scatter it would be told: never below twice the standard error
            if len(gains) > 3 and min(gains) > 0.0:
                error = statistics.stdev(gains) / math.sqrt(len(gains))
                assert statistics.fmean(gains) < 20.0 * error + 1e-9 or len(gains) < 6


@settings(max_examples=40, deadline=None)
@given(tables())
def test_one_seed_is_told_once_to_tell_nothing(distances):
    said = rail_sentences(["dry"], as_rows(distances))
    is_one = len(distances["a"]) == 1 and len(distances) > 1
    assert (said[-1] == ONE_SEED) == is_one
    assert " ".join(said).count("cannot tell") == is_one
    if is_one:
        assert "not told apart" not in " ".join(said)


def test_what_is_far_apart_is_told_with_four_seeds():
    near = {"a": [1000.0, 1003.0, 998.0, 1001.0], "b": [1355.0, 1350.0, 1361.0, 1352.0]}
    assert "told apart" not in rail_sentence("dry", as_rows(near))
    wide = {"a": [1000.0, 1400.0, 900.0, 1300.0], "b": [1200.0, 1010.0, 1350.0, 1150.0]}
    assert "b is not told apart from a" in rail_sentence("dry", as_rows(wide))


@settings(max_examples=60, deadline=None)
@given(tables())
def test_the_frontier_holds_for_the_rows(distances):
    strategies = KNOWN.strategies[: len(distances)]
    n_seeds = len(distances["a"])
    made = Comparison(KNOWN.scenarios, strategies, n_seeds, {"dry": MARKS}, as_rows(distances))
    said = frontier_text(made)
    means = {name: statistics.fmean(own) for name, own in distances.items()}
    if len(means) < 2:
        assert said == ""
        return
    best = min(means, key=means.__getitem__)
    others = [mean for name, mean in means.items() if name != best]
    is_first = means[best] < 0.999 * min(others)
    assert (f"Frontier: {best} stops shorter" in said) == is_first
    assert ("no strategy stops shorter than every other" in said) == (not is_first)


def test_the_strategy_called_none_is_named_so_that_nobody_is_meant():
    rows = as_rows({"none": [2000.0, 2001.0], "slip_band": [1000.0, 1002.0]})
    said = rail_sentence("dry", rows)
    assert "slip band stopped shortest" in said and "no slip control took longest, 2000 m" in said
