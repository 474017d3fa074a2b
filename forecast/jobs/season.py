"""The season job: snapshot, fits, plan, forecast, kept.

It reads, lets go of the store, computes, then writes in one commit: a plant is never locked out
while the season is simulated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from forecast.jobs.assumptions import spread_rows
from forecast.jobs.beside import grades_beside
from forecast.jobs.clocks import clocks_said
from forecast.jobs.exhibits import assumed, season_days, versions, wear_paths
from forecast.jobs.fits import Fits
from forecast.jobs.growth import growth_assumed
from forecast.jobs.laws import InService
from forecast.jobs.running import (
    earlier_of,
    season_band,
    so_far,
    stock_now,
    supply_line,
    used_so_far,
)
from forecast.jobs.simulating import (
    STAGES,
    Simulated,
    if_seasons_differ,
    running_season,
    simulate,
)
from forecast.jobs.since import carried_said
from forecast.jobs.turning import turning_said
from forecast.planning.buying import purchases
from forecast.planning.change_list import change_list, window_table
from forecast.planning.costs import costs, unplanned_stops
from forecast.planning.demand import (
    demand_table,
    middle_band,
    season_totals,
)
from forecast.planning.overhaul import Overhaul
from forecast.planning.plan import Plan, read_plan
from forecast.planning.policies import policies_beside
from forecast.planning.rules import ChangeRule
from forecast.planning.stock import closing_stock, stock_curve
from forecast.planning.windows import Schedule
from forecast.records.season import EXHIBITS, RESULTS, SeasonForecast, Stamp
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.scores import load_scores
from forecast.store.seasons import find_season, kept_days, load_season, save_season
from forecast.store.snapshots import take_snapshot
from forecast.store.store import Store
from forecast.work import HERE, Work


@dataclass(frozen=True)
class Asked:
    """A season that is to be forecast.

    Attributes
    ----------
    plan
        The plan file.
    as_of
        The day to forecast from; None: the plan's, else the latest day of any known event.
    settings
        ``KEY=VALUE`` that override keys of the plan.
    """

    plan: Path
    as_of: date | None = None
    settings: Sequence[str] = ()

    def read(self) -> Plan:
        """Read the plan, with its overrides."""
        day = () if self.as_of is None else (f"season.as_of={self.as_of.isoformat()}",)
        return read_plan(self.plan, (*self.settings, *day))


def run_season(
    address: str,
    plan: Path,
    *,
    as_of: date | None = None,
    settings: Sequence[str] = (),
    work: Work = HERE,
) -> SeasonForecast:
    """Forecast a season from a store, and keep the forecast under a number.

    Parameters
    ----------
    address
        The store.
    plan, as_of, settings
        As :class:`Asked` has them.
    work
        Who computes, and whom to tell.

    Returns
    -------
    SeasonForecast
        With its number. Equal inputs return the forecast already kept.

    Raises
    ------
    PlanError
        If the plan has faults, or names what the logs don't know.
    NotInStore
        If there is no store, or nothing was known on that day.
    """
    return run_seasons(address, [Asked(plan, as_of, settings)], work)[0]


def run_seasons(address: str, asked: Sequence[Asked], work: Work = HERE) -> list[SeasonForecast]:
    """Forecast several seasons from a store side by side, and keep them in their order.

    Parameters
    ----------
    address
        The store.
    asked
        What to forecast.
    work
        Who computes: one forecast a task, or the parts of the one that is asked for.

    Returns
    -------
    list of SeasonForecast
        As :func:`run_season`, which says what is raised: then none is kept.
    """
    tasks = [(address, one.read()) for one in asked]
    if len(tasks) == 1:
        found = [_forecast(tasks[0], work)]
    else:
        found = work.map(_forecast, tasks, "forecasting")
    new = any(one.number is None for one in found)
    work.tell(STAGES[3], 0, 0)
    with open_store(address, write=new) as store:
        kept = [save_season(store, one) if one.number is None else one for one in found]
        return [with_record(store, one) for one in kept]


def _forecast(task: tuple[str, Plan], work: Work = HERE) -> SeasonForecast:
    """Forecast what is known in a store now, if it is not kept there already."""
    address, plan = task
    work.tell(STAGES[0], 0, 0)
    with open_store(address) as store:
        snapshot = take_snapshot(store, plan.season.as_of)
        kept = find_season(store, stamp_of(snapshot, plan).digest())
    return forecast_season(snapshot, plan, work) if kept is None else kept


def kept_forecast(address: str, number: int | None = None) -> SeasonForecast:
    """Return a kept forecast, whole.

    Parameters
    ----------
    address
        The store.
    number
        Its number; None: the latest.

    Raises
    ------
    NotInStore
        If there is none.
    """
    with open_store(address) as store:
        return with_record(store, load_season(store, number))


def with_record(store: Store, forecast: SeasonForecast) -> SeasonForecast:
    """Return a kept forecast with what the store holds about it: the season so far, the record.

    Parameters
    ----------
    store
        Open, for reading or writing.
    forecast
        As it was kept.
    """
    number = earlier_of(forecast, kept_days(store))
    record = {"hindsight": load_scores(store)}
    if number is not None:
        record["so_far"] = so_far(forecast, load_season(store, number))
    return replace(forecast, exhibits={**forecast.exhibits, **record})


def stamp_of(snapshot: Snapshot, plan: Plan) -> Stamp:
    """Return the inputs of a forecast, from which it can be taken again."""
    return Stamp(
        plan_name=plan.season.name,
        plan_text=plan.text,
        as_of=snapshot.day,
        seed=plan.draws.seed,
        draws=plan.draws.count,
        versions=versions(),
        last_import=snapshot.last_import,
        last_decision=snapshot.last_decision,
        snapshot=snapshot.digest,
    )


def forecast_season(snapshot: Snapshot, plan: Plan, work: Work = HERE) -> SeasonForecast:
    """Forecast a season from what is known: no store, no clock, no disk.

    Parameters
    ----------
    snapshot
        What is known on the day the forecast starts from.
    plan
        The plan.
    work
        Who computes, and whom to tell.

    Returns
    -------
    SeasonForecast
        Not yet kept.

    Raises
    ------
    PlanError
        If the plan names what the logs don't know, or the day is not before the season's end.
    NotInStore
        If nothing is in service.
    """
    lived = simulate(snapshot, plan, work)
    worn = {name for name, _ in lived.service.rates}
    extra = spread_rows(
        plan, worn, lambda spreads: if_seasons_differ(snapshot, plan, lived, spreads, work)
    )
    return _results(snapshot, plan, lived, extra)


def _results(
    snapshot: Snapshot, plan: Plan, lived: Simulated, extra: Sequence[tuple[str, str, str, str]]
) -> SeasonForecast:
    """Turn the season's paths into every result."""
    days, fits, service, paths = lived.days, lived.fits, lived.service, lived.paths
    rules, before, chosen, prices = lived.rules, lived.before, lived.chosen, lived.prices
    stock, counted = stock_now(snapshot)
    bought = purchases(paths, stock, snapshot.part_types, plan, days)
    listed = change_list(lived.parts, days, chosen, paths, stock, plan)
    used = used_so_far(snapshot, plan)
    grown = growth_assumed(fits.growth)
    since = carried_said(snapshot, plan, running_season(snapshot, plan))
    said = [*grown, *extra, *counted, *turning_said(snapshot), *clocks_said(snapshot), *since]
    results = {
        "season_totals": season_totals(paths),
        "demand": demand_table(paths, days),
        "purchases": bought,
        "stock_curve": stock_curve(paths, stock, snapshot.part_types, plan, days, bought),
        "closing_stock": closing_stock(paths, stock, snapshot.part_types, days, bought),
        "to_change": listed,
        "overhaul": before.table,
        "unplanned_stops": unplanned_stops(paths, days, plan),
        "costs": costs(paths, rules, prices, plan),
        "life": fits.life,
        "wear": fits.wear,
        "doubts": snapshot.doubts,
        "set_aside": snapshot.set_aside,
        "machines": fits.machines,
        "assumed": _assumed(fits, service, rules, before, chosen, said),
    }
    exhibits = {
        "wear_paths": wear_paths(snapshot, fits, service, days, plan.draws.seed),
        "life_points": fits.life_points,
        "season_days": season_days(days),
        "windows": window_table(listed, days, chosen),
        "used": used,
        "supply": supply_line(stock, used, days, list(paths)),
        "season_band": season_band(paths, days),
        "middle_band": middle_band(paths, days),
        "policies": policies_beside(lived.parts, days, rules, prices, plan, plan.draws.seed),
        "versus": grades_beside(snapshot),
    }
    later = ("so_far", "hindsight")  # added when the forecast is taken from the store
    exhibits |= {name: pd.DataFrame(columns=list(EXHIBITS[name])) for name in later}
    return SeasonForecast(
        stamp=stamp_of(snapshot, plan),
        season_from=plan.season.start,
        season_until=plan.season.end,
        currency=plan.season.currency,
        results=_ordered(results, RESULTS),
        exhibits=_ordered(exhibits, EXHIBITS),
    )


def _assumed(
    fits: Fits,
    service: InService,
    rules: Mapping[str, ChangeRule],
    before: Overhaul,
    chosen: Schedule,
    extra: Sequence[tuple[str, str, str, str]],
) -> pd.DataFrame:
    """Gather all that was assumed: models first, then policies and what did not fit."""
    rows = [
        (f"{name}: policy", rule.policy, rule.why, "sets its planned change-outs")
        for name, rule in rules.items()
    ]
    rows += [
        (f"{name}: left in at the overhaul from", f"{chance:.2f}", why, "sets the overhaul list")
        for name, (chance, why) in before.keep.items()
    ]
    rows += [
        ("change-outs", "short", sentence, "stays in place, at the risk shown")
        for sentence in (*before.said, *chosen.said)
    ]
    if before.work:
        rows.append(("overhaul", before.work, "what gains most a crew minute first", "its list"))
    if chosen.order_said:
        rows.append(("order of the work", chosen.method, chosen.order_said, "sets the windows"))
    table = assumed(fits, service)
    added = pd.DataFrame([*extra, *rows], columns=table.columns)
    return pd.concat([table, added], ignore_index=True) if len(table) else added


def _ordered(
    frames: Mapping[str, pd.DataFrame], columns: Mapping[str, tuple[str, ...]]
) -> dict[str, pd.DataFrame]:
    return {
        name: frame[list(columns[name])].reset_index(drop=True) for name, frame in frames.items()
    }
