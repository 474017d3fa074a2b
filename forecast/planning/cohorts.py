"""The engine for any number of pieces: how many of each age are left, step by step.

A *cohort* is the pieces of one set that began at the same time on its clock, so its age is the
clock less that time and never blurs, however unequal the days are. In a step so many of a cohort
end as its chance to end within it says (one binomial number); their successors begin at the middle
of the step, and those of them that end within the same step again are drawn with the chance to
end within half a step. The expectation of that is the recursion printed in Tijms (A First Course
in Stochastic Models, 2003, p. 311), whose error falls with the square of the step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from forecast.planning.draws import Array, IntArray, LifeDraws, Pieces
from forecast.planning.events import Events

LARGE = 5_000
"""Pieces in one set from which it is followed by cohorts: there they cost less than events."""

_MANY = 25.0  # variance from which a binomial number is drawn by its normal

_FINEST = 0.03  # longest step, as a share of a typical life
_WIDEST = 0.06  # longest time over which one cohort begins, alike: keeps the error under 5e-4
_YOUNG = 2  # cohorts that began last, and are followed each for itself
_WEEK = 7  # days in the longest step


@dataclass(frozen=True, eq=False)
class ExpectedEvents:
    """What is expected to happen to one set on each path, without the chance of single pieces.

    Attributes
    ----------
    unplanned
        [draws, days] pieces that end by themselves.
    changed
        [draws, windows] pieces changed at the end of each window's day.
    """

    unplanned: Array
    changed: Array


def suits_cohorts(quantity: IntArray) -> bool:
    """Say whether a set is large, and its pieces alike, so that cohorts cost less than events.

    Parameters
    ----------
    quantity
        [rows] equal pieces in each row of the set.
    """
    total = int(quantity.sum())
    return total >= LARGE and len(quantity) * 20 <= total


def simulate_cohorts(
    law: LifeDraws,
    pieces: Pieces,
    quantity: IntArray,
    hours: Array,
    planned_at: IntArray,
    change_age: Array,
    windows: IntArray,
    rng: np.random.Generator,
) -> Events:
    """Simulate the pieces of one set until the last day, with their successors.

    Arguments and result are those of :func:`forecast.planning.events.simulate_pieces`; the cost
    goes with the number of cohorts and steps, not with the number of pieces.
    """
    run = _Run(law, pieces, quantity, hours, planned_at, change_age, windows, rng)
    run.whole_season()
    return Events(run.unplanned.T.astype(np.int64), run.changed.astype(np.int64))


def expected_cohorts(
    law: LifeDraws,
    pieces: Pieces,
    quantity: IntArray,
    hours: Array,
    planned_at: IntArray,
    change_age: Array,
    windows: IntArray,
) -> ExpectedEvents:
    """Return the expectation of :func:`simulate_cohorts` on each path: the same recursion."""
    run = _Run(law, pieces, quantity, hours, planned_at, change_age, windows, None)
    run.whole_season()
    return ExpectedEvents(run.unplanned.T.astype(np.float64), run.changed.astype(np.float64))


class _Run:
    """The state of one recursion: how many of each cohort are left on each path.

    Without a generator every number is its expectation.
    """

    def __init__(
        self,
        law: LifeDraws,
        pieces: Pieces,
        quantity: IntArray,
        hours: Array,
        planned_at: IntArray,
        change_age: Array,
        windows: IntArray,
        rng: np.random.Generator | None,
    ) -> None:
        self.law, self.pieces, self.rng = law, pieces, rng
        self.machine = int(pieces.machine[0])
        self.hours, self.clock = hours, np.concatenate([[0.0], np.cumsum(hours)])
        self.planned_at, self.change_age, self.windows = planned_at, change_age, windows
        kind = np.float64 if rng is None else np.int64
        self.unplanned = np.zeros((len(hours), law.draws), kind)  # a day's draws side by side
        self.changed = np.zeros((law.draws, len(windows)), kind)
        # pieces now in place [rows, draws], and their chance to have lasted so far
        self.first = np.repeat(quantity.astype(kind)[:, None], law.draws, axis=1)
        self.lasted = np.ones(self.first.shape)
        self.used = np.isfinite(change_age)  # windows that anything is changed in
        self.used[planned_at[planned_at >= 0]] = True
        typical = _typical_life(law, self.machine)
        self.steps = self._steps(_FINEST * typical)
        # of cohorts that windows ask for their age, no two are made one
        self.widest = 0.0 if np.isfinite(change_age).any() else _WIDEST * typical
        # cohorts fitted later: when they began (from, until), how many, hazard so far, and the
        # share of them whose window has come
        room = len(self.steps) + len(windows)
        self.began = np.zeros((room, 2))
        self.count = np.zeros((room, law.draws), kind)
        self.hazard = np.zeros((room, law.draws))
        self.done = np.zeros(room)
        self.alive = np.zeros(0, dtype=np.int64)
        self.size = 0

    def whole_season(self) -> None:
        """Carry the set from the first day to the last, step by step."""
        for first, last in self.steps:
            if self.clock[last + 1] > self.clock[first]:
                self._run(first, last)
            for window in np.flatnonzero((self.windows == last) & self.used):
                self._change(int(window))

    def _steps(self, longest: float) -> list[tuple[int, int]]:
        """Cut the days into steps that end with every window used, none longer than allowed."""
        ends = {int(day) for day in self.windows[self.used]} | {len(self.hours) - 1}
        steps, first = [], 0
        for day in range(len(self.hours)):
            over = day + 1 < len(self.hours) and (
                self.clock[day + 2] - self.clock[first] > longest or day + 1 - first >= _WEEK
            )
            if day in ends or over:
                steps.append((first, day))
                first = day + 1
        return steps

    def _run(self, first: int, last: int) -> None:
        """Let the set run for some days: pieces end, and others take their place."""
        start, end = self.clock[first], self.clock[last + 1]
        ended = self._end_first(end) + self._end_later(end)
        half = self.law.hazard(self.machine, np.array([(end - start) / 2]))[0]
        again = -np.expm1(-half)
        self._begin(start, end, ended, half)
        if self.rng is None:
            total = ended / np.maximum(1.0 - again, 1e-12)
        else:
            total, more, some = ended.copy(), ended, np.arange(len(ended))
            while len(more):
                more = binomial(self.rng, more, again[some])
                total[some] += more
                some, more = some[more > 0], more[more > 0]
        self._on_days(total, first, last)

    def _end_first(self, end: float) -> Array | IntArray:
        """End pieces that are in place since the beginning; return how many [draws]."""
        lasts = self.law.survival(self.pieces, np.full(len(self.pieces), end))
        ends = np.zeros_like(lasts)  # of those that lasted so far, the share that lasts on
        np.divide(lasts, self.lasted, out=ends, where=self.lasted > 0)
        np.subtract(1.0, ends, out=ends)
        np.maximum(ends, 0.0, out=ends)
        self.lasted = lasts
        ended = self._drawn(self.first, ends)
        self.first -= ended
        total: Array | IntArray = ended.sum(axis=0)
        return total

    def _end_later(self, end: float) -> Array | IntArray:
        """End pieces that were fitted in an earlier step; return how many [draws]."""
        some = self.alive
        hazard = self.law.hazard(self.machine, end - self.began[some].mean(axis=1))
        ends = -np.expm1(np.minimum(self.hazard[some] - hazard, 0.0))
        ended = self._drawn(self.count[some], ends)
        self.hazard[some] = hazard
        self.count[some] -= ended
        total: Array | IntArray = ended.sum(axis=0)
        return total

    def _drawn(self, count: Any, chance: Array) -> Any:
        """Return how many of a count end (or their expectation): an array of the same kind."""
        return count * chance if self.rng is None else binomial(self.rng, count, chance)

    def _begin(
        self, start: float, end: float, count: Array | IntArray, hazard: Array | float
    ) -> None:
        """Add a cohort that began evenly between two times of the clock."""
        self._join(end)
        at = self.size
        self.began[at] = start, end
        self.count[at], self.hazard[at] = count, hazard
        self.alive = np.append(self.alive, at)
        self.size += 1

    def _join(self, now: float) -> None:
        """Make one of two cohorts that are no longer young, if they began close enough together."""
        if len(self.alive) <= _YOUNG + 1:
            return
        one, other = self.alive[-_YOUNG - 2], self.alive[-_YOUNG - 1]
        start, end = self.began[one, 0], self.began[other, 1]
        if end - start > self.widest or self.began[one, 1] != self.began[other, 0]:
            return
        self.began[one, 1] = end
        self.count[one] += self.count[other]
        self.hazard[one] = self.law.hazard(self.machine, np.array([now - (start + end) / 2]))[0]
        self.alive = self.alive[self.alive != other]

    def _change(self, window: int) -> None:
        """Change what this window's day asks for, at the end of the day."""
        at = self.clock[self.windows[window] + 1]
        rows = np.flatnonzero(self.planned_at == window)
        changed = self.first[rows].sum(axis=0)
        self.first[rows] = 0
        changed = changed + self._of_age(at, float(self.change_age[window]))
        self.changed[:, window] = changed
        if changed.any():
            self._begin(at, at, changed, 0.0)

    def _of_age(self, at: float, age: float) -> Array | IntArray:
        """Take out the pieces fitted later that are of age at a window; return how many [draws].

        Of a cohort that began evenly over a step, those are of age that began early enough.
        """
        some = self.alive
        start, end = self.began[some].T
        length = end - start
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(
                length > 0,
                np.clip((at - max(age, 0.0) - start) / length, 0.0, 1.0),
                (start + age <= at) & (start < at),
            )
        more = share > self.done[some]
        some, share = some[more], share[more]
        told = (share - self.done[some]) / (1.0 - self.done[some])
        taken = self._drawn(self.count[some], np.repeat(told[:, None], self.law.draws, axis=1))
        self.count[some] -= taken
        self.done[some] = share
        self.alive = self.alive[self.done[self.alive] < 1.0]
        total: Array | IntArray = taken.sum(axis=0)
        return total

    def _on_days(self, total: Array | IntArray, first: int, last: int) -> None:
        """Share what ended in a step among its days, by their hours."""
        for day in range(first, last + 1):
            left = self.clock[last + 1] - self.clock[day]
            if left <= 0:
                break
            share = self.hours[day] / left
            here = total
            if day < last and share < 1.0:
                here = self._drawn(total, np.broadcast_to(share, total.shape))
            self.unplanned[day] = here
            total = total - here


def binomial(rng: np.random.Generator, count: Array | IntArray, chance: Array) -> IntArray:
    """Return binomial numbers; large ones by a normal that has their mean, spread and skewness.

    From a variance of 25 on the two differ by less than a thousandth in any chance, and the normal
    costs a quarter (Cornish and Fisher's expansion to the skewness; what rounding and skewness add
    to the spread is taken off).

    Parameters
    ----------
    rng
        The set's own stream.
    count, chance
        Trials and chance, of one shape.
    """
    mean = count * chance
    variance = 1.0 - chance
    variance *= mean
    many = variance > _MANY
    if not many.any():
        return rng.binomial(_whole(count), chance)
    if many.all():
        return _by_normal(rng, count, chance, mean, variance).astype(np.int64)
    drawn = np.empty(count.size, dtype=np.int64)
    flat, odds = count.ravel(), chance.ravel()
    few, most = np.flatnonzero(~many), np.flatnonzero(many)
    drawn[few] = rng.binomial(_whole(flat[few]), odds[few])
    drawn[most] = _by_normal(
        rng, flat[most], odds[most], mean.ravel()[most], variance.ravel()[most]
    )
    return drawn.reshape(count.shape)


def _whole(count: Array | IntArray) -> IntArray:
    return count.astype(np.int64, copy=False)


def _by_normal(
    rng: np.random.Generator, count: Array | IntArray, chance: Array, mean: Array, variance: Array
) -> Array:
    """Return whole numbers near the mean; overwrites mean and variance."""
    score = rng.standard_normal(mean.shape)
    bent = chance * -2.0
    bent += 1.0
    bent /= 6.0
    variance -= 1.0 / 12.0
    variance -= 2.0 * bent**2
    np.sqrt(variance, out=variance)
    variance *= score
    mean += variance
    score *= score
    score -= 1.0
    score *= bent
    mean += score
    np.rint(mean, out=mean)
    np.maximum(mean, 0.0, out=mean)
    return np.minimum(mean, count, out=mean)


def _typical_life(law: LifeDraws, machine: int) -> float:
    """Return the age that half of the new pieces reach, over all paths, to 1 %."""

    def lasts(age: float) -> bool:
        return bool(np.exp(-law.hazard(machine, np.array([age]))).mean() > 0.5)

    low = high = 1e3
    while low > 1e-3 and not lasts(low):
        low, high = low / 4, low
    while high < 1e9 and lasts(high):
        low, high = high, high * 4
    while high > 1.01 * low:
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if lasts(middle) else (low, middle)
    return high
