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
from slipbench.running.runner import run_stop
from slipbench.scenario import Scenario, load_scenario
from slipbench.scenario.driver import HandleEntry
from slipbench.strategies.registry import Known

LOGGED, HELD = "logged", "held"
"""Drivers that need no name: as in the log, and its hardest position from the first move on."""

FEWEST_DRAWS = 8
"""Rails below which no band, and no verdict, is given."""


@dataclass(frozen=True, eq=False)
class Alternative:
    """One strategy under one driver, on every rail: stopping distances, infinite without a stop."""

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

    `mean`, `low`, `high` [m]: 90 % band; `claim`: what may be said, empty where the band spans 0.
    """

    first: str
    other: str
    mean: float
    low: float
    high: float
    claim: str


@dataclass(frozen=True, eq=False)
class Whatif:
    """The alternatives of a measured stop."""

    account: Account
    rail: str
    n_draws: int
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

    Notes
    -----
    Rail and equipment are paired: draw i runs with seed i under every alternative.
    """
    found = []
    for label, known in strategies:
        for driver in drivers:
            distances = np.empty(len(draws))
            for i, scenario in enumerate(draws):
                stop = run_stop(with_driver(scenario, driver), known, i)
                way = stop.summary["stopping_distance"]
                distances[i] = way if math.isfinite(way) else math.inf
                tell()
            found.append(Alternative(label, driver, distances))
    verdicts = [judge(found[0], other) for other in found[1:]] if len(draws) >= FEWEST_DRAWS else []
    return Whatif(account, rail, len(draws), tuple(found), tuple(verdicts))


def judge(first: Alternative, other: Alternative) -> Verdict:
    """Return the paired difference with its 90 % band, and a claim where it does not span 0.

    The band is Student's of one draw from the ensemble; a draw without a stop is left out of the
    band and stops any claim for the side that did not stop.
    """
    from scipy.stats import t

    both = np.isfinite(first.distances) & np.isfinite(other.distances)
    n = int(both.sum())
    if n < FEWEST_DRAWS:
        nan = float("nan")
        return Verdict(first.label, other.label, nan, nan, nan, "")
    difference = other.distances[both] - first.distances[both]
    mean, spread = float(difference.mean()), float(difference.std(ddof=1))
    half = float(t.ppf(0.95, n - 1)) * spread * math.sqrt(1.0 + 1.0 / n)
    low, high = mean - half, mean + half
    claim = ""
    if n == len(both) and low > 0.0:
        claim = f"{first.label} would have stopped shorter than {other.label}"
    elif n == len(both) and high < 0.0:
        claim = f"{other.label} would have stopped shorter than {first.label}"
    return Verdict(first.label, other.label, mean, low, high, claim)


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
        rows.append([a.label, middle, low, high, f"{rest} of {len(a.distances)}" if rest else ""])
    table = plain_table(["stop", "way m", "90 % from", "to", "no stop"], rows)
    lines = [f"on {found.n_draws} rails that explain {found.account.log.source}", table, ""]
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
    if v.claim:
        return f"{said}: {v.claim}"
    return f"{said}: no verdict, the band spans 0 or a rail was not stopped on"


def whatif_csv(found: Whatif) -> str:
    """Return every stop as CSV."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["draw", *(a.label for a in found.alternatives)])
    for i in range(found.n_draws):
        values = [a.distances[i] for a in found.alternatives]
        writer.writerow([i + 1, *(f"{x:.2f}" if math.isfinite(x) else "" for x in values)])
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
