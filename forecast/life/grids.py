"""Draws from a density laid out on a grid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from forecast.life.lives import Array, IntArray
from forecast.life.priors import ShapePrior

DEPTH: Final = 18.0
"""Log density below the peak at which a grid ends."""

_WIDEST: Final = (float(np.log(0.02)), float(np.log(100.0)))  # shapes looked at in any case


def shape_grid(
    log_density: Callable[[Array], Array], prior: ShapePrior, points: int
) -> tuple[Array, Array]:
    """Even points of log shape over the mass of a density, found by zooming in."""
    low, high = _WIDEST
    if np.isfinite(prior.log_sd):
        low = min(low, prior.log_centre - 6 * prior.log_sd)
        high = max(high, prior.log_centre + 6 * prior.log_sd)
    for _ in range(8):
        b = np.linspace(low, high, points)
        density = log_density(b)
        kept = np.flatnonzero(density > density.max() - DEPTH)
        low, high = b[max(kept[0] - 1, 0)], b[min(kept[-1] + 1, points - 1)]
        if kept.size > 0.8 * points:
            break
    return b, density


def strata(n: int, rng: np.random.Generator) -> Array:
    """One uniform number in each n-th part of 0 to 1, in random order.

    The order matters: draws of other laws are paired with these by number.
    """
    return rng.permutation((np.arange(n) + rng.random(n)) / n)


def pick(weight: Array, n: int, rng: np.random.Generator) -> tuple[IntArray, ...]:
    """Cells of a grid of log weights, drawn by their weight."""
    mass = np.exp(weight - weight.max()).ravel()
    share = np.cumsum(mass)
    at = np.searchsorted(share, strata(n, rng) * share[-1], side="right")
    return np.unravel_index(np.minimum(at, mass.size - 1), weight.shape)


def within(grid: Array, n: int, rng: np.random.Generator) -> Array:
    """Random places within a cell, as distances from its middle."""
    return np.asarray((rng.random(n) - 0.5) * (grid[1] - grid[0]))
