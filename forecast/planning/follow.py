"""Pieces followed one by one to the end of each life, with their wear depth.

Policies that look at a reading, pieces with two sides and product lost to wear ask for more than
when a life ends: how deep the piece is then. Every life is drawn whole here, also those that
outlast the season; :mod:`forecast.planning.events` draws only those that don't. Where both can
answer, they are each other's test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.planning.draws import Array, BoolArray, IntArray, LifeDraws, Pieces
from forecast.planning.events import Events
from forecast.planning.plan import ProductLoss
from forecast.planning.worn import Lives, lives_left, new_lives, ways

MOST = 2_000
"""Pieces of one set that are followed: beyond it each stands for several like it."""

_CELLS = 200_000  # pieces x draws handled at a time
_SOON = 1e-6  # hours: what ends at once ends on the first day that runs


@dataclass(frozen=True, eq=False)
class Looked:
    """What is done about the depth of one set.

    Attributes
    ----------
    level_mm
        Depth from which a piece is changed at the next window that is open; None: by age.
    open_windows
        [windows] in which pieces over that depth are changed on this machine.
    sides
        1, or 2 where a worn piece may be turned once before a spare is drawn.
    turned
        Chance that a first side is turned when it is worn, and when it is changed before.
    loss
        What a worn piece loses in product; None: nothing.
    """

    level_mm: float | None = None
    open_windows: BoolArray | None = None
    sides: int = 1
    turned: tuple[float, float] = (1.0, 1.0)
    loss: ProductLoss | None = None


@dataclass(frozen=True, eq=False)
class _Now:
    """Pieces in place, one a (piece, draw): their lives, and where they stand."""

    draw: IntArray
    at: Array
    lives: Lives
    waits: BoolArray
    side: IntArray
    planned: IntArray
    old: BoolArray
    weight: IntArray

    def take(self, rows: BoolArray) -> _Now:
        lives = Lives(self.lives.worn[rows], self.lives.rate[rows], self.lives.other[rows])
        return _Now(
            self.draw[rows],
            self.at[rows],
            lives,
            self.waits[rows],
            self.side[rows],
            self.planned[rows],
            self.old[rows],
            self.weight[rows],
        )


def follow_pieces(
    law: LifeDraws,
    pieces: Pieces,
    quantity: IntArray,
    hours: Array,
    planned_at: IntArray,
    change_age: Array,
    windows: IntArray,
    rng: np.random.Generator,
    looked: Looked,
    side: IntArray | None = None,
) -> Events:
    """Simulate the pieces of one set until the last day, with their successors and their depth.

    The first arguments are those of :func:`forecast.planning.events.simulate_pieces`. Of a set of
    more than :data:`MOST` pieces so many are followed, each for several like it: the mean stays,
    and the chance of single pieces (a small share of the spread by then) counts for more.

    Parameters
    ----------
    law, pieces, quantity, hours, planned_at, change_age, windows, rng
        As there. Where a depth is looked at, ``change_age`` counts for nothing, and
        ``planned_at`` only for pieces that have a window already.
    looked
        What is done about the depth.
    side
        [rows] the side each piece now wears on, from 0; None: the first.

    Returns
    -------
    Events
        Counts by draw, pieces turned, and product lost.
    """
    run = _Run(law, pieces, hours, change_age, windows, rng, looked)
    rows, weight = _bundles(quantity)
    sides = np.zeros(len(pieces), dtype=np.int64) if side is None else side
    step = max(1, _CELLS // law.draws)
    for first in range(0, len(rows), step):
        some = rows[first : first + step]
        run.whole(pieces.take(some), planned_at[some], sides[some], weight[first : first + step])
    loss = run.loss if looked.loss is not None else None
    return Events(run.unplanned, run.changed, run.turned, run.turned_changed, loss)


def _bundles(quantity: IntArray) -> tuple[IntArray, IntArray]:
    """Return rows to follow, and how many pieces each stands for; they add up to the quantities."""
    total = int(quantity.sum())
    if total <= MOST:
        rows = np.repeat(np.arange(len(quantity)), quantity)
        return rows, np.ones(len(rows), dtype=np.int64)
    followed = np.ceil(quantity * (MOST / total)).astype(np.int64)
    rows = np.repeat(np.arange(len(quantity)), followed)
    number = np.arange(len(rows)) - np.repeat(np.cumsum(followed) - followed, followed)
    whole, rest = np.divmod(quantity, np.maximum(followed, 1))
    return rows, whole[rows] + (number < rest[rows])


class _Run:
    """The state of one simulation: what happened so far."""

    def __init__(
        self,
        law: LifeDraws,
        pieces: Pieces,
        hours: Array,
        change_age: Array,
        windows: IntArray,
        rng: np.random.Generator,
        looked: Looked,
    ) -> None:
        self.law, self.rng, self.looked = law, rng, looked
        self.machine = int(pieces.machine[0])
        self.clock = np.concatenate([[0.0], np.cumsum(hours)])
        self.window_clock = np.append(self.clock[windows + 1], self.clock[-1])  # [-1]: the end
        self.change_age = change_age
        worn, _ = ways(law)
        self.limit = np.full(law.draws, np.inf) if worn is None else worn.limit_mm
        self.unplanned = np.zeros((law.draws, len(hours)), dtype=np.int64)
        self.changed = np.zeros((law.draws, len(windows)), dtype=np.int64)
        self.turned, self.turned_changed = (
            np.zeros_like(self.unplanned),
            np.zeros_like(self.changed),
        )
        self.loss = np.zeros(law.draws)

    def whole(self, pieces: Pieces, planned_at: IntArray, side: IntArray, weight: IntArray) -> None:
        """Follow some pieces in service, and all that come after them."""
        draws = self.law.draws
        lives = lives_left(self.law, pieces, self.rng)
        size = len(pieces) * draws
        now = _Now(
            np.tile(np.arange(draws), len(pieces)),
            np.zeros(size),
            Lives(lives.worn.ravel(), lives.rate.ravel(), lives.other.ravel()),
            np.repeat(pieces.due & ((planned_at >= 0) | self._looks()), draws),
            np.repeat(side, draws),
            np.repeat(planned_at, draws),
            np.ones(size, dtype=bool),
            np.repeat(weight, draws),
        )
        while len(now.draw):
            now = self._next(now)

    def _looks(self) -> bool:
        return self.looked.level_mm is not None

    def _next(self, now: _Now) -> _Now:
        """Carry pieces to their end, their window or the last day; return their successors."""
        window = self._window(now)
        until = self.window_clock[window]
        # a piece known to be at its limit waits for its window: wear does not end it before
        worn = np.where(now.waits & (window >= 0), np.inf, now.lives.worn)
        end = np.maximum(now.at + np.minimum(worn, now.lives.other), now.at)
        changed = (window >= 0) & (end >= until)
        ended = ~changed & (end < self.clock[-1])
        if self.looked.loss is not None:
            self._lose(now, np.minimum(np.where(changed, until, end), self.clock[-1]))
        turns = self._turns(now, changed, worn)
        self._count(now.take(changed), window[changed], turns[changed])
        self._count_days(now.take(ended), end[ended], turns[ended])
        go_on = changed | ended
        left = now.take(go_on)
        start = np.where(changed, until, np.maximum(end, _SOON))[go_on]
        side = np.where(turns, now.side + 1, 0)[go_on]
        machine = np.full(len(start), self.machine, dtype=np.int64)
        lives = new_lives(self.law, machine, left.draw, self.rng)
        none = np.zeros(len(start), dtype=bool)
        unplanned = np.full(len(start), -1, dtype=np.int64)
        return _Now(left.draw, start, lives, none, side, unplanned, none, left.weight)

    def _turns(self, now: _Now, changed: BoolArray, worn: Array) -> BoolArray:
        """Say which first sides are turned when they end: none that broke."""
        turns: BoolArray = (now.side + 1 < self.looked.sides) & (
            changed | (worn <= now.lives.other)
        )
        if turns.any() and min(self.looked.turned) < 1.0:
            when_worn, when_changed = self.looked.turned
            turns &= self.rng.random(len(turns)) < np.where(changed, when_changed, when_worn)
        return turns

    def _window(self, now: _Now) -> IntArray:
        """Return the window in which each piece is changed if it lasts; -1 for none."""
        if self.looked.level_mm is not None:
            window = self._open_after(now, self.looked.level_mm)
        else:
            window = np.where(now.old, -1, self._of_age(now.at))
        return np.where(now.planned >= 0, now.planned, window)

    def _open_after(self, now: _Now, level_mm: float) -> IntArray:
        """Return the first open window in which each piece is found over the depth."""
        allowed = self.looked.open_windows
        numbers = np.flatnonzero(np.zeros(0) if allowed is None else allowed)
        short = (self.limit[now.draw] - level_mm) / now.lives.rate
        over = np.where(now.waits, -np.inf, now.at + now.lives.worn - short)
        over = np.where(np.isnan(over), np.inf, over)
        clocks = self.window_clock[numbers]
        first = np.searchsorted(clocks, over, side="left")
        # what was fitted in a window is not changed in it again
        later = np.where(now.old, 0, np.searchsorted(clocks, now.at, side="right"))
        first = np.maximum(first, later)
        window: IntArray = np.append(numbers, -1)[first]
        return window

    def _of_age(self, start: Array) -> IntArray:
        """Return the window in which pieces fitted at a clock time are of age; -1 for none."""
        window = np.full(len(start), -1, dtype=np.int64)
        for number in np.flatnonzero(np.isfinite(self.change_age))[::-1]:
            at, age = self.window_clock[number], self.change_age[number]
            window[(start < at) & (start + age <= at)] = number
        return window

    def _count(self, now: _Now, window: IntArray, turns: BoolArray) -> None:
        np.add.at(self.changed, (now.draw, window), now.weight)
        here = (now.draw[turns], window[turns])
        np.add.at(self.turned_changed, here, now.weight[turns])

    def _count_days(self, now: _Now, at: Array, turns: BoolArray) -> None:
        days = len(self.clock) - 1
        day = np.searchsorted(self.clock[1:], np.maximum(at, _SOON), side="left")
        cell = now.draw * days + np.clip(day, 0, days - 1)
        for counts, some in ((self.unplanned, slice(None)), (self.turned, turns)):
            # counts are whole and small: as floats they stay exact
            told = np.bincount(cell[some], now.weight[some], minlength=counts.size)
            counts += told.astype(np.int64).reshape(counts.shape)

    def _lose(self, now: _Now, until: Array) -> None:
        """Add the product lost while the pieces are over the depth from which they lose it."""
        loss = self.looked.loss
        assert loss is not None  # noqa: S101
        rate = now.lives.rate
        depth = self.limit[now.draw] - rate * now.lives.worn
        then = depth + rate * np.maximum(until - now.at, 0.0)
        over = (
            np.maximum(then - loss.from_mm, 0.0) ** 2 - np.maximum(depth - loss.from_mm, 0.0) ** 2
        )
        money = np.nan_to_num(loss.per_mm_per_hour * over / (2.0 * rate))
        self.loss += np.bincount(now.draw, money * now.weight, minlength=len(self.loss))
