"""Weibull likelihood of many groups at once: existence test and Newton.

With H(t) = (t/scale)^shape a life adds to the log-likelihood

    seen failure at a            log shape - log a + log H(a) - H(a)
    suspension at a              - H(a)
    failure between a and c      - H(a) + log(1 - exp(H(a) - H(c)))
    watched from age e           + H(e), beside one of the above

All groups take their Newton steps together, in arrays; a group whose step does not climb takes a
shorter one while the others go on. Inside, each group's ages are divided by its largest, so that
H stays near 1 whatever the unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from forecast.life.lives import Array, BoolArray, IntArray, Lives

FEWEST_FAILURES: Final = 20
"""Below this many failures a fit leans on its shape prior."""

_NO_AGE: Final = -1e100  # stands for log 0: H is then 0 and its derivatives are finite
_LARGEST: Final = 690.0  # exp() of more overflows
_STEEPEST: Final = 12.0  # log shape beyond which a climb counts as divergence
_FLATTEST: Final = -3.0
_SHORTEST_STEP: Final = 1e-10
_STAGES: Final = 8, 80  # steps all groups take together, then those that are not there yet


@dataclass(frozen=True, eq=False)
class Slopes:
    """Log-likelihood by group with its derivatives in (log scale, log shape)."""

    value: Array
    by_scale: Array
    by_shape: Array
    scale_scale: Array
    scale_shape: Array
    shape_shape: Array

    def kept(self, where: BoolArray, other: Slopes) -> Slopes:
        """Return these slopes where true, else the other's."""
        mine, theirs = vars(self), vars(other)
        return Slopes(**{name: np.where(where, mine[name], theirs[name]) for name in mine})


class Likelihood:
    """The likelihood of lives in groups, laid out for array passes.

    Parameters
    ----------
    lives
        The lives.
    group
        Number of the group of each life, 0 to ``groups`` - 1; one group if not given.
    groups
        Number of groups; the largest number + 1 if not given.
    """

    def __init__(
        self, lives: Lives, group: IntArray | None = None, groups: int | None = None
    ) -> None:
        number = _checked_group(lives, group)
        self.groups = int(number.max(initial=-1)) + 1 if groups is None else groups
        if number.max(initial=-1) >= self.groups:
            raise ValueError(f"group holds {number.max()} but there are {self.groups} groups")
        self.log_unit = _log_unit(lives, number, self.groups)
        lower, upper, entry = (
            _log(age) - self.log_unit[number] for age in (lives.lower, lives.upper, lives.entry)
        )
        exact, between, late = lives.exact, lives.between, lives.entry > 0
        whole = ~between & (lives.lower > 0)
        # Every row but a failure between inspections adds its H, and a late entry takes one off.
        self._age = np.concatenate([lower[whole], entry[late]])
        self._sign = np.concatenate([-lives.weight[whole], lives.weight[late]])
        self._group = np.concatenate([number[whole], number[late]])
        self._from, self._to = lower[between], upper[between]
        self._between_weight, self._between_group = lives.weight[between], number[between]
        self._seen = self._sum(number[exact], lives.weight[exact])
        self._seen_age = self._sum(number[exact], lives.weight[exact] * lower[exact])
        self.failures = self._seen + self._sum(self._between_group, self._between_weight)
        self.late = self._sum(number[late], lives.weight[late]) > 0
        self.exists = self._maximum_exists(lower, upper, lives, number)

    def slopes(self, log_scale: Array, log_shape: Array) -> Slopes:
        """Log-likelihood and its derivatives at one point a group.

        Parameters
        ----------
        log_scale, log_shape
            One value a group, scale in the unit of the lives.

        Returns
        -------
        Slopes
            Arrays of one value a group.
        """
        u, shape = log_scale - self.log_unit, np.exp(log_shape)
        return self._whole(u, log_shape, shape, *self._between(u, shape))

    def _whole(self, u: Array, log_shape: Array, shape: Array, *between: Array) -> Slopes:
        """Add seen failures, suspensions and late entries to what the others give."""
        z = shape[self._group] * (self._age - u[self._group])
        h = self._sign * np.exp(np.minimum(z, _LARGEST))
        zh = z * h
        a, b, c = (self._sum(self._group, term) for term in (h, zh, z * zh))
        z_seen = shape * (self._seen_age - self._seen * u)
        value, by_scale, by_shape, scale_scale, scale_shape, shape_shape = between
        return Slopes(
            value=value + a + self._seen * (log_shape - self.log_unit) + z_seen - self._seen_age,
            by_scale=by_scale - shape * (a + self._seen),
            by_shape=by_shape + b + self._seen + z_seen,
            scale_scale=scale_scale + shape**2 * a,
            scale_shape=scale_shape - shape * (a + b + self._seen),
            shape_shape=shape_shape + b + c + z_seen,
        )

    def _between(self, u: Array, shape: Array) -> tuple[Array, ...]:
        """Value and five derivatives of failures found between inspections."""
        if not self._to.size:
            return (np.zeros(self.groups),) * 6
        g, w = self._between_group, self._between_weight
        k = shape[g]
        za, zc = k * (self._from - u[g]), np.minimum(k * (self._to - u[g]), _LARGEST)
        ha = np.exp(np.minimum(za, _LARGEST))
        kept = np.exp(np.minimum(za - zc, 0.0))  # H(a) / H(c)
        lost = np.maximum(-np.expm1(np.minimum(za - zc, 0.0)), 1e-17)
        log_d = zc + np.log(lost)  # d = H(c) - H(a), derivatives of log d below
        d = np.maximum(np.exp(log_d), 1e-300)
        t = d / np.expm1(np.minimum(d, _LARGEST))
        first, second = (zc - za * kept) / lost, (zc**2 - za**2 * kept) / lost
        bend = t * (t + d)
        rows = (
            log_chance(log_d) - ha,
            k * (ha - t),
            t * first - za * ha,
            k**2 * (t - ha - bend),
            k * (ha * (1 + za) - t * (1 + first) + bend * first),
            t * (first + second) - za * (1 + za) * ha - bend * first**2,
        )
        return tuple(self._sum(g, w * row) for row in rows)

    def start(self) -> tuple[Array, Array]:
        """Give a point to climb from: shape 1.5, and the scale that goes with it."""
        shape = 1.5
        total = -self._sum(self._group, self._sign * np.exp(shape * self._age))
        middle = np.logaddexp(self._from, self._to) - np.log(2.0)
        total += self._sum(self._between_group, self._between_weight * np.exp(shape * middle))
        log_scale = np.log(np.maximum(total, 1e-12) / np.maximum(self.failures, 0.3)) / shape
        return log_scale + self.log_unit, np.full(self.groups, np.log(shape))

    def _sum(self, group: IntArray, values: Array) -> Array:
        return np.bincount(group, values, self.groups).astype(np.float64)

    def _maximum_exists(
        self, lower: Array, upper: Array, lives: Lives, number: IntArray
    ) -> BoolArray:
        """Say whether the likelihood has a maximum.

        Not where nothing failed, nor where one age lies in every failure's interval and no row
        lived past it: an ever steeper law through that age then fits ever better.
        """
        survived = np.full(self.groups, -np.inf)
        np.maximum.at(survived, number, lower)
        failed_by = np.full(self.groups, np.inf)
        failed = ~lives.suspended
        np.minimum.at(failed_by, number[failed], upper[failed])
        return (self.failures > 0) & (survived > failed_by)


@dataclass(frozen=True, eq=False)
class Maxima:
    """Greatest likelihood of each group; NaN where there is none.

    Attributes
    ----------
    log_shape, log_scale, log_likelihood
        One value a group.
    covariance
        [groups, 2, 2] of (log scale, log shape), from the curvature at the maximum.
    failures
        Failures of each group.
    found
        Whether the group has a maximum.
    """

    log_shape: Array
    log_scale: Array
    log_likelihood: Array
    covariance: Array
    failures: Array
    found: BoolArray

    @property
    def state(self) -> tuple[str, ...]:
        """``fitted`` or ``no_fit`` for each group."""
        return tuple("fitted" if found else "no_fit" for found in self.found)


def maximise(lives: Lives, group: IntArray | None = None, groups: int | None = None) -> Maxima:
    """Fit a Weibull law to each group by greatest likelihood, all groups in one array pass.

    Parameters
    ----------
    lives
        The lives.
    group
        Number of the group of each life; one group if not given.
    groups
        Number of groups; the largest number + 1 if not given.

    Returns
    -------
    Maxima
        Groups without a finite maximum hold NaN: whether one exists is decided before the climb
        by the existence test, and after it (late entries can pull the shape to 0) by a gradient
        near zero, a curvature that is truly a maximum's, and a shape above 0.05.
    """
    likelihood = Likelihood(lives, group, groups)
    found = likelihood.exists.copy()
    log_scale, log_shape = likelihood.start()
    rising = found.copy()
    for steps in _STAGES:
        if not rising.any():
            break
        part = likelihood if rising.all() else _part(lives, group, rising)
        at, there = _climb(part, log_scale[rising], log_shape[rising], steps)
        log_scale[rising], log_shape[rising] = at
        rising[rising] = ~there
    return _judged(likelihood, log_scale, log_shape, found)


def log_likelihood(
    lives: Lives, group: IntArray | None, log_shape: Array, log_scale: Array
) -> Array:
    """Log-likelihood of each group at one point a group.

    Parameters
    ----------
    lives, group
        As for `maximise`.
    log_shape, log_scale
        One value a group.

    Returns
    -------
    Array
        One value a group.
    """
    return Likelihood(lives, group, log_shape.size).slopes(log_scale, log_shape).value


def log_chance(log_d: Array) -> Array:
    """Logarithm of 1 - exp(-d), from the logarithm of ``d``: exact for any size of it."""
    d = np.exp(log_d)
    return np.where(
        d < np.log(2.0),
        log_d + _log_shrunk(np.minimum(d, 1.0)),
        np.log1p(-np.exp(-np.maximum(d, 0.5))),
    )


def _log_shrunk(d: Array) -> Array:
    """Logarithm of (1 - exp(-d)) / d, for d from 0 to 1."""
    some = np.maximum(d, 1e-12)
    return np.log(-np.expm1(-some) / some)


def _climb(
    likelihood: Likelihood, u: Array, b: Array, steps: int
) -> tuple[tuple[Array, Array], BoolArray]:
    """Newton steps from (u, b) = (log scale, log shape), each group with its own damping.

    Returns where each group came to, and whether it is done.
    """
    here = likelihood.slopes(u, b)
    damping = np.zeros(u.size)
    done = np.zeros(u.size, np.bool_)
    for _ in range(steps):
        du, db = _step(here, damping)
        du, db = np.where(done, 0.0, du), np.where(done, 0.0, db)
        there = likelihood.slopes(u + du, b + db)
        climbs = there.value >= here.value - 1e-12 * np.abs(here.value)
        u, b = np.where(climbs, u + du, u), np.where(climbs, b + db, b)
        here = there.kept(climbs, here)
        damping = np.where(climbs, damping / 10, np.maximum(20 * damping, 0.02))
        damping = np.where(damping < 1e-3, 0.0, damping)
        short = (np.abs(du) < _SHORTEST_STEP) & (np.abs(db) < _SHORTEST_STEP)
        done |= short | (np.abs(b) > _STEEPEST)
        if done.all():
            break
    return (u, b), done


def _step(at: Slopes, damping: Array) -> tuple[Array, Array]:
    """Newton step on the curvature, made that of a maximum where it is not."""
    p, q, r = -at.scale_scale, -at.scale_shape, -at.shape_shape
    trace = np.abs(p) + np.abs(r)
    least = (p + r) / 2 - np.hypot((p - r) / 2, q)
    lift = np.where(least > 1e-10 * trace, 0.0, -least + 1e-3 * trace + 1e-9) + damping * trace
    p, r = p + lift, r + lift
    determinant = p * r - q * q
    du = (r * at.by_scale - q * at.by_shape) / determinant
    db = (p * at.by_shape - q * at.by_scale) / determinant
    too_long = np.maximum(1.0, np.maximum(np.abs(du) / 2, np.abs(db)))
    return du / too_long, db / too_long


def _judged(likelihood: Likelihood, log_scale: Array, log_shape: Array, found: BoolArray) -> Maxima:
    """Keep the points that are maxima, with the covariance there."""
    at = likelihood.slopes(log_scale, log_shape)
    determinant = at.scale_scale * at.shape_shape - at.scale_shape**2
    level = np.hypot(at.by_scale, at.by_shape) < 1e-6 * np.maximum(1.0, likelihood.failures)
    found = found & level & (determinant > 0) & (at.scale_scale < 0)
    found &= (log_shape < _STEEPEST) & ((log_shape > _FLATTEST) | ~likelihood.late)
    safe = np.where(found, determinant, 1.0)
    covariance = np.empty((found.size, 2, 2))
    covariance[:, 0, 0] = -at.shape_shape / safe
    covariance[:, 1, 1] = -at.scale_scale / safe
    covariance[:, 0, 1] = covariance[:, 1, 0] = at.scale_shape / safe
    covariance[~found] = np.nan
    shape, scale, value = (np.where(found, x, np.nan) for x in (log_shape, log_scale, at.value))
    return Maxima(shape, scale, value, covariance, likelihood.failures, found)


def _part(lives: Lives, group: IntArray | None, keep: BoolArray) -> Likelihood:
    """Lay out only the groups to keep, renumbered in order."""
    number = _checked_group(lives, group)
    rows = keep[number]
    renumbered = np.cumsum(keep) - 1
    return Likelihood(lives.only(rows), renumbered[number[rows]], int(keep.sum()))


def _checked_group(lives: Lives, group: IntArray | None) -> IntArray:
    if group is None:
        return np.zeros(len(lives), np.int64)
    if group.shape != lives.lower.shape:
        raise ValueError(f"there are {len(lives)} lives but group has shape {group.shape}")
    if group.size and group.min() < 0:
        raise ValueError(f"group numbers start at 0 but {group.min()} was given")
    return group.astype(np.int64)


def _log_unit(lives: Lives, number: IntArray, groups: int) -> Array:
    """Logarithm of the largest finite age of each group (0 where all ages are 0)."""
    largest = np.zeros(groups)
    np.maximum.at(largest, number, np.where(lives.suspended, lives.lower, lives.upper))
    return np.log(np.where(largest > 0, largest, 1.0))


def _log(age: Array) -> Array:
    """Logarithm of an age; age 0 gets a number so low that H is 0 there."""
    return np.where(age > 0, np.log(np.where(age > 0, age, 1.0)), _NO_AGE)
