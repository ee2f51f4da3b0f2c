"""What another setting, strategy or driver would have done on the rail that explains a log."""

from __future__ import annotations

import csv
import dataclasses
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.ground.reading import place
from slipbench.measured.account import Account
from slipbench.measured.speed import Z90
from slipbench.results.tables import plain_table
from slipbench.running.runner import run_way
from slipbench.scenario import Scenario, load_scenario
from slipbench.scenario.driver import HandleEntry
from slipbench.strategies.registry import Known

LOGGED, HELD = "logged", "held"
"""Drivers that need no name: as in the log, and its hardest position from the first move on."""

N_SEEDS = 3
"""Seeds of equipment and valves on every rail: what they scatter is told apart from the rail."""

FEWEST_DRAWS = 8
"""Rails below which no band, and no verdict, is given."""


@dataclass(frozen=True, eq=False)
class Alternative:
    """One strategy under one driver, on every rail.

    Attributes
    ----------
    strategy, driver : str
    distances : (n_draws, n_seeds)   stopping distances on every rail under every seed of the
                                     equipment, infinite without a stop [m]
    """

    strategy: str
    driver: str
    distances: Floats

    @property
    def label(self) -> str:
        """How tables name it."""
        return self.strategy if self.driver == LOGGED else f"{self.strategy}, {self.driver}"


@dataclass(frozen=True)
class Verdict:
    """Paired difference of two alternatives over the ensemble: other less first.

    Attributes
    ----------
    first, other : str
    mean, low, high : float   on the rail that was there, over equipment and valves, with its 90 %
                              band [m]
    scatter : float           of the difference of two single stops on one rail, deviation [m]
    claim : str               what may be said, empty where the band spans 0
    """

    first: str
    other: str
    mean: float
    low: float
    high: float
    scatter: float
    claim: str


@dataclass(frozen=True, eq=False)
class Whatif:
    """The alternatives of a measured stop."""

    account: Account
    rail: str
    n_draws: int
    n_seeds: int
    alternatives: tuple[Alternative, ...]
    verdicts: tuple[Verdict, ...]


def read_draws(rail: Path) -> list[Scenario]:
    """Return the rails drawn beside an identified rail; the rail alone where there are none.

    Parameters
    ----------
    rail : Path   `NAME.toml`; its draws stand in the folder `NAME-draws`

    Raises
    ------
    InputError   a file that is no scenario
    """
    folder = rail.with_name(f"{rail.stem}-draws")
    files = sorted(folder.glob("draw-*.toml")) if folder.is_dir() else []
    return [load_scenario(file) for file in files] or [load_scenario(rail)]


def with_driver(scenario: Scenario, driver: str) -> Scenario:
    """Return a scenario with another driver.

    Parameters
    ----------
    driver : str   `logged`, `held`, or what `--driver` of other commands takes

    Raises
    ------
    InputError
    """
    if driver == LOGGED:
        return scenario
    programme = scenario.driver.programme
    if driver == HELD:
        hardest = max(entry.position for entry in programme)
        first = next(entry for entry in programme if entry.position > 0)
        held = HandleEntry(at_time=first.at_time, position=hardest)
        own = dataclasses.replace(scenario.driver, programme=(held,), easing=None)
    else:
        own = load_scenario("wet_leaf", driver=driver).driver
    return scenario.replace({"driver": own})


def run_alternatives(
    account: Account,
    rail: str,
    draws: Sequence[Scenario],
    strategies: Sequence[tuple[str, Known]],
    drivers: Sequence[str],
    tell: Callable[[], object] = lambda: None,
    n_seeds: int = N_SEEDS,
) -> Whatif:
    """Return what every strategy under every driver does on every rail.

    Parameters
    ----------
    account : Account
    rail : str             how the rail is told
    draws : of Scenario    the rails, each a whole stop
    strategies : (label, Known)
    drivers : of str       as `with_driver` takes
    tell : called after every stop
    n_seeds : int   of equipment, on every rail

    Notes
    -----
    Rail and equipment are paired: every alternative meets the same rails, each with the same seeds.
    """
    found = []
    for label, known in strategies:
        for driver in drivers:
            distances = np.empty((len(draws), n_seeds))
            for i, scenario in enumerate(draws):
                asked = with_driver(scenario, driver)
                for k in range(n_seeds):
                    distances[i, k] = run_way(asked, known, i * n_seeds + k).distance
                    tell()
            found.append(Alternative(label, driver, distances))
    verdicts = [judge(found[0], other) for other in found[1:]] if len(draws) >= FEWEST_DRAWS else []
    return Whatif(account, rail, len(draws), n_seeds, tuple(found), tuple(verdicts))


def judge(first: Alternative, other: Alternative) -> Verdict:
    """Return the paired difference with its 90 % band, and a claim where it does not span 0.

    Notes
    -----
    What is judged is the difference on the rail that was there, as a mean over what equipment and
    valves do from one stop to the next, since that is what another strategy would change. Seen
    from draw to draw it varies with the rail, which is in the band, and with the throw of the
    valves, which only blurs the means: one-way analysis of variance (random effects) takes the
    second, known from the seeds on one rail, off the first; see `_rail_band`. A stop that came to
    no end is left out of the band and stops any claim.
    """
    difference = other.distances - first.distances
    ends = np.isfinite(first.distances) & np.isfinite(other.distances)
    use = np.asarray(ends.all(axis=1))
    n, nan = int(use.sum()), float("nan")
    if n < FEWEST_DRAWS:
        return Verdict(first.label, other.label, nan, nan, nan, nan, "")
    by_rail = difference[use]
    mean = float(by_rail.mean())
    low, high = _rail_band(by_rail)
    within = float(by_rail.var(axis=1, ddof=1).mean()) if by_rail.shape[1] > 1 else 0.0
    claim = ""
    if n == len(use) and low > 0.0:
        claim = f"{first.label} would have stopped shorter than {other.label}"
    elif n == len(use) and high < 0.0:
        claim = f"{other.label} would have stopped shorter than {first.label}"
    return Verdict(first.label, other.label, mean, low, high, math.sqrt(within), claim)


def _rail_band(by_rail: Floats, n: int = 20_000) -> tuple[float, float]:
    """Return the 90 % band of one more rail's mean, from (n_rails, n_seeds) values.

    Generalised pivots: both mean squares of the analysis of variance over their chi-squared, drawn
    n times; what is left between rails is never less than nothing. With one seed it is Student's
    band of a further value.
    """
    rng = np.random.default_rng(0)
    n_rails, n_seeds = by_rail.shape
    means = by_rail.mean(axis=1)
    seen = means.var(ddof=1) * (n_rails - 1) / rng.chisquare(n_rails - 1, n)
    within = np.zeros(n)
    if n_seeds > 1:
        freedom = n_rails * (n_seeds - 1)
        within = by_rail.var(axis=1, ddof=1).mean() * freedom / rng.chisquare(freedom, n)
    between = np.maximum(seen - within / n_seeds, 0.0)
    middle = means.mean() + np.sqrt(seen / n_rails) * rng.standard_normal(n)
    low, high = np.quantile(middle + np.sqrt(between) * rng.standard_normal(n), [0.05, 0.95])
    return float(low), float(high)


def band(distances: Floats) -> tuple[float, float, float]:
    """Return the median of stopping distances and their 5 and 95 % points; infinite ones count."""
    low, middle, high = np.quantile(distances, [0.05, 0.5, 0.95], method="nearest")
    return float(middle), float(low), float(high)


def whatif_text(found: Whatif, reproduced: float) -> str:
    """Return the alternatives for a terminal.

    Parameters
    ----------
    reproduced : float   way of a train slowed by the model's rail forces under measured pressures
    """
    speed = found.account.speed
    half = Z90 * float(speed.distance_deviation[-1])
    rows: list[list[str] | str] = [
        ["the log", f"{speed.distance[-1]:.0f}", f"{speed.distance[-1] - half:.0f}",
         f"{speed.distance[-1] + half:.0f}", ""],
        ["reproduced, measured pressures", f"{reproduced:.0f}", "", "", ""],
    ]  # fmt: skip
    for a in found.alternatives:
        middle, low, high = (f"{x:.0f}" if math.isfinite(x) else "none" for x in band(a.distances))
        rest = int(np.isinf(a.distances).sum())
        rows.append([a.label, middle, low, high, f"{rest} of {a.distances.size}" if rest else ""])
    table = plain_table(["stop", "way m", "90 % from", "to", "no stop"], rows)
    seeds = f", {found.n_seeds} seeds of equipment on each" if found.n_seeds > 1 else ""
    lines = [f"on {found.n_draws} rails that explain {found.account.log.source}{seeds}", table, ""]
    lines += [verdict_line(v) for v in found.verdicts]
    if not found.verdicts and len(found.alternatives) > 1:
        lines.append(
            f"no verdict: {found.n_draws} rail(s); {FEWEST_DRAWS} draws are needed "
            "(slipbench identify writes them)"
        )
    lines.append("It assigns no blame and proves no compliance.")
    return "\n".join(lines)


def verdict_line(v: Verdict) -> str:
    """Return one comparison as a sentence."""
    if math.isnan(v.mean):
        return f"{v.other} less {v.first}: too few rails on which both stop; no verdict"
    said = f"{v.other} less {v.first}: {v.mean:+.0f} m (90 % band {v.low:+.0f} to {v.high:+.0f})"
    said += f", two single stops +-{v.scatter:.0f} m besides" if v.scatter > 0.0 else ""
    if v.claim:
        return f"{said}: {v.claim}"
    return f"{said}: no verdict, the band spans 0 or a rail was not stopped on"


def whatif_csv(found: Whatif) -> str:
    """Return every stop as CSV."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["draw", "seed", *(f"{a.label}_m" for a in found.alternatives)])
    for i in range(found.n_draws):
        for k in range(found.n_seeds):
            values = [a.distances[i, k] for a in found.alternatives]
            told = (f"{x:.2f}" if math.isfinite(x) else "" for x in values)
            writer.writerow([i + 1, i * found.n_seeds + k, *told])
    return stream.getvalue()


def check_rail(path: str) -> Path:
    """Return the path of an identified rail.

    Raises
    ------
    InputError   for a shipped name: a rail that explains the log is needed
    """
    file = Path(path)
    if file.suffix != ".toml":
        raise InputError(
            f"--rail {place(path)}: must be a file that `slipbench identify` wrote, NAME.toml"
        )
    return file
