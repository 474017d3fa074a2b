"""What each policy would come to in the long run, beside the one that the season follows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array
from forecast.planning.fleet import Fleet, mean_pace, on_clock
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule, change_costs, window_hours
from forecast.planning.wear_policy import (
    WornLives,
    best_age_with_loss,
    best_depth,
    rates,
    windowed,
    worn_lives,
)
from forecast.planning.wear_rules import MOSTLY, read_share
from forecast.planning.worn import ways

COLUMNS: Final = [
    "part_type",
    "policy",
    "chosen",
    "change_at_h",
    "change_at_mm",
    "money",
    "failed",
    "pieces",
]
NOWHERE: Final = (np.nan, np.nan)
"""Neither an age nor a depth."""


def policies_beside(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    rules: Mapping[str, ChangeRule],
    costs_of: Mapping[str, float | None],
    plan: Plan,
    seed: int,
) -> pd.DataFrame:
    """Return the exhibit ``policies``: each policy's money, failures and pieces, side by side.

    Long-run rates (ratio of expectations over a cycle, as for ``cheapest``) times the hours that
    all positions have ahead: pieces of all ages, and windows a mean distance apart. So a policy
    compares with another, not with the season's own costs, where pieces have the age they have.
    The chosen policy stands at its own age or depth, the others at their best.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    rules
        What each part type's policy comes to.
    costs_of
        Cost of a piece by part type; None where nobody gave one.
    seed
        Of the forecast.

    Returns
    -------
    DataFrame
        No rows for a part type whose costs are not all known, that does not run, and without
        windows to change in.
    """
    between = window_hours(calendar)
    rows: list[tuple[object, ...]] = []
    if not between:
        return pd.DataFrame(rows, columns=COLUMNS)
    for name, rule in rules.items():
        mine = [fleet for fleet in fleets if fleet.part_type == name]
        hours = float(
            sum((fleet.quantity * fleet.hours.sum(axis=1)[fleet.unit]).sum() for fleet in mine)
        )
        pace = mean_pace(mine)
        part, window = on_clock(plan.for_part_type(name), pace), between * pace
        planned, unplanned = change_costs(part, costs_of.get(name))
        if not hours or planned is None or unplanned is None:
            continue
        lives = worn_lives(mine, seed)
        loss = part.product_loss
        age = best_age_with_loss(lives, planned, unplanned, loss, window).at
        depth = None
        if all(ways(fleet.law)[0] is not None for fleet in mine) and (
            rule.policy == "at_wear" or read_share(mine) >= MOSTLY
        ):
            depth = best_depth(lives, planned, unplanned, loss, window).at
        for policy, (at, due) in _dues(lives, rule, age, depth, window).items():
            found = rates(due, lives, planned, unplanned, loss)
            rows.append(
                (name, policy, policy == rule.policy, *at, *(hours * rate for rate in found))
            )
    return pd.DataFrame(rows, columns=COLUMNS)


def _dues(
    lives: WornLives, rule: ChangeRule, age: float, depth: float | None, between: float
) -> dict[str, tuple[tuple[float, float], Array]]:
    """Return by policy its age (h) or depth (mm), and when it changes each piece (h)."""
    chosen = rule.policy
    if chosen == "at_age" and rule.age is not None:
        age = rule.age
    if chosen == "at_wear" and rule.levels:
        depth = float(np.median(np.concatenate(list(rule.levels.values()))))
    every = between * (rule.every or 1)
    dues = {
        "run_to_failure": (NOWHERE, np.full(len(lives.life), np.inf)),
        "at_age": ((age, np.nan), windowed(age, between)),
    }
    if depth is not None:
        dues["at_wear"] = ((np.nan, depth), windowed(lives.reached(depth), between))
    dues["every_window"] = ((every, np.nan), np.asarray(every))
    return dues
