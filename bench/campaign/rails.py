"""Series of random rails. How they are drawn is assumed; see `RandomFriction` of the scenario.

Rail `i` of a series depends on the series' seed and on `i` alone, so a longer series begins with
the shorter one and every strategy meets the same rails.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import overload

import numpy as np

from slipbench.ground.errors import InputError
from slipbench.scenario import RandomFriction, Scenario
from slipbench.scenario.provenance import Provenance

LOWEST, HIGHEST = 0.002, 0.9
"""What the scenario layer allows for friction. [-]"""


@dataclasses.dataclass(frozen=True)
class RandomRails(Sequence[Scenario]):
    """A series of variants of one scenario on random rails, each made when it is asked for.

    Everything else of the film (cleaning, shape of the creep curve) is that of the scenario.

    Attributes
    ----------
    base : Scenario
    n_rails : int
    seed : int               of the series, >= 0
    law : RandomFriction     how friction is drawn; its own seed plays no part. None: the scenario's
                             own law if it has one, else the library's defaults
    first : int              number of the first rail; held-out rails start where the others end
    """

    base: Scenario
    n_rails: int
    seed: int = 0
    law: RandomFriction | None = None
    first: int = 0

    def __post_init__(self) -> None:
        """Check the numbers."""
        for name in ("n_rails", "seed", "first"):
            if getattr(self, name) < 0:
                raise InputError(f"random rails: {name} = {getattr(self, name)}; allowed: >= 0")

    def __len__(self) -> int:
        """Return the number of rails."""
        return self.n_rails

    @overload
    def __getitem__(self, i: int) -> Scenario: ...
    @overload
    def __getitem__(self, i: slice) -> RandomRails: ...
    def __getitem__(self, i: int | slice) -> Scenario | RandomRails:
        """Return one rail, or a piece of the series without gaps."""
        if isinstance(i, slice):
            start, stop, step = i.indices(self.n_rails)
            if step != 1:
                raise IndexError("a piece of a series of rails has no gaps")
            return dataclasses.replace(self, n_rails=max(0, stop - start), first=self.first + start)
        if not -self.n_rails <= i < self.n_rails:
            raise IndexError(i)
        return self._rail(self.first + i % self.n_rails)

    def __iter__(self) -> Iterator[Scenario]:
        """Yield the rails in order."""
        return (self[i] for i in range(self.n_rails))

    def _rail(self, number: int) -> Scenario:
        law = self.law or self.base.rail.random or RandomFriction(seed=0)
        law = dataclasses.replace(law, seed=rail_seed(self.seed, number))
        what = f"random rail {number} of series {self.seed}"
        made = self.base.replace(
            {
                "name": f"{self.base.name}.{self.seed}.{number}",
                "title": f"{self.base.title}; {what}",
                "rail.random": law,
            }
        )
        drawn = {"rail.random.seed": Provenance("assumed", what)}
        return dataclasses.replace(made, provenance={**made.provenance, **drawn})


def rail_seed(seed: int, number: int) -> int:
    """Return the seed of one rail of a series, 0 to 2**63 - 1."""
    sequence = np.random.SeedSequence(seed, spawn_key=(number,))
    return int(sequence.generate_state(1, np.uint64)[0] >> np.uint64(1))


def law_around(friction: float) -> RandomFriction:
    """Return the library's law moved to another median, its clips in proportion.

    Parameters
    ----------
    friction : float   the median [-]
    """
    law = RandomFriction(seed=0)
    share = friction / law.median_friction
    return dataclasses.replace(
        law,
        median_friction=friction,
        lowest_friction=max(LOWEST, law.lowest_friction * share),
        highest_friction=min(HIGHEST, law.highest_friction * share),
    )
