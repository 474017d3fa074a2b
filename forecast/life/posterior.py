"""Posterior draws of (shape, scale): what the planner is given."""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import gammaln

from forecast.life.exposure import Exposure
from forecast.life.grids import DEPTH, pick, shape_grid, strata, within
from forecast.life.likelihood import Maxima, maximise
from forecast.life.lives import Array, IntArray, Lives
from forecast.life.priors import DEFAULT_PRIOR, EVENTS, FLAT, HOURS, ShapePrior, pooled_prior

__all__ = [
    "DEFAULT_PRIOR",
    "FLAT",
    "GROUP_SPREAD",
    "ShapePrior",
    "fixed_shape_draws",
    "pooled_draws",
    "pooled_prior",
    "posterior_draws",
]

GROUP_SPREAD: Final = 0.5
"""Half-normal scale of the coefficient of variation of failure rates between groups."""

_MANY_FAILURES: Final = 200  # above, the curvature at the maximum says all


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


def _line_draws(
    exposure: Exposure, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Without failures between inspections: the rate is gamma at each shape, the shape a line."""
    events, hours = prior.of_rate
    failures = float(exposure.seen[0])

    def log_density(b: Array) -> Array:
        total = np.maximum(hours + exposure.sums(np.exp(b))[:, 0], 1e-300)
        return np.asarray(
            prior.log_density(b)
            + failures * b
            + np.expm1(b) * exposure.sum_log
            - (events + failures) * np.log(total)
        )

    b, density = shape_grid(log_density, prior, 300)
    mass = np.exp(density - density.max())
    share = np.concatenate([[0.0], np.cumsum(mass[1:] + mass[:-1])])
    log_shape = np.interp(strata(n, rng), share / share[-1], b)
    total = hours + np.interp(log_shape, b, exposure.sums(np.exp(b))[:, 0])
    shape = np.exp(log_shape)
    rate = rng.gamma(events + failures, 1.0, n) / total
    return shape, _scale(exposure.oldest, rate, shape)


def _plane_draws(
    exposure: Exposure, prior: ShapePrior, n: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """With failures between inspections: a grid over shape and, about its mode, the log rate."""
    events, hours = prior.of_rate

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

    b, _ = shape_grid(log_density, prior, 41)
    x, bend = mode(b)
    sd = bend**-0.5
    z = np.linspace(-5 - 9 / np.sqrt(max(float(bend.min()), 0.5)), 5, 45)
    weight = joint(b, x + sd * z) + np.log(sd)
    at = pick(weight, n, rng)
    log_shape = b[at[0]] + within(b, n, rng)
    rate = np.exp(
        np.interp(log_shape, b, x[:, 0])
        + np.interp(log_shape, b, sd[:, 0]) * (z[at[1]] + within(z, n, rng))
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
        spread = (np.arange(12) + 0.5) / 12 * 3 * GROUP_SPREAD
        self.spread = spread[1::4]  # enough to find where the mass lies
        self._ends = -12.0, 6.0
        self.b, _ = shape_grid(self._weigh, prior, 40)
        mass = self.weight.max(axis=(0, 2))
        kept = np.flatnonzero(mass > mass.max() - DEPTH)
        self._ends = self.z[max(kept[0] - 1, 0)], self.z[min(kept[-1] + 1, self.z.size - 1)]
        self.spread = spread
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
        lost = np.log(alpha + level[:, :, None] * self.hours[:, None, :]) @ failures[:, :, None]
        return np.asarray(constant[:, None] - lost[:, :, 0] - 0.5 * (spread / GROUP_SPREAD) ** 2)

    def draw(self, n: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
        """(shape, level, spread), [n] each."""
        at = pick(self.weight, n, rng)
        log_shape = self.b[at[0]] + within(self.b, n, rng)
        log_level = np.interp(log_shape, self.b, self.level) + self.z[at[1]]
        level = np.exp(log_level + within(self.z, n, rng))
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


def _scale(oldest: float, rate: Array, shape: Array) -> Array:
    """Scale of a rate; kept finite where a flat shape and a low rate put it beyond all ages."""
    log_relative = -np.log(np.maximum(rate, 1e-300)) / shape
    return np.asarray(oldest * np.exp(np.clip(log_relative, -500.0, 500.0)))
