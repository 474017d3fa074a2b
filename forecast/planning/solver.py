"""Which jobs in which window, so that waiting costs least: a mixed-integer programme (HiGHS).

x[job, window] pieces of a job are done in a window, or never this season; z[machine, window] says
whether a machine is opened, which costs its set-up once however many jobs share it. The pieces
stay continuous and are rounded after: with whole ones the search takes six times as long for the
same plan.

Without the yes or no of z the programme is solved in a second. Its cost is a bound that no plan
goes under, and the machines and windows that it opens at all, few of those there are, hold a good
plan: the search begins among them, and goes on among all only where the gap to the bound is left
wide. So there is a plan in seconds, and every plan has a gap.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from forecast.planning.draws import Array, BoolArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

TIME_LIMIT_S: Final = 30.0
GAP: Final = 0.01
"""Share of the cost by which a plan may miss the best one."""

CLOSE: Final = 0.02
"""Gap from which all machines and windows are searched; one under it costs less than it brings."""

_NODES = 20  # of the search among few: ends it at the same point on any computer
_ALL_NODES = 1  # of the search among all: the root's cuts and guesses bring nearly all there is
_SOME = 0.01  # share of a machine opened in a window without yes or no, from which it is searched
_OPENING = 1e-3  # share of the mean job's cost that opening a machine costs: ties only


@dataclass(frozen=True, eq=False)
class Job:
    """Equal pieces of one part type on one machine that are due in the same window.

    Attributes
    ----------
    machine, part
        Numbers of both.
    pieces
        How many.
    minutes
        Crew minutes for one.
    spares
        How many of a part type's spares one takes: 0 where a first side is turned.
    cost
        [windows + 1] cost of doing one piece in each window, the last column never; infinite
        where it cannot be done.
    """

    machine: int
    part: int
    pieces: int
    minutes: float
    spares: int
    cost: Array


@dataclass(frozen=True, eq=False)
class Order:
    """A plan of the work.

    Attributes
    ----------
    pieces
        [jobs, windows + 1] whole pieces.
    cost
        Of the plan before rounding.
    bound
        Cost that no plan goes under, as the solver proved it.
    opening
        Part of the cost for each machine opened in a window; small, it breaks ties.
    variables
        Size of the programme.
    in_time
        False: the clock ended the search, and another computer may find another plan.
    """

    pieces: IntArray
    cost: float
    bound: float
    opening: float
    variables: int
    in_time: bool = True

    @property
    def gap(self) -> float:
        """Share by which the best plan could be cheaper."""
        return share_over(self.cost, self.bound)


def share_over(cost: float, bound: float) -> float:
    """Return the share of a cost by which it lies over a bound.

    Parameters
    ----------
    cost, bound
        Of a plan, and under which no plan goes.
    """
    return max(cost - bound, 0.0) / cost if cost > 0 else 0.0


def easy_bound(jobs: Sequence[Job]) -> float:
    """Return a cost that no plan goes under: every piece in its cheapest window.

    Parameters
    ----------
    jobs
        What is to be done.
    """
    return float(sum(job.pieces * job.cost.min() for job in jobs))


def best_order(
    jobs: Sequence[Job],
    crew_minutes: Array,
    setup_minutes: float,
    shelf: Array,
    time_limit_s: float = TIME_LIMIT_S,
    gap: float = GAP,
    close: float = CLOSE,
) -> Order | None:
    """Return the cheapest order of the work that was found; None if none was found in time.

    The search ends at a gap, or after a number of nodes: at the same plan on any computer. One
    that the clock ends first gives the best plan so far, and says so.

    Parameters
    ----------
    jobs
        What is to be done.
    crew_minutes
        [windows] minutes there are; infinite where the plan does not say.
    setup_minutes
        Once for each machine opened in a window.
    shelf
        [parts, windows] spares that may be taken up to each window; infinite for no limit.
    time_limit_s
        When to stop looking.
    gap, close
        At which to stop, among few machines and windows or among all, and at which not to begin
        among all.
    """
    if not jobs:
        return None
    programme = _Programme(jobs, crew_minutes, setup_minutes, shelf)
    until = time.monotonic() + time_limit_s
    loose = _solved(programme, until, gap, loose=True)
    if loose.x is None:
        return None
    best, bound, in_time = loose, float(loose.fun), True
    if programme.partly(loose.x).any():
        few = _solved(programme, until, gap, _NODES, among=loose.x)
        best, in_time = few, not _timed_out(few)
        if few.x is None or share_over(few.fun, bound) > close:
            every = _solved(programme, until, gap, _ALL_NODES)
            in_time = in_time and not _timed_out(every)
            if every.mip_dual_bound is not None:
                bound = max(bound, float(every.mip_dual_bound))
            if every.x is not None and (few.x is None or every.fun < few.fun):
                best = every
    if best.x is None:
        return None
    pieces = _rounded(programme, jobs, best.x, len(crew_minutes))
    size = len(programme.cost)
    return Order(pieces, float(best.fun), bound, programme.opening, size, in_time)


def _solved(
    programme: _Programme,
    until: float,
    gap: float,
    nodes: int = 0,
    among: Array | None = None,
    loose: bool = False,
) -> Any:
    """Solve a programme: without yes or no (loose), or with it, all or what another one opens."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    upper = programme.upper
    options: Any = {"time_limit": max(until - time.monotonic(), 0.0), "mip_rel_gap": gap}
    if among is not None:
        upper = np.where((programme.whole > 0) & (among < _SOME), 0.0, upper)
    if not loose:
        options["node_limit"] = nodes
    return milp(
        programme.cost,
        constraints=LinearConstraint(programme.matrix(), -np.inf, programme.most),
        integrality=None if loose else programme.whole,
        bounds=Bounds(0, upper),
        options=options,
    )


def _timed_out(found: Any) -> bool:
    return bool(found.status == 1 and "time" in str(found.message).lower())


class _Programme:
    """Rows and columns of the programme; only windows a job can be done in have a column."""

    def __init__(
        self, jobs: Sequence[Job], crew_minutes: Array, setup_minutes: float, shelf: Array
    ) -> None:
        costs = np.stack([job.cost for job in jobs])
        self.job, self.window = np.nonzero(np.isfinite(costs))
        self.count = np.array([job.pieces for job in jobs], dtype=np.float64)
        machine = np.array([job.machine for job in jobs], dtype=np.int64)
        windows = len(crew_minutes)
        here = self.window < windows
        pairs = machine[self.job[here]] * windows + self.window[here]
        self.opened, opening = np.unique(pairs, return_inverse=True)
        size, more = len(self.job), len(self.opened)
        tie = _OPENING * float(np.mean(np.where(np.isfinite(costs), costs, 0.0)))
        self.opening = max(tie, 1e-9)
        self.cost = np.concatenate([costs[self.job, self.window], np.full(more, self.opening)])
        self.upper = np.concatenate([self.count[self.job], np.ones(more)])
        self.whole = np.concatenate([np.zeros(size), np.ones(more)])
        self.entries: list[tuple[IntArray, IntArray, Array]] = []
        self.most = np.zeros(0)
        column = np.arange(size)
        # each job is done, or never: written as two rows, at most and at least
        for sign in (1.0, -1.0):
            self._add(self.job, column, np.full(size, sign), sign * self.count)
        # no job without its machine open
        rows = np.arange(int(here.sum()))
        columns = np.concatenate([column[here], size + opening])
        values = np.concatenate([np.ones(len(rows)), -self.count[self.job[here]]])
        self._add(np.tile(rows, 2), columns, values, np.zeros(len(rows)))
        self._crew(jobs, crew_minutes, setup_minutes, here, size)
        self._machine_crew(jobs, crew_minutes, setup_minutes, here, opening)
        self._shelf(jobs, shelf, here)

    def matrix(self) -> csr_matrix:
        """Return every row as one sparse matrix."""
        from scipy.sparse import csr_matrix

        rows, columns, values = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        return csr_matrix((values, (rows, columns)), shape=(len(self.most), len(self.cost)))

    def partly(self, x: Array) -> BoolArray:
        """Say which yes-or-no columns a solution leaves in between."""
        share = x[self.whole > 0]
        between: BoolArray = (share > 1e-6) & (share < 1.0 - 1e-6)
        return between

    def _add(self, rows: IntArray, columns: IntArray, values: Array, most: Array) -> None:
        self.entries.append((rows + len(self.most), columns, values))
        self.most = np.concatenate([self.most, most])

    def _crew(
        self, jobs: Sequence[Job], crew: Array, setup: float, here: BoolArray, size: int
    ) -> None:
        minutes = np.array([job.minutes for job in jobs])
        limited = np.flatnonzero(np.isfinite(crew))
        row_of = np.full(len(crew), -1, dtype=np.int64)
        row_of[limited] = np.arange(len(limited))
        columns = np.flatnonzero(here)
        opened = self.opened % len(crew)
        rows = np.concatenate([row_of[self.window[columns]], row_of[opened]])
        every = np.concatenate([columns, size + np.arange(len(opened))])
        values = np.concatenate([minutes[self.job[columns]], np.full(len(opened), setup)])
        keep = rows >= 0
        self._add(rows[keep], every[keep], values[keep], np.maximum(crew[limited], 0.0))

    def _machine_crew(
        self,
        jobs: Sequence[Job],
        crew: Array,
        setup: float,
        here: BoolArray,
        opening: IntArray,
    ) -> None:
        """Give an opened machine no more minutes than its window has beside its set-up."""
        columns = np.flatnonzero(here)
        minutes = np.array([job.minutes for job in jobs])[self.job[columns]]
        most = np.bincount(opening, minutes * self.count[self.job[columns]])
        left = np.maximum(crew[self.opened % len(crew)] - setup, 0.0)
        rows = np.flatnonzero(left < most)
        row_of = np.full(len(most), -1, dtype=np.int64)
        row_of[rows] = np.arange(len(rows))
        keep = row_of[opening] >= 0
        self._add(
            np.concatenate([row_of[opening[keep]], np.arange(len(rows))]),
            np.concatenate([columns[keep], len(self.job) + rows]),
            np.concatenate([minutes[keep], -left[rows]]),
            np.zeros(len(rows)),
        )

    def _shelf(self, jobs: Sequence[Job], shelf: Array, here: BoolArray) -> None:
        part = np.array([job.part for job in jobs], dtype=np.int64)
        spares = np.array([job.spares for job in jobs], dtype=np.float64)
        for number, window in np.argwhere(np.isfinite(shelf)):
            columns = np.flatnonzero(here & (part[self.job] == number) & (self.window <= window))
            rows = np.zeros(len(columns), dtype=np.int64)
            limit = np.array([max(float(shelf[number, window]), 0.0)])
            self._add(rows, columns, spares[self.job[columns]], limit)


def _rounded(programme: _Programme, jobs: Sequence[Job], x: Array, windows: int) -> IntArray:
    """Round the pieces of each job so that its total stays, early windows first."""
    share = np.zeros((len(jobs), windows + 1))
    share[programme.job, programme.window] = x[: len(programme.job)]
    upto = np.floor(np.cumsum(share, axis=1) + 0.5 + 1e-6)
    upto[:, -1] = programme.count
    return np.diff(np.minimum(upto, programme.count[:, None]), axis=1, prepend=0.0).astype(np.int64)
