"""The engine for pieces one by one: exact failures and change-outs on one set's own clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.planning.draws import Array, BoolArray, IntArray, LifeDraws, Pieces, new_pieces

_SOON = 1e-6  # hours: what ends at once ends on the first day that runs
_TABLE = 4096  # parts of the season, to find the day of a clock time
_CELLS = 100_000  # pieces x draws handled at a time: what the cache of a core holds


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
        self.pace = _TABLE / max(self.clock[-1], _SOON)
        self.days = np.searchsorted(self.clock[1:], np.arange(_TABLE) / self.pace, side="left")
        self.days = np.minimum(self.days, len(hours) - 1).astype(np.int64)
        self.unplanned = np.zeros((law.draws, len(hours)), dtype=np.int64)
        self.changed = np.zeros((law.draws, len(windows)), dtype=np.int64)
        self.ended, self.aged = _Tally(self.unplanned), _Tally(self.changed)
        self.fresh = new_pieces(np.array([machine], dtype=np.int64), seasons)
        self.latest, self.window_of = _latest_starts(self.window_clock, change_age)

    def first_lives(
        self, pieces: Pieces, quantity: IntArray, until: Array, planned_at: IntArray
    ) -> None:
        """End the pieces now in place, or change them in their window."""
        # a piece already at its limit ends when it runs, not while its machine stands
        ends = self.law.survival(pieces, until)
        np.subtract(1.0, ends, out=ends)
        ends[until <= 0] = 0.0
        count = _binomial(self.rng, quantity, ends)
        for number in np.unique(planned_at[planned_at >= 0]):
            rows = planned_at == number
            self.changed[:, number] += quantity[rows].sum() - count[rows].sum(axis=0)
        some = np.flatnonzero(count)
        if count.dtype != np.bool_:
            some = np.repeat(some, count.ravel()[some])
        row, draw = np.divmod(some, self.law.draws)
        left = self.law.ending(pieces, row, draw, until[row], self.rng)
        self._single_lives(draw, left)

    def later_lives(self) -> None:
        """Follow the pieces fitted in each window, in the order of the windows."""
        for number in range(self.changed.shape[1]):
            self.aged.count()
            fitted = self.changed[:, number]
            draw = np.flatnonzero(fitted)
            start = self.window_clock[number]
            following = int(self._next_window(np.array([start]))[0])
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
        self.ended.count()
        self.aged.count()

    def _single_lives(self, draw: IntArray, at: Array) -> None:
        """Count pieces that end at a clock time, and follow their successors one by one."""
        days, windows = len(self.clock) - 1, self.changed.shape[1]
        while len(draw):
            self.ended.add(draw * days + self._day_of(np.maximum(at, _SOON)))
            machine = np.full(len(draw), self.machine, dtype=np.int64)
            end = at + self.law.new(machine, draw, self.rng)
            if not len(self.latest):
                again = end < self.clock[-1]
            else:
                window = self._next_window(at)
                again = end < self.window_clock[window]
                changed = ~again & (window >= 0)
                self.aged.add(draw[changed] * windows + window[changed])
            draw, at = draw[again], end[again]

    def _day_of(self, at: Array) -> IntArray:
        """Return the day that ends at or first after each clock time: a table, then a step."""
        ends = self.clock[1:]
        day: IntArray = self.days[np.minimum((at * self.pace).astype(np.int64), _TABLE - 1)]
        while True:
            later = (ends[day] < at) & (day < len(ends) - 1)
            if not later.any():
                return day
            day += later

    def _next_window(self, start: Array) -> IntArray:
        """Return the window in which pieces fitted at a clock time are changed; -1 for none."""
        return self.window_of[np.searchsorted(self.latest, start, side="left")]


class _Tally:
    """Events to be counted in a table; many at a time, since each count goes over the table."""

    def __init__(self, table: IntArray) -> None:
        self.table, self.waiting, self.size = table, list[IntArray](), 0

    def add(self, cell: IntArray) -> None:
        """Add one event to each cell given, by its number in the flattened table."""
        self.waiting.append(cell)
        self.size += len(cell)
        if self.size > 4 * self.table.size:
            self.count()

    def count(self) -> None:
        """Bring the table up to date."""
        if self.size:
            cells = np.concatenate(self.waiting)
            counted = np.bincount(cells, minlength=self.table.size)
            self.table += counted.reshape(self.table.shape)
        self.waiting, self.size = [], 0


def _latest_starts(window_clock: Array, change_age: Array) -> tuple[Array, IntArray]:
    """Return until when a piece must be fitted to be changed in a window, and that window.

    The windows in which no piece is of age that a later fitted one is not are left out, so that
    the times rise; -1 follows the last. The times are exact: one step of a float later, and the
    piece is no longer of age, or fitted in the window itself.
    """
    latest: list[float] = []
    windows: list[int] = []
    for number in np.flatnonzero(np.isfinite(change_age)):
        start = _latest_start(float(window_clock[number]), float(change_age[number]))
        if not latest or start > latest[-1]:
            latest.append(start)
            windows.append(int(number))
    return np.array(latest), np.array([*windows, -1], dtype=np.int64)


def _latest_start(at: float, age: float) -> float:
    """Return the last float before ``at`` from which a piece is of age at it, by halving."""
    reach = 2.0 * float(np.spacing(max(at, age)))
    low, high = at - age - reach, at - age + reach
    while low < (middle := (low + high) / 2.0) < high:
        if middle + age <= at and middle < at:
            low = middle
        else:
            high = middle
    return low


def _binomial(rng: np.random.Generator, quantity: IntArray, ends: Array) -> IntArray | BoolArray:
    """Return how many of each row's pieces end [rows, draws]; yes or no where all are single."""
    single = quantity == 1
    if single.all():
        alone: BoolArray = rng.random(ends.shape) < ends
        return alone
    chance = np.clip(ends, 0.0, 1.0)
    count = np.zeros(chance.shape, dtype=np.int64)
    count[single] = rng.random((int(single.sum()), chance.shape[1])) < chance[single]
    several = quantity > 1
    count[several] = rng.binomial(quantity[several, None], chance[several])
    return count
