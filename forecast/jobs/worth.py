"""What a difference between two kinds of parts is worth over a plan's season.

The season is simulated twice with the same seed and paths, for the part types in question only:
as they are, and as if they were of the other kind.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from forecast.jobs.fits import Fits
from forecast.jobs.laws import in_service
from forecast.jobs.simulating import put_in_service, running_season
from forecast.planning.calendar import calendar
from forecast.planning.costs import costs, unit_costs
from forecast.planning.demand import demand_paths, season_totals
from forecast.planning.overhaul import plan_overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import change_rules
from forecast.planning.windows import schedule
from forecast.records.snapshot import Snapshot
from forecast.work import HERE, Work

PATHS: Final = 500
"""Season paths of each simulation; both have the same, so their difference needs few."""


def season_worth(
    snapshot: Snapshot,
    plan: Plan,
    fits: Fits,
    changed: Fits,
    types: frozenset[str],
    others: frozenset[str],
    work: Work = HERE,
) -> tuple[float, float]:
    """Return pieces and money saved over the plan's season, as expected.

    Parameters
    ----------
    snapshot, plan
        What is known, and the season.
    fits, changed
        As the parts are, and as if they were of the other kind.
    types, others
        Part types that would change, and the ones they would change to: their dearest piece is
        the price of the other kind.
    work
        Who computes.

    Returns
    -------
    (parts, money)
        Money is NaN where the plan or the logs lack a price; both are where nothing of the types
        is in service.
    """
    prices = unit_costs(snapshot.part_types)
    dearest = max((prices[name] or 0.0 for name in others if name in prices), default=0.0)
    other_prices = prices | {name: dearest or None for name in types}
    before = _season(snapshot, plan, fits, types, prices, work)
    after = _season(snapshot, plan, changed, types, other_prices, work)
    return before[0] - after[0], before[1] - after[1]


def _season(
    snapshot: Snapshot,
    plan: Plan,
    fits: Fits,
    types: frozenset[str],
    prices: dict[str, float | None],
    work: Work,
) -> tuple[float, float]:
    """Pieces used over the season and their whole cost, as expected, of some part types."""
    seed = plan.draws.seed
    machines = tuple(sorted(set(snapshot.fitted["machine"])))
    line_of = dict(zip(snapshot.fitted["machine"], snapshot.fitted["line"], strict=True))
    lines = tuple(line if isinstance(line := line_of[name], str) else "" for name in machines)
    days = calendar(plan, snapshot.running, machines, lines, snapshot.day)
    linked = _linked(plan, types)
    switches = tuple(each for each in plan.switch if each.from_part in linked)
    plan = plan.model_copy(update={"switch": switches})
    mine = snapshot.fitted[snapshot.fitted["part_type"].isin(linked)].reset_index(drop=True)
    if not len(mine):
        return np.nan, np.nan
    only = replace(snapshot, fitted=mine)
    service = in_service(
        only,
        fits,
        draws=PATHS,
        seed=seed,
        running=running_season(snapshot, plan),
        until=plan.season.end,
    )
    if not service.laws:
        return np.nan, np.nan
    parts = put_in_service(snapshot, service, plan, days)
    rules = change_rules(parts, days, prices, plan, seed)
    overhauled = plan_overhaul(parts, days, plan, prices, seed)
    chosen = schedule(parts, days, rules, plan, overhauled)
    paths = demand_paths(parts, days, chosen, seed, work)
    pieces, money = season_totals(paths), costs(paths, rules, prices, plan)
    return (
        float(pieces.loc[pieces["part_type"].isin(types), "mean"].sum()),
        float(money.loc[money["part_type"].isin(types), "total"].sum(skipna=False)),
    )


def _linked(plan: Plan, types: frozenset[str]) -> frozenset[str]:
    """Part types and those that a size change of the plan turns them into, or from."""
    linked = set(types)
    for _ in plan.switch:
        for each in plan.switch:
            if {each.from_part, each.to_part} & linked:
                linked |= {each.from_part, each.to_part}
    return frozenset(linked)
