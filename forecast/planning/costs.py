"""Stops and money: what the season's failures and change-outs cost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.demand import DemandPaths, by_week
from forecast.planning.draws import Array
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.rules import ChangeRule

STOPS = [
    "week",
    "stops_mean",
    "stops_p05",
    "stops_p95",
    "hours_mean",
    "hours_p05",
    "hours_p95",
]
COSTS = [
    "part_type",
    "policy",
    "parts",
    "planned",
    "unplanned",
    "stops",
    "product_loss",
    "total",
    "total_low",
    "total_high",
    "break_even_ratio",
]


def unit_costs(part_types: pd.DataFrame) -> dict[str, float | None]:
    """Return the cost of a piece by part type; None where nobody gave one."""
    return {
        str(name): None if cost is None or pd.isna(cost) else float(cost)
        for name, cost in zip(part_types["part_type"], part_types["unit_cost"], strict=True)
    }


def unplanned_stops(
    paths: Mapping[str, DemandPaths], calendar: Calendar, plan: Plan
) -> pd.DataFrame:
    """Return the result ``unplanned_stops``: machine stops by week, from failures that stop one.

    Hours are empty where a part type's failures stop a machine and nobody said for how long.

    Parameters
    ----------
    paths
        By part type; the same path of all types is one season.
    calendar
        The days ahead.
    plan
        Which failures stop the machine, and for how long.
    """
    draws = next((len(of.unplanned) for of in paths.values()), 1)
    stops = np.zeros((draws, len(calendar.weeks)))
    hours = np.zeros((draws, len(calendar.weeks)))
    for name, of in paths.items():
        part = plan.for_part_type(name)
        if part.failure_stops:
            weekly = by_week(of.ended, calendar)
            stops += weekly
            hours += weekly * (np.nan if part.stop_hours is None else part.stop_hours)
    columns = {"week": list(calendar.weeks), **_range("stops", stops), **_range("hours", hours)}
    return pd.DataFrame(columns, columns=STOPS)


def costs(
    paths: Mapping[str, DemandPaths],
    rules: Mapping[str, ChangeRule],
    costs_of: Mapping[str, float | None],
    plan: Plan,
) -> pd.DataFrame:
    """Return the result ``costs``: the season's money by part type, under its policy.

    Pieces used, labour of planned and unplanned changes, and stops; what nobody priced is empty,
    and so is the total it belongs to. Product loss is that of worn pieces, where the plan says
    what they lose.

    Parameters
    ----------
    paths, rules
        By part type.
    costs_of
        Cost of a piece by part type; None where nobody gave one.
    plan
        Labour and stop costs.
    """
    rows = [
        _row(of, rules[name], costs_of.get(name), plan.for_part_type(name))
        for name, of in paths.items()
    ]
    return pd.DataFrame(rows, columns=COSTS)


def _row(
    of: DemandPaths, rule: ChangeRule, unit_cost: float | None, part: PartPlan
) -> dict[str, Any]:
    failed = of.ended.sum(axis=1)
    changed = of.planned.sum(axis=1) + of.overhaul.sum(axis=1)
    if of.turned_planned is not None:
        changed = changed + of.turned_planned.sum(axis=1)
    money = {
        "parts": _priced(of.total.sum(axis=1), unit_cost),
        "planned": _priced(changed, part.planned_cost),
        "unplanned": _priced(failed, part.unplanned_cost),
        "stops": _priced(failed, part.stop_cost),
    }
    if of.loss is not None:
        money["product_loss"] = of.loss
    total = np.sum(list(money.values()), axis=0)
    known = not np.isnan(total).any()
    low, high = np.quantile(total, [0.05, 0.95]) if known else (np.nan, np.nan)
    return {
        "part_type": of.part_type,
        "policy": rule.policy,
        "product_loss": 0.0 if part.product_loss is None else np.nan,
        **{kind: float(amount.mean()) for kind, amount in money.items()},
        "total": float(total.mean()),
        "total_low": float(low),
        "total_high": float(high),
        "break_even_ratio": rule.break_even_ratio if np.isfinite(rule.break_even_ratio) else np.nan,
    }


def _priced(count: Array, price: float | None) -> Array:
    """Return what a number of pieces costs on each path; nothing costs nothing."""
    if price is None or np.isnan(price):
        return np.where(count > 0, np.nan, 0.0)
    return count * price


def _range(name: str, values: Array) -> dict[str, Array]:
    low, high = np.quantile(values, [0.05, 0.95], axis=0, method="inverted_cdf")
    return {f"{name}_mean": values.mean(axis=0), f"{name}_p05": low, f"{name}_p95": high}
