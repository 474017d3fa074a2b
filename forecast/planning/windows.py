"""When each piece is changed: an input of the simulation, so that list and demand agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.filler import OVERHAUL as OVERHAUL
from forecast.planning.filler import Filler
from forecast.planning.fleet import Fleet
from forecast.planning.order import Ordered, in_order
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
        _said(ordered, calendar),
        until,
        {name: rule.risk for name, rule in rules.items() if rule.risk is not None},
        tuple(rules[fleet.part_type].levels.get(fleet.duty_group) for fleet in fleets),
        tuple(filler.open),
        ordered.method,
        ordered.said,
    )


def _said(ordered: Ordered, calendar: Calendar) -> tuple[str, ...]:
    """Return a sentence for each part type that has to wait, and one for what never fits."""
    filler, found = ordered.filler, []
    for name in sorted({fleet.part_type for fleet in filler.fleets}):
        mine = [one for one in filler.waiting if filler.fleets[one.fleet].part_type == name]
        late = _late(ordered, name, calendar)
        others = max((one.others for one in mine), default=0.0)
        pieces = late.pieces + int(np.ceil(others))
        if not pieces or not ordered.due:
            continue
        short = {
            "the shelf less the reserve": any(one.parts for one in mine),
            "the crew hours": any(not one.parts for one in mine),
        }
        reasons = [what for what, so in short.items() if so] or ["the crew hours"]
        windows = [late.first] if late.pieces else []
        windows += [one.window for one in mine if one.others]
        first = calendar.windows[min(windows) - 1].on
        found.append(
            f"{name}: {' and '.join(reasons)} let {pieces} pieces wait, the first on {first}; "
            f"about {late.risk:.1f} more of them end before their window"
        )
    waiting = filler.unplaced()
    if waiting:
        found.append(f"{waiting} pieces that are due find no window with crew hours this season")
    return tuple(found)


@dataclass(frozen=True)
class _Late:
    """Pieces changed later than due: how many, from which window, and how many more end so."""

    pieces: int
    first: int
    risk: float


def _late(ordered: Ordered, part_type: str, calendar: Calendar) -> _Late:
    pieces, first, risk = 0, len(calendar.windows), 0.0
    days = np.array([0, *(window.day for window in calendar.windows), len(calendar.days) - 1])
    for number, due in enumerate(ordered.due):
        fleet = ordered.filler.fleets[number]
        done = ordered.filler.planned_at[number]
        rows = np.flatnonzero((due > 0) & ((done < 0) | (done > due)))
        if fleet.part_type != part_type or not len(rows):
            continue
        pieces += int(fleet.quantity[rows].sum())
        first = min(first, int(due[rows].min()))
        clock = np.cumsum(fleet.hours, axis=1)[fleet.unit[rows]]
        at = np.arange(len(rows))
        law, some = thin(fleet.law), fleet.pieces.take(rows)
        now = law.survival(some, clock[at, days[due[rows]]])
        # the last day stands at the end, where never (-1) points
        then = law.survival(some, clock[at, days[done[rows]]])
        risk += float(fleet.quantity[rows] @ (now - then).mean(axis=1))
    return _Late(pieces, first, risk)
