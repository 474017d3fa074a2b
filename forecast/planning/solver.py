"""Which jobs in which window, so that waiting costs least: a mixed-integer programme (HiGHS).

x[job, window] pieces of a job are done in a window, or never this season; z[machine, window] says
whether a machine is opened, which costs its set-up once however many jobs share it. The pieces
stay continuous and are rounded after: with whole ones the search takes six times as long for the
same plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from forecast.planning.draws import Array, BoolArray, IntArray

if TYPE_CHECKING:
    from scipy.sparse import csr_matrix

TIME_LIMIT_S: Final = 30.0
GAP: Final = 0.01
"""Share of the cost by which a plan may miss the best one."""

_NODES = 2_000  # of the search: ends it at the same point on any computer
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
    gap
        Share by which the best plan could be cheaper, as the solver proved it.
    variables
        Size of the programme.
    """

    pieces: IntArray
    cost: float
    gap: float
    variables: int


def best_order(
    jobs: Sequence[Job],
    crew_minutes: Array,
    setup_minutes: float,
    shelf: Array,
    time_limit_s: float = TIME_LIMIT_S,
    gap: float = GAP,
) -> Order | None:
    """Return the cheapest order of the work that was found; None if none was, or not in time.

    A search that the clock ends would give other plans on slower computers, so it gives none:
    the caller then keeps to the most urgent first.

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
    time_limit_s, gap
        When to stop looking.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp

    if not jobs:
        return None
    programme = _Programme(jobs, crew_minutes, setup_minutes, shelf)
    found = milp(
        programme.cost,
        constraints=LinearConstraint(programme.matrix(), -np.inf, programme.most),
        integrality=programme.whole,
        bounds=Bounds(0, programme.upper),
        options={"time_limit": time_limit_s, "mip_rel_gap": gap, "node_limit": _NODES},
    )
    timed_out = found.status == 1 and "time" in str(found.message).lower()
    if found.x is None or timed_out:
        return None
    pieces = _rounded(programme, jobs, found.x, len(crew_minutes))
    reached = 0.0 if found.mip_gap is None else float(found.mip_gap)
    return Order(pieces, float(found.fun), reached, len(programme.cost))


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
        self.cost = np.concatenate([costs[self.job, self.window], np.full(more, max(tie, 1e-9))])
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
        self._shelf(jobs, shelf, here)

    def matrix(self) -> csr_matrix:
        """Return every row as one sparse matrix."""
        from scipy.sparse import csr_matrix

        rows, columns, values = (np.concatenate(part) for part in zip(*self.entries, strict=True))
        return csr_matrix((values, (rows, columns)), shape=(len(self.most), len(self.cost)))

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
