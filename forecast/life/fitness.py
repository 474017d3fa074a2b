"""Does a Weibull law fit the lives: failures seen against failures it expects, by age."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import chdtrc

from forecast.life.lives import Array, Lives

UNLIKELY: Final = 0.05
_FAILURES_A_BAND: Final = 5.0
_MOST_BANDS: Final = 6
_FEWEST_BANDS: Final = 4
_GRID: Final = 200
_FITTED: Final = 2  # shape and scale


@dataclass(frozen=True, eq=False)
class Fitness:
    """Failures by band of age, seen and expected.

    Attributes
    ----------
    edges
        Ages between the bands, from 0 to the oldest.
    seen, expected
        Failures in each band.
    chance
        Chance of so large a gap if the law is right (chi-square, two parameters fitted).
    says
        The same in words.
    """

    edges: Array
    seen: Array
    expected: Array
    chance: float
    says: str


def fitness(lives: Lives, shape: float, scale: float) -> Fitness:
    """Compare failures seen with those a Weibull law expects, in bands of age.

    A band expects the cumulative hazard that its lives gathered in it, so suspensions and late
    entries are allowed for; a failure found between inspections counts half-way between them.

    Parameters
    ----------
    lives
        The lives.
    shape, scale
        The law, fitted to them.

    Returns
    -------
    Fitness
        ``chance`` is NaN where fewer than four bands of five failures can be had.
    """
    age = np.where(lives.between, (lives.lower + lives.upper) / 2, lives.lower)
    failed = ~lives.suspended
    bands = int(min(lives.failures // _FAILURES_A_BAND, _MOST_BANDS))
    if bands < _FEWEST_BANDS:
        nothing = np.zeros(0)
        says = "too few failures to tell whether the law fits"
        return Fitness(nothing, nothing, nothing, np.nan, says)
    # bands of equal expectation: edges at ages of failures would make every gap look small or large
    grid = np.unique(np.concatenate([[0.0], np.quantile(age, np.linspace(0, 1, _GRID))]))
    gathered = (
        np.array(
            [
                lives.weight @ (np.minimum(age, at) ** shape - np.minimum(lives.entry, at) ** shape)
                for at in grid
            ]
        )
        / scale**shape
    )
    edges = np.interp(np.linspace(0, gathered[-1], bands + 1), gathered, grid)
    edges[-1] = grid[-1]
    expected = np.diff(np.interp(edges, grid, gathered))
    place = np.clip(np.searchsorted(edges, age[failed], side="left") - 1, 0, edges.size - 2)
    seen = np.bincount(place, lives.weight[failed], edges.size - 1).astype(float)
    gap = float(((seen - expected) ** 2 / np.maximum(expected, 1e-9)).sum())
    chance = float(chdtrc(max(edges.size - 1 - _FITTED, 1), gap))
    return Fitness(edges, seen, expected, chance, _words(edges, seen, expected, chance))


def _words(edges: Array, seen: Array, expected: Array, chance: float) -> str:
    if chance >= UNLIKELY:
        return "a Weibull law fits: failures come when it expects them"
    worst = int(np.argmax((seen - expected) ** 2 / np.maximum(expected, 1e-9)))
    more = "more" if seen[worst] > expected[worst] else "fewer"
    where = f"between {edges[worst]:,.0f} and {edges[worst + 1]:,.0f} h"
    if worst == 0:
        hint = ": early failures, or a mixed batch" if more == "more" else ": a time without risk"
    else:
        hint = ": two causes may be mixed"
    return (
        f"a Weibull law fits badly: {seen[worst]:.0f} failed {where} where it expects "
        f"{expected[worst]:.0f}, {more} than it says{hint}"
    )
