"""Season demand of every part type, path by path."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.cohorts import simulate_cohorts, suits_cohorts
from forecast.planning.draws import Array, IntArray, LifeDraws, Pieces
from forecast.planning.events import Events, simulate_pieces
from forecast.planning.fleet import Fleet
from forecast.planning.follow import Looked, follow_pieces
from forecast.planning.seeds import generator
from forecast.planning.windows import OVERHAUL, Schedule
from forecast.work import HERE, Work

LEVELS: Final = {"p05": 0.05, "p50": 0.5, "p80": 0.8, "p90": 0.9, "p95": 0.95}
_MACHINES = 12  # in one task


@dataclass(frozen=True, eq=False)
class DemandPaths:
    """The demand of one part type on every season path; buying, stops and costs come from it.

    Attributes
    ----------
    part_type
        Its name.
    unplanned, planned, overhaul
        [draws, days] spares used: for pieces that ended by themselves, that were changed in
        windows, and before the season.
    changes
        Change-outs by machine, place and window (number in the calendar): mean, low and high
        (5 and 95 %) over the paths; pieces that are only turned count.
    turned
        [draws, days] pieces that ended by themselves and were only turned; None: none.
    turned_planned
        [draws, days] pieces that were turned in a window or the overhaul; None: none.
    loss
        [draws] product lost to wear, in money; None: the plan asks for none.
    """

    part_type: str
    unplanned: IntArray
    planned: IntArray
    overhaul: IntArray
    changes: pd.DataFrame
    turned: IntArray | None = None
    turned_planned: IntArray | None = None
    loss: Array | None = None

    @property
    def total(self) -> IntArray:
        """[draws, days] pieces used, whatever the reason."""
        return self.unplanned + self.planned + self.overhaul

    @property
    def ended(self) -> IntArray:
        """[draws, days] pieces that ended by themselves, spare used or not: what may stop."""
        return self.unplanned if self.turned is None else self.unplanned + self.turned


@dataclass(frozen=True, eq=False)
class _Set:
    names: tuple[str, ...]
    pieces: Pieces
    quantity: IntArray
    hours: Array
    planned_at: IntArray
    change_age: Array
    looked: Looked | None
    side: IntArray


@dataclass(frozen=True, eq=False)
class _Task:
    law: LifeDraws
    sets: tuple[_Set, ...]
    windows: IntArray
    seed: int


@dataclass(frozen=True, eq=False)
class _Outcome:
    unplanned: IntArray
    planned: IntArray
    overhaul: IntArray
    turned: IntArray | None
    turned_planned: IntArray | None
    loss: Array | None
    changes: list[tuple[str, str, int, float, int, int]]


def demand_paths(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    schedule: Schedule,
    seed: int,
    work: Work = HERE,
) -> dict[str, DemandPaths]:
    """Simulate every set of every fleet.

    A set is followed piece by piece; one of thousands of equal pieces by cohorts, which cost less
    there; and with its wear depth where a policy looks at it, where pieces have two sides, or
    where worn ones lose product.
    Each set has a stream of its own, named by part type, duty group, machine, place and kit:
    the paths are the same in one process or many, and stay when another set joins.

    Parameters
    ----------
    fleets, calendar, schedule
        What is in service, the days ahead, and when pieces are changed.
    seed
        Of the forecast.
    work
        Who computes.

    Returns
    -------
    dict
        By part type, sorted.
    """
    tasks: list[_Task] = []
    names: list[str] = []
    for number, fleet in enumerate(fleets):
        for task in _tasks(fleet, schedule, number, calendar, seed):
            tasks.append(task)
            names.append(fleet.part_type)
    outcomes = work.map(_simulate, tasks, "simulating the season")
    shape = (fleets[0].law.draws if fleets else 1, len(calendar.days))
    found = {}
    for name in sorted({fleet.part_type for fleet in fleets}):
        mine = [outcome for of, outcome in zip(names, outcomes, strict=True) if of == name]
        found[name] = _joined(name, mine, shape, schedule)
    return found


def season_totals(paths: Mapping[str, DemandPaths]) -> pd.DataFrame:
    """Return the result ``season_totals``: pieces used from the day after ``as_of`` to the end.

    Parameters
    ----------
    paths
        By part type.
    """
    rows = []
    for name, of in paths.items():
        total = of.total.sum(axis=1)
        kinds = {
            kind: getattr(of, kind).sum(axis=1).mean()
            for kind in ("planned", "unplanned", "overhaul")
        }
        rows.append({"part_type": name, "mean": total.mean(), **_levels(total), **kinds})
    columns = ["part_type", "mean", *LEVELS, "planned", "unplanned", "overhaul"]
    return pd.DataFrame(rows, columns=columns)


def demand_table(paths: Mapping[str, DemandPaths], calendar: Calendar) -> pd.DataFrame:
    """Return the result ``demand``: pieces used by part type, week and kind.

    Weekly quantiles do not add up over the weeks; ``cumulative_low`` and ``cumulative_high`` are
    a band that holds the whole cumulative path with 90 %. ``cumulative_p05`` and
    ``cumulative_p95`` hold the sum up to one week, chosen beforehand, with 90 %: narrower, and
    left by more paths somewhere.

    Parameters
    ----------
    paths
        By part type.
    calendar
        The days ahead.
    """
    weeks = calendar.weeks
    rows: list[dict[str, Any]] = []
    for name, of in paths.items():
        for kind in ("total", "planned", "unplanned", "overhaul"):
            weekly = by_week(getattr(of, kind), calendar)
            summed = np.cumsum(weekly, axis=1)
            low, high = simultaneous_band(summed)
            least, most = np.quantile(summed, [0.05, 0.95], axis=0, method="inverted_cdf")
            levels = _levels(weekly)
            for number, week in enumerate(weeks):
                rows.append(
                    {
                        "part_type": name,
                        "week": week,
                        "kind": kind,
                        "mean": weekly[:, number].mean(),
                        **{level: values[number] for level, values in levels.items()},
                        "cumulative_low": low[number],
                        "cumulative_high": high[number],
                        "cumulative_p05": least[number],
                        "cumulative_p95": most[number],
                    }
                )
    summed_up = [f"cumulative_{end}" for end in ("low", "high", "p05", "p95")]
    columns = ["part_type", "week", "kind", "mean", *LEVELS, *summed_up]
    return pd.DataFrame(rows, columns=columns)


def middle_band(paths: Mapping[str, DemandPaths], calendar: Calendar) -> pd.DataFrame:
    """Return the exhibit ``middle_band``: what half of all seasons stay in from start to end.

    Pieces of all kinds, summed up to the end of each week, as ``cumulative_low`` and
    ``cumulative_high`` of :func:`demand_table` are with 90 %.

    Parameters
    ----------
    paths
        By part type.
    calendar
        The days ahead.
    """
    rows = []
    for name, of in paths.items():
        summed = np.cumsum(by_week(of.total, calendar), axis=1)
        low, high = simultaneous_band(summed, 0.5)
        rows += [(name, week, int(low[n]), int(high[n])) for n, week in enumerate(calendar.weeks)]
    return pd.DataFrame(rows, columns=["part_type", "week", "low", "high"])


def by_week(daily: IntArray, calendar: Calendar) -> IntArray:
    """Sum days to weeks [draws, weeks]."""
    starts = np.flatnonzero(np.diff(calendar.week_of, prepend=-1))
    weekly: IntArray = np.add.reduceat(daily, starts, axis=1)
    return weekly


def simultaneous_band(paths: IntArray, level: float = 0.90) -> tuple[IntArray, IntArray]:
    """Return a band that holds a whole path with probability `level`.

    A path is as extreme as its most extreme point: the least share of paths at or under it, or at
    or over it. The paths that are less extreme than the others span the band.

    Parameters
    ----------
    paths
        [draws, times] counts, for example cumulative demand.
    level
        Share of paths inside at every time.
    """
    extreme = np.full(len(paths), np.inf)
    for counts in paths.T:
        seen = counts - counts.min()
        size = np.bincount(seen)
        under = np.cumsum(size)
        over = len(paths) - under + size
        extreme = np.minimum(extreme, np.minimum(under, over)[seen])
    order = np.argsort(-extreme, kind="stable")
    inside = paths[order[: int(np.ceil(level * len(paths)))]]
    return inside.min(axis=0), inside.max(axis=0)


def _levels(values: IntArray) -> dict[str, Any]:
    """Return the quantiles over the paths: values that occurred, never between two."""
    found = np.quantile(values, list(LEVELS.values()), axis=0, method="inverted_cdf")
    return dict(zip(LEVELS, found, strict=True))


def _tasks(
    fleet: Fleet, schedule: Schedule, number: int, calendar: Calendar, seed: int
) -> list[_Task]:
    """Cut a fleet into tasks by machine; sets that neither run nor change are left out."""
    planned_at = schedule.planned_at[number]
    sets: dict[int, list[_Set]] = {}
    for unit in np.unique(fleet.unit):
        rows = np.flatnonzero(fleet.unit == unit)
        if not fleet.hours[unit].any() and (planned_at[rows] < 0).all():
            continue
        machine = int(fleet.pieces.machine[rows[0]])
        first = fleet.table.iloc[rows[0]]
        names = (
            fleet.part_type,
            fleet.duty_group,
            calendar.machines[machine],
            str(first["place"]),
            str(first["kit"]),
        )
        sets.setdefault(machine, []).append(
            _Set(
                names,
                _waiting(fleet.pieces.take(rows), planned_at[rows]),
                fleet.quantity[rows],
                fleet.hours[unit],
                planned_at[rows],
                schedule.change_age[fleet.part_type][machine],
                _looked(fleet, schedule, number, machine),
                fleet.side[rows],
            )
        )
    machines = sorted(sets)
    blocks = [machines[at : at + _MACHINES] for at in range(0, len(machines), _MACHINES)]
    return [
        _Task(fleet.law, tuple(one for m in block for one in sets[m]), schedule.windows, seed)
        for block in blocks
    ]


def _looked(fleet: Fleet, schedule: Schedule, number: int, machine: int) -> Looked | None:
    """Return what is done about the depth of a machine's pieces; None where nothing is."""
    level = schedule.level_of(number, machine)
    if level is None and fleet.sides == 1 and fleet.loss is None:
        return None
    of_machine = fleet.turns[fleet.pieces.machine == machine]
    turned = (float(of_machine[0, 0]), float(of_machine[0, 1]))
    return Looked(level, schedule.open_of(number, machine), fleet.sides, turned, fleet.loss)


def _waiting(pieces: Pieces, planned_at: IntArray) -> Pieces:
    """Return pieces of which only those with a window wait for it; the others end when worn."""
    return replace(pieces, due=pieces.due & (planned_at >= 0))


def _simulate(task: _Task) -> _Outcome:
    """Simulate the sets of one task, each from its own stream."""
    days = len(task.sets[0].hours)
    shape = (task.law.draws, days)
    unplanned, planned, overhaul = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    turned: IntArray | None = None
    turned_planned: IntArray | None = None
    loss: Array | None = None
    changed: dict[tuple[str, str], IntArray] = {}
    for one in task.sets:
        events = _events(task, one)
        unplanned += events.unplanned
        spares = events.changed
        if events.turned is not None and events.turned_changed is not None:
            unplanned -= events.turned
            spares = spares - events.turned_changed
            turned = _sum(turned, events.turned)
            by_day = Events(events.turned, events.turned_changed).planned(task.windows, days)
            turned_planned = _sum(turned_planned, by_day)
        if events.loss is not None:
            loss = events.loss if loss is None else loss + events.loss
        for number, day in enumerate(task.windows):
            kind = overhaul if number == OVERHAUL else planned
            kind[:, day] += spares[:, number]
        place = (one.names[2], one.names[3])
        changed[place] = changed.get(place, 0) + events.changed
    changes = [row for place in sorted(changed) for row in _changes(place, changed[place])]
    return _Outcome(unplanned, planned, overhaul, turned, turned_planned, loss, changes)


def _events(task: _Task, one: _Set) -> Events:
    """Simulate one set with the engine that suits it."""
    arguments = (
        task.law,
        one.pieces,
        one.quantity,
        one.hours,
        one.planned_at,
        one.change_age,
        task.windows,
        generator(task.seed, *one.names),
    )
    if one.looked is not None:
        return follow_pieces(*arguments, one.looked, one.side)
    return (simulate_cohorts if suits_cohorts(one.quantity) else simulate_pieces)(*arguments)


def _sum(whole: IntArray | None, part: IntArray) -> IntArray:
    return part if whole is None else whole + part


def _changes(
    place: tuple[str, str], changed: IntArray
) -> list[tuple[str, str, int, float, int, int]]:
    """Return mean, 5 % and 95 % of the change-outs of each window after the overhaul."""
    found = []
    for number in range(1, changed.shape[1]):
        count = changed[:, number]
        if count.any():
            low, high = np.quantile(count, [0.05, 0.95], method="inverted_cdf")
            found.append((*place, number - 1, float(count.mean()), int(low), int(high)))
    return found


def _joined(
    name: str, outcomes: Sequence[_Outcome], shape: tuple[int, int], schedule: Schedule
) -> DemandPaths:
    unplanned, planned, overhaul = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    turned: IntArray | None = None
    turned_planned: IntArray | None = None
    loss: Array | None = None
    changes: list[tuple[str, str, int, float, int, int]] = []
    for outcome in outcomes:
        if outcome.turned is not None and outcome.turned_planned is not None:
            turned = _sum(turned, outcome.turned)
            turned_planned = _sum(turned_planned, outcome.turned_planned)
        if outcome.loss is not None:
            loss = outcome.loss if loss is None else loss + outcome.loss
        unplanned += outcome.unplanned
        planned += outcome.planned
        overhaul += outcome.overhaul
        changes += outcome.changes
    overhaul = _spread(overhaul, int(schedule.windows[OVERHAUL]), schedule.overhaul_until)
    columns = ["machine", "place", "window", "mean", "low", "high"]
    table = pd.DataFrame(changes, columns=columns)
    table = table.groupby(["machine", "place", "window"], as_index=False, sort=True).sum()
    return DemandPaths(name, unplanned, planned, overhaul, table, turned, turned_planned, loss)


def _spread(overhaul: IntArray, first: int, until: int) -> IntArray:
    """Spread what the overhaul uses evenly over its days: nobody changes it all on the first."""
    share = np.arange(1, until - first + 2) / (until - first + 1)
    upto = np.floor(overhaul.sum(axis=1)[:, None] * share + 1e-9).astype(np.int64)
    spread = np.zeros_like(overhaul)
    spread[:, first : until + 1] = np.diff(upto, axis=1, prepend=0)
    return spread
