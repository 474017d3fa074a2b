"""The season job: snapshot, fits, plan, forecast, kept.

It reads, lets go of the store, computes, then writes in one commit: a plant is never locked out
while the season is simulated.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Final

import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.assumptions import FEW_DRAWS, spread_rows
from forecast.jobs.beside import grades_beside
from forecast.jobs.clocks import clock_pace, clocks_said, is_counted
from forecast.jobs.exhibits import assumed, season_days, versions, wear_paths
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.growth import growth_assumed
from forecast.jobs.laws import InService, in_service
from forecast.jobs.running import (
    earlier_of,
    season_band,
    so_far,
    stock_now,
    supply_line,
    used_so_far,
)
from forecast.jobs.since import carried_on, carried_said
from forecast.jobs.turning import turned_share, turning_said
from forecast.planning.buying import purchases
from forecast.planning.calendar import Calendar, calendar
from forecast.planning.change_list import change_list, window_table
from forecast.planning.costs import costs, unit_costs, unplanned_stops
from forecast.planning.demand import (
    DemandPaths,
    demand_paths,
    demand_table,
    middle_band,
    season_totals,
)
from forecast.planning.fleet import Fleet, fleets
from forecast.planning.overhaul import Overhaul, plan_overhaul
from forecast.planning.plan import Plan, check_names, read_plan
from forecast.planning.policies import policies_beside
from forecast.planning.rules import ChangeRule, change_rules
from forecast.planning.shelf import shelf_limits
from forecast.planning.stock import closing_stock, stock_curve
from forecast.planning.windows import Schedule, schedule
from forecast.records.season import EXHIBITS, RESULTS, SeasonForecast, Stamp
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.scores import load_scores
from forecast.store.seasons import find_season, kept_days, load_season, save_season
from forecast.store.snapshots import take_snapshot
from forecast.store.store import Store
from forecast.work import HERE, Work


@dataclass(frozen=True, eq=False)
class Ready:
    """All that a season needs before the shelf is looked at.

    Attributes
    ----------
    days, fits, service
        The days ahead, what was fitted, what is in service.
    parts, rules, before
        The fleets, what each policy comes to, the overhaul.
    prices
        Cost of a piece by part type.
    """

    days: Calendar
    fits: Fits
    service: InService
    parts: tuple[Fleet, ...]
    rules: Mapping[str, ChangeRule]
    before: Overhaul
    prices: Mapping[str, float | None]


@dataclass(frozen=True, eq=False)
class Simulated(Ready):
    """A season lived through on every path, before anything is bought for it.

    Attributes
    ----------
    chosen
        When pieces are changed.
    paths
        Demand by part type.
    """

    chosen: Schedule
    paths: Mapping[str, DemandPaths]


Reschedule = Callable[[tuple[Fleet, ...], Calendar, Schedule], Schedule]
"""Puts another schedule in the place of the planned one."""

STAGES: Final = ("reading the logs", "fitting wear and life", "planning", "keeping the forecast")


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


def simulate(
    snapshot: Snapshot, plan: Plan, work: Work = HERE, reschedule: Reschedule | None = None
) -> Simulated:
    """Fit, schedule and live through the season on every path.

    Parameters
    ----------
    snapshot, plan, work
        As for :func:`forecast_season`, which says what is raised.
    reschedule
        Takes the place of the planned change-outs; None leaves them.
    """
    return live_through(make_ready(snapshot, plan, work), snapshot, plan, work, reschedule)


def make_ready(
    snapshot: Snapshot, plan: Plan, work: Work = HERE, fits: Fits | None = None
) -> Ready:
    """Fit what is known, put it in service, and reckon policies and overhaul.

    Parameters
    ----------
    snapshot, plan, work
        As for :func:`forecast_season`, which says what is raised.
    fits
        Of this snapshot and plan, where they are known already.
    """
    check_plan(snapshot, plan)
    days = calendar_of(plan, snapshot)
    machines, lines = days.machines, days.lines
    names = [str(name) for name in snapshot.part_types["part_type"]]
    check_names(plan, names, machines, tuple(sorted({line for line in lines if line})))

    work.tell(STAGES[1], 0, 0)
    if fits is None:
        fits = fit_all(snapshot, season_spread=plan.season.season_spread, seed=plan.draws.seed)
    running = running_season(snapshot, plan)
    service = in_service(
        carried_on(snapshot, plan, running),
        fits,
        draws=plan.draws.count,
        seed=plan.draws.seed,
        running=running,
        until=plan.season.end,
    )
    if not service.laws:
        raise NotInStore(
            "nothing in service can be forecast: the logs tell neither lives nor wear of any part",
            "Import change-outs and readings; `wearahead doubts` shows what the logs lack.",
        )
    work.tell(STAGES[2], 0, 0)
    seed = plan.draws.seed
    prices = unit_costs(snapshot.part_types)
    parts = put_in_service(snapshot, service, plan, days)
    if not parts:
        raise NotInStore(
            "; ".join(f"{what}: {value}: {why}" for what, value, why, _ in clocks_said(snapshot)),
            "Import clocks of those machines, or state clock_per_hour in the fleet.",
        )
    rules = change_rules(parts, days, prices, plan, seed)
    before = plan_overhaul(parts, days, plan, prices, seed)
    return Ready(days, fits, service, parts, rules, before, prices)


def live_through(
    ready: Ready,
    snapshot: Snapshot,
    plan: Plan,
    work: Work = HERE,
    reschedule: Reschedule | None = None,
) -> Simulated:
    """Schedule the change-outs that the shelf allows, and live through the season.

    Parameters
    ----------
    ready
        Of the plan, and of the snapshot but for its stock.
    snapshot, plan, work, reschedule
        As for :func:`simulate`.
    """
    days, parts, before = ready.days, ready.parts, ready.before
    stock, _ = stock_now(snapshot)
    shelf = shelf_limits(parts, days, stock, snapshot.part_types, plan, before.changed)
    chosen = schedule(parts, days, ready.rules, plan, before, shelf, ready.prices)
    if reschedule is not None:
        chosen = reschedule(parts, days, chosen)
    paths = demand_paths(parts, days, chosen, plan.draws.seed, work)
    known = {field.name: getattr(ready, field.name) for field in fields(Ready)}
    return Simulated(**known, chosen=chosen, paths=paths)


def if_seasons_differ(
    snapshot: Snapshot, plan: Plan, lived: Simulated, spreads: Sequence[float], work: Work
) -> dict[str, DemandPaths]:
    """Live through the same season on few paths, as if seasons differed by these spreads in turn.

    Path i is of spread i modulo their number; pieces and change-outs are those of the forecast.
    """
    wear = {key: fit.with_season_spreads(spreads) for key, fit in lived.fits.wear_fits.items()}
    draws = min(plan.draws.count, FEW_DRAWS) * len(spreads)
    running, seed = running_season(snapshot, plan), plan.draws.seed
    fits = replace(lived.fits, wear_fits=wear)
    end = plan.season.end
    seen = carried_on(snapshot, plan, running)
    laws = in_service(seen, fits, draws=draws, seed=seed, running=running, until=end).laws
    parts = [replace(part, law=laws[part.part_type, part.duty_group]) for part in lived.parts]
    return demand_paths(parts, lived.days, lived.chosen, seed, work)


def put_in_service(
    snapshot: Snapshot, service: InService, plan: Plan, days: Calendar
) -> tuple[Fleet, ...]:
    """Return the fleets of what is in service, with the sides its part types wear on."""
    named = zip(snapshot.part_types["part_type"], snapshot.part_types["sides"], strict=True)
    sides = {str(name): int(count) for name, count in named if count == count and count}
    counted = is_counted(snapshot, service.fitted)
    return fleets(
        service.fitted[counted],
        service.ran[counted],
        service.own[counted],
        service.due[counted],
        service.laws,
        plan,
        days,
        sides,
        turned_share(snapshot),
        clock_pace(snapshot),
    )


def calendar_of(plan: Plan, snapshot: Snapshot) -> Calendar:
    """Return the days ahead of the machines that something is fitted on."""
    machines = tuple(sorted(set(snapshot.fitted["machine"])))
    line_of = dict(zip(snapshot.fitted["machine"], snapshot.fitted["line"], strict=True))
    lines = tuple(_text(line_of[name]) for name in machines)
    return calendar(plan, snapshot.running, machines, lines, snapshot.day)


def running_season(snapshot: Snapshot, plan: Plan) -> str | None:
    """Return the logged season that the plan's season goes on from, or None before its start."""
    if not len(snapshot.seasons):
        return None
    last = snapshot.seasons.iloc[-1]
    begun = pd.Timestamp(last["last_day"]).date() >= plan.season.start
    return str(last["season"]) if begun else None


def check_plan(snapshot: Snapshot, plan: Plan) -> None:
    """Refuse a plan whose season is over, and logs with nothing in service.

    Parameters
    ----------
    snapshot, plan
        As for :func:`forecast_season`, which says what is raised.
    """
    if snapshot.day >= plan.season.end:
        raise PlanError(
            f"the season ends on {plan.season.end}; nothing lies ahead of {snapshot.day}",
            "Give an earlier day with --as-of, or a later season.end.",
        )
    if not len(snapshot.fitted):
        raise NotInStore(
            f"no part was known to be in service on {snapshot.day}",
            "Import the fleet and its change-outs; rows known only later are seen from that day "
            "on: `wearahead import --backfill` dates them by their events.",
        )


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


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
