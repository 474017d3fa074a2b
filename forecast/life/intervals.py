"""Likelihood-ratio and Wald intervals of the Weibull law, all groups at once.

What is asked for is the shape, the scale, or an age by which a share has failed (B10: 10 %). One
coordinate holds it fixed and the other is free: (log shape; log scale) for the shape, (log of the
age; log shape) for an age, where log scale = log age - log(-log(1 - share)) / shape; the scale is
the age of share 63.2 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from forecast.life.likelihood import Likelihood, Maxima
from forecast.life.lives import Array, IntArray, Lives

_FARTHEST: Final = 40.0  # a limit a factor exp(40) away is none
_LONGEST_STEP: Final = 4.0
_MOST_TRIES: Final = 60
_NEAR: Final = 1e-9


def share_of(of: str) -> float | None:
    """Share failed at the age that is asked for.

    Parameters
    ----------
    of
        ``shape``, ``scale``, or ``b`` and a percentage: ``b10``, ``b0.1``.

    Returns
    -------
    float or None
        1 - 1/e for the scale, .1 for ``b10``, None for the shape.

    Raises
    ------
    ValueError
        For anything else.
    """
    if of == "shape":
        return None
    if of == "scale":
        return float(-np.expm1(-1.0))
    try:
        percent = float(of.removeprefix("b")) if of.startswith("b") else -1.0
    except ValueError:
        percent = -1.0
    if not 0 < percent < 100:
        raise ValueError(f"of must be 'shape', 'scale' or 'b10', 'b1', ... but is {of!r}")
    return percent / 100


def likelihood_interval(
    lives: Lives, group: IntArray | None, maxima: Maxima, of: str, level: float = 0.90
) -> tuple[Array, Array]:
    """Likelihood-ratio interval of each group.

    The values that, held fixed while the other parameter is fitted, cost at most half the
    chi-square quantile (one degree of freedom) of log-likelihood. Close to its level from three
    failures on, where an interval from the curvature is not.

    Parameters
    ----------
    lives, group
        The lives and the group of each, as fitted.
    maxima
        What `maximise` gave for them.
    of
        ``shape``, ``scale`` or ``b10``, ``b1``, ...
    level
        Share of such intervals that hold the truth, two-sided.

    Returns
    -------
    (low, high)
        One value a group; 0 or infinite where the likelihood never falls that far, NaN where there
        is no fit.
    """
    share, cut = share_of(of), _normal(level)
    found = maxima.found
    low, high = np.full(found.size, np.nan), np.full(found.size, np.nan)
    if found.any():
        number = np.zeros(len(lives), np.int64) if group is None else group
        rows = found[number]
        renumbered = np.cumsum(found) - 1
        profile = _Profile(
            Likelihood(lives.only(rows), renumbered[number[rows]], int(found.sum())),
            None if share is None else float(np.log(-np.log1p(-share))),
        )
        peak = maxima.log_likelihood[found]
        fixed, free = profile.point(maxima.log_scale[found], maxima.log_shape[found])
        step = cut * np.sqrt(_variance(maxima, of)[found])
        low[found] = np.exp(_edge(profile, fixed, free, peak, -step, cut))
        high[found] = np.exp(_edge(profile, fixed, free, peak, step, cut))
    return low, high


def wald_interval(maxima: Maxima, of: str, level: float = 0.90) -> tuple[Array, Array]:
    """Interval of each group from the curvature at its maximum, on the log scale.

    Parameters
    ----------
    maxima
        What `maximise` gave.
    of
        ``shape``, ``scale`` or ``b10``, ``b1``, ...
    level
        Share of such intervals that hold the truth, two-sided.

    Returns
    -------
    (low, high)
        One value a group; NaN where there is no fit. Never negative.
    """
    share = share_of(of)
    middle = maxima.log_shape
    if share is not None:
        log_h = np.log(-np.log1p(-share))
        middle = maxima.log_scale + log_h * np.exp(-maxima.log_shape)
    reach = _normal(level) * np.sqrt(_variance(maxima, of))
    return np.exp(middle - reach), np.exp(middle + reach)


def _normal(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1 but is {level!r}")
    return float(ndtri(0.5 + level / 2))


def _variance(maxima: Maxima, of: str) -> Array:
    """Variance of the logarithm of what is asked for."""
    share = share_of(of)
    if share is None:
        return maxima.covariance[:, 1, 1]
    slope = -np.log(-np.log1p(-share)) * np.exp(-maxima.log_shape)
    v = maxima.covariance
    return np.asarray(v[:, 0, 0] + 2 * slope * v[:, 0, 1] + slope**2 * v[:, 1, 1])


@dataclass(frozen=True, eq=False)
class _Profile:
    """The likelihood in one coordinate to hold fixed and one to fit.

    ``log_h`` is the logarithm of the cumulative hazard at the age that is held fixed; None where
    it is the shape.
    """

    likelihood: Likelihood
    log_h: float | None

    def point(self, log_scale: Array, log_shape: Array) -> tuple[Array, Array]:
        """Give (fixed, free) of a law."""
        if self.log_h is None:
            return log_shape, log_scale
        return log_scale + self.log_h * np.exp(-log_shape), log_shape

    def slopes(self, fixed: Array, free: Array) -> tuple[Array, Array, Array, Array]:
        """Value, slope by the fixed one, slope and curvature by the free one."""
        if self.log_h is None:
            at = self.likelihood.slopes(free, fixed)
            return at.value, at.by_shape, at.by_scale, at.scale_scale
        slope = self.log_h * np.exp(-free)
        at = self.likelihood.slopes(fixed - slope, free)
        by_free = at.by_shape + slope * at.by_scale
        curvature = (
            at.shape_shape + slope * (2 * at.scale_shape - at.by_scale) + slope**2 * at.scale_scale
        )
        return at.value, at.by_scale, by_free, curvature

    def fit(self, fixed: Array, free: Array) -> tuple[Array, Array, Array]:
        """Fit the free coordinate: (free, value, slope by the fixed one)."""
        value, by_fixed, by_free, curvature = self.slopes(fixed, free)
        damping = np.ones(fixed.size)
        for _ in range(_MOST_TRIES):
            step = by_free / np.maximum(np.abs(curvature), 1e-9)
            step = np.clip(step, -1.0, 1.0) * damping
            there = self.slopes(fixed, free + step)
            climbs = there[0] >= value - 1e-13 * np.abs(value)
            free = np.where(climbs, free + step, free)
            value, by_fixed, by_free, curvature = (
                np.where(climbs, new, old)
                for new, old in zip(there, (value, by_fixed, by_free, curvature), strict=True)
            )
            damping = np.where(climbs, 1.0, damping / 4)
            if np.all((np.abs(step) < _NEAR) | (damping < 1e-9)):
                break
        return free, value, by_fixed


def _edge(
    profile: _Profile, top: Array, free: Array, peak: Array, step: Array, cut: float
) -> Array:
    """Where the signed root of the likelihood ratio reaches the cut, from the top outwards.

    That root is almost straight in the fixed coordinate, so Newton steps on it land in a few
    tries; a bracket holds them, and what lies beyond a factor exp(40) is taken as infinite.
    """
    outwards = np.sign(step)
    inside, outside = np.zeros(top.size), np.full(top.size, np.inf)  # distances from the top
    distance = np.minimum(np.abs(step), _LONGEST_STEP)
    for _ in range(_MOST_TRIES):
        free, value, slope = profile.fit(top + outwards * distance, free)
        root = np.sqrt(np.maximum(2 * (peak - value), 1e-30))
        over = root > cut
        outside = np.where(over, np.minimum(outside, distance), outside)
        inside = np.where(over, inside, np.maximum(inside, distance))
        rise = np.maximum(-outwards * slope / root, 1e-9)
        move = np.clip((cut - root) / rise, -_LONGEST_STEP, _LONGEST_STEP)
        new = np.where(np.abs(move) < _NEAR, distance, distance + move)
        middle = (inside + np.minimum(outside, 2 * inside + 1)) / 2
        new = np.where((new < inside) | (new > outside), middle, new)
        new = np.minimum(new, _FARTHEST)
        settled = (np.abs(new - distance) < _NEAR) | (inside >= _FARTHEST)
        distance = np.where(settled, distance, new)
        if settled.all():
            break
    return np.where(inside >= _FARTHEST, outwards * np.inf, top + outwards * distance)
