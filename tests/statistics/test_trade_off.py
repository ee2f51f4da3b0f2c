import math

import numpy as np
import pytest

from slipbench.statistics.trade_off import (
    best_first,
    crowding,
    dominates,
    fronts,
    knee,
    non_dominated,
    recommended,
)

SCORES = np.array([[1.0, 5.0], [2.0, 2.0], [5.0, 1.0], [3.0, 3.0], [6.0, 6.0], [2.0, 2.0]])
KEPT = np.zeros(6)


def test_fronts_are_numbered_from_the_best():
    assert fronts(SCORES).tolist() == [0, 0, 0, 1, 2, 0]


@pytest.mark.parametrize("seed", range(5))
def test_fronts_agree_with_the_definition(seed):
    scores = np.random.default_rng(seed).integers(0, 5, (30, 3)).astype(float)
    best = fronts(scores) == 0
    for i in range(30):
        is_dominated = any(dominates(scores[k], scores[i]) for k in range(30))
        assert best[i] == (not is_dominated)


def test_non_dominated_is_sorted_and_without_doubles():
    assert non_dominated(SCORES, KEPT) == [0, 1, 2]


def test_a_broken_constraint_comes_last():
    violations = np.array([0.0, 2.0, 0.0, 0.0, 0.0, 1.0])
    assert best_first(SCORES, violations)[-2:] == [5, 1]
    assert 1 not in non_dominated(SCORES, violations)
    assert non_dominated(SCORES, np.ones(6)) == []


def test_ends_of_a_front_are_never_crowded():
    distance = crowding(SCORES[:3])
    assert distance[0] == distance[2] == math.inf and math.isfinite(distance[1])


def test_knee_is_nearest_the_ideal():
    assert knee(SCORES[:3]) == 1
    assert knee(np.array([[3.0], [1.0], [2.0]])) == 1


def test_recommended_makes_nothing_worse_if_it_can():
    front = SCORES[:3]
    assert recommended(front, np.array([5.5, 1.5])) == 2  # the knee would make the second worse
    assert recommended(front, np.array([0.5, 0.5])) == 1
