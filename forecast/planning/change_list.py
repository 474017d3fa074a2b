"""The change-out list: what the simulation changed, by window, machine and place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.crew import work_minutes
from forecast.planning.demand import DemandPaths
from forecast.planning.draws import Array, IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.plan import Plan
from forecast.planning.supply import supply
from forecast.planning.windows import Schedule
from forecast.planning.worn import chance_from_depth, chance_over, depth_at_risk, thin, ways

COLUMNS: Final = [
    "window",
    "machine",
    "place",
    "part_type",
    "positions",
    "quantity",
    "quantity_low",
    "quantity_high",
    "change_over_mm",
    "because",
    "crew_hours",
    "on_shelf",
    "chance_if_left",
]

_MAY_BE = 0.05  # chance to be over its depth from which a position is named
_CELLS = 400_000  # rows x draws handled at a time


def change_list(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    schedule: Schedule,
    paths: Mapping[str, DemandPaths],
    stock: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Return the result ``to_change``.

    The quantity is the mean over the paths, to the nearest piece, with its 5-95 % range: pieces
    that end before their window are replaced then and leave the list. ``positions`` names the
    pieces now in place that the list is about; sets whose positions nobody tells apart have none.
    ``chance_if_left`` is the mean chance of one piece to last to the following window;
    ``on_shelf`` the pieces expected on the shelf before the window.

    Parameters
    ----------
    fleets, calendar, schedule, paths
        What is in service, the days ahead, when pieces are changed, and what came of it.
    stock
        ``Snapshot.stock``.
    plan
        Crew times.
    """
    shelf = {name: _shelf(stock, of, calendar, plan) for name, of in paths.items()}
    rows = list(_changes(fleets, calendar, schedule, paths, plan))
    rows += _size_changes(fleets, calendar, plan)
    rows.sort(key=lambda row: (row["day"], row["machine"], row["place"], row["part_type"]))
    opened = set()
    for row in rows:
        at = (row["day"], row["machine"])
        if at not in opened:
            opened.add(at)
            row["crew_hours"] += plan.windows.machine_setup_minutes / 60.0
        if row["because"] != "size":
            row["on_shelf"] = int(shelf[row["part_type"]][row["day"]])
    table = pd.DataFrame(rows, columns=[*COLUMNS, "day"])
    return table[COLUMNS]


def window_table(to_change: pd.DataFrame, calendar: Calendar, schedule: Schedule) -> pd.DataFrame:
    """Return the exhibit ``windows``: crew hours there are, used, and left waiting.

    Parameters
    ----------
    to_change
        The change-out list.
    calendar, schedule
        The windows, and the work that had to wait.
    """
    rows = []
    for number, window in enumerate(calendar.windows):
        here = to_change[to_change["window"] == window.on]
        rows.append(
            {
                "window": window.on,
                "crew_hours": window.crew_hours if np.isfinite(window.crew_hours) else np.nan,
                "used": float(here["crew_hours"].sum()),
                "over": float(schedule.over_hours[number + 1]),
                "machines": int(here["machine"].nunique()),
            }
        )
    return pd.DataFrame(rows, columns=["window", "crew_hours", "used", "over", "machines"])


def joined(positions: Sequence[str]) -> str:
    """Join the names of positions as a person reads them."""
    return ", ".join(positions)


def _changes(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    schedule: Schedule,
    paths: Mapping[str, DemandPaths],
    plan: Plan,
) -> Iterator[dict[str, Any]]:
    planned = _planned_rows(fleets, schedule)
    following = _following(calendar)
    places = tuple(
        frozenset(zip(fleet.table["machine"], fleet.table["place"], strict=True))
        for fleet in fleets
    )
    depth = _Depth(fleets, calendar, schedule, following, places)
    lasting = [
        _lasting(fleet, calendar, rows)
        for fleet, rows in zip(fleets, schedule.planned_at, strict=True)
    ]
    for name, of in paths.items():
        part = plan.for_part_type(name)
        for change in of.changes.to_dict("records"):
            key = (name, change["machine"], change["place"], change["window"] + 1)
            mine = planned.get(key, [])
            quantity = int(np.floor(change["mean"] + 0.5))
            names = [
                str(position)
                for at, rows in mine
                for position in fleets[at].table["position"].iloc[rows]
                if position
            ]
            if not quantity and not names:
                continue
            names += depth.positions(name, change)
            window = calendar.windows[change["window"]]
            over, lasts = depth.of(name, change)
            whole = bool(mine) and all(_whole_sets(fleets[at], rows) for at, rows in mine)
            due = any(fleets[at].pieces.due[rows].any() for at, rows in mine)
            read = any((fleets[at].pieces.own[rows] >= 0).any() for at, rows in mine)
            policy = "risk" if read and name in schedule.by_risk else "age"
            due = due or any(schedule.levels[at] is not None for at in _of_type(fleets, name))
            yield {
                "window": window.on,
                "day": window.day,
                "machine": change["machine"],
                "place": change["place"],
                "part_type": name,
                "positions": joined(names),
                "quantity": quantity,
                "quantity_low": change["low"],
                "quantity_high": change["high"],
                "change_over_mm": over,
                "because": "limit" if due else policy,
                "crew_hours": work_minutes(part, quantity, whole) / 60.0,
                "on_shelf": 0,
                "chance_if_left": _mean_chance(fleets, lasting, mine)
                if mine
                else _later_chance(fleets, calendar, schedule, name, change, following, lasts),
            }


def _of_type(fleets: Sequence[Fleet], part_type: str) -> list[int]:
    return [at for at, fleet in enumerate(fleets) if fleet.part_type == part_type]


@dataclass(frozen=True, eq=False)
class _Depth:
    """Depths of the list: over which to change, which positions may be over, what leaving risks."""

    fleets: Sequence[Fleet]
    calendar: Calendar
    schedule: Schedule
    following: IntArray
    places: tuple[frozenset[tuple[str, str]], ...]
    chances: dict[tuple[int, int], Array] = field(default_factory=dict)

    def of(self, part_type: str, change: Mapping[Any, Any]) -> tuple[float, float]:
        """Return the depth over which pieces are changed, and the chance to last of one there.

        By depth: that of the policy. By risk: from where the chance to reach the limit before the
        following window is too high. NaN where depth does not count.
        """
        machine, number = self.calendar.machines.index(change["machine"]), int(change["window"])
        first, until = self.calendar.windows[number].day, int(self.following[machine, number])
        hours = float(self.calendar.hours[machine, first + 1 : until + 1].sum())
        risk = self.schedule.by_risk.get(part_type)
        found = []
        for at in self._here(part_type, change):
            law, level = ways(self.fleets[at].law)[0], self.schedule.level_of(at, machine)
            read = (self.fleets[at].pieces.own >= 0).any()
            if law is not None and level is None and risk is not None and read:
                level = depth_at_risk(law, machine, hours * self.fleets[at].pace(machine), risk)
            if law is not None and level is not None:
                ahead = hours * self.fleets[at].pace(machine)
                found.append((level, chance_from_depth(law, machine, ahead, level)))
        return min(found, default=(np.nan, np.nan))

    def positions(self, part_type: str, change: Mapping[Any, Any]) -> list[str]:
        """Return the positions that may be found over their depth first in a window."""
        number = int(change["window"])
        names = []
        for at in self._here(part_type, change):
            fleet = self.fleets[at]
            if self.schedule.levels[at] is None:
                continue
            table = fleet.table
            rows = np.flatnonzero(
                (table["machine"] == change["machine"])
                & (table["place"] == change["place"])
                & (table["position"] != "")
                & (self.schedule.planned_at[at] < 0)
            )
            before = self._over(at, number - 1) if number else 0.0 * self._over(at, 0)
            likely = rows[(self._over(at, number) - before)[rows] >= _MAY_BE]
            names += [str(name) for name in table["position"].iloc[likely]]
        return names

    def _over(self, at: int, number: int) -> Array:
        """Return the chance [rows] to be in place and over the depth at a window."""
        if (at, number) not in self.chances:
            fleet, levels = self.fleets[at], self.schedule.levels[at]
            assert levels is not None  # noqa: S101
            day = self.calendar.windows[number].day
            self.chances[at, number] = chance_over(
                thin(fleet.law), fleet.pieces, fleet.ahead(day), levels[fleet.pieces.machine]
            )
        return self.chances[at, number]

    def _here(self, part_type: str, change: Mapping[Any, Any]) -> list[int]:
        place = change["machine"], change["place"]
        return [at for at in _of_type(self.fleets, part_type) if place in self.places[at]]


def _planned_rows(
    fleets: Sequence[Fleet], schedule: Schedule
) -> dict[tuple[str, str, str, int], list[tuple[int, IntArray]]]:
    """Return the rows now in place by part type, machine, place and window."""
    found: dict[tuple[str, str, str, int], list[tuple[int, IntArray]]] = {}
    for at, fleet in enumerate(fleets):
        rows = np.flatnonzero(schedule.planned_at[at] > 0)
        table = fleet.table.iloc[rows][["machine", "place"]]
        groups: dict[tuple[str, str, int], list[int]] = {}
        for row, machine, place in zip(rows, table["machine"], table["place"], strict=True):
            key = (str(machine), str(place), int(schedule.planned_at[at][row]))
            groups.setdefault(key, []).append(int(row))
        for key, members in groups.items():
            named = (fleet.part_type, *key)
            found.setdefault(named, []).append((at, np.array(members, dtype=np.int64)))
    return found


def _whole_sets(fleet: Fleet, rows: IntArray) -> bool:
    units = np.unique(fleet.unit[rows])
    return len(rows) == int(np.isin(fleet.unit, units).sum())


def _lasting(fleet: Fleet, calendar: Calendar, planned_at: IntArray) -> tuple[Array, Array]:
    """Return the chance [rows] to last to its window, and to the window after that one."""
    days = np.array([window.day for window in calendar.windows], dtype=np.int64)
    following = _following(calendar)
    reach, last = np.zeros(len(planned_at)), np.zeros(len(planned_at))
    clock = np.cumsum(fleet.hours, axis=1)
    rows = np.flatnonzero(planned_at > 0)
    step = max(1, _CELLS // fleet.law.draws)
    for at in range(0, len(rows), step):
        some = rows[at : at + step]
        pieces, window, unit = fleet.pieces.take(some), planned_at[some] - 1, fleet.unit[some]
        to_window = clock[unit, days[window]]
        to_next = clock[unit, following[pieces.machine, window]]
        reach[some] = fleet.law.survival(pieces, to_window).mean(axis=1)
        last[some] = fleet.law.survival(pieces, to_next).mean(axis=1)
    last[fleet.pieces.due] = 0.0  # it is at its limit already
    return reach, last


def _mean_chance(
    fleets: Sequence[Fleet],
    lasting: Sequence[tuple[Array, Array]],
    planned: Sequence[tuple[int, IntArray]],
) -> float:
    """Return the chance of a piece in place at its window to last to the following one."""
    reach = sum(float(fleets[at].quantity[rows] @ lasting[at][0][rows]) for at, rows in planned)
    last = sum(float(fleets[at].quantity[rows] @ lasting[at][1][rows]) for at, rows in planned)
    return last / reach if reach > 0 else np.nan


def _later_chance(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    schedule: Schedule,
    part_type: str,
    change: Mapping[Any, Any],
    following: IntArray,
    at_depth: float,
) -> float:
    """Return the same chance of a piece that is at its change age then, or at its depth."""
    number = int(change["window"])
    machine = calendar.machines.index(change["machine"])
    age = float(schedule.change_age[part_type][machine, number + 1])
    if not np.isfinite(age):
        return at_depth
    fleet = next(fleet for fleet in fleets if fleet.part_type == part_type)
    days = following[machine, number]
    ahead = calendar.hours[machine, calendar.windows[number].day + 1 : days + 1].sum()
    ages = np.array([age, age + ahead * fleet.pace(machine)])
    before, after = np.exp(-fleet.law.hazard(machine, ages)).mean(axis=1)
    return float(after / before) if before > 0 else np.nan


def _following(calendar: Calendar) -> IntArray:
    """Return the day [machines, windows] of the window after each; the last day without one."""
    days = np.array([window.day for window in calendar.windows], dtype=np.int64)
    shape = (len(calendar.machines), len(days))
    following = np.full(shape, len(calendar.days) - 1, dtype=np.int64)
    for machine, line in enumerate(calendar.lines):
        stops = calendar.machine_windows(line)
        for number, day in enumerate(days):
            later = days[stops & (days > day)]
            if len(later):
                following[machine, number] = later[0]
    return following


def _size_changes(fleets: Sequence[Fleet], calendar: Calendar, plan: Plan) -> list[dict[str, Any]]:
    """Return the size changes of the plan: work, but no spare parts."""
    found = []
    for fleet in fleets:
        part = plan.for_part_type(fleet.part_type)
        for day, unit in fleet.switched_in():
            first = fleet.units.loc[unit]
            pieces = int(fleet.quantity[fleet.unit == unit].sum())
            found.append(
                {
                    "window": calendar.days[day],
                    "day": day,
                    "machine": first["machine"],
                    "place": first["place"],
                    "part_type": fleet.part_type,
                    "positions": "",
                    "quantity": pieces,
                    "quantity_low": pieces,
                    "quantity_high": pieces,
                    "change_over_mm": np.nan,
                    "because": "size",
                    "crew_hours": work_minutes(part, pieces, True) / 60.0,
                    "on_shelf": pieces,
                    "chance_if_left": np.nan,
                }
            )
    return found


def _shelf(stock: pd.DataFrame, of: DemandPaths, calendar: Calendar, plan: Plan) -> IntArray:
    """Return the pieces expected on the shelf before each day's change-outs."""
    have = supply(stock, of.part_type, calendar, 0)
    used = np.cumsum(of.total.mean(axis=0)) - of.planned.mean(axis=0)
    left: IntArray = np.floor(np.maximum(have.by_day - used, 0.0) + 0.5).astype(np.int64)
    return left
