"""Before the season: change or leave, position by position."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.crew import work_minutes
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.fleet import Fleet, mean_pace
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.rules import change_costs, keep_chance, type_lives
from forecast.planning.worn import chance_of_flip, season_after

KEEP_CHANCE = 0.90
"""A part is left in from this chance to last the season, where costs do not say better."""

FLIPS = 0.1
"""A piece is measured again where one more reading turns its decision with this chance."""

COLUMNS = [
    "machine",
    "place",
    "position",
    "part_type",
    "quantity",
    "decision",
    "chance_season",
    "chance_next",
    "sure",
    "crew_hours",
    "first_day",
    "last_day",
]


@dataclass(frozen=True, eq=False)
class Overhaul:
    """What is decided before the season.

    Attributes
    ----------
    table
        The result ``overhaul``: one row a position, or a set and decision, with its crew hours
        (without the set-up of the machine) and the days of the overhaul where it is worked on;
        ``sure`` is false where other draws might decide otherwise. Empty without an overhaul ahead.
    changed
        By fleet: [rows] pieces changed in the overhaul.
    keep
        By part type: the chance to last from which a part is left in, and why that chance.
    said
        What did not fit into the crew hours.
    work
        How much work it is, of how many crew hours, between which days; empty without an
        overhaul ahead.
    """

    table: pd.DataFrame
    changed: tuple[BoolArray, ...]
    keep: Mapping[str, tuple[float, str]]
    said: tuple[str, ...]
    work: str = ""


NEAR: Final = 2.0
"""Standard errors of its chance by which a decision stands clear of the line to be sure."""


@dataclass(frozen=True)
class _Keep:
    """From which chance to last a part is left in, why, and what a point of chance is worth."""

    chance: float
    why: str
    worth: float


@dataclass(frozen=True, eq=False)
class _Item:
    """Work that is done together: one position, or a set whose positions nobody tells apart."""

    fleet: int
    rows: IntArray
    machine: int
    pieces: int
    minutes: float
    gain: float

    @property
    def worth(self) -> float:
        """Gain a crew minute."""
        return self.gain / max(self.minutes, 0.1)


def plan_overhaul(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    plan: Plan,
    unit_costs: Mapping[str, float | None],
    seed: int,
) -> Overhaul:
    """Decide what is changed before the season.

    A part is changed if its chance to last until the season's end is under the keep chance of
    its part type; of a set whose positions nobody tells apart the mean chance decides, for all of
    it. Where crew hours run short, what gains most a crew minute comes first. A piece is to be
    measured again where one more reading may well turn its decision, or where nobody measured it,
    others of its type are, and it would be changed although it more likely lasts than not; until
    then the decision stands.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    unit_costs
        By part type; None (or NaN) where nobody gave one.
    seed
        Of the forecast.
    """
    nothing = tuple(np.zeros(len(fleet.pieces), dtype=bool) for fleet in fleets)
    if plan.overhaul is None or calendar.as_of >= plan.overhaul.until:
        return Overhaul(pd.DataFrame(columns=COLUMNS), nothing, {}, ())
    hours = float(np.mean(calendar.hours[:, calendar.in_season].sum(axis=1)))
    keep: dict[str, _Keep] = {}
    for name in sorted({fleet.part_type for fleet in fleets}):
        mine = [fleet for fleet in fleets if fleet.part_type == name]
        keep[name] = _keep_chance(
            plan,
            plan.for_part_type(name),
            unit_costs.get(name),
            type_lives(mine, seed),
            hours * mean_pace(mine),
        )
    chances = [_chances(fleet, calendar) for fleet in fleets]
    wanted = [
        item
        for number, (fleet, (season, _, _)) in enumerate(zip(fleets, chances, strict=True))
        for item in _items(number, fleet, season, keep[fleet.part_type], plan)
    ]
    done, minutes, said = _within_crew(wanted, plan)
    changed = [np.zeros(len(fleet.pieces), dtype=bool) for fleet in fleets]
    for item in done:
        changed[item.fleet][item.rows] = True
    taken = [np.zeros(len(fleet.pieces)) for fleet in fleets]
    for item in done:
        share = fleets[item.fleet].quantity[item.rows] / item.pieces
        taken[item.fleet][item.rows] = share * item.minutes / 60.0
    tables = []
    for at, (fleet, (season, following, error)) in enumerate(zip(fleets, chances, strict=True)):
        again = _again(fleet, season, changed[at], keep)
        table = _rows(fleet, season, following, changed[at], again, error, taken[at])
        off = (table["chance_season"] - keep[fleet.part_type].chance).abs()
        sure = off > NEAR * table.pop("error")
        tables.append(_dated(table.assign(sure=sure), plan)[COLUMNS])
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=COLUMNS)
    told = {name: (one.chance, one.why) for name, one in keep.items()}
    said = (*said, *_near_the_line(table, keep))
    return Overhaul(table, tuple(changed), told, said, _work(done, minutes, plan))


def _keep_chance(
    plan: Plan, part: PartPlan, unit_cost: float | None, lives: Array, hours: float
) -> _Keep:
    planned, unplanned = change_costs(part, unit_cost)
    known = planned is not None and unplanned is not None
    used = hours / float(lives.mean())
    worth = 1.0
    if planned is not None and unplanned is not None:
        worth = max(unplanned - planned * (1.0 - used / 2.0), 1e-6)
    given = plan.overhaul.keep_chance if plan.overhaul else None
    if given is not None:
        return _Keep(given, "keep_chance of the plan", worth)
    if not known or planned is None or unplanned is None:
        return _Keep(KEEP_CHANCE, "costs are not all known", worth)
    chance = keep_chance(planned, unplanned, used, float(np.mean(lives < hours)))
    why = f"computed from the costs {planned:g} planned and {unplanned:g} unplanned"
    return _Keep(chance, why, worth)


def chances_to_last(fleet: Fleet, calendar: Calendar) -> tuple[Array, Array]:
    """Return the chance [rows] to last this season, and also another one of the same hours.

    The season after has an effect of its own: that this one wears fast says little about it.
    """
    return _chances(fleet, calendar)[:2]


def _chances(fleet: Fleet, calendar: Calendar) -> tuple[Array, Array, Array]:
    """Return both chances [rows], and the standard error that the draws leave in the first.

    A path counts once for all pieces, so the pieces of a set err together.
    """
    ahead = fleet.hours.sum(axis=1)
    season = ahead - fleet.hours[:, ~calendar.in_season].sum(axis=1)
    rows = fleet.unit
    step = max(1, 400_000 // fleet.law.draws)
    first, both, error = (np.empty(len(rows)) for _ in range(3))
    for at in range(0, len(rows), step):
        part = np.arange(at, min(at + step, len(rows)))
        pieces, hours = fleet.pieces.take(part), ahead[rows[part]]
        lasts = fleet.law.survival(pieces, hours)
        law, aged = season_after(fleet.law, pieces, hours)
        first[part] = lasts.mean(axis=1)
        error[part] = lasts.std(axis=1) / np.sqrt(fleet.law.draws)
        both[part] = (lasts * law.survival(aged, season[rows[part]])).mean(axis=1)
    first[fleet.pieces.due] = 0.0
    both[fleet.pieces.due] = 0.0
    error[fleet.pieces.due] = 0.0
    return first, both, error


def _items(number: int, fleet: Fleet, chance: Array, keep: _Keep, plan: Plan) -> Iterator[_Item]:
    """Yield what should be changed in one fleet: positions, and whole sets."""
    part = plan.for_part_type(fleet.part_type)
    loose = (fleet.table["position"] == "").to_numpy()
    for unit in np.unique(fleet.unit):
        rows = np.flatnonzero(fleet.unit == unit)
        groups = [rows] if loose[rows].all() else [np.array([row]) for row in rows]
        for group in groups:
            pieces = int(fleet.quantity[group].sum())
            gain = float(fleet.quantity[group] @ (keep.chance - chance[group]))
            if gain > 0 and pieces:
                machine = int(fleet.pieces.machine[group[0]])
                minutes = work_minutes(part, pieces, len(group) == len(rows))
                yield _Item(number, group, machine, pieces, minutes, gain * keep.worth)


def _within_crew(wanted: Sequence[_Item], plan: Plan) -> tuple[list[_Item], float, tuple[str, ...]]:
    """Keep what the crew can do, what gains most a crew minute first."""
    crew = plan.overhaul.crew_hours if plan.overhaul else None
    limit = np.inf if crew is None else crew * 60.0
    queue = sorted(wanted, key=lambda item: (-item.worth, item.fleet, int(item.rows[0])))
    done: list[_Item] = []
    opened: set[int] = set()
    spent, waiting = 0.0, 0
    for item in queue:
        setup = 0.0 if item.machine in opened else plan.windows.machine_setup_minutes
        if spent + item.minutes + setup > limit:
            waiting += item.pieces
            continue
        spent += item.minutes + setup
        opened.add(item.machine)
        done.append(item)
    if not waiting:
        return done, spent, ()
    said = f"{waiting} pieces due in the overhaul do not fit into its {crew:g} crew hours"
    return done, spent, (said,)


def _work(done: Sequence[_Item], minutes: float, plan: Plan) -> str:
    assert plan.overhaul is not None  # noqa: S101
    of = "" if plan.overhaul.crew_hours is None else f" of {plan.overhaul.crew_hours:g}"
    return (
        f"{sum(item.pieces for item in done)} pieces on {len({one.machine for one in done})} "
        f"machines, {minutes / 60.0:.0f}{of} crew hours, from {plan.overhaul.first} to "
        f"{plan.overhaul.until}"
    )


def _again(fleet: Fleet, season: Array, changed: BoolArray, keep: Mapping[str, _Keep]) -> BoolArray:
    """Return which rows [rows] are to be measured before they are decided on."""
    read = fleet.pieces.own >= 0
    named = (fleet.table["position"] != "").to_numpy()
    unread = ~read & named & bool(read.any()) & changed & (season >= 0.5)
    ahead = fleet.hours.sum(axis=1)[fleet.unit]
    flips = chance_of_flip(fleet.law, fleet.pieces, ahead, keep[fleet.part_type].chance)
    again: BoolArray = unread | (flips > FLIPS)
    return again


def _rows(
    fleet: Fleet,
    season: Array,
    following: Array,
    changed: BoolArray,
    again: BoolArray,
    error: Array,
    hours: Array,
) -> pd.DataFrame:
    """Return the rows of one fleet: a position each, or a set and decision; with ``error``."""
    decision = np.where(changed, "change", "leave").astype(object)
    decision[again] = "measure_again"
    frame = fleet.table[["machine", "place", "position"]].assign(
        part_type=fleet.part_type,
        quantity=fleet.quantity,
        decision=decision,
        chance_season=season * fleet.quantity,
        chance_next=following * fleet.quantity,
        error=error * fleet.quantity,
        crew_hours=hours,
        kit=fleet.table["kit"],
    )
    keys = ["machine", "place", "kit", "position", "part_type", "decision"]
    joined = frame.groupby(keys, sort=False, as_index=False).sum()
    for name in ("chance_season", "chance_next", "error"):
        joined[name] = joined[name] / joined["quantity"]
    return joined


def _dated(table: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Add the days of the overhaul to the rows that it works on."""
    assert plan.overhaul is not None  # noqa: S101
    worked = (table["crew_hours"] > 0) | (table["decision"] != "leave")
    first, last = (
        pd.Series([day if here else None for here in worked], index=table.index, dtype=object)
        for day in (plan.overhaul.first, plan.overhaul.until)
    )
    return table.assign(first_day=first, last_day=last)


def _near_the_line(table: pd.DataFrame, keep: Mapping[str, _Keep]) -> tuple[str, ...]:
    """Say of each part type how many decisions other draws might turn."""
    said = []
    for name, rows in table[~table["sure"].astype(bool)].groupby("part_type", sort=True):
        said.append(
            f"{name}: {int(rows['quantity'].sum())} pieces are so near the line of "
            f"{keep[str(name)].chance:.2f} that other draws may decide otherwise (not sure in the "
            "overhaul list): draws.count in the plan settles more of them"
        )
    return tuple(said)
