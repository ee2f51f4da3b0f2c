"""How often stated 90 % bands hold the truth, over trials nobody tuned on; by hand and as `slow`.

One answer a stop and quantity, not a sample: train speed and adhesion at a moment drawn at random,
each number of the rail that the fit says it can tell. `python -m tests.measured.coverage FIRST N`
takes N trials from seed FIRST on, with `whatif` behind it the verdicts of N stops.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.stats import binom, spearmanr
from tests.measured.trials import STRATEGIES, Trial, all_trials, make_trial, plain_trials

from slipbench.ground.errors import InputError
from slipbench.measured.account import Account, make_account
from slipbench.measured.adhesion import WINDOW, slope_weights, weighed
from slipbench.measured.fit import fit_rail
from slipbench.measured.identify import Identified, identify, stop_scenario
from slipbench.measured.speed import Z90
from slipbench.measured.unit import make_unit
from slipbench.measured.whatif import Alternative, Verdict, judge
from slipbench.scenario import Scenario, load_scenario
from slipbench.stop.simulation import simulate_way
from slipbench.strategies.registry import find_controller

UNIT = "wet_leaf"
PLAIN = ("within 1 km/h", "W0 within factor 2")


@dataclass
class Counts:
    """For each quantity whether its band held the truth, stop by stop."""

    held: dict[str, list[bool]] = field(default_factory=dict)
    silent: dict[str, int] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def add(self, name: str, is_held: bool) -> None:
        self.held.setdefault(name, []).append(bool(is_held))

    def text(self) -> str:
        lines = []
        for name, held in self.held.items():
            n, k = len(held), sum(held)
            if name in PLAIN:  # no band of 90 %: wanted of every stop
                lines.append(f"{name:20s} in {k:3d} of {n:3d}")
                continue
            low, high = binom.ppf([0.005, 0.995], n, 0.9) if n else (0, 0)
            verdict = "as stated" if low <= k <= high else "NOT as stated"
            lines.append(
                f"{name:20s} held in {k:3d} of {n:3d}, accepted {low:.0f} to {high:.0f}: {verdict}"
                f"; not told in {self.silent.get(name, 0)}"
            )
        return "\n".join(lines)


def true_values(trial: Trial) -> dict[str, float]:
    s = trial.truth.rail.sections[0]
    return {
        "film_friction": s.friction,
        "recovered_friction": s.recovered_friction,
        "cleaning_work": s.cleaning_work,
        "rise_per_work": (s.recovered_friction - s.friction) / s.cleaning_work,
        "friction_ratio": s.friction_ratio,
        "friction_decay": s.friction_decay,
        "brake_gain": trial.pads,
    }


def estimate_held(trial: Trial, account: Account, counts: Counts) -> None:
    """Count speed and adhesion at one random moment, and the worst speed where a wheel rolls."""
    rng = np.random.default_rng([trial.seed, 9])
    speed, a = account.speed, account.adhesion
    true = trial.at("train_speed", speed.time)
    moving = np.flatnonzero(true > 3.0)
    i = int(rng.choice(moving))
    counts.add("train speed", abs(speed.train[i] - true[i]) < Z90 * speed.deviation[i])
    rolls = speed.is_anchored & (true > 1.5)
    if rolls.any():
        worst = float(np.abs(speed.train - true)[rolls].max())
        counts.add("within 1 km/h", worst < 1.0 / 3.6)
    half = max(2, round(0.5 * WINDOW / account.series.step))
    force = weighed(trial.at("rail_force", a.time), slope_weights(half)[1])
    rows, axles = np.nonzero(a.is_sliding & np.isfinite(a.used) & (a.train[:, None] > 3.0))
    if len(rows):
        k = int(rng.integers(len(rows)))
        row, axle = rows[k], axles[k]
        error = a.used[row, axle] - force[row, axle] / a.load[row, axle]
        counts.add("adhesion", abs(error) < Z90 * a.deviation[row, axle])


def rail_held(trial: Trial, found: Identified, counts: Counts) -> None:
    """Count every number the fit says it can tell."""
    for name, true in true_values(trial).items():
        t = found.named(name)
        if t.is_told:
            counts.add(name, t.low <= true <= t.high)
        else:
            counts.silent[name] = counts.silent.get(name, 0) + 1
    ratio = found.fit.windows.largest_work / true_values(trial)["cleaning_work"]
    if ratio >= 2.0:
        work = found.named("cleaning_work")
        counts.add("W0 within factor 2", work.is_told and work.high / work.low < 2.0)


def run(specs: list[dict[str, Any]], tell: Any = lambda _: None) -> Counts:
    """Return what the bands of these trials hold."""
    unit, counts = make_unit(load_scenario(UNIT)), Counts()
    for spec in specs:
        trial = make_trial(**spec)
        account = make_account(trial.log, unit)
        estimate_held(trial, account, counts)
        try:
            found = identify(account, fit_rail(account))
        except InputError as problem:
            counts.notes.append(f"{spec}: {problem}")
            continue
        rail_held(trial, found, counts)
        tell(f"{spec['seed']}: {trial.stop.outcome}\n{counts.text()}")
    return counts


def whatif_trial(
    spec: dict[str, Any], n_draws: int = 16, n_seeds: int = 2
) -> tuple[float, Verdict]:
    """Return the true difference of another strategy on a trial's rail [m], and what is claimed.

    The stop was made under one strategy; the other runs on the true rail under the law, cells,
    pads and wheels of the truth, six seeds each.
    """
    trial = make_trial(**spec)
    account = make_account(trial.log, make_unit(load_scenario(UNIT)))
    found = identify(account, fit_rail(account))
    other = STRATEGIES[(STRATEGIES.index(spec["strategy"]) + 1) % len(STRATEGIES)]
    names = (spec["strategy"], other)
    true = [np.mean([_way(trial.truth, name, seed) for seed in range(6)]) for name in names]
    draws = [stop_scenario(found, theta, "draw") for theta in found.fit.draws(n_draws)]
    if spec["is_eased"]:
        draws = [d.replace({"driver": trial.truth.driver}) for d in draws]
    ways = [
        np.array([[_way(d, name, n_seeds * i + k) for k in range(n_seeds)]
                  for i, d in enumerate(draws)])
        for name in names
    ]  # fmt: skip
    both = [Alternative(name, "logged", way) for name, way in zip(names, ways, strict=True)]
    return float(true[1] - true[0]), judge(*both)


def _way(scenario: Scenario, strategy: str, seed: int) -> float:
    return simulate_way(scenario, find_controller(strategy).controller, seed).distance


def whatif_text(first: int, n: int) -> str:
    """Return how often a verdict is claimed, and how often it has the sign of the truth."""
    n_claimed = n_wrong = 0
    for spec in plain_trials(n):
        true, verdict = whatif_trial({**spec, "seed": spec["seed"] + first})
        n_claimed += bool(verdict.claim)
        n_wrong += bool(verdict.claim) and (verdict.mean > 0.0) != (true > 0.0)
        print(
            f"{spec}: true {true:+.0f} m, {verdict.mean:+.0f} ({verdict.low:+.0f} to "
            f"{verdict.high:+.0f}); claimed {n_claimed}, wrong {n_wrong}",
            flush=True,
        )
    return f"claimed {n_claimed} of {n}, wrong {n_wrong}"


def patchy_rank(seed: int = 5) -> float:
    """Return the rank correlation (Spearman) of the friction map on patches of 5 to 40 m.

    For the leading axle: cells of 5 m on which it slid.
    """
    from slipbench.scenario import RailSection

    rng = np.random.default_rng(seed)
    section = load_scenario("wet_leaf").rail.sections[0]
    sections: list[RailSection] = []
    place = 0.0
    while place < 1500.0:
        friction = float(np.exp(rng.normal(np.log(0.035), 0.45)).clip(0.012, 0.09))
        values = {"from_distance": place, "friction": friction, "recovered_friction": 0.16}
        sections.append(RailSection(**{**_fields(section), **values}))
        place += float(rng.uniform(5.0, 40.0))
    changes = {"rail.sections": tuple(sections)}
    trial = make_trial(seed, "wet_leaf", "slip_band", law="vermeulen_johnson", speed=18.0,
                       has_train=True, changes=changes)  # fmt: skip
    account = make_account(trial.log, make_unit(load_scenario(UNIT)))
    fit = fit_rail(account)
    a = account.adhesion
    slid = a.is_sliding[:, 0] & (a.train > 2.5)
    cells = np.arange(0.0, float(a.place[slid, 0].max()), 5.0) + 2.5
    met = np.histogram(a.place[slid, 0], np.append(cells - 2.5, cells[-1] + 2.5))[0] > 2
    starts = np.array([s.from_distance for s in sections])
    true = np.array([s.friction for s in sections])[np.searchsorted(starts, cells, "right") - 1]
    mapped = np.exp(fit.theta[fit.layout.patches])[fit.layout.patch_of(cells)]
    return float(spearmanr(true[met], mapped[met]).statistic)


def _fields(section: Any) -> dict[str, Any]:
    import dataclasses

    return {f.name: getattr(section, f.name) for f in dataclasses.fields(section)}


if __name__ == "__main__":
    import sys

    first, n = int(sys.argv[1]), int(sys.argv[2])
    if sys.argv[3:] == ["whatif"]:
        print(whatif_text(first, n))
        sys.exit()
    specs = [{**spec, "seed": spec["seed"] + first} for spec in all_trials(n)]
    result = run(specs, lambda text: print(text, flush=True))
    print(result.text(), *result.notes, sep="\n")
