"""The rail as parameters, and the force it would give in every window of a log.

Parameters are logarithms, so that bands are ratios: film friction patch by patch, recovered
friction, cleaning work, friction fall (ratio as a logit), stiffness of the creep curve, brake gain
of the train and of every axle, and, if asked for, by how much every rim shows too fast. What is
known beforehand is a Gaussian about each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from slipbench.contract import Floats
from slipbench.measured.log import Rows
from slipbench.measured.windows import Windows

RECOVERED, WORK, RATIO, DECAY, SOFTNESS, GAIN = range(6)
"""Places of what is one number, before the patches; gains and rims of axles come last."""

N_GLOBAL = 6
NAMES = (
    "recovered_friction",
    "cleaning_work",
    "friction_ratio",
    "friction_decay",
    "softness",
    "gain",
)

AXLE_GAIN = 0.05
"""Deviation of the brake gain of an axle about the train's (assumed). [-]"""

RIM = 0.002
"""What a rim compared with the others while it rolled may still show too fast, as creep differs
from axle to axle (assumed). [-]"""


@dataclass(frozen=True, eq=False)
class Layout:
    """How the parameters lie.

    Attributes
    ----------
    edges : (n_patches + 1,)   borders of patches along the track [m]
    n_axles : int
    reductions : (kA, kS)      of the creep law where the softness is 1
    has_rims : bool            whether rims have an error of their own, as diameters make it
    """

    edges: Floats
    n_axles: int
    reductions: tuple[float, float]
    has_rims: bool = False

    @property
    def n_patches(self) -> int:
        """Patches of film friction."""
        return len(self.edges) - 1

    @property
    def patches(self) -> slice:
        """Where the patches lie."""
        return slice(N_GLOBAL, N_GLOBAL + self.n_patches)

    @property
    def axles(self) -> slice:
        """Where the gains of axles lie."""
        return slice(N_GLOBAL + self.n_patches, N_GLOBAL + self.n_patches + self.n_axles)

    @property
    def rims(self) -> slice:
        """Where the errors of the rims lie; nothing where they are none."""
        begin = self.axles.stop
        return slice(begin, begin + self.n_axles * self.has_rims)

    @property
    def size(self) -> int:
        """All parameters."""
        return int(self.rims.stop)

    def patch_of(self, place: Floats) -> Rows:
        """Return the patch of each place; places beyond belong to the nearest."""
        found = np.searchsorted(self.edges, place, side="right") - 1
        return np.clip(found, 0, self.n_patches - 1)


@dataclass(frozen=True, eq=False)
class Prior:
    """What is known beforehand: (size,) mean and deviation, and the deviation of a patch's step."""

    mean: Floats
    deviation: Floats
    step: float


def make_prior(
    layout: Layout, gain: float, gain_deviation: float, step: float, rim: float = RIM
) -> Prior:
    """Return wide beliefs about the film, narrow ones about gains.

    Every number is assumed: film friction .04 within a factor 5, recovered .2 within 2.5, cleaning
    work 15 kJ/m within a factor 12 (90 %), friction ratio .6, decay .25 s/m.
    """
    mean, deviation = np.zeros(layout.size), np.ones(layout.size)
    mean[:N_GLOBAL] = np.log(0.2), np.log(15e3), 0.4, np.log(0.25), 0.5, np.log(gain)
    deviation[:N_GLOBAL] = 0.55, 1.5, 0.8, 0.7, 0.45, gain_deviation
    mean[layout.patches], deviation[layout.patches] = np.log(0.04), 1.0
    mean[layout.axles], deviation[layout.axles] = 0.0, AXLE_GAIN
    mean[layout.rims], deviation[layout.rims] = 0.0, rim
    return Prior(mean, deviation, step)


def friction_of(theta: Floats, layout: Layout, patch: Rows, work: Floats) -> tuple[Floats, ...]:
    """Return static friction, and its slopes over the logarithms of md, mr and W0.

    mu = mr - (mr - md) exp(-g W / W0), W by pressures at the unit's gain, g the train's.
    """
    md = np.exp(theta[layout.patches])[patch]
    mr = np.maximum(np.exp(theta[RECOVERED]), md)
    share = work * np.exp(theta[GAIN] - theta[WORK])
    left = np.exp(-share)
    mu = mr - (mr - md) * left
    by_work = -(mr - md) * left * share
    return mu, md * left, mr * (1.0 - left), by_work


def wheel_force(
    mu: Floats, slip: Floats, scalars: tuple[float, float, float], layout: Layout, w: Windows
) -> Floats:
    """Return the rail force of both wheels at a slip speed, by Polach's law. [N]

    Parameters
    ----------
    mu, slip : (n, length)   static friction [-], slip speed [m/s]
    scalars : (3,)           friction ratio [-], its decay [s/m], softness [-]
    """
    ratio, decay, softness = scalars
    falling = (1.0 - ratio) * np.exp(-decay * np.abs(slip)) + ratio
    limit = w.load * mu * falling
    gradient = 0.25 * np.pi * w.stiffness * slip / (np.maximum(w.train, 1.0) * limit)
    adhering = layout.reductions[0] * softness * gradient
    sliding = layout.reductions[1] * softness * gradient
    shape = 2.0 / np.pi * (adhering / (1.0 + adhering * adhering) + np.arctan(sliding))
    return np.asarray(2.0 * limit * shape)


def _scalars(theta: Floats) -> tuple[float, float, float]:
    ratio = 1.0 / (1.0 + np.exp(-theta[RATIO]))
    return float(ratio), float(np.exp(theta[DECAY])), float(np.exp(theta[SOFTNESS]))


def residuals(
    theta: Floats, layout: Layout, w: Windows, with_slopes: bool
) -> tuple[Floats, Floats | None]:
    """Return measured less modelled force over noise, window by window, and its Jacobian.

    A rolling window counts only where it used more than the friction there is.
    """
    patch = layout.patch_of(w.place)
    mu, by_md, by_mr, by_work = friction_of(theta, layout, patch, w.work)
    scalars = _scalars(theta)
    sliding = w.is_sliding[:, None]
    slip, rim = w.slip, w.train - w.slip
    if layout.has_rims:
        slip = slip + rim * theta[layout.rims][w.axle][:, None]
    force = np.where(sliding, wheel_force(mu, slip, scalars, layout, w), 2.0 * w.load * mu)
    gain = np.exp(theta[GAIN] + theta[layout.axles][w.axle])
    measured = gain * w.braked + w.turned
    modelled = force @ w.weights
    rest = (measured - modelled) / w.noise
    counts = w.is_sliding | (rest > 0.0)
    rest = np.where(counts, rest, 0.0)
    if not with_slopes:
        return rest, None
    near = 1e-5
    by_mu = (wheel_force(mu * (1.0 + near), slip, scalars, layout, w) - force) / (near * mu)
    by_mu = np.where(sliding, by_mu, 2.0 * w.load)
    slopes = np.zeros((len(rest), layout.size))
    slopes[:, RECOVERED] = (by_mu * by_mr) @ w.weights
    slopes[:, WORK] = (by_mu * by_work) @ w.weights
    for place in (RATIO, DECAY, SOFTNESS):
        moved = theta.copy()
        moved[place] += near
        other = wheel_force(mu, slip, _scalars(moved), layout, w)
        slopes[:, place] = np.where(w.is_sliding, (other - force) @ w.weights / near, 0.0)
    rows = np.broadcast_to(np.arange(len(rest))[:, None], patch.shape)
    flat = (rows * layout.n_patches + patch).ravel()
    weights = (by_mu * by_md * w.weights).ravel()
    slopes[:, layout.patches] = np.bincount(
        flat, weights, minlength=len(rest) * layout.n_patches
    ).reshape(len(rest), -1)
    if layout.has_rims:
        other = wheel_force(mu, slip + near * rim, scalars, layout, w)
        by_rim = np.where(w.is_sliding, (other - force) @ w.weights / near, 0.0)
        slopes[np.arange(len(rest)), layout.rims.start + w.axle] = by_rim
    slopes = -slopes
    own = gain * w.braked
    slopes[:, GAIN] = own + (by_mu * by_work) @ w.weights
    slopes[np.arange(len(rest)), layout.axles.start + w.axle] = own
    slopes *= (counts / w.noise)[:, None]
    return rest, slopes


def prior_rows(theta: Floats, layout: Layout, prior: Prior) -> tuple[Floats, Floats]:
    """Return what the beliefs add to the residuals, and its Jacobian.

    Patches are held to one level loosely, neighbours to each other by the step's deviation.
    """
    own = (theta - prior.mean) / prior.deviation
    slopes = np.diag(1.0 / prior.deviation)
    if layout.n_patches > 1:
        patches = theta[layout.patches]
        own = np.concatenate([own, np.diff(patches) / prior.step])
        steps = np.zeros((layout.n_patches - 1, layout.size))
        at = np.arange(layout.n_patches - 1)
        steps[at, layout.patches.start + at] = -1.0 / prior.step
        steps[at, layout.patches.start + at + 1] = 1.0 / prior.step
        slopes = np.vstack([slopes, steps])
    return own, slopes
