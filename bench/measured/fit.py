"""The rail that explains a log: regularised least squares, several starts, bands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from slipbench.contract import Floats
from slipbench.ground.errors import InputError
from slipbench.measured.account import Account
from slipbench.measured.model import (
    DECAY,
    GAIN,
    N_GLOBAL,
    RATIO,
    RECOVERED,
    RIM,
    WORK,
    Layout,
    Prior,
    make_prior,
    prior_rows,
    residuals,
)
from slipbench.measured.unit import make_world
from slipbench.measured.windows import Windows, cut_windows, thinned

STARTS = (3e3, 15e3, 60e3)
"""Cleaning work each start begins with. [J/m]"""

PATCHES = (1, 2, 4, 8, 16, 32, 64, 128)
"""Numbers of patches tried, as long as they are told (Bayes's criterion)."""

SHORTEST_PATCH = 4.0
"""No patch is shorter. [m]"""

FLOORS: dict[int | str, float] = {
    "patches": 0.02, RECOVERED: 0.04, WORK: 0.05, RATIO: 0.08, DECAY: 0.06, GAIN: 0.025,
}  # fmt: skip
"""What the fit may be wrong by beyond its own covariance, as deviations of logarithms: what another
creep law does to each, to all patches alike. Set by 147 trials (seeds below 2600), tested with 100
others."""

WIDENED = 1.5
"""Deviations of the fit's own covariance are widened by this, set by the same trials."""

BENT = 0.3
"""Deviation of the logarithm of what bends a curve, where the log reaches just one unit of it: the
cleaning work, where the wheels ahead spent as much on a metre, for uneven brakes bend the rise of
friction as cleaning does; and the fall of friction, for another creep law bends it. It falls with
the square of the reach, as the bend itself grows (set by the same trials). [-]"""

BENT_AT_LEAST = 0.09
"""What is left of it for the cleaning work however far the log reached. [-]"""

MOST_WINDOWS = 1200
"""Sliding windows beyond this are thinned evenly: neighbours tell much the same."""

UNCOMPARED = 0.01
"""What a rim may show too fast where it was never seen to roll (assumed: wear within 1 %). [-]"""

LEAST_WINDOWS = 60
"""Sliding windows without which nothing is identified."""


@dataclass(frozen=True, eq=False)
class Fit:
    """A rail fitted to a log.

    Attributes
    ----------
    theta, covariance : (size,), (size, size)   parameters as `slipbench.measured.model` has them
    layout, prior, windows
    scale : float            residuals over their noise, rms; bands are widened by it
    correlation : float      of residuals of neighbouring windows
    cost : float             sum of squares of all, at the best of the starts
    agreed : int             starts that came to the same place
    n_starts : int
    """

    theta: Floats
    covariance: Floats
    layout: Layout
    prior: Prior
    windows: Windows
    scale: float
    correlation: float
    cost: float
    agreed: int
    n_starts: int

    def deviation(self, place: int) -> float:
        """Return the deviation of a parameter's logarithm."""
        return float(np.sqrt(self.covariance[place, place]))

    def draws(self, n: int, seed: int = 0) -> Floats:
        """Return parameters drawn from the fit's band. (n, size)

        Notes
        -----
        Gaussian in the logarithms, but for the recovered friction: where the log reached a part of
        the rise alone, it and the cleaning work are known by what they give together. So what
        cleaning adds at half of the largest work is drawn, in its linear form, and the recovered
        friction follows from it and the cleaning work.
        """
        rng = np.random.default_rng(seed)
        values, vectors = np.linalg.eigh(self.covariance)
        spread = vectors * np.sqrt(np.maximum(values, 0.0))
        moves = rng.standard_normal((n, len(self.theta))) @ spread.T
        drawn = self.theta + moves
        added = np.log(self._added(self.theta)) + moves @ self._slopes_of_added()
        share = 1.0 - np.exp(-self._half_work / np.exp(drawn[:, WORK]))
        film = np.exp(drawn[:, self.layout.patches].mean(axis=1))
        drawn[:, RECOVERED] = np.log(film + np.exp(added) / np.maximum(share, 1e-9))
        return np.asarray(drawn)

    @property
    def _half_work(self) -> float:
        return max(0.5 * self.windows.largest_work, 1.0)

    def _added(self, theta: Floats) -> float:
        """Return what cleaning adds to the film's friction at half of the largest work. [-]"""
        film = float(np.exp(theta[self.layout.patches].mean()))
        gain = max(float(np.exp(theta[RECOVERED])) - film, 1e-6)
        return gain * float(-np.expm1(-self._half_work / np.exp(theta[WORK])))

    def _slopes_of_added(self) -> Floats:
        """Return the slopes of its logarithm over the parameters. (size,)"""
        slopes, near = np.zeros(len(self.theta)), 1e-5
        base = np.log(self._added(self.theta))
        for place in (RECOVERED, WORK, *range(*self.layout.patches.indices(len(self.theta)))):
            moved = self.theta.copy()
            moved[place] += near
            slopes[place] = (np.log(self._added(moved)) - base) / near
        return slopes


def fit_rail(
    account: Account, tell: Callable[[str], None] = lambda _: None, with_rims: bool = False
) -> Fit:
    """Return the rail that explains a log.

    Parameters
    ----------
    account : Account
    tell : called with a word for each stage done
    with_rims : bool   fit by how much every rim shows too fast, as its diameter makes it, as well

    Raises
    ------
    InputError   where too little slid for anything to be said
    """
    world = make_world(account.unit.scenario)
    windows = cut_windows(account, world.axles["contact_stiffness"])
    n_sliding = int(windows.is_sliding.sum())
    if n_sliding < LEAST_WINDOWS:
        raise InputError(
            f"{account.log.source}: wheels slid for {0.22 * n_sliding:.1f} s in all, all axles "
            f"together; {0.22 * LEAST_WINDOWS:.0f} s are needed: friction was at least what was "
            "used"
        )
    windows = thinned(windows, -(-n_sliding // MOST_WINDOWS))
    section = account.unit.scenario.rail.sections[0]
    reductions = (section.adhesion_reduction, section.slip_reduction)
    gain = account.speed.gain
    gain_deviation = float(np.hypot(account.speed.gain_deviation, 0.02)) / gain
    rim = RIM if np.ptp(account.speed.diameters) > 0.0 else UNCOMPARED
    best: Fit | None = None
    best_score, n_worse = np.inf, 0
    for n_patches in PATCHES:
        edges = _edges(windows, n_patches)
        if edges is None:
            break
        layout = Layout(edges, account.unit.n_axles, reductions, with_rims)
        prior = make_prior(layout, gain, gain_deviation, 0.35, rim)
        fit = _fitted(layout, prior, windows, best)
        score = _score(fit)
        tell(f"{n_patches} patches")
        if score < best_score:
            best, best_score, n_worse = fit, score, 0
        else:
            n_worse += 1
            if n_worse == 2 and n_patches >= 8:
                break  # more patches only cost
    assert best is not None
    return best


def _edges(w: Windows, n_patches: int) -> Floats | None:
    """Return borders of patches with about as much sliding in each, none too short."""
    places = np.sort(w.place[w.is_sliding].mean(axis=1))
    begin, end = float(places[0]), float(places[-1])
    if n_patches > 1 and (end - begin) / n_patches < SHORTEST_PATCH:
        return None
    return np.linspace(begin, end + 1e-6, n_patches + 1)


def _fitted(layout: Layout, prior: Prior, w: Windows, before: Fit | None) -> Fit:
    """Return the best of several starts, noise and correlation taken from its own residuals."""
    starts = []
    for work in STARTS if before is None else STARTS[1:2]:
        start = prior.mean.copy()
        start[WORK] = np.log(work)
        if before is not None:
            start[:N_GLOBAL] = before.theta[:N_GLOBAL]
            middle = 0.5 * (layout.edges[1:] + layout.edges[:-1])
            start[layout.patches] = before.theta[before.layout.patches][
                before.layout.patch_of(middle)
            ]
            start[layout.axles] = before.theta[before.layout.axles]
            start[layout.rims] = before.theta[before.layout.rims]
        starts.append(start)
    widened, scale, rho, agreed = w, 1.0, 0.0, 1
    for _ in range(2):
        found = [solve(start, layout, prior, widened) for start in starts]
        costs = np.array([cost for _, cost in found])
        theta = found[int(np.argmin(costs))][0]
        near = [abs(other[WORK] - theta[WORK]) < 0.1 for other, _ in found]
        agreed = max(agreed, sum(near))
        scale, rho = noise_of(theta, layout, w)
        widened = replace(w, noise=w.noise * scale * np.sqrt((1.0 + rho) / (1.0 - rho)))
        starts = [theta]
    theta, cost = solve(theta, layout, prior, widened)
    covariance = covariance_of(theta, layout, prior, widened)
    n_starts = len(STARTS) if before is None else before.n_starts
    agreed = agreed if before is None else before.agreed
    return Fit(theta, covariance, layout, prior, widened, scale, rho, cost, agreed, n_starts)


def solve(
    start: Floats, layout: Layout, prior: Prior, w: Windows, held: dict[int, float] | None = None
) -> tuple[Floats, float]:
    """Return the least squares from one start, and its sum of squares.

    Parameters
    ----------
    held : parameters kept at a value, by place

    Notes
    -----
    scipy's trust region with a smooth loss beyond three deviations, for windows that a wheel's
    other life (a flange, a joint) has spoilt.
    """
    from scipy.optimize import least_squares

    held = held or {}
    free = np.array([i for i in range(layout.size) if i not in held])
    whole = start.copy()
    for place, value in held.items():
        whole[place] = value

    def filled(x: Floats) -> Floats:
        theta = whole.copy()
        theta[free] = x
        return theta

    kept: dict[bytes, tuple[Floats, Floats]] = {}

    def both(x: Floats) -> tuple[Floats, Floats]:
        """Return residuals and Jacobian folded into as many rows as there are parameters, and one.

        The triangle of the Jacobian and what it leaves of the residuals: the same squares, gradient
        and curvature, in rows so few that scipy's decomposition of them costs nothing.
        """
        key = x.tobytes()
        if key not in kept:
            theta = filled(x)
            own, by = residuals(theta, layout, w, with_slopes=True)
            assert by is not None
            believed, by_belief = prior_rows(theta, layout, prior)
            rows = np.concatenate([_tamed(own), believed])
            slopes = np.vstack([by * _taming(own)[:, None], by_belief])[:, free]
            triangle = np.linalg.cholesky(slopes.T @ slopes)  # the beliefs keep it regular
            seen = np.linalg.solve(triangle, slopes.T @ rows)
            left = np.sqrt(max(float(rows @ rows - seen @ seen), 0.0))
            kept.clear()
            kept[key] = np.append(seen, left), np.vstack([triangle.T, np.zeros(len(free))])
        return kept[key]

    found = least_squares(
        lambda x: both(x)[0], whole[free], jac=lambda x: both(x)[1], method="lm", x_scale="jac",
        max_nfev=40, ftol=1e-5, xtol=1e-5, gtol=1e-5,
    )  # fmt: skip
    return filled(found.x), float(2.0 * found.cost)


def _tamed(rest: Floats) -> Floats:
    """Return residuals whose squares grow only linearly beyond three."""
    size = np.abs(rest)
    return np.where(size <= 3.0, rest, np.sign(rest) * np.sqrt(np.maximum(6.0 * size - 9.0, 0.0)))


def _taming(rest: Floats) -> Floats:
    """Return the slope of `_tamed`."""
    size = np.maximum(np.abs(rest), 3.0)
    return np.where(np.abs(rest) <= 3.0, 1.0, 3.0 / np.sqrt(6.0 * size - 9.0))


def noise_of(theta: Floats, layout: Layout, w: Windows) -> tuple[float, float]:
    """Return residuals over noise, and the correlation of an axle's neighbouring windows."""
    rest, _ = residuals(theta, layout, w, with_slopes=False)
    rest, axle = rest[w.is_sliding], w.axle[w.is_sliding]
    clipped = np.clip(rest, -4.0, 4.0)
    scale = max(float(np.sqrt(np.mean(clipped**2))), 0.7)
    same = axle[1:] == axle[:-1]
    product = float(np.mean((clipped[1:] * clipped[:-1])[same])) if same.any() else 0.0
    return scale, float(np.clip(product / scale**2, 0.0, 0.9))


def covariance_of(theta: Floats, layout: Layout, prior: Prior, w: Windows) -> Floats:
    """Return the covariance of the parameters about their best. (size, size)

    Notes
    -----
    Beside the fit's own, widened, each floor; and what bends the rise of friction over work and its
    fall over slip, by which all other parameters move as the fit ties them.
    """
    rest, by = residuals(theta, layout, w, with_slopes=True)
    assert by is not None
    by = by * _taming(rest)[:, None]
    _, believed = prior_rows(theta, layout, prior)
    own = np.linalg.inv(by.T @ by + believed.T @ believed) * WIDENED**2
    fitted = own.copy()
    for place, more in bent(theta, w).items():
        tied = fitted[:, place] / fitted[place, place]
        own += more**2 * np.outer(tied, tied)
    for place in (RECOVERED, WORK, RATIO, DECAY, GAIN):
        own[place, place] += FLOORS[place] ** 2
    own[layout.patches, layout.patches] += FLOORS["patches"] ** 2
    return np.asarray(own)


def bent(theta: Floats, w: Windows) -> dict[int, float]:
    """Return what the cleaning work and the fall of friction may be off by, as a bend of the curve.

    Deviations of their logarithms, by place.
    """
    slips = w.slip[w.is_sliding].mean(axis=1)
    reach = {
        WORK: w.largest_work / float(np.exp(theta[WORK])),
        DECAY: float(np.quantile(slips, 0.95) * np.exp(theta[DECAY])) if len(slips) else 0.0,
    }
    found = {place: min(BENT / max(share, 1e-3) ** 2, 1.0) for place, share in reach.items()}
    return {**found, WORK: float(np.hypot(found[WORK], BENT_AT_LEAST))}


def _score(fit: Fit) -> float:
    """Return Bayes's criterion: misfit, in the noise all fits share, and a price for each patch.

    Neighbouring windows count as one of two, since they share what is left of clocks and gains.
    """
    rest, _ = residuals(fit.theta, fit.layout, fit.windows, with_slopes=False)
    shared = fit.scale * np.sqrt((1.0 + fit.correlation) / (1.0 - fit.correlation))
    misfit = float(np.mean(_tamed(rest * shared)[fit.windows.is_sliding] ** 2))
    effective = 0.5 * float(fit.windows.is_sliding.sum())
    return effective * float(np.log(misfit)) + fit.layout.n_patches * float(np.log(effective))


def profile(fit: Fit, place: int, n: int = 7) -> tuple[Floats, Floats]:
    """Return the profile of a parameter: values of its logarithm, and rise of the sum of squares.

    The others are fitted anew at each value; 90 % of the band lies where the rise is below 2.706.
    """
    width = min(max(fit.deviation(place), 0.05), 1.2)
    values = fit.theta[place] + width * np.linspace(-3.0, 3.0, n)
    rise = np.empty(n)
    order = np.argsort(np.abs(values - fit.theta[place]))
    best = {0: fit.theta}
    for i in order:
        nearest = min(best, key=lambda j: abs(j - (i - n // 2)))
        theta, cost = solve(best[nearest], fit.layout, fit.prior, fit.windows, {place: values[i]})
        best[int(i) - n // 2] = theta
        rise[i] = cost - fit.cost
    return values, np.maximum(rise - rise.min(), 0.0)


def band_of_profile(values: Floats, rise: Floats, limit: float = 2.706) -> tuple[float, float]:
    """Return where a profile passes a rise, in straight lines; infinite where it never does."""
    best = int(np.argmin(rise))
    low, high = -np.inf, np.inf
    for i in range(best, 0, -1):
        if rise[i - 1] >= limit:
            share = (limit - rise[i]) / (rise[i - 1] - rise[i])
            low = values[i] + share * (values[i - 1] - values[i])
            break
    for i in range(best, len(values) - 1):
        if rise[i + 1] >= limit:
            share = (limit - rise[i]) / (rise[i + 1] - rise[i])
            high = values[i] + share * (values[i + 1] - values[i])
            break
    return float(low), float(high)


__all__ = ["GAIN", "RECOVERED", "Fit", "band_of_profile", "fit_rail", "profile"]
