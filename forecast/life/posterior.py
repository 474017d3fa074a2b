"""Shape prior and posterior draws of (shape, scale): what the planner is given.

The prior is set on what people can judge: log shape is normal about a stated centre, and the
number of failures expected by the largest age t0, L = (t0 / scale)^shape, is Gamma(0.5, 0.05).
A prior on the scale itself would change its meaning with the unit of time; this one does not, and
its weight is that of half a failure.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy.special import gammaln

from forecast.life.exposure import Exposure
from forecast.life.likelihood import Maxima, maximise
from forecast.life.lives import Array, IntArray, Lives

EVENTS: Final = 0.5
"""Failures the prior on expected failures is worth."""
HOURS: Final = 0.05
"""Exposure it is worth, in pieces run to the largest age."""
GROUP_SPREAD: Final = 0.5
"""Half-normal scale of the coefficient of variation of failure rates between groups."""

_MANY_FAILURES: Final = 200  # above, the curvature at the maximum says all
_WIDEST: Final = (float(np.log(0.02)), float(np.log(100.0)))  # shapes a flat prior looks at
_DEPTH: Final = 18.0  # log density below the peak at which a grid ends


@dataclass(frozen=True)
class ShapePrior:
    """Prior of the shape: its logarithm is normal.

    Parameters
    ----------
    centre
        Median of the prior.
    log_sd
        Standard deviation of log shape.
    why
        Where it comes from, in words for the reader of the forecast; printed beside each result
        that leans on it.
    """

    centre: float
    log_sd: float
    why: str = field(default="stated by the caller")

    def __post_init__(self) -> None:
        if not (np.isfinite(self.centre) and self.centre > 0):
            raise ValueError(f"the centre of a shape prior must be positive but is {self.centre}")
        if not self.log_sd > 0:
            raise ValueError(f"log_sd of a shape prior must be positive but is {self.log_sd}")

    @classmethod
    def from_range(
        cls, low: float, high: float, centre: float | None = None, why: str = "stated range"
    ) -> ShapePrior:
        """Prior with 5 % of its weight below ``low`` and 5 % above ``high``.

        Parameters
        ----------
        low, high
            5 % and 95 % points; log_sd = ln(high / low) / 3.29.
        centre
            Median; their geometric mean if not given.
        why
            Where the range comes from.
        """
        if not 0 < low < high < np.inf:
            raise ValueError(f"a shape range needs 0 < low < high but has {low} and {high}")
        middle = float(np.sqrt(low * high)) if centre is None else centre
        return cls(middle, float(np.log(high / low)) / 3.29, why)

    @property
    def log_centre(self) -> float:
        """Mean of log shape."""
        return float(np.log(self.centre))

    def log_density(self, log_shape: Array) -> Array:
        """Logarithm of the density of log shape, up to a constant."""
        return np.asarray(-0.5 * ((log_shape - self.log_centre) / self.log_sd) ** 2)

    def __str__(self) -> str:
        low, high = self.centre * np.exp(np.array([-1.645, 1.645]) * self.log_sd)
        return f"shape {self.centre:.2g} ({low:.2g}-{high:.2g}): {self.why}"


DEFAULT_PRIOR: Final = ShapePrior(
    2.0, 0.5, "default of this program, a convention without a source: wear-out, loosely"
)

FLAT: Final = ShapePrior(1.0, np.inf, "none: flat in log shape and log scale")
"""No prior at all; also takes the prior off the expected failures."""


def posterior_draws(
    lives: Lives, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draws of the Weibull law of one group, given its lives and the prior.

    Parameters
    ----------
    lives
        The lives; none of them need have failed.
    prior
        Prior of the shape; `FLAT` for none, which needs lives that have a maximum of likelihood.
    n
        Number of draws.
    rng
        Source of chance.

    Returns
    -------
    (shape, scale)
        [n] each, jointly drawn, in no order. Stratified, so their quantiles are smoother than
        those of independent draws.

    Raises
    ------
    ValueError
        If the lives were watched for no time at all.
    """
    if lives.failures > _MANY_FAILURES:
        maxima = maximise(lives)
        if maxima.found[0]:
            return _normal_draws(maxima, prior, n, rng)
    exposure = Exposure(lives)
    if exposure.has_between:
        return _plane_draws(exposure, prior, n, rng)
    return _line_draws(exposure, prior, n, rng)


def fixed_shape_draws(
    lives: Lives, shape: float, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draws of the scale where the shape is taken as known.

    Parameters
    ----------
    lives, n, rng
        As for `posterior_draws`.
    shape
        The shape.

    Returns
    -------
    (shape, scale)
        [n] each; all shapes equal.
    """
    exposure = Exposure(lives)
    at = np.array([shape])
    found = exposure.found(at, exposure.likeliest_rate(at, EVENTS, HOURS))
    events = EVENTS + exposure.seen[0] + found.failures[0, 0]
    hours = HOURS + exposure.sums(at)[0, 0] + found.exposure[0, 0]
    rate = rng.gamma(events, 1.0, n) / hours
    return np.full(n, shape), _scale(exposure.oldest, rate, at)


def pooled_draws(
    lives: Lives,
    group: IntArray,
    n_groups: int,
    prior: ShapePrior,
    n: int,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Draws of the laws of all groups of a part type, pooled towards each other.

    One shape and one level of expected failures for the type, each with its prior set once, and
    a multiplier of the failure rate for each group: gamma with mean 1 and a coefficient of
    variation that is estimated too (half-normal 0.5 before). So splitting a fleet into many groups
    does not multiply the failures that are expected, and a group without failures leans on the
    others. Failures found between inspections enter by their likelihood to second order about
    each group's likeliest rate.

    Parameters
    ----------
    lives
        Lives of all groups.
    group
        Number of the group of each life, 0 to ``n_groups`` - 1.
    n_groups
        Number of groups; those without lives get draws too.
    prior
        Prior of the shape.
    n
        Number of draws.
    rng
        Source of chance.

    Returns
    -------
    (shape, scale)
        Shape [n], one a type; scale [n_groups, n].
    """
    if n_groups == 1:
        shape, scale = posterior_draws(lives, prior, n, rng)
        return shape, scale[None, :]
    exposure = Exposure(lives, group, n_groups)
    grid = _PooledGrid(exposure, prior)
    shape, level, spread = grid.draw(n, rng)
    alpha = spread**-2
    failures, hours = grid.group_sums(np.log(shape))
    theta = rng.gamma(alpha[:, None] + failures) / (alpha[:, None] + level[:, None] * hours)
    rate = level[:, None] * np.maximum(theta, 1e-300)
    return shape, np.asarray(_scale(exposure.oldest, rate, shape[:, None]).T)


def pooled_prior(maxima: Maxima, fewest: int = 10) -> ShapePrior | None:
    """Prior of the shape from groups that have failures enough to tell their own.

    Parameters
    ----------
    maxima
        Fits of groups of like parts.
    fewest
        Failures a group must have to count.

    Returns
    -------
    ShapePrior or None
        Centre and spread of log shape over the groups by the moment estimator of Paule and Mandel,
        the spread at least 0.25; None with fewer than three such groups.
    """
    usable = maxima.found & (maxima.failures >= fewest)
    if usable.sum() < 3:
        return None
    y, v = maxima.log_shape[usable], maxima.covariance[usable, 1, 1]

    def excess(between: float) -> float:
        w = 1 / (v + between)
        return float(w @ (y - (w @ y) / w.sum()) ** 2) - (y.size - 1)

    low, high = 0.0, 1.0
    while excess(high) > 0:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    w = 1 / (v + low)
    centre = float(np.exp((w @ y) / w.sum()))
    why = f"pooled from {y.size} groups with {fewest} failures or more"
    return ShapePrior(centre, max(float(np.sqrt(low)), 0.25), why)


def _line_draws(
    exposure: Exposure, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Without failures between inspections: the rate is gamma at each shape, the shape a line."""
    events, hours = _of_rate(prior)
    failures = float(exposure.seen[0])

    def log_density(b: Array) -> Array:
        total = np.maximum(hours + exposure.sums(np.exp(b))[:, 0], 1e-300)
        return np.asarray(
            prior.log_density(b)
            + failures * b
            + np.expm1(b) * exposure.sum_log
            - (events + failures) * np.log(total)
        )

    b, density = _grid(log_density, prior, 300)
    mass = np.exp(density - density.max())
    share = np.concatenate([[0.0], np.cumsum(mass[1:] + mass[:-1])])
    log_shape = np.interp(_strata(n, rng), share / share[-1], b)
    total = hours + np.interp(log_shape, b, exposure.sums(np.exp(b))[:, 0])
    shape = np.exp(log_shape)
    rate = rng.gamma(events + failures, 1.0, n) / total
    return shape, _scale(exposure.oldest, rate, shape)


def _plane_draws(
    exposure: Exposure, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """With failures between inspections: a grid over shape and, about its mode, the log rate."""
    events, hours = _of_rate(prior)

    def joint(b: Array, x: Array) -> Array:
        value = exposure.found_chance(np.exp(b), x) + (events + exposure.seen[0]) * x
        value -= (hours + exposure.sums(np.exp(b))) * np.exp(np.minimum(x, 600.0))
        line = prior.log_density(b) + exposure.seen[0] * b + np.expm1(b) * exposure.sum_log
        return np.asarray(value + line[:, None])

    def mode(b: Array) -> tuple[Array, Array]:
        x = exposure.likeliest_rate(np.exp(b), events, hours)
        curvature = exposure.between(np.exp(b), x)[2]
        bend = (hours + exposure.sums(np.exp(b))) * np.exp(np.minimum(x, 600.0)) - curvature
        return x, np.maximum(bend, 1e-6)

    def log_density(b: Array) -> Array:
        x, bend = mode(b)
        return np.asarray(joint(b, x)[:, 0] - 0.5 * np.log(bend[:, 0]))

    b, _ = _grid(log_density, prior, 41)
    x, bend = mode(b)
    sd = bend**-0.5
    z = np.linspace(-5 - 9 / np.sqrt(max(float(bend.min()), 0.5)), 5, 45)
    weight = joint(b, x + sd * z) + np.log(sd)
    at = _pick(weight, n, rng)
    log_shape = b[at[0]] + _within(b, n, rng)
    rate = np.exp(
        np.interp(log_shape, b, x[:, 0])
        + np.interp(log_shape, b, sd[:, 0]) * (z[at[1]] + _within(z, n, rng))
    )
    return np.exp(log_shape), _scale(exposure.oldest, rate, np.exp(log_shape))


def _normal_draws(
    maxima: Maxima, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Many failures: normal about the maximum, the prior of the shape taken in exactly."""
    mean = np.array([maxima.log_scale[0], maxima.log_shape[0]])
    covariance = maxima.covariance[0]
    gain = covariance[:, 1] / (covariance[1, 1] + prior.log_sd**2)
    mean = mean + gain * (prior.log_centre - mean[1])
    covariance = covariance - np.outer(gain, covariance[1])
    at = mean + rng.standard_normal((n, 2)) @ np.linalg.cholesky(covariance).T
    return np.exp(at[:, 1]), np.exp(at[:, 0])


class _PooledGrid:
    """Density of (log shape, level, spread between groups), the multipliers integrated out."""

    def __init__(self, exposure: Exposure, prior: ShapePrior) -> None:
        self.exposure, self.prior = exposure, prior
        self.spread = (np.arange(12) + 0.5) / 12 * 3 * GROUP_SPREAD
        self._ends = -12.0, 6.0
        self.b, _ = _grid(self._weigh, prior, 40)
        mass = self.weight.max(axis=(0, 2))
        kept = np.flatnonzero(mass > mass.max() - _DEPTH)
        self._ends = self.z[max(kept[0] - 1, 0)], self.z[min(kept[-1] + 1, self.z.size - 1)]
        self._weigh(self.b)

    def _weigh(self, b: Array) -> Array:
        """Lay out each group's sums at each shape and weigh the grid; the best at each shape."""
        shapes, exposure = np.exp(b), self.exposure
        near = exposure.likeliest_rate(shapes, 1.0, np.exp(-exposure.overall_rate(shapes))[:, None])
        found = exposure.found(shapes, near)
        self.failures = exposure.seen + found.failures
        self.hours = exposure.sums(shapes) + found.exposure
        events = EVENTS + self.failures.sum(axis=1)
        self.level = np.log(events / (HOURS + self.hours.sum(axis=1)))
        self.z = np.linspace(*self._ends, 60)
        log_level = self.level[:, None] + self.z
        level = np.exp(log_level)
        line = (
            self.prior.log_density(b)
            + exposure.seen.sum() * b
            + np.expm1(b) * exposure.sum_log
            + found.constant.sum(axis=1)
        )
        flat = line[:, None] + events[:, None] * log_level - HOURS * level
        spreads = [flat + self._at_spread(level, spread) for spread in self.spread]
        self.weight = np.stack(spreads, axis=2)
        return np.asarray(self.weight.max(axis=(1, 2)))

    def _at_spread(self, level: Array, spread: float) -> Array:
        """[shapes, levels]: the groups' multipliers integrated out at one spread."""
        alpha = spread**-2
        failures = alpha + self.failures
        constant = (gammaln(failures) - gammaln(alpha) + alpha * np.log(alpha)).sum(axis=1)
        lost = np.log(alpha + level[:, :, None] * self.hours[:, None, :])
        lost = np.einsum("klg,kg->kl", lost, failures)
        return np.asarray(constant[:, None] - lost - 0.5 * (spread / GROUP_SPREAD) ** 2)

    def draw(self, n: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
        """(shape, level, spread), [n] each."""
        at = _pick(self.weight, n, rng)
        log_shape = self.b[at[0]] + _within(self.b, n, rng)
        log_level = np.interp(log_shape, self.b, self.level) + self.z[at[1]]
        level = np.exp(log_level + _within(self.z, n, rng))
        return np.exp(log_shape), level, self.spread[at[2]]

    def group_sums(self, log_shape: Array) -> tuple[Array, Array]:
        """Failures and exposure of each group at each draw: [n, groups] each."""
        place = np.clip((log_shape - self.b[0]) / (self.b[1] - self.b[0]), 0, self.b.size - 1)
        before = np.minimum(place.astype(np.int64), self.b.size - 2)
        part = (place - before)[:, None]
        failures, hours = (
            (1 - part) * rows[before] + part * rows[before + 1]
            for rows in (self.failures, self.hours)
        )
        return failures, hours


def _of_rate(prior: ShapePrior) -> tuple[float, float]:
    """Gamma prior of the expected failures; none beside a flat prior of the shape."""
    return (EVENTS, HOURS) if np.isfinite(prior.log_sd) else (0.0, 0.0)


def _grid(
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
        kept = np.flatnonzero(density > density.max() - _DEPTH)
        low, high = b[max(kept[0] - 1, 0)], b[min(kept[-1] + 1, points - 1)]
        if kept.size > points / 2:
            break
    return b, density


def _strata(n: int, rng: np.random.Generator) -> Array:
    """One uniform number in each n-th part of 0 to 1, in random order.

    The order matters: draws of other laws are paired with these by number.
    """
    return rng.permutation((np.arange(n) + rng.random(n)) / n)


def _pick(weight: Array, n: int, rng: np.random.Generator) -> tuple[IntArray, ...]:
    """Cells of a grid of log weights, drawn by their weight."""
    mass = np.exp(weight - weight.max()).ravel()
    share = np.cumsum(mass)
    at = np.searchsorted(share, _strata(n, rng) * share[-1], side="right")
    return np.unravel_index(np.minimum(at, mass.size - 1), weight.shape)


def _within(grid: Array, n: int, rng: np.random.Generator) -> Array:
    """Random places within a cell, as distances from its middle."""
    return (rng.random(n) - 0.5) * (grid[1] - grid[0])


def _scale(oldest: float, rate: Array, shape: Array) -> Array:
    return np.asarray(oldest * rate ** (-1.0 / shape))
