"""A season lived through on every path: what is known is fitted, put in service and scheduled."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final

import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.assumptions import FEW_DRAWS
from forecast.jobs.clocks import clock_pace, clocks_said, is_counted
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.laws import InService, in_service
from forecast.jobs.running import (
    stock_now,
)
from forecast.jobs.since import carried_on
from forecast.jobs.turning import turned_share
from forecast.planning.calendar import Calendar, calendar
from forecast.planning.costs import unit_costs
from forecast.planning.demand import (
    DemandPaths,
    demand_paths,
)
from forecast.planning.fleet import Fleet, fleets
from forecast.planning.overhaul import Overhaul, plan_overhaul
from forecast.planning.plan import Plan, check_names
from forecast.planning.rules import ChangeRule, change_rules
from forecast.planning.shelf import shelf_limits
from forecast.planning.windows import Schedule, schedule
from forecast.records.snapshot import Snapshot
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


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
