"""Hours left of every piece in service, and its chances to last.

The same laws as the season forecast's: a piece with readings has its own rate, shrunk to its
machine and type as far as the readings allow, one without has its machine's and type's
distribution at its age. The limit is drawn once a path. What is projected here stays here: it
never enters a life table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.fits import fit_all
from forecast.jobs.laws import in_service
from forecast.jobs.names import known_part_type
from forecast.jobs.simulating import calendar_of, check_plan, put_in_service, running_season
from forecast.planning.calendar import Calendar
from forecast.planning.fleet import Fleet
from forecast.planning.overhaul import chances_to_last
from forecast.planning.plan import Plan, read_plan
from forecast.planning.seeds import generator
from forecast.planning.worn import lives_left
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

Array = npt.NDArray[np.float64]

AT_ONCE: Final = 400_000
"""Lives (pieces x paths) drawn at a time."""


def hours_left(
    address: str, plan: Path, part_type: str | None = None, settings: Sequence[str] = ()
) -> pd.DataFrame:
    """Return how long each piece in service still lasts, the shortest first.

    Parameters
    ----------
    address
        The store.
    plan
        The plan file: its season, windows and running hours.
    part_type
        None: all of them.
    settings
        ``KEY=VALUE`` that override keys of the plan.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["hours_left"]``; see :func:`pieces_left`.

    Raises
    ------
    PlanError
        If the plan has faults, or names what the logs don't know.
    NotInStore
        If there is no such part type, or nothing of it in service can be forecast.
    """
    read = read_plan(plan, settings)
    with open_store(address) as store:
        snapshot = take_snapshot(store, read.season.as_of)
    if part_type is not None:
        known_part_type(snapshot, part_type)
    return pieces_left(snapshot, read, part_type)


def pieces_left(snapshot: Snapshot, plan: Plan, part_type: str | None = None) -> pd.DataFrame:
    """Return the hours left of what is in place, from what is known and planned.

    Parameters
    ----------
    snapshot, plan
        What is known on the day, and what is planned.
    part_type
        None: all of them.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["hours_left"]``. ``left`` is the median of the running hours until a
        piece is at its limit or fails, whichever comes first, ``left_low`` to ``left_high`` its
        90 % interval; ``chance_window``, ``chance_season`` and ``chance_next`` are the chances
        that it lasts to the next window of its machine (NaN: there is none ahead), to the season's
        end, and to the end of another season of the same hours.

    Raises
    ------
    NotInStore
        If nothing of it in service can be forecast.
    """
    check_plan(snapshot, plan)
    days = calendar_of(plan, snapshot)
    seed, draws = plan.draws.seed, plan.draws.count
    plan, only = _about(plan, part_type)
    spread = plan.season.season_spread
    fits = fit_all(snapshot, season_spread=spread, seed=seed, only=only, tables=False)
    running = running_season(snapshot, plan)
    end = plan.season.end
    service = in_service(snapshot, fits, draws=draws, seed=seed, running=running, until=end)
    told = dict(zip(snapshot.ages["piece"], snapshot.ages["age_from"], strict=True))
    tables = [
        _table(fleet, days, seed, told)
        for fleet in put_in_service(snapshot, service, plan, days)
        if part_type in (None, fleet.part_type)
    ]
    if not tables:
        raise NotInStore(
            f"nothing in service can be forecast of {part_type or 'any part type'}: the logs tell "
            "neither lives nor wear of it",
            "Import change-outs and readings; `wearahead doubts` shows what the logs lack.",
        )
    table = pd.concat(tables, ignore_index=True)
    order = ["left", "machine", "place", "position", "piece"]
    return table.sort_values(order, kind="stable", ignore_index=True)


def _about(plan: Plan, part_type: str | None) -> tuple[Plan, str | None]:
    """Return the plan, and the only part type to be fitted: one whose sizes never change.

    What changes sizes needs the others too; what doesn't, no plan of theirs.
    """
    if part_type is None or any(part_type in (s.from_part, s.to_part) for s in plan.switch):
        return plan, None
    return plan.model_copy(update={"switch": ()}), part_type


def _table(fleet: Fleet, days: Calendar, seed: int, told: Mapping[object, object]) -> pd.DataFrame:
    """Return the rows of one part type and duty group that are in place now."""
    hours = np.empty((len(fleet.pieces), 3))
    step = max(1, AT_ONCE // fleet.law.draws)
    for first in range(0, len(hours), step):
        rows = np.arange(first, min(first + step, len(hours)))
        rng = generator(seed, fleet.part_type, fleet.duty_group, "hours left", str(first))
        lives = lives_left(fleet.law, fleet.pieces.take(rows), rng)
        left = np.minimum(lives.worn, lives.other)
        pace = np.array([fleet.pace(machine) for machine in fleet.pieces.machine[rows]])
        hours[rows] = np.quantile(left, [0.5, 0.05, 0.95], axis=1).T / pace[:, None]
    season, following = chances_to_last(fleet, days)
    table = fleet.table.assign(
        quantity=fleet.quantity,
        age=fleet.pieces.age,
        age_from=fleet.table["piece"].map(told).fillna(""),
        read=fleet.pieces.own >= 0,
        left=hours[:, 0],
        left_low=hours[:, 1],
        left_high=hours[:, 2],
        chance_window=_to_window(fleet, days),
        chance_season=season,
        chance_next=following,
    )
    here = fleet.in_use[fleet.unit, 0]
    shown: pd.DataFrame = table.loc[here, list(STUDIES["hours_left"])]
    return shown


def _to_window(fleet: Fleet, days: Calendar) -> Array:
    """Return the chance [rows] to last to the next window of the machine; NaN without one."""
    lines = [days.lines[machine] for machine in range(len(days.machines))]
    day = np.full(len(lines), -1)
    for machine, line in enumerate(lines):
        ahead = np.flatnonzero(days.machine_windows(line))
        if ahead.size:
            day[machine] = min(days.windows[at].day for at in ahead)
    until = day[fleet.pieces.machine]
    run = np.cumsum(fleet.hours, axis=1)[fleet.unit, np.maximum(until, 0)]
    chance = np.empty(len(until))
    step = max(1, AT_ONCE // fleet.law.draws)
    for first in range(0, len(chance), step):
        rows = np.arange(first, min(first + step, len(chance)))
        chance[rows] = fleet.law.survival(fleet.pieces.take(rows), run[rows]).mean(axis=1)
    chance[fleet.pieces.due] = 0.0
    return np.where(until >= 0, chance, np.nan)
