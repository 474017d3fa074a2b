"""The engine for pieces one by one: exact failures and change-outs on one set's own clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.planning.draws import Array, IntArray, LifeDraws, Pieces, new_pieces

_SOON = 1e-6  # hours: what ends at once ends on the first day that runs
_CELLS = 400_000  # pieces x draws handled at a time: about 3 MB an array


@dataclass(frozen=True, eq=False)
class Events:
    """What happens to one set, path by path.

    Attributes
    ----------
    unplanned
        [draws, days] pieces that ended by themselves.
    changed
        [draws, windows] pieces changed at the end of each window's day.
    turned, turned_changed
        How many of them were only turned, and took no spare; None: none.
    loss
        [draws] product lost to wear, in money; None: not asked for.
    """

    unplanned: IntArray
    changed: IntArray
    turned: IntArray | None = None
    turned_changed: IntArray | None = None
    loss: Array | None = None

    def planned(self, windows: IntArray, days: int) -> IntArray:
        """Return the change-outs by day [draws, days]."""
        planned = np.zeros((len(self.changed), days), dtype=np.int64)
        for number, day in enumerate(windows):
            planned[:, day] += self.changed[:, number]
        return planned


def simulate_pieces(
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

    In a day the machine runs, pieces end and are replaced at once, and then, at the end of the
    day, come the planned change-outs. How many of the equal pieces of a row end before their
    window or the last day is one binomial number; only those get a time, given that they end.
    That is the same law as drawing every life, and needs no life that outlasts the season.

    Parameters
    ----------
    law
        Of the pieces and of those that follow them.
    pieces
        Rows of equal pieces, all on one machine.
    quantity
        [rows] pieces in each row.
    hours
        [days] running hours of the set.
    planned_at
        [rows] window in which those still in place are changed; -1 for none.
    change_age
        [windows] age (hours) from which a piece fitted later is changed; infinite for none.
    windows
        [windows] index of the day of each, in order.
    rng
        The set's own stream.

    Returns
    -------
    Events
        Counts by draw.
    """
    run = _Run(law, int(pieces.machine[0]), pieces.ran.shape[1], hours, change_age, windows, rng)
    until = np.where(planned_at >= 0, run.window_clock[planned_at], run.clock[-1])
    step = max(1, _CELLS // law.draws)
    for first in range(0, len(pieces), step):
        rows = np.arange(first, min(first + step, len(pieces)))
        run.first_lives(pieces.take(rows), quantity[rows], until[rows], planned_at[rows])
    run.later_lives()
    return Events(run.unplanned, run.changed)


class _Run:
    """The state of one simulation: what happened, and how many pieces were fitted when."""

    def __init__(
        self,
        law: LifeDraws,
        machine: int,
        seasons: int,
        hours: Array,
        change_age: Array,
        windows: IntArray,
        rng: np.random.Generator,
    ) -> None:
        self.law, self.machine, self.rng = law, machine, rng
        self.change_age = change_age
        self.clock = np.concatenate([[0.0], np.cumsum(hours)])  # at the end of each day
        self.window_clock = np.append(self.clock[windows + 1], self.clock[-1])  # [-1]: the end
        self.unplanned = np.zeros((law.draws, len(hours)), dtype=np.int64)
        self.changed = np.zeros((law.draws, len(windows)), dtype=np.int64)
        self.fresh = new_pieces(np.array([machine], dtype=np.int64), seasons)

    def first_lives(
        self, pieces: Pieces, quantity: IntArray, until: Array, planned_at: IntArray
    ) -> None:
        """End the pieces now in place, or change them in their window."""
        # a piece already at its limit ends when it runs, not while its machine stands
        ends = np.where(until[:, None] > 0, 1.0 - self.law.survival(pieces, until), 0.0)
        count = _binomial(self.rng, quantity, ends)
        for number in np.unique(planned_at[planned_at >= 0]):
            rows = planned_at == number
            self.changed[:, number] += quantity[rows].sum() - count[rows].sum(axis=0)
        row, draw = np.nonzero(count)
        times = count[row, draw]
        row, draw = np.repeat(row, times), np.repeat(draw, times)
        left = self.law.ending(pieces, row, draw, until[row], self.rng)
        self._single_lives(draw, left)

    def later_lives(self) -> None:
        """Follow the pieces fitted in each window, in the order of the windows."""
        for number in range(self.changed.shape[1]):
            fitted = self.changed[:, number]
            draw = np.flatnonzero(fitted)
            start = self.window_clock[number]
            following = self._next_window(np.array([start]))[0]
            ahead = self.window_clock[following] - start
            if not len(draw) or ahead <= 0:
                continue
            row = np.zeros(len(draw), dtype=np.int64)
            lasts = self.law.chance(self.fresh, row, draw, np.full(len(draw), ahead))
            count = self.rng.binomial(fitted[draw], np.clip(1.0 - lasts, 0.0, 1.0))
            if following >= 0:
                self.changed[draw, following] += fitted[draw] - count
            draw = np.repeat(draw, count)
            row, each = np.zeros(len(draw), dtype=np.int64), np.full(len(draw), ahead)
            left = self.law.ending(self.fresh, row, draw, each, self.rng)
            self._single_lives(draw, start + left)

    def _single_lives(self, draw: IntArray, at: Array) -> None:
        """Count pieces that end at a clock time, and follow their successors one by one."""
        days = len(self.clock) - 1
        while len(draw):
            day = np.searchsorted(self.clock[1:], np.maximum(at, _SOON), side="left")
            day = np.clip(day, 0, days - 1)
            counted = np.bincount(draw * days + day, minlength=self.unplanned.size)
            self.unplanned += counted.reshape(self.unplanned.shape)
            window = self._next_window(at)
            machine = np.full(len(draw), self.machine, dtype=np.int64)
            end = at + self.law.new(machine, draw, self.rng)
            lasts = end >= self.window_clock[window]
            changed = lasts & (window >= 0)
            np.add.at(self.changed, (draw[changed], window[changed]), 1)
            draw, at = draw[~lasts], end[~lasts]

    def _next_window(self, start: Array) -> IntArray:
        """Return the window in which pieces fitted at a clock time are changed; -1 for none."""
        window = np.full(len(start), -1, dtype=np.int64)
        for number in np.flatnonzero(np.isfinite(self.change_age))[::-1]:
            at, age = self.window_clock[number], self.change_age[number]
            window[(start < at) & (start + age <= at)] = number
        return window


def _binomial(rng: np.random.Generator, quantity: IntArray, ends: Array) -> IntArray:
    """Return how many of each row's pieces end [rows, draws]."""
    chance = np.clip(ends, 0.0, 1.0)
    count = np.zeros(chance.shape, dtype=np.int64)
    single = quantity == 1
    count[single] = rng.random((int(single.sum()), chance.shape[1])) < chance[single]
    several = quantity > 1
    count[several] = rng.binomial(quantity[several, None], chance[several])
    return count
