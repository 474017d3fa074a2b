"""A better order of the work where crew hours or spares run short."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, IntArray
from forecast.planning.filler import Filler
from forecast.planning.fleet import Fleet
from forecast.planning.plan import Plan
from forecast.planning.rules import change_costs
from forecast.planning.shelf import Shelf
from forecast.planning.solver import Job, Order, best_order, easy_bound, share_over
from forecast.planning.worn import thin
from forecast.records.words import percent

DEARER = 5.0
"""Times a planned change that a failure is taken to cost where the plan does not say."""

_EARLY = 2  # windows by which a job may be done before it is due


@dataclass(frozen=True, eq=False)
class _Known:
    """A job, the rows it stands for (most urgent first), and the window in which they are due."""

    job: Job
    fleet: int
    rows: IntArray
    due: int


@dataclass(frozen=True, eq=False)
class Ordered:
    """The windows that were filled, and how.

    Attributes
    ----------
    filler
        Filled.
    method
        ``as due`` (all fits), ``most urgent first`` or ``HiGHS``.
    said
        What a person should know about it; empty where all fits.
    due
        By fleet: [rows] window in which each row comes due, were there crew and spares enough;
        -1 for none. Empty where all fits.
    """

    filler: Filler
    method: str
    said: str
    due: tuple[IntArray, ...] = ()


def in_order(
    make: Callable[..., Filler],
    fleets: Sequence[Fleet],
    calendar: Calendar,
    plan: Plan,
    unit_costs: Mapping[str, float | None],
    shelf: Shelf,
    solve: Callable[..., Order | None] = best_order,
) -> Ordered:
    """Fill the windows, and look for a better order of the work where not all of it fits.

    Parameters
    ----------
    make
        Makes a filler with ``shelf``, ``wish`` and ``limits``.
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    unit_costs
        By part type; None (or NaN) where nobody gave one.
    shelf
        Spares that planned change-outs may take.
    solve
        The solver.
    """
    urgent = make(shelf=shelf).fill_all()
    if not urgent.waiting or not calendar.windows:
        return Ordered(urgent, "as due", "")
    free = make(shelf=None, limits=False).fill_all()
    jobs = _jobs(fleets, calendar, plan, unit_costs, free.planned_at)
    names = sorted(shelf)
    limits = np.full((len(names), len(calendar.windows)), np.inf)
    for at, name in enumerate(names):
        limits[at] = shelf[name][1:]
    crew = np.array([window.crew_hours * 60.0 for window in calendar.windows])
    found = solve([one.job for one in jobs], crew, plan.windows.machine_setup_minutes, limits)
    before = _cost(jobs, urgent)
    size = f"{sum(one.job.pieces for one in jobs)} pieces in {len(calendar.windows)} windows"
    if found is None:
        share = share_over(before, easy_bound([one.job for one in jobs]))
        return Ordered(
            urgent,
            "most urgent first",
            f"{size} do not all fit when due; no better order in time; "
            f"gap at most {percent(share, 1)}",
            tuple(free.planned_at),
        )
    better = make(shelf=shelf, wish=_wishes(fleets, jobs, found)).fill_all()
    after = _cost(jobs, better)
    chosen, cost = (better, after) if after < before else (urgent, before)
    cost += found.opening * _opened(jobs, chosen)
    told = (
        f"{size} do not all fit when due; gap {percent(share_over(cost, found.bound), 1)}, "
        f"{found.variables} variables; waiting costs {min(after, before):.0f}"
    )
    if not found.in_time:
        told += "; the clock ended the search: another computer may find another order"
    if after < before:
        told = f"{told}, most urgent first {before:.0f}"
        return Ordered(better, "HiGHS", told, tuple(free.planned_at))
    told = f"{told}, the solver's order {after:.0f}"
    return Ordered(urgent, "most urgent first", told, tuple(free.planned_at))


def _jobs(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    plan: Plan,
    unit_costs: Mapping[str, float | None],
    due: Sequence[IntArray],
) -> list[_Known]:
    """Return the work as it would come due if nothing held it back."""
    part_of = {name: at for at, name in enumerate(sorted({one.part_type for one in fleets}))}
    jobs = []
    for number, fleet in enumerate(fleets):
        part = plan.for_part_type(fleet.part_type)
        planned, unplanned = change_costs(part, unit_costs.get(fleet.part_type))
        if planned is None or unplanned is None:
            planned, unplanned = 1.0, DEARER
        rows = np.flatnonzero(due[number] > 0)
        if not len(rows):
            continue
        ends = _ends(fleet, calendar, rows)
        dearer = max(unplanned - planned, 0.1 * planned, 1e-6)
        first = int(fleet.pieces.machine[rows[0]])
        grid = _GRID * fleet.pace(first)
        mean = float(np.exp(-fleet.law.hazard(first, grid)).mean(axis=1).sum() * grid[0])
        hour_cost = planned / max(mean, fleet.pace(first))
        keys = zip(fleet.pieces.machine[rows], due[number][rows], strict=True)
        groups: dict[tuple[int, int], list[int]] = {}
        for at, key in enumerate(keys):
            groups.setdefault((int(key[0]), int(key[1])), []).append(at)
        for (machine, window), members in sorted(groups.items()):
            mine = rows[members]
            pieces = fleet.quantity[mine]
            chance = (pieces[:, None] * ends[members]).sum(axis=0) / pieces.sum()
            cost = _waiting_cost(fleet, calendar, machine, window - 1, chance, dearer, hour_cost)
            spare = int(fleet.takes_spare[mine].any())
            job = Job(
                machine, part_of[fleet.part_type], int(pieces.sum()), part.minutes, spare, cost
            )
            order = np.lexsort((mine, -ends[members][:, window - 1]))
            jobs.append(_Known(job, number, mine[order], window))
    return jobs


_GRID: Array = np.linspace(200.0, 40_000.0, 200)  # hours over which a mean life is summed


def _ends(fleet: Fleet, calendar: Calendar, rows: IntArray) -> Array:
    """Return the chance [rows, windows + 1] to end before each window, and before the end."""
    law = thin(fleet.law)
    pieces = fleet.pieces.take(rows)
    days = [*(window.day for window in calendar.windows), len(calendar.days) - 1]
    ends = np.empty((len(rows), len(days)))
    for at, day in enumerate(days):
        ends[:, at] = 1.0 - law.survival(pieces, fleet.ahead(day)[rows]).mean(axis=1)
    # what is read at its limit may end any day: waiting costs it the most
    ends[pieces.due] = np.linspace(0.5, 1.0, len(days))
    return ends


def _waiting_cost(
    fleet: Fleet,
    calendar: Calendar,
    machine: int,
    due: int,
    ends: Array,
    dearer: float,
    hour_cost: float,
) -> Array:
    """Return the cost of one piece in each window and never: of life lost, or of failing first."""
    windows = len(calendar.windows)
    cost = np.full(windows + 1, np.inf)
    stops = calendar.machine_windows(calendar.lines[machine])
    clock = np.cumsum(calendar.hours[machine]) * fleet.pace(machine)
    for number in range(max(due - _EARLY, 0), windows):
        if not stops[number]:
            continue
        hours = clock[calendar.windows[due].day] - clock[calendar.windows[number].day]
        late = max(float(ends[number] - ends[due]), 0.0)
        tie = 1e-4 * dearer * max(number - due, 0)
        cost[number] = hour_cost * max(float(hours), 0.0) + dearer * late + tie
    never = max(float(ends[-1] - ends[due]), 0.0)
    cost[-1] = dearer * (never + 2e-4 * (windows + 1))
    return cost


def _wishes(fleets: Sequence[Fleet], jobs: Sequence[_Known], order: Order) -> list[IntArray]:
    """Return by fleet the window wished for each row; the most urgent rows of a job go first."""
    wish = [np.full(len(fleet.pieces), -1, dtype=np.int64) for fleet in fleets]
    for known, pieces in zip(jobs, order.pieces, strict=True):
        upto = np.cumsum(fleets[known.fleet].quantity[known.rows])
        done = np.cumsum(pieces[:-1])
        at = np.searchsorted(done, upto, side="left")
        wish[known.fleet][known.rows] = np.where(at < len(done), at + 1, -1)
    return wish


def _cost(jobs: Sequence[_Known], filler: Filler) -> float:
    """Return what waiting (and being early) costs in a plan of the work."""
    total = 0.0
    for known in jobs:
        at = filler.planned_at[known.fleet][known.rows]
        pieces = filler.fleets[known.fleet].quantity[known.rows]
        each = known.job.cost[np.where(at > 0, at - 1, len(known.job.cost) - 1)]
        total += float(pieces @ np.where(np.isfinite(each), each, known.job.cost[-1]))
    return total


def _opened(jobs: Sequence[_Known], filler: Filler) -> int:
    """Return how often a plan of the work opens a machine."""
    opened = set()
    for known in jobs:
        at = filler.planned_at[known.fleet][known.rows]
        opened |= {(known.job.machine, int(window)) for window in at[at > 0]}
    return len(opened)
