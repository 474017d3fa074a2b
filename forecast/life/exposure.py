"""What lives tell of the number of failures to expect, whatever the shape.

With t0 the largest age and ``rate`` = (t0 / scale)^shape, the number of failures expected by age
t0, lives tell of the rate through few sums once the shape is given: the failures seen, the
exposure sum((t/t0)^shape - (e/t0)^shape), and, for each failure found between two inspections,
the logarithm of 1 - exp(-rate d), d its piece of exposure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from forecast.life.likelihood import log_chance
from forecast.life.lives import Array, IntArray, Lives

_MOST_AGES: Final = 2000  # more distinct ages than this are rounded to 1/1000 of themselves
_MOST_STEPS: Final = 60


@dataclass(frozen=True, eq=False)
class Found:
    """Failures found between inspections as so many failures seen, near one rate.

    Around that rate their log-likelihood is ``constant + failures log(rate) - exposure rate`` to
    second order: of the kind that seen failures give. [shapes, groups] each.
    """

    failures: Array
    exposure: Array
    constant: Array


class Exposure:
    """Sums of lives by group, at any shape.

    Parameters
    ----------
    lives
        The lives.
    group
        Number of the group of each life; one group if not given.
    groups
        Number of groups.

    Attributes
    ----------
    oldest
        The largest age t0, one for all groups.
    seen
        Failures seen, by group.
    sum_log
        Sum of log(t/t0) over failures seen, all groups together.
    has_between
        Whether any failure was found between inspections.
    """

    def __init__(self, lives: Lives, group: IntArray | None = None, groups: int = 1) -> None:
        number = np.zeros(len(lives), np.int64) if group is None else group
        self.groups = groups
        self.oldest = lives.oldest
        if self.oldest <= 0 or lives.exposure <= 0:
            raise ValueError(f"the {len(lives)} lives were watched for no time at all")
        exact, between = lives.exact, lives.between
        relative = np.log(np.where(lives.lower > 0, lives.lower, self.oldest) / self.oldest)
        weight = lives.weight
        self.seen = np.bincount(number[exact], weight[exact], groups).astype(np.float64)
        self.sum_log = float(weight[exact] @ relative[exact])
        lived, late = lives.lower > 0, lives.entry > 0
        self._ages = _BySum(
            np.concatenate([relative[lived], np.log(lives.entry[late] / self.oldest)]),
            np.concatenate([weight[lived], -weight[late]]),
            np.concatenate([number[lived], number[late]]),
            groups,
        )
        order = np.argsort(number[between], kind="stable")
        self._number = number[between][order]
        self._weight = weight[between][order]
        self._from = (lives.lower[between] / self.oldest)[order]
        self._to = (lives.upper[between] / self.oldest)[order]
        self.has_between = bool(between.any())

    def sums(self, shapes: Array) -> Array:
        """Exposure in units of t0 at each shape: [shapes, groups]."""
        return self._ages.sums(shapes)

    def between(self, shapes: Array, log_rate: Array) -> tuple[Array, Array, Array]:
        """Log-likelihood of the failures found, with two derivatives in log(rate).

        Parameters
        ----------
        shapes
            [shapes].
        log_rate
            [shapes, groups].

        Returns
        -------
        (value, slope, curvature)
            [shapes, groups] each.
        """
        if not self.has_between:
            nothing = np.zeros(log_rate.shape)
            return nothing, nothing, nothing
        log_d = self._log_pieces(shapes) + log_rate[:, self._number]
        d = np.minimum(np.exp(np.minimum(log_d, 690.0)), 690.0)
        t = np.maximum(d, 1e-300) / np.expm1(np.maximum(d, 1e-300))
        rows = (log_chance(log_d), t, t * (1.0 - d - t))
        value, slope, curvature = (self._by_group(row * self._weight) for row in rows)
        return value, slope, curvature

    def found_chance(self, shapes: Array, log_rates: Array) -> Array:
        """Log-likelihood of the failures found, of a single group at many rates.

        Parameters
        ----------
        shapes
            [shapes].
        log_rates
            [shapes, rates].

        Returns
        -------
        Array
            [shapes, rates].
        """
        log_d = self._log_pieces(shapes)[:, None, :] + log_rates[:, :, None]
        return np.asarray(log_chance(log_d) @ self._weight)

    def overall_rate(self, shapes: Array) -> Array:
        """Rough log rate of all groups together at each shape, half a failure added: [shapes]."""
        failures = 0.5 + self.seen.sum() + self._weight.sum()
        hours = self.sums(shapes).sum(axis=1)
        return np.asarray(
            np.log(failures / (hours + np.exp(self._log_pieces(shapes)) @ self._weight / 2))
        )

    def likeliest_rate(self, shapes: Array, events: Array | float, hours: Array | float) -> Array:
        """Log rate of each group at each shape, given that gamma law of the rate as a prior.

        Parameters
        ----------
        shapes
            [shapes].
        events, hours
            Number and rate of the gamma law, as if so many failures had been seen in so much
            exposure; broadcast to [shapes, groups].

        Returns
        -------
        Array
            [shapes, groups]: where the likelihood times ``rate^events exp(-hours rate)`` is
            greatest.
        """
        exposure = self.sums(shapes) + hours
        failures = self.seen + events + np.zeros_like(exposure)
        found = self._by_group(np.broadcast_to(self._weight, (shapes.size, self._weight.size)))
        pieces = self._by_group(np.exp(self._log_pieces(shapes)) * self._weight / 2)
        x = np.log(np.maximum(failures + found, 1e-9) / np.maximum(exposure + pieces, 1e-12))
        if not self.has_between:
            return np.asarray(x)
        for _ in range(_MOST_STEPS):
            _, slope, curvature = self.between(shapes, x)
            lost = exposure * np.exp(np.minimum(x, 600.0))
            step = (failures - lost + slope) / np.maximum(lost - curvature, 1e-9)
            x = x + np.clip(step, -2.0, 2.0)
            if np.abs(step).max() < 1e-9:
                break
        return np.asarray(x)

    def found(self, shapes: Array, log_rate: Array) -> Found:
        """Failures found between inspections as seen ones, near the given rates."""
        value, slope, curvature = self.between(shapes, log_rate)
        rate = np.exp(log_rate)
        exposure = -curvature / rate
        failures = slope - curvature
        return Found(failures, exposure, value - failures * log_rate + exposure * rate)

    def _log_pieces(self, shapes: Array) -> Array:
        """Log of (c/t0)^shape - (a/t0)^shape, [shapes, rows]."""
        log_to = np.log(self._to)
        with np.errstate(divide="ignore"):
            ratio = np.log(self._from) - log_to
        k = shapes[:, None]
        return np.asarray(k * log_to + np.log(np.maximum(-np.expm1(k * ratio), 1e-17)))

    def _by_group(self, rows: Array) -> Array:
        """Sum [shapes, rows] over the rows of each group."""
        return _add_groups(rows, self._number, self.groups)


class _BySum:
    """Sums of weight exp(shape x) by group; ages that are equal (or nearly, if many) are one."""

    def __init__(self, x: Array, weight: Array, group: IntArray, groups: int) -> None:
        self.groups = groups
        pairs, where = _distinct(x, group)
        if pairs.shape[0] > _MOST_AGES * groups:
            pairs, where = _distinct(np.round(x * 1000) / 1000, group)
        self._group = pairs[:, 0].astype(np.int64)
        self._x = pairs[:, 1]
        self._weight: Array = np.bincount(where, weight, pairs.shape[0]).astype(np.float64)

    def sums(self, shapes: Array) -> Array:
        """[shapes, groups]; never below 0."""
        rows: Array = np.exp(np.outer(shapes, self._x)) * self._weight
        return np.maximum(_add_groups(rows, self._group, self.groups), 0.0)


def _distinct(x: Array, group: IntArray) -> tuple[Array, IntArray]:
    """Distinct (group, x) pairs in order, and which of them each row is."""
    order = np.lexsort((x, group))
    pairs = np.column_stack([group[order], x[order]])
    new = np.ones(x.size, np.bool_)
    new[1:] = (pairs[1:] != pairs[:-1]).any(axis=1)
    where = np.empty(x.size, np.int64)
    where[order] = np.cumsum(new) - 1
    return pairs[new], where


def _add_groups(rows: Array, group: IntArray, groups: int) -> Array:
    """Sum [shapes, rows] over runs of equal group number; groups without rows get 0."""
    out = np.zeros((rows.shape[0], groups))
    if group.size:
        starts = np.flatnonzero(np.diff(group, prepend=-1))
        out[:, group[starts]] = np.add.reduceat(rows, starts, axis=1)
    return out
