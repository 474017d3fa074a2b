"""When each piece is changed: an input of the simulation, so that list and demand agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.filler import OVERHAUL as OVERHAUL
from forecast.planning.filler import Filler, Waiting
from forecast.planning.fleet import Fleet
from forecast.planning.order import in_order
from forecast.planning.overhaul import Overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule
from forecast.planning.shelf import Shelf
from forecast.planning.worn import thin


@dataclass(frozen=True, eq=False)
class Schedule:
    """When each piece is changed.

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
        What did not fit, and what that risks.
    overhaul_until
        Index of the overhaul's last day: its parts are used between its column's day and this.
    by_risk
        Part types whose pieces with readings go by their chance to end, not by age, and that
        chance.
    levels
        By fleet: [machines] depth from which pieces are changed; None where it is not looked at.
    open_windows
        By fleet: [machines, windows] in which they are; None likewise.
    method, order_said
        How the order of the work was found, and what is to be said about it.
    """

    windows: IntArray
    planned_at: tuple[IntArray, ...]
    change_age: Mapping[str, Array]
    over_hours: Array
    said: tuple[str, ...]
    overhaul_until: int = 0
    by_risk: Mapping[str, float] = field(default_factory=dict)
    levels: tuple[Array | None, ...] = ()
    open_windows: tuple[BoolArray | None, ...] = ()
    method: str = "as due"
    order_said: str = ""

    def level_of(self, fleet: int, machine: int) -> float | None:
        """Return the depth from which a fleet's pieces are changed on a machine; None: by age."""
        levels = self.levels[fleet] if fleet < len(self.levels) else None
        return None if levels is None else float(levels[machine])

    def open_of(self, fleet: int, machine: int) -> BoolArray | None:
        """Return the windows [windows] that are open for pieces over their depth."""
        allowed = self.open_windows[fleet] if fleet < len(self.open_windows) else None
        return None if allowed is None else allowed[machine]


def schedule(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    rules: Mapping[str, ChangeRule],
    plan: Plan,
    overhaul: Overhaul,
    shelf: Shelf | None = None,
    unit_costs: Mapping[str, float | None] | None = None,
) -> Schedule:
    """Choose a window for every piece that its limit or its policy asks to change.

    Window by window: pieces known to be at their limit come first, then those furthest over what
    their rule allows: an age, a depth, or for pieces that are read a chance to end. A machine
    opened takes its set-up once a window; what does not fit into the crew hours, or what the
    shelf less the reserve does not hold, waits for a later window. Where something has to wait, a
    solver looks for the order of the work that costs least. Crew hours are kept for every piece
    on the list, though some may end before.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    rules
        By part type.
    overhaul
        Pieces changed there start again at age 0.
    shelf
        Spares that planned change-outs may take; None: as many as they like.
    unit_costs
        By part type, to weigh what should wait; None: not known.
    """
    make = partial(Filler, fleets, calendar, rules, plan, overhaul)
    ordered = in_order(make, fleets, calendar, plan, unit_costs or {}, shelf or {})
    filler = ordered.filler
    first = 0 if plan.overhaul is None else max(calendar.at(plan.overhaul.first), 0)
    until = first if plan.overhaul is None else max(calendar.at(plan.overhaul.until), first)
    days = [first, *(window.day for window in calendar.windows)]
    return Schedule(
        np.array(days, dtype=np.int64),
        tuple(filler.planned_at),
        filler.change_age,
        np.array(filler.over_hours),
        _said(filler, calendar),
        until,
        {name: rule.risk for name, rule in rules.items() if rule.risk is not None},
        tuple(rules[fleet.part_type].levels.get(fleet.duty_group) for fleet in fleets),
        tuple(filler.open),
        ordered.method,
        ordered.said,
    )


def _said(filler: Filler, calendar: Calendar) -> tuple[str, ...]:
    """Return one sentence for each part type and reason of waiting, and one for what never fits."""
    found = []
    names = sorted({filler.fleets[one.fleet].part_type for one in filler.waiting})
    for name in names:
        for parts, what in ((True, "the shelf less the reserve"), (False, "the crew hours")):
            mine = [
                one
                for one in filler.waiting
                if one.parts == parts and filler.fleets[one.fleet].part_type == name
            ]
            if mine:
                found.append(_sentence(name, what, mine, filler, calendar))
    waiting = filler.unplaced()
    if waiting:
        found.append(f"{waiting} pieces that are due find no window with crew hours this season")
    return tuple(found)


def _sentence(
    name: str, what: str, waiting: Sequence[Waiting], filler: Filler, calendar: Calendar
) -> str:
    rows = {(one.fleet, int(row)) for one in waiting for row in one.rows}
    pieces = sum(int(filler.fleets[fleet].quantity[row]) for fleet, row in rows)
    pieces += int(np.ceil(max(one.others for one in waiting)))
    risk = sum(_risk(one, filler.fleets[one.fleet], calendar) for one in waiting)
    first = calendar.windows[waiting[0].window - 1].on
    return (
        f"{name}: {what} let {pieces} pieces wait, the first on {first}; about {risk:.1f} more "
        "of them end before a later window"
    )


def _risk(waiting: Waiting, fleet: Fleet, calendar: Calendar) -> float:
    """Return the pieces expected to end between a window and the next, because they wait."""
    rows = waiting.rows
    if not len(rows):
        return 0.0
    later = [window.day for window in calendar.windows[waiting.window :]]
    until = later[0] if later else len(calendar.days) - 1
    law, pieces = thin(fleet.law), fleet.pieces.take(rows)
    now = law.survival(pieces, fleet.ahead(calendar.windows[waiting.window - 1].day)[rows])
    then = law.survival(pieces, fleet.ahead(until)[rows])
    ends = (now - then).mean(axis=1)
    return float(fleet.quantity[rows] @ ends)
