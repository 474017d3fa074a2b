"""Forecasts as they would have been, held against what then happened.

Each day's forecast sees only what was known then. It is scored twice. *As planned* it has the
plan's hours and the plan's change-outs: what a buyer would have got. *Given actual hours and
planned changes* it is told how long the machines then ran and which pieces were changed before
they ended: what is left is the model's own error. Size changes are the plan's in both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import PlanError
from forecast.jobs.exhibits import versions
from forecast.jobs.fits import fit_all
from forecast.jobs.scores import crps, pinball_loss
from forecast.jobs.simulating import Reschedule, Simulated, live_through, make_ready
from forecast.planning.calendar import Calendar
from forecast.planning.demand import LEVELS, DemandPaths
from forecast.planning.draws import IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.plan import PartPlan, Plan, WindowsPlan, read_plan
from forecast.planning.windows import Schedule
from forecast.records.season import EXHIBITS
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.scores import load_scores, save_scores
from forecast.store.snapshots import take_snapshot
from forecast.work import HERE, Work

GIVEN: Final = "given actual hours and planned changes"
PLANNED: Final = "as planned"


def hindsight(
    address: str,
    plan: Path,
    days: Sequence[date],
    *,
    settings: Sequence[str] = (),
    work: Work = HERE,
) -> pd.DataFrame:
    """Forecast a season from days of the past, score it, and keep the scores.

    Parameters
    ----------
    address
        The store.
    plan
        The plan file of the season.
    days
        The days to forecast from.
    settings
        ``KEY=VALUE`` that override keys of the plan.
    work
        Who computes, and whom to tell.

    Returns
    -------
    pandas.DataFrame
        Columns of ``EXHIBITS["hindsight"]``, one row a day, part type and basis: pieces used from
        the day after it to the season's end, or to the last day known if that comes first; also
        those whose use by then was not known on it, since the forecast still has the old piece.
        ``pinball`` is the mean loss of the quantiles of ``season_totals``, ``bias`` forecast less
        actual, and ``seasons`` counts the seasons that the part type was scored in so far.

    Raises
    ------
    PlanError
        If the plan has faults, or nothing has happened after one of the days.
    NotInStore
        If nothing was known on one of the days.
    """
    read = read_plan(plan, settings)
    with open_store(address) as store:
        now = take_snapshot(store)
        then = {day: take_snapshot(store, day) for day in sorted(set(days))}
    last = min(now.day, read.season.end)
    late = [day for day in then if day >= last]
    if late:
        raise PlanError(
            f"nothing can be scored from {late[0]}: the logs reach {now.day}, the season ends on "
            f"{read.season.end}",
            "Give earlier days with --as-of, or a season that has begun.",
        )
    tasks = [_Day(snapshot, now, read.at(day), last) for day, snapshot in then.items()]
    rows = work.map(_scored, tasks, "looking back")
    scored = pd.DataFrame([row for of_day in rows for row in of_day])
    stamp = pd.DataFrame(
        {
            "plan_name": read.season.name,
            "season_from": read.season.start,
            "season_until": read.season.end,
            "known_until": last,
            "draws": read.draws.count,
            "seed": read.draws.seed,
            "versions": versions(),
            "last_import": now.last_import,
            "last_decision": now.last_decision,
        },
        index=scored.index,
    )
    with open_store(address, write=True) as store:
        save_scores(store, pd.concat([scored, stamp], axis=1))
        record = load_scores(store)
    seasons = record.groupby(["part_type", "basis"])["seasons"].max().to_dict()
    keys = zip(scored["part_type"], scored["basis"], strict=True)
    scored["seasons"] = [int(seasons[key]) for key in keys]
    return scored[list(EXHIBITS["hindsight"])]


def score(
    paths: Mapping[str, DemandPaths], actual: Mapping[str, int], days: int
) -> list[dict[str, object]]:
    """Score the pieces used in the first days of some paths.

    Parameters
    ----------
    paths
        By part type.
    actual
        Pieces used by part type; 0 where it is missing.
    days
        How many days ahead count.

    Returns
    -------
    list of dict
        One a part type: actual, mean, p05, p95, covered, pinball, crps, bias.
    """
    rows = []
    for name, of in paths.items():
        total: IntArray = of.total[:, :days].sum(axis=1)
        used = float(actual.get(name, 0))
        said = np.quantile(total, list(LEVELS.values()), method="inverted_cdf")
        low, high = np.quantile(total, [0.05, 0.95], method="inverted_cdf")
        losses = [
            pinball_loss(used, float(one), level)
            for one, level in zip(said, LEVELS.values(), strict=True)
        ]
        rows.append(
            {
                "part_type": name,
                "actual": used,
                "mean": float(total.mean()),
                "p05": float(low),
                "p95": float(high),
                "covered": bool(low <= used <= high),
                "pinball": float(np.mean(losses)),
                "crps": crps(total, used),
                "bias": float(total.mean()) - used,
            }
        )
    return rows


@dataclass(frozen=True)
class _Day:
    """A day to score: what was known on it, what is known now, and the last day that counts."""

    snapshot: Snapshot
    now: Snapshot
    plan: Plan
    last: date


def _scored(day: _Day) -> list[dict[str, object]]:
    """Score one day on both bases."""
    snapshot, now, plan, last = day.snapshot, day.now, day.plan, day.last
    ahead = (last - snapshot.day).days
    happened = _between(now.used, snapshot.day, last)
    counted = pd.concat([happened, not_known_then(snapshot, now)])
    actual = {
        str(name): int(pieces)
        for name, pieces in counted.groupby("part_type")["quantity"].sum().items()
    }
    known = replace(snapshot, running=_as_run(snapshot, now, plan.season.end))
    changed = happened[happened["planned"].astype(bool)]
    fits = fit_all(
        snapshot, season_spread=plan.season.season_spread, seed=plan.draws.seed, tables=False
    )

    def live(seen: Snapshot, of: Plan, reschedule: Reschedule | None = None) -> Simulated:
        return live_through(make_ready(seen, of, fits=fits), seen, of, reschedule=reschedule)

    runs = {
        GIVEN: live(known, without_plans(plan), _as_changed(changed)),
        PLANNED: live(snapshot, plan),
    }
    return [
        {"as_of": snapshot.day, **row, "basis": basis}
        for basis, lived in runs.items()
        for row in score(lived.paths, actual, ahead)
    ]


def without_plans(plan: Plan) -> Plan:
    """Return a plan without hours and change-outs of its own: both are given."""
    to_failure = PartPlan.model_validate({"policy": "run_to_failure"})
    return plan.model_copy(
        update={
            "season": plan.season.model_copy(update={"running_hours_per_day": None}),
            "overhaul": None,
            "windows": WindowsPlan(),
            "window": (),
            "down": (),
            "defaults": to_failure,
            "part_type": {},
        }
    )


def not_known_then(then: Snapshot, now: Snapshot) -> pd.DataFrame:
    """Return the rows of ``used`` of days up to then that were logged only later.

    Only of pieces followed by position, and that nobody chose: the forecast had the old piece in
    place, at its limit or broken, and expected the change. In a set the pieces that break between
    two looks count as replaced.
    """
    keys = ["part_type", "machine", "place", "position", "day"]
    early = now.used[pd.to_datetime(now.used["day"]).dt.date <= then.day]
    early = early[early["position"].ne("") & ~early["planned"].astype(bool)]
    known = pd.MultiIndex.from_frame(then.used[keys])
    return early[~pd.MultiIndex.from_frame(early[keys]).isin(known)]


def _between(used: pd.DataFrame, after: date, until: date) -> pd.DataFrame:
    days = pd.to_datetime(used["day"]).dt.date
    return used[(days > after) & (days <= until)]


def _as_run(snapshot: Snapshot, now: Snapshot, end: date) -> pd.DataFrame:
    """Return the hours known then, and as planned ones those that were run; none after those."""
    logged = snapshot.running[~snapshot.running["planned"].astype(bool)]
    days = pd.to_datetime(now.running["day"]).dt.date
    run = ~now.running["planned"].astype(bool) & (days > snapshot.day) & (days <= end)
    ran = now.running[run].assign(planned=True)
    machines = sorted({str(name) for name in snapshot.fitted["machine"]})
    every = [snapshot.day + timedelta(days=n + 1) for n in range((end - snapshot.day).days)]
    seen = set(zip(ran["machine"].astype(str), days[run], strict=True))
    idle = pd.DataFrame(
        [
            (machine, "", pd.Timestamp(day), 0.0, True)
            for machine in machines
            for day in every
            if (machine, day) not in seen
        ],
        columns=list(snapshot.running.columns),
    )
    return pd.concat([part for part in (logged, ran, idle) if len(part)], ignore_index=True)


def _places(table: pd.DataFrame) -> list[tuple[str, str, str]]:
    """Return machine, place and position of every row."""
    columns = (table[name].astype(str) for name in ("machine", "place", "position"))
    return list(zip(*columns, strict=True))


def _as_changed(changed: pd.DataFrame) -> Reschedule:
    """Return what puts the change-outs that were made in the place of the planned ones."""

    def reschedule(parts: tuple[Fleet, ...], days: Calendar, chosen: Schedule) -> Schedule:
        latest_first = changed.sort_values("day", ascending=False, kind="stable")
        on = {
            place: days.at(day)
            for place, day in zip(
                _places(latest_first), pd.to_datetime(latest_first["day"]).dt.date, strict=True
            )
        }
        windows = np.array([0, *sorted(set(on.values()))], dtype=np.int64)
        number = {int(day): at for at, day in enumerate(windows) if at}
        planned = tuple(
            np.array(
                [number.get(on.get(place, -1), -1) for place in _places(part.table)],
                dtype=np.int64,
            )
            for part in parts
        )
        shape = (len(days.machines), len(windows))
        never = {name: np.full(shape, np.inf) for name in chosen.change_age}
        return replace(
            chosen,
            windows=windows,
            planned_at=planned,
            change_age=never,
            over_hours=np.zeros(len(windows)),
            said=(),
            overhaul_until=0,
        )

    return reschedule
