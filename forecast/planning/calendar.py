"""Days, running hours and windows from the day after ``as_of`` to the season's end."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.errors import PlanError
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.plan import WEEKDAYS, Plan

_DAYS_LEFT_OUT = 7  # the running log may leave out days on which nothing runs, not more


@dataclass(frozen=True)
class Window:
    """A stop in which parts can be changed; change-outs are done at the end of its day.

    Attributes
    ----------
    day
        Index into the days of the calendar.
    on
        The date.
    line
        The line that stops; None for all.
    crew_hours
        What the crew can do in it; infinite where the plan does not say.
    """

    day: int
    on: date
    line: str | None
    crew_hours: float


@dataclass(frozen=True, eq=False)
class Calendar:
    """The days ahead.

    Attributes
    ----------
    as_of
        The day the forecast starts from; the first day ahead is the next one.
    days
        Every day from the day after ``as_of`` to the season's end.
    machines, lines
        Every machine, sorted, and its line ("" where none is known).
    hours
        [machines, days] running hours, after the days out of use.
    in_season
        [days] whether a day belongs to the season.
    windows
        In the order of their days.
    """

    as_of: date
    days: tuple[date, ...]
    machines: tuple[str, ...]
    lines: tuple[str, ...]
    hours: Array
    in_season: BoolArray
    windows: tuple[Window, ...]

    @property
    def weeks(self) -> tuple[date, ...]:
        """The Monday of each week that has a day ahead."""
        return tuple(sorted({monday(day) for day in self.days}))

    @property
    def week_of(self) -> IntArray:
        """[days] index of each day's week."""
        number = {week: at for at, week in enumerate(self.weeks)}
        return np.array([number[monday(day)] for day in self.days], dtype=np.int64)

    def at(self, day: date) -> int:
        """Return the index of a day; negative where it is not ahead of ``as_of``."""
        return (day - self.as_of).days - 1

    def machine_windows(self, line: str) -> BoolArray:
        """Return which windows stop the machines of a line."""
        return np.array([window.line in (None, line) for window in self.windows], dtype=bool)


def monday(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def calendar(
    plan: Plan,
    running: pd.DataFrame,
    machines: Sequence[str],
    lines: Sequence[str],
    as_of: date,
) -> Calendar:
    """Lay out the days ahead.

    Hours of a machine and day: none while it is out of use (``[[down]]``); else the planned rows
    of the running log; else ``running_hours_per_day`` within the season; else none. A window that
    takes h hours leaves a machine at most 24 - h hours that day.

    Parameters
    ----------
    plan
        The plan.
    running
        ``Snapshot.running``: machine, line, day, hours, planned.
    machines, lines
        Every machine, sorted, and its line.
    as_of
        The day the forecast starts from.

    Raises
    ------
    PlanError
        If the season is over, or if no log and no plan says how long the machines run.
    """
    season = plan.season
    if as_of >= season.end:
        raise PlanError(
            f"the season ends on {season.end}, the logs reach {as_of}: no day is left to forecast",
            "Give a later season.end, or an earlier day with --as-of.",
        )
    days = tuple(as_of + timedelta(days=n + 1) for n in range((season.end - as_of).days))
    in_season = np.array([season.start <= day <= season.end for day in days], dtype=bool)
    hours = _planned_hours(running, machines, days)
    _take_down(hours, plan, machines, lines, days)
    if season.running_hours_per_day is not None:
        hours = np.where(np.isnan(hours) & in_season, season.running_hours_per_day, hours)
    else:
        _refuse_unknown(hours, in_season, machines, days)
    hours = np.nan_to_num(hours, nan=0.0)
    windows = _windows(plan, days)
    for entry in plan.window:
        at = (entry.day - as_of).days - 1
        if entry.hours is not None and at >= 0:
            rows = [entry.line in (None, line) for line in lines]
            hours[rows, at] = np.minimum(hours[rows, at], 24.0 - entry.hours)
    return Calendar(as_of, days, tuple(machines), tuple(lines), hours, in_season, windows)


def select_machines(
    names: Sequence[str], machines: Sequence[str], lines: Sequence[str]
) -> tuple[str, ...]:
    """Return the machines that a plan names: ``G01-G12``, single names, a line, or ``*``.

    Parameters
    ----------
    names
        As the plan gives them.
    machines, lines
        Every machine and its line.

    Raises
    ------
    PlanError
        If a name stands for no machine.
    """
    chosen: list[str] = []
    for name in names:
        found = _machines_of(name, machines, lines)
        if not found:
            raise PlanError(
                f"[[switch]] machines: {name!r} is no machine, range of machines or line",
                'Write "G01-G12", "G01, G05", the name of a line, or "*" for all.',
            )
        chosen += found
    return tuple(machine for machine in machines if machine in set(chosen))


def _machines_of(name: str, machines: Sequence[str], lines: Sequence[str]) -> list[str]:
    if name == "*":
        return list(machines)
    if name in machines:
        return [name]
    of_line = [machine for machine, line in zip(machines, lines, strict=True) if line == name]
    if of_line:
        return of_line
    ends = re.fullmatch(r"(.*?)(\d+)\s*-\s*(.*?)(\d+)", name)
    if not ends or ends[1] != ends[3]:
        return []
    first, last = int(ends[2]), int(ends[4])
    found = []
    for machine in machines:
        number = re.fullmatch(re.escape(ends[1]) + r"(\d+)", machine)
        if number and first <= int(number[1]) <= last:
            found.append(machine)
    return found


def _planned_hours(running: pd.DataFrame, machines: Sequence[str], days: Sequence[date]) -> Array:
    """Return the planned hours [machines, days]; NaN where the log plans none."""
    hours = np.full((len(machines), len(days)), np.nan)
    row = {machine: number for number, machine in enumerate(machines)}
    column = {day: number for number, day in enumerate(days)}
    planned = running[running["planned"].astype(bool)]
    dates = pd.to_datetime(planned["day"]).dt.date
    for machine, day, amount in zip(planned["machine"], dates, planned["hours"], strict=True):
        if machine in row and day in column:
            hours[row[machine], column[day]] = float(amount)
    return hours


def _refuse_unknown(
    hours: Array, in_season: BoolArray, machines: Sequence[str], days: Sequence[date]
) -> None:
    """Refuse machines for which no hours are planned in the season, or not to its end."""
    planned = ~np.isnan(hours[:, in_season])
    last = np.where(planned.any(axis=1), planned.shape[1] - planned[:, ::-1].argmax(axis=1), 0)
    unknown = last < planned.shape[1] - _DAYS_LEFT_OUT
    if not unknown.any():
        return
    names = [machines[int(row)] for row in np.flatnonzero(unknown)]
    ahead = [days[int(at)] for at in np.flatnonzero(in_season)][int(last[unknown].min()) :]
    shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    raise PlanError(
        f"no running hours are planned for {shown} from {ahead[0]} to {ahead[-1]}",
        "Give season.running_hours_per_day in the plan, or import planned days as `running`.",
    )


def _take_down(
    hours: Array, plan: Plan, machines: Sequence[str], lines: Sequence[str], days: Sequence[date]
) -> None:
    """Set the hours of machines out of use to 0."""
    for down in plan.down:
        rows = np.array(
            [
                down.machine in (None, machine) and down.line in (None, line)
                for machine, line in zip(machines, lines, strict=True)
            ]
        )
        off = np.array([down.first <= day <= down.until for day in days])
        hours[np.ix_(rows, off)] = 0.0


def _windows(plan: Plan, days: Sequence[date]) -> tuple[Window, ...]:
    """Return the windows; a dated one for all lines takes the place of the weekly one."""
    weekly = plan.windows.weekly
    general = plan.windows.crew_hours
    dated: Mapping[date, list[Window]] = {day: [] for day in days}
    found: list[Window] = []
    for number, day in enumerate(days):
        for entry in plan.window:
            if entry.day == day:
                crew = entry.crew_hours if entry.crew_hours is not None else general
                dated[day].append(Window(number, day, entry.line, _or_endless(crew)))
        own = sorted(dated[day], key=lambda window: window.line or "")
        inside = plan.season.start <= day <= plan.season.end
        general_one = any(window.line is None for window in own)
        if weekly and inside and WEEKDAYS[day.weekday()] == weekly and not general_one:
            own = [Window(number, day, None, _or_endless(general)), *own]
        found += own
    return tuple(found)


def _or_endless(crew_hours: float | None) -> float:
    return np.inf if crew_hours is None else crew_hours
