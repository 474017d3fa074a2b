"""Before the season: change or leave, position by position."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, BoolArray
from forecast.planning.fleet import Fleet
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.rules import change_costs, keep_chance, type_lives

KEEP_CHANCE = 0.90
"""A part is left in from this chance to last the season, where costs do not say better."""

COLUMNS = [
    "machine",
    "place",
    "position",
    "part_type",
    "quantity",
    "decision",
    "chance_season",
    "chance_next",
]


@dataclass(frozen=True, eq=False)
class Overhaul:
    """What is decided before the season.

    Attributes
    ----------
    table
        The result ``overhaul``: one row a position, or a set and decision; empty without an
        overhaul ahead.
    changed
        By fleet: [rows] pieces changed in the overhaul.
    keep
        By part type: the chance to last from which a part is left in, and why that chance.
    said
        What did not fit into the crew hours.
    """

    table: pd.DataFrame
    changed: tuple[BoolArray, ...]
    keep: Mapping[str, tuple[float, str]]
    said: tuple[str, ...]


def plan_overhaul(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    plan: Plan,
    unit_costs: Mapping[str, float | None],
    seed: int,
) -> Overhaul:
    """Decide what is changed before the season.

    A part is changed if its chance to last until the season's end is under the keep chance of
    its part type. Where crew hours run short, the parts least likely to last come first. A piece
    that nobody measured, of a type whose other pieces are, is to be measured again if it would be
    changed although it more likely lasts than not; until then it counts as changed.

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
    keep: dict[str, tuple[float, str]] = {}
    for name in sorted({fleet.part_type for fleet in fleets}):
        lives = type_lives([fleet for fleet in fleets if fleet.part_type == name], seed)
        keep[name] = _keep_chance(
            plan, plan.for_part_type(name), unit_costs.get(name), lives, hours
        )
    chances = [_chances(fleet, calendar) for fleet in fleets]
    wanted = [
        season < keep[fleet.part_type][0]
        for fleet, (season, _) in zip(fleets, chances, strict=True)
    ]
    changed, said = _within_crew(fleets, wanted, [season for season, _ in chances], plan)
    tables = [
        _rows(fleet, season, following, doing)
        for fleet, (season, following), doing in zip(fleets, chances, changed, strict=True)
    ]
    table = pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=COLUMNS)
    return Overhaul(table, tuple(changed), keep, said)


def _keep_chance(
    plan: Plan, part: PartPlan, unit_cost: float | None, lives: Array, hours: float
) -> tuple[float, str]:
    given = plan.overhaul.keep_chance if plan.overhaul else None
    if given is not None:
        return given, "keep_chance of the plan"
    planned, unplanned = change_costs(part, unit_cost)
    if planned is None or unplanned is None:
        return KEEP_CHANCE, "costs are not all known"
    chance = keep_chance(
        planned, unplanned, hours / float(lives.mean()), float(np.mean(lives < hours))
    )
    return chance, f"computed from the costs {planned:g} planned and {unplanned:g} unplanned"


def _chances(fleet: Fleet, calendar: Calendar) -> tuple[Array, Array]:
    """Return the chance [rows] to last this season, and also another one of the same hours."""
    ahead = fleet.hours.sum(axis=1)
    season = ahead - fleet.hours[:, ~calendar.in_season].sum(axis=1)
    rows = fleet.unit
    step = max(1, 400_000 // fleet.law.draws)
    first, both = np.empty(len(rows)), np.empty(len(rows))
    for at in range(0, len(rows), step):
        part = np.arange(at, min(at + step, len(rows)))
        pieces, hours = fleet.pieces.take(part), ahead[rows[part]]
        first[part] = fleet.law.survival(pieces, hours).mean(axis=1)
        both[part] = fleet.law.survival(pieces, hours + season[rows[part]]).mean(axis=1)
    first[fleet.pieces.due] = 0.0
    both[fleet.pieces.due] = 0.0
    return first, both


def _within_crew(
    fleets: Sequence[Fleet], wanted: Sequence[BoolArray], chance: Sequence[Array], plan: Plan
) -> tuple[list[BoolArray], tuple[str, ...]]:
    """Keep what the crew can do, the parts least likely to last first."""
    crew = plan.overhaul.crew_hours if plan.overhaul else None
    if crew is None:
        return list(wanted), ()
    queue = sorted(
        (float(chance[number][row]), number, int(row))
        for number, rows in enumerate(wanted)
        for row in np.flatnonzero(rows)
    )
    done = [np.zeros(len(rows), dtype=bool) for rows in wanted]
    left, waiting, opened = crew * 60.0, 0, set()
    for _, number, row in queue:
        fleet = fleets[number]
        machine = int(fleet.pieces.machine[row])
        minutes = plan.for_part_type(fleet.part_type).minutes * int(fleet.quantity[row])
        minutes += 0.0 if machine in opened else plan.windows.machine_setup_minutes
        if minutes > left:
            waiting += int(fleet.quantity[row])
            continue
        left -= minutes
        opened.add(machine)
        done[number][row] = True
    if not waiting:
        return done, ()
    said = f"{waiting} pieces due in the overhaul do not fit into its {crew:g} crew hours"
    return done, (said,)


def _rows(fleet: Fleet, season: Array, following: Array, changed: BoolArray) -> pd.DataFrame:
    """Return the rows of one fleet: a position each, or a set and decision."""
    decision = np.where(changed, "change", "leave").astype(object)
    measured = fleet.pieces.own >= 0
    unread = ~measured & (fleet.table["position"] != "").to_numpy() & bool(measured.any())
    decision[unread & changed & (season >= 0.5)] = "measure_again"
    frame = fleet.table[["machine", "place", "position"]].assign(
        part_type=fleet.part_type,
        quantity=fleet.quantity,
        decision=decision,
        chance_season=season * fleet.quantity,
        chance_next=following * fleet.quantity,
        kit=fleet.table["kit"],
    )
    keys = ["machine", "place", "kit", "position", "part_type", "decision"]
    joined = frame.groupby(keys, sort=False, as_index=False).sum()
    for name in ("chance_season", "chance_next"):
        joined[name] = joined[name] / joined["quantity"]
    return joined[COLUMNS]
