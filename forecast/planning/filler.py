"""Windows filled one by one: what the crew can do and the shelf allows, most urgent first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from forecast.planning.calendar import Calendar, Window
from forecast.planning.crew import work_minutes
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.overhaul import Overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule
from forecast.planning.shelf import Shelf
from forecast.planning.worn import chance_over, thin

OVERHAUL: Final = 0
"""Column of the overhaul among the windows of a schedule; it changes what was decided there."""

_AT_ONCE = 1e-9  # hours: an age that every piece has reached
_OVER_LEVEL = 2.0  # urgency of pieces over their depth: after those at the limit, before the old


@dataclass
class _Group:
    """Pieces of one part type on one machine that come due in a window.

    ``rows`` are now in place, ``later`` were fitted in an earlier window, ``over`` are expected to
    be found over their depth. ``wished``: the order of the work asks for them in this window.
    """

    urgency: float
    machine: int
    fleet: int
    rows: IntArray
    haste: Array
    later: int = 0
    over: float = 0.0
    wished: bool = False


@dataclass
class _Day:
    """A window while it is filled."""

    minutes: float
    opened: set[int] = field(default_factory=set)


@dataclass(frozen=True)
class Waiting:
    """Pieces that were due in a window and had to wait for a later one.

    Attributes
    ----------
    window, fleet
        Numbers of both.
    rows
        Pieces now in place.
    others
        Pieces fitted later, or expected over their depth.
    parts
        True: no spare was there. False: no crew hours.
    """

    window: int
    fleet: int
    rows: IntArray
    others: float
    parts: bool


class Filler:
    """The state while the windows are filled.

    Parameters
    ----------
    fleets, calendar, rules, plan, overhaul
        As :func:`forecast.planning.windows.schedule` takes them.
    shelf
        Spares that planned change-outs may take; None: as many as they like.
    wish
        By fleet: [rows] the window in which a better order of the work wants each row; -1 for no
        wish. None: each as soon as it is due.
    limits
        False: neither crew nor shelf hold anything back.
    """

    def __init__(
        self,
        fleets: Sequence[Fleet],
        calendar: Calendar,
        rules: Mapping[str, ChangeRule],
        plan: Plan,
        overhaul: Overhaul,
        shelf: Shelf | None = None,
        wish: Sequence[IntArray] | None = None,
        limits: bool = True,
    ) -> None:
        self.fleets, self.calendar, self.plan, self.rules = fleets, calendar, plan, rules
        self.planned_at = [np.where(rows, OVERHAUL, -1) for rows in overhaul.changed]
        self.over_hours = [0.0] * (len(calendar.windows) + 1)
        self.shelf, self.wish, self.limits = shelf or {}, wish, limits
        self.taken = dict.fromkeys(sorted(rules), 0.0)
        self.waiting: list[Waiting] = []
        self.change_age = self._ages_everywhere()
        self.open = [self._open_everywhere(fleet) for fleet in fleets]
        self.lasting: dict[tuple[int, int], Array] = {}
        # pieces fitted in a window, by fleet and set: (hours of the set then, how many)
        self.fitted: dict[tuple[int, int], list[tuple[float, int]]] = {}
        self.changed_over: dict[tuple[int, int], float] = {}
        for number, (fleet, rows) in enumerate(zip(fleets, overhaul.changed, strict=True)):
            for row in np.flatnonzero(rows):
                self._fit(number, int(fleet.unit[row]), 0.0, int(fleet.quantity[row]))

    def fill_all(self) -> Filler:
        """Fill every window, in the order of their days."""
        for number, window in enumerate(self.calendar.windows, 1):
            self._fill(number, window)
        return self

    def unplaced(self) -> int:
        """Return how many pieces came due and found no window."""
        pieces = 0
        for at, fleet in enumerate(self.fleets):
            asked = fleet.pieces.due & (fleet.hours.sum(axis=1)[fleet.unit] > 0)
            for one in self.waiting:
                if one.fleet == at:
                    asked[one.rows] = True
            pieces += int(fleet.quantity[asked & (self.planned_at[at] < 0)].sum())
        return pieces

    def _fill(self, number: int, window: Window) -> None:
        """Choose what is changed in one window."""
        crew = window.crew_hours * 60.0 if self.limits else np.inf
        day = _Day(crew - self._size_changes(window))
        self.over_hours[number] = max(-day.minutes, 0.0) / 60.0
        groups = [
            group
            for at, fleet in enumerate(self.fleets)
            for group in self._due(at, fleet, number, window)
        ]
        order = sorted(
            groups, key=lambda one: (not one.wished, -one.urgency, one.machine, one.fleet)
        )
        for group in order:
            self._take(number, window, day, group)

    def _ages_everywhere(self) -> dict[str, Array]:
        """Return the age from which pieces are changed [machines, windows] by part type."""
        windows = self.calendar.windows
        stops = np.array([self._stopped(window) for window in windows], dtype=bool)
        stops = stops.reshape(len(windows), len(self.calendar.machines))
        ages = {}
        for name in sorted(self.rules):
            rule = self.rules[name]
            age = np.full(stops.shape, np.inf if rule.age is None else max(rule.age, _AT_ONCE))
            if rule.every is not None:
                age[np.cumsum(stops, axis=0) % rule.every > 0] = np.inf
            age[~stops] = np.inf
            ages[name] = np.vstack([np.full((1, stops.shape[1]), np.inf), age]).T.copy()
        return ages

    def _open_everywhere(self, fleet: Fleet) -> BoolArray | None:
        """Return in which windows pieces over their depth are changed [machines, windows]."""
        if fleet.duty_group not in self.rules[fleet.part_type].levels:
            return None
        allowed = np.zeros((len(self.calendar.machines), len(self.calendar.windows) + 1), bool)
        for number, window in enumerate(self.calendar.windows, 1):
            allowed[:, number] = self._stopped(window)
        return allowed

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

    def _due(self, at: int, fleet: Fleet, number: int, window: Window) -> list[_Group]:
        """Return the pieces of a fleet that come due by a window, by machine."""
        machine = fleet.pieces.machine
        limit = self.change_age[fleet.part_type][machine, number]
        age = fleet.pieces.age + fleet.ahead(window.day)
        urge = self._by_risk(at, fleet, window, age / limit)
        running = fleet.hours.sum(axis=1)[fleet.unit] > 0
        waiting = (self.planned_at[at] < 0) & running & self._stopped(window)[machine]
        urgency = np.where(fleet.pieces.due, np.inf, urge)
        wished = np.zeros(len(machine), dtype=bool)
        chosen = waiting & (urgency >= 1.0)
        if self.wish is not None:
            wished = waiting & (self.wish[at] == number)
            chosen = wished | (chosen & (self.wish[at] < number))
        groups: dict[tuple[int, bool], list[int]] = {}
        for row in np.flatnonzero(chosen):
            groups.setdefault((int(machine[row]), bool(wished[row])), []).append(int(row))
        found = [
            _Group(
                float(urgency[rows].max()), one, at, np.array(rows, dtype=np.int64), urgency[rows],
                wished=asked,
            )
            for (one, asked), rows in sorted(groups.items())
        ]  # fmt: skip
        found += self._due_again(at, fleet, number, window)
        return found + self._over(at, fleet, number, window)

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

    def _due_again(self, at: int, fleet: Fleet, number: int, window: Window) -> list[_Group]:
        """Return pieces fitted in an earlier window or the overhaul that come due again."""
        found = []
        for (of, unit), batches in sorted(self.fitted.items()):
            if of != at:
                continue
            machine = self._machine_of(fleet, unit)
            limit = float(self.change_age[fleet.part_type][machine, number])
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            old = [(since, size) for since, size in batches if clock - since >= limit]
            if old and self._stopped(window)[machine]:
                urgency = max(clock - since for since, _ in old) / limit
                size = sum(size for _, size in old)
                none = np.zeros(0, dtype=np.int64)
                found.append(_Group(urgency, machine, at, none, np.zeros(0), size))
        return found

    def _over(self, at: int, fleet: Fleet, number: int, window: Window) -> list[_Group]:
        """Return, by machine, how many pieces are expected over their depth in a window."""
        allowed = self.open[at]
        if allowed is None:
            return []
        levels = self.rules[fleet.part_type].levels[fleet.duty_group]
        rows = np.flatnonzero((self.planned_at[at] < 0) & ~fleet.pieces.due)
        pieces = fleet.pieces.take(rows)
        chance = chance_over(
            thin(fleet.law), pieces, fleet.ahead(window.day)[rows], levels[pieces.machine]
        )
        expected = np.bincount(
            pieces.machine, fleet.quantity[rows] * chance, minlength=len(allowed)
        )
        none = np.zeros(0, dtype=np.int64)
        found = []
        for machine in np.flatnonzero((expected > 0) & allowed[:, number]):
            over = float(expected[machine]) - self.changed_over.get((at, int(machine)), 0.0)
            if over > 0.05:
                one = _Group(_OVER_LEVEL, int(machine), at, none, np.zeros(0), over=over)
                found.append(one)
        return found

    def _take(self, number: int, window: Window, day: _Day, group: _Group) -> None:
        """Put as much of a group into a window as crew and shelf allow, the most urgent first."""
        if group.over:
            self._take_over(number, day, group)
            return
        fleet = self.fleets[group.fleet]
        part = self.plan.for_part_type(fleet.part_type)
        setup = 0.0 if group.machine in day.opened else self.plan.windows.machine_setup_minutes
        rows = group.rows[np.lexsort((group.rows, -group.haste))]
        sizes = fleet.quantity[rows]
        spares = np.cumsum(np.where(fleet.takes_spare[rows], sizes, 0))
        shelf = self._left_on_shelf(fleet.part_type, number)
        there = int(np.searchsorted(spares, shelf, side="right"))
        whole = work_minutes(part, int(sizes.sum()) + group.later, self._is_whole(fleet, rows))
        later_fits = float(spares[-1] if len(spares) else 0) + group.later <= shelf
        done_later = False
        if setup + whole <= day.minutes and there == len(rows) and later_fits:
            fits, spent, done_later = len(rows), setup + whole, bool(group.later)
        else:
            each = [setup + work_minutes(part, int(size), False) for size in np.cumsum(sizes)]
            fits = min(int(np.searchsorted(each, day.minutes, side="right")), there)
            spent = each[fits - 1] if fits else 0.0
            parts = there < len(rows) or not later_fits
            if not parts or setup + whole > day.minutes:
                self.over_hours[number] += (setup + whole - spent) / 60.0
            self.change_age[fleet.part_type][group.machine, number] = np.inf
            self.waiting.append(
                Waiting(number, group.fleet, rows[fits:], float(group.later), parts)
            )
        if not fits and not done_later:
            return
        day.minutes -= spent
        day.opened.add(group.machine)
        self.taken[fleet.part_type] += float(spares[fits - 1] if fits else 0.0)
        self.planned_at[group.fleet][rows[:fits]] = number
        for row in rows[:fits]:
            unit = int(fleet.unit[row])
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            self._fit(group.fleet, unit, clock, int(fleet.quantity[row]))
        if done_later:
            self.taken[fleet.part_type] += float(group.later)
            self._refit(group, fleet, number, window)

    def _take_over(self, number: int, day: _Day, group: _Group) -> None:
        """Open a window for the pieces found over their depth, or shut it for this machine."""
        fleet = self.fleets[group.fleet]
        part = self.plan.for_part_type(fleet.part_type)
        pieces = int(np.ceil(group.over - 0.5)) if group.over >= 0.5 else 1
        setup = 0.0 if group.machine in day.opened else self.plan.windows.machine_setup_minutes
        minutes = setup + work_minutes(part, pieces, False)
        parts = group.over > self._left_on_shelf(fleet.part_type, number)
        if minutes > day.minutes or parts:
            allowed = self.open[group.fleet]
            assert allowed is not None  # noqa: S101
            allowed[group.machine, number] = False
            if not parts:
                self.over_hours[number] += minutes / 60.0
            none = np.zeros(0, dtype=np.int64)
            self.waiting.append(Waiting(number, group.fleet, none, group.over, parts))
            return
        day.minutes -= minutes
        day.opened.add(group.machine)
        self.taken[fleet.part_type] += group.over
        key = (group.fleet, group.machine)
        self.changed_over[key] = self.changed_over.get(key, 0.0) + group.over

    def _left_on_shelf(self, part_type: str, number: int) -> float:
        limit = self.shelf.get(part_type)
        if limit is None or not self.limits:
            return np.inf
        return float(limit[number]) - self.taken[part_type]

    def _is_whole(self, fleet: Fleet, rows: IntArray) -> bool:
        """Whether the rows are all the pieces of their sets."""
        units = np.unique(fleet.unit[rows])
        return bool(len(rows)) and len(rows) == int(np.isin(fleet.unit, units).sum())

    def _machine_of(self, fleet: Fleet, unit: int) -> int:
        return int(fleet.pieces.machine[int(np.argmax(fleet.unit == unit))])

    def _fit(self, fleet: int, unit: int, clock: float, size: int) -> None:
        self.fitted.setdefault((fleet, unit), []).append((clock, size))

    def _refit(self, group: _Group, fleet: Fleet, number: int, window: Window) -> None:
        """Start the batches that were changed again at age 0."""
        for (of, unit), batches in self.fitted.items():
            if of != group.fleet or self._machine_of(fleet, unit) != group.machine:
                continue
            limit = float(self.change_age[fleet.part_type][group.machine, number])
            clock = float(fleet.hours[unit, : window.day + 1].sum())
            again = sum(size for since, size in batches if clock - since >= limit)
            batches[:] = [(since, size) for since, size in batches if clock - since < limit]
            if again:
                batches.append((clock, again))
