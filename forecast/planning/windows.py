"""Change-outs fitted into windows and crew hours, the most urgent first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from forecast.planning.calendar import Calendar, Window
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.overhaul import Overhaul
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.rules import ChangeRule

OVERHAUL = 0
"""Column of the overhaul among the windows of a schedule; it changes what was decided there."""


@dataclass(frozen=True, eq=False)
class Schedule:
    """When each piece is changed: an input of the simulation, so that list and demand agree.

    Attributes
    ----------
    windows
        [windows] index of the day of each; the first column stands for the overhaul.
    planned_at
        By fleet: [rows] window in which a piece now in place is changed; -1 for none.
    change_age
        By part type: [machines, windows] age (hours) from which a piece fitted later is changed;
        infinite where it is not.
    over_hours
        [windows] crew hours of work that had to wait for a later window.
    said
        What did not fit into any window.
    overhaul_until
        Index of the overhaul's last day: its parts are used between its column's day and this.
    by_risk
        Part types whose pieces with readings go by their chance to end, not by age.
    """

    windows: IntArray
    planned_at: tuple[IntArray, ...]
    change_age: Mapping[str, Array]
    over_hours: Array
    said: tuple[str, ...]
    overhaul_until: int = 0
    by_risk: frozenset[str] = frozenset()


@dataclass
class _Group:
    """Pieces of one part type on one machine that come due in a window."""

    urgency: float
    machine: int
    fleet: int
    rows: IntArray
    haste: Array
    later: int = 0


@dataclass
class _Day:
    """A window while it is filled."""

    minutes: float
    opened: set[int] = field(default_factory=set)


def schedule(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    rules: Mapping[str, ChangeRule],
    plan: Plan,
    overhaul: Overhaul,
) -> Schedule:
    """Choose a window for every piece that its limit or its policy asks to change.

    Window by window: pieces known to be at their limit come first, then those furthest over what
    their rule allows: an age, or for pieces that are read a chance to end. A machine opened takes
    its set-up once a window; what does not fit waits for the next window. Crew hours are kept for
    every piece on the list, though some may end before.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    rules
        By part type.
    overhaul
        Pieces changed there start again at age 0.
    """
    filler = _Filler(fleets, calendar, rules, plan, overhaul)
    for number, window in enumerate(calendar.windows, 1):
        filler.fill(number, window)
    first = 0 if plan.overhaul is None else max(calendar.at(plan.overhaul.first), 0)
    until = first if plan.overhaul is None else max(calendar.at(plan.overhaul.until), first)
    days = [first]
    days += [window.day for window in calendar.windows]
    return Schedule(
        np.array(days, dtype=np.int64),
        tuple(filler.planned_at),
        filler.change_age,
        np.array(filler.over_hours),
        filler.said(),
        until,
        frozenset(name for name, rule in rules.items() if rule.risk is not None),
    )


class _Filler:
    """The state while the windows are filled one after another."""

    def __init__(
        self,
        fleets: Sequence[Fleet],
        calendar: Calendar,
        rules: Mapping[str, ChangeRule],
        plan: Plan,
        overhaul: Overhaul,
    ) -> None:
        self.fleets, self.calendar, self.plan, self.rules = fleets, calendar, plan, rules
        self.planned_at = [np.where(rows, OVERHAUL, -1) for rows in overhaul.changed]
        self.over_hours = [0.0] * (len(calendar.windows) + 1)
        self.change_age = self._ages_everywhere()
        self.lasting: dict[tuple[int, int], Array] = {}
        # pieces fitted in a window, by fleet and set: (hours of the set then, how many)
        self.fitted: dict[tuple[int, int], list[tuple[float, int]]] = {}
        for number, (fleet, rows) in enumerate(zip(fleets, overhaul.changed, strict=True)):
            for row in np.flatnonzero(rows):
                self._fit(number, int(fleet.unit[row]), 0.0, int(fleet.quantity[row]))

    def fill(self, number: int, window: Window) -> None:
        """Choose what is changed in one window."""
        self._drop_other_lines(number, window)
        day = _Day(window.crew_hours * 60.0 - self._size_changes(window))
        self.over_hours[number] = max(-day.minutes, 0.0) / 60.0
        groups = [
            group for at, fleet in enumerate(self.fleets) for group in self._due(at, fleet, window)
        ]
        for group in sorted(groups, key=lambda one: (-one.urgency, one.machine, one.fleet)):
            self._take(number, window, day, group)

    def said(self) -> tuple[str, ...]:
        """Return a sentence if pieces came due and found no window."""
        last = self.calendar.windows[-1] if self.calendar.windows else None
        waiting = 0
        for at, fleet in enumerate(self.fleets):
            if last is not None:
                groups = self._due(at, fleet, last)
                waiting += sum(int(fleet.quantity[group.rows].sum()) for group in groups)
            else:
                waiting += int(fleet.quantity[fleet.pieces.due].sum())
        if not waiting:
            return ()
        return (f"{waiting} pieces that are due find no window with crew hours this season",)

    def _ages_everywhere(self) -> dict[str, Array]:
        shape = (len(self.calendar.machines), len(self.calendar.windows) + 1)
        ages = {}
        for name in sorted(self.rules):
            age = self.rules[name].age
            ages[name] = np.full(shape, np.inf if age is None else age)
            ages[name][:, OVERHAUL] = np.inf
        return ages

    def _drop_other_lines(self, number: int, window: Window) -> None:
        away = ~self._stopped(window)
        for ages in self.change_age.values():
            ages[away, number] = np.inf

    def _stopped(self, window: Window) -> BoolArray:
        """Return which machines stand in a window."""
        return np.array([window.line in (None, line) for line in self.calendar.lines], dtype=bool)

    def _size_changes(self, window: Window) -> float:
        """Return the minutes that size changes on the window's day take."""
        minutes = 0.0
        for fleet in self.fleets:
            part = self.plan.for_part_type(fleet.part_type)
            for day, unit in fleet.switched_in():
                if day == window.day:
                    pieces = int(fleet.quantity[fleet.unit == unit].sum())
                    minutes += work_minutes(part, pieces, True)
        return minutes

    def _due(self, at: int, fleet: Fleet, window: Window) -> list[_Group]:
        """Return the pieces of a fleet that come due by a window, by machine."""
        age_limit = self.rules[fleet.part_type].age
        limit = np.inf if age_limit is None else age_limit
        age = fleet.pieces.age + fleet.ahead(window.day)
        urge = self._by_risk(at, fleet, window, age / limit)
        running = fleet.hours.sum(axis=1)[fleet.unit] > 0
        waiting = (self.planned_at[at] < 0) & running & self._stopped(window)[fleet.pieces.machine]
        urgency = np.where(fleet.pieces.due, np.inf, urge)
        groups: dict[int, list[int]] = {}
        for row in np.flatnonzero(waiting & (urgency >= 1.0)):
            machine = int(fleet.pieces.machine[row])
            groups.setdefault(machine, []).append(int(row))
        found = [
            _Group(
                float(urgency[rows].max()),
                machine,
                at,
                np.array(rows, dtype=np.int64),
                urgency[rows],
            )
            for machine, rows in sorted(groups.items())
        ]
        return found + self._due_again(at, fleet, window, limit)

    def _by_risk(self, at: int, fleet: Fleet, window: Window, by_age: Array) -> Array:
        """Return the urgency [rows]: a piece that is read goes by its own readings, not its age."""
        risk = self.rules[fleet.part_type].risk
        read = np.flatnonzero((fleet.pieces.own >= 0) & (self.planned_at[at] < 0))
        if risk is None or not len(read):
            return by_age
        following = [each.day for each in self.calendar.windows if each.day > window.day]
        until = following[0] if following else len(self.calendar.days) - 1
        now, then = self._lasting(at, fleet, window.day), self._lasting(at, fleet, until)
        ends = 1.0 - then[read] / np.maximum(now[read], 1e-9)
        urge = by_age.copy()
        urge[read] = ends / risk
        return urge

    def _lasting(self, at: int, fleet: Fleet, day: int) -> Array:
        """Return the chance [rows] of the pieces that are read to last to the end of a day."""
        if (at, day) not in self.lasting:
            read = np.flatnonzero(fleet.pieces.own >= 0)
            chance = np.full(len(fleet.pieces), np.nan)
            lasts = fleet.law.survival(fleet.pieces.take(read), fleet.ahead(day)[read])
            chance[read] = lasts.mean(axis=1)
            self.lasting[at, day] = chance
        return self.lasting[at, day]

    def _due_again(self, at: int, fleet: Fleet, window: Window, limit: float) -> list[_Group]:
        """Return pieces fitted in an earlier window or the overhaul that come due again."""
        found = []
        for (number, unit), batches in sorted(self.fitted.items()):
            if number != at:
                continue
            row = int(np.flatnonzero(fleet.unit == unit)[0])
            machine = int(fleet.pieces.machine[row])
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            old = [(since, size) for since, size in batches if clock - since >= limit]
            if old and self._stopped(window)[machine]:
                urgency = max(clock - since for since, _ in old) / limit
                size = sum(size for _, size in old)
                none = np.zeros(0, dtype=np.int64)
                found.append(_Group(urgency, machine, at, none, np.zeros(0), size))
        return found

    def _take(self, number: int, window: Window, day: _Day, group: _Group) -> None:
        """Put as much of a group into a window as the crew can do, the most urgent first."""
        fleet = self.fleets[group.fleet]
        part = self.plan.for_part_type(fleet.part_type)
        setup = 0.0 if group.machine in day.opened else self.plan.windows.machine_setup_minutes
        rows = group.rows[np.lexsort((group.rows, -group.haste))]
        sizes = fleet.quantity[rows]
        whole = work_minutes(part, int(sizes.sum()) + group.later, self._is_whole(fleet, rows))
        if setup + whole <= day.minutes:
            fits, spent = len(rows), setup + whole
        else:
            each = [setup + work_minutes(part, int(size), False) for size in np.cumsum(sizes)]
            fits = int(np.searchsorted(each, day.minutes, side="right"))
            spent = each[fits - 1] if fits else 0.0
            self.over_hours[number] += (setup + whole - spent) / 60.0
            self.change_age[fleet.part_type][group.machine, number] = np.inf
        if not fits and not (group.later and spent):
            return
        day.minutes -= spent
        day.opened.add(group.machine)
        self.planned_at[group.fleet][rows[:fits]] = number
        for row in rows[:fits]:
            unit = int(fleet.unit[row])
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            self._fit(group.fleet, unit, clock, int(fleet.quantity[row]))
        if group.later and setup + whole == spent:
            self._refit(group, fleet, window)

    def _is_whole(self, fleet: Fleet, rows: IntArray) -> bool:
        """Whether the rows are all the pieces of their sets."""
        units = np.unique(fleet.unit[rows])
        return bool(len(rows)) and len(rows) == int(np.isin(fleet.unit, units).sum())

    def _fit(self, fleet: int, unit: int, clock: float, size: int) -> None:
        self.fitted.setdefault((fleet, unit), []).append((clock, size))

    def _refit(self, group: _Group, fleet: Fleet, window: Window) -> None:
        """Start the batches that were changed again at age 0."""
        limit = float(self.rules[fleet.part_type].age or np.inf)
        for (number, unit), batches in self.fitted.items():
            row = int(np.flatnonzero(fleet.unit == unit)[0]) if number == group.fleet else -1
            if row < 0 or fleet.pieces.machine[row] != group.machine:
                continue
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            again = sum(size for since, size in batches if clock - since >= limit)
            batches[:] = [(since, size) for since, size in batches if clock - since < limit]
            if again:
                batches.append((clock, again))


def work_minutes(part: PartPlan, pieces: int, whole_set: bool) -> float:
    """Return the crew minutes for some pieces of a part type; a whole set may have its own.

    With minutes for a set and none for a piece, part of a set takes as long as the whole.
    """
    if part.set_minutes is not None and (whole_set or not part.minutes):
        return part.set_minutes
    return part.minutes * pieces
