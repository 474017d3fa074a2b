"""Which positions to measure next, and what that would tell of the season ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.coming import to_measure
from forecast.jobs.simulating import Simulated, simulate
from forecast.planning.calendar import Calendar
from forecast.planning.measuring import Candidates, Chosen, candidates, choose
from forecast.planning.overhaul import KEEP_CHANCE
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.work import HERE, Work

COUNT: Final = 40
READING_MINUTES: Final = 3.0
"""Crew time to find a position, clean it and read the gauge, where nobody says (a guess)."""

MOST_DRAWS: Final = 1000
"""Season paths are plenty for a ranking."""

WEEK: Final = timedelta(days=7)


@dataclass(frozen=True, eq=False)
class Measured:
    """What to measure next.

    Attributes
    ----------
    table
        Columns of ``STUDIES["measure_next"]``, the most telling first: ``narrows_by`` pieces off
        the spread (sd) of the season's total, given the rows above it; ``may_flip`` the chance
        that the reading turns the decision about its piece; ``minutes`` of crew time.
    day
        When: the next window, else a week from the day of the forecast.
    said
        A sentence a part type: what the readings are worth together.
    """

    table: pd.DataFrame
    day: date
    said: tuple[str, ...]

    @property
    def walk(self) -> pd.DataFrame:
        """The same rows in the order of a walk: machine by machine, position by position."""
        counted = self.table["position"].str.extract(r"(\d+)", expand=False).fillna("0").astype(int)
        keys = ["machine", "place", "part_type", "counted", "position"]
        walked = self.table.assign(counted=counted).sort_values(keys, kind="stable")
        return walked.drop(columns="counted").reset_index(drop=True)


def measure_next(
    address: str,
    plan: Path,
    count: int = COUNT,
    *,
    as_of: date | None = None,
    minutes: float = READING_MINUTES,
    work: Work = HERE,
) -> Measured:
    """Rank positions by what one reading says of the season ahead, per crew minute.

    Parameters
    ----------
    address
        The store.
    plan
        The plan file: its days ahead, costs and machine_setup_minutes.
    count
        At most so many; fewer where the others would tell too little.
    as_of
        The day to look ahead from; None: the plan's, else the last day known.
    minutes
        Crew time of one reading.
    work
        Who computes, and whom to tell.

    Raises
    ------
    PlanError
        If the plan has faults, or a number is out of range.
    NotInStore
        If nothing is in service, or nothing in service wears to a limit.
    """
    if count < 1 or not minutes > 0:
        raise PlanError(
            f"cannot choose {count} readings of {minutes:g} minutes",
            "Give --count 1 or more, and --minutes above 0.",
        )
    settings = () if as_of is None else (f"season.as_of={as_of.isoformat()}",)
    read = read_plan(plan, settings)
    with open_store(address) as store:
        snapshot = take_snapshot(store, read.season.as_of)
    return rank(snapshot, read, count, minutes=minutes, work=work)


def rank(
    snapshot: Snapshot,
    plan: Plan,
    count: int = COUNT,
    *,
    minutes: float = READING_MINUTES,
    work: Work = HERE,
) -> Measured:
    """Rank positions from what is known; see :func:`measure_next`."""
    draws = plan.draws.model_copy(update={"count": min(plan.draws.count, MOST_DRAWS)})
    lived = simulate(snapshot, plan.model_copy(update={"draws": draws}), work)
    groups = _groups(lived, draws.seed)
    if not groups:
        raise NotInStore(
            "nothing in service wears to a limit that its readings tell of",
            "Import readings, and a wear_limit for their part types.",
        )
    chosen = choose(
        groups,
        count,
        minutes=minutes,
        setup_minutes=plan.windows.machine_setup_minutes,
        prices=_prices(groups, lived.prices),
    )
    rows = [_row(groups[one.group], one) for one in chosen]
    table = pd.DataFrame(rows, columns=list(STUDIES["measure_next"]))
    day = _day(lived.days)
    table["position"] = _by_lot(table, snapshot, day, draws.seed)
    return Measured(table, day, tuple(_said(groups, chosen, lived)))


def _groups(lived: Simulated, seed: int) -> list[Candidates]:
    found = []
    for fleet in lived.parts:
        rates = lived.service.rates.get((fleet.part_type, fleet.duty_group))
        if rates is None or fleet.part_type not in lived.paths:
            continue
        shared = np.vstack([rates.level[None], rates.read_theta])
        total = lived.paths[fleet.part_type].total.sum(axis=1).astype(float)
        one = candidates(fleet, shared, total, keep=_keep(lived, fleet.part_type), seed=seed)
        if one is not None:
            found.append(one)
    return found


def _keep(lived: Simulated, part_type: str) -> float:
    """Return the chance to last from which a piece is left in: as the overhaul decided it."""
    return lived.before.keep.get(part_type, (KEEP_CHANCE, ""))[0]


def _prices(groups: Sequence[Candidates], prices: Mapping[str, float | None]) -> list[float]:
    """Return the price of a piece of each group; 1 each unless all are known."""
    known = [prices.get(group.fleet.part_type) for group in groups]
    whole = [float(price) for price in known if price is not None and price > 0]
    return whole if len(whole) == len(groups) else [1.0] * len(groups)


def _row(group: Candidates, one: Chosen) -> dict[str, object]:
    place = group.table.iloc[one.row]
    named = {name: place[name] for name in ("machine", "place", "position")}
    return {
        **named,
        "part_type": group.fleet.part_type,
        "narrows_by": one.narrows_by,
        "may_flip": one.may_flip,
        "minutes": one.minutes,
    }


def _by_lot(table: pd.DataFrame, snapshot: Snapshot, day: date, seed: int) -> list[str]:
    """Return the positions; those of sets that nobody tells apart are drawn by lot."""
    machines = sorted(set(table.loc[table["position"] == "", "machine"]))
    keys = ["machine", "place", "part_type"]
    drawn = {
        tuple(map(str, key)): iter(own["position"].astype(str))
        for key, own in to_measure(snapshot, machines, day, seed).groupby(keys, sort=True)
    }
    return [
        position or next(drawn.get((machine, place, part), iter(())), "")
        for machine, place, part, position in table[[*keys, "position"]].itertuples(index=False)
    ]


def _day(days: Calendar) -> date:
    """Return the day of the sheet: the next window, else a week ahead."""
    return min((window.on for window in days.windows), default=days.as_of + WEEK)


def _said(groups: Sequence[Candidates], chosen: Sequence[Chosen], lived: Simulated) -> list[str]:
    """Say what the readings are worth, part type by part type."""
    said = []
    for number, group in enumerate(groups):
        mine = [one for one in chosen if one.group == number]
        flips = sum(one.may_flip for one in mine)
        name = " ".join(filter(None, (group.fleet.part_type, group.fleet.duty_group)))
        total = float(lived.paths[group.fleet.part_type].total.sum(axis=1).mean())
        now = (
            f"{name}: of about {total:.0f} pieces still to come, wear that nobody knows yet moves "
            f"about {group.sd_before:.2g} either way (sd)"
        )
        if not mine:
            said.append(
                f"{now}; no reading chosen: one narrows that by less than 1 in 200, or others "
                "tell more."
            )
            continue
        readings = "reading narrows" if len(mine) == 1 else "readings narrow"
        turned = f", and may turn about {flips:.1f} decisions" if flips >= 0.1 else ""
        said.append(f"{now}; {len(mine)} {readings} it to about {group.sd:.2g}{turned}.")
    return said
