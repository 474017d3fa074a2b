"""Each policy beside the one that is followed: closed forms, and which rows there are."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecast.planning.policies import COLUMNS, policies_beside
from forecast.planning.policy import best_age
from forecast.planning.rules import change_rules
from forecast.planning.wear_policy import WornLives, rates
from forecast.records.season import EXHIBITS

WEAR: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "test_planning_wear.py"))
plan, days_of, rollers, NAME = (WEAR[name] for name in ("plan", "days_of", "rollers", "NAME"))
SEASON: dict[str, Any] = WEAR["SEASON"]
COSTS = {"planned_cost": 4.0, "unplanned_cost": 60.0}
WEEKLY = {"weekly": "sunday", "crew_hours": 20.0}


def test_rates_are_those_of_the_renewal_cycle() -> None:
    """At the best age of a Weibull life: its cost rate, F(T) / I(T) and 1 / I(T)."""
    lives = 2500 * (-np.log1p(-(np.arange(200_000) + 0.5) / 200_000)) ** (1 / 3)
    never = np.full(len(lives), np.nan)
    drawn = WornLives(np.full(len(lives), np.inf), lives, never, never)
    best = best_age(3, 2500, 1, 5)
    cost, failed, pieces = rates(np.asarray(best.age), drawn, 1, 5, None)
    assert cost == pytest.approx(best.cost_rate, rel=1e-5)
    assert cost == pytest.approx(5 * failed + (pieces - failed), rel=1e-9)
    cost, failed, pieces = rates(np.asarray(np.inf), drawn, 1, 5, None)
    assert cost == pytest.approx(best.run_to_failure_cost_rate, rel=1e-5)
    assert failed == pieces


@pytest.mark.parametrize("policy", ["run_to_failure", "at_age", "at_wear", "every_window"])
def test_the_policy_that_is_followed_is_marked_and_the_others_stand_beside_it(policy: str) -> None:
    of = plan(windows=WEEKLY, defaults={"policy": policy, **COSTS})
    days = days_of(of)
    fleet = WEAR["worn_fleet"](of, days, WEAR["wearing"]())
    prices = {NAME: 10.0}
    rules = change_rules(fleet, days, prices, of, 1)
    rows = policies_beside(fleet, days, rules, prices, of, 1).set_index("policy")
    assert rows.index[rows["chosen"]].tolist() == [policy]
    ways = {"run_to_failure", "at_age", "every_window"}
    assert set(rows.index) == ways | ({"at_wear"} if policy == "at_wear" else set())
    money, failed = rows["money"], rows["failed"]
    assert money["run_to_failure"] == pytest.approx(70.0 * failed["run_to_failure"])
    assert failed["every_window"] < failed["at_age"] < failed["run_to_failure"]
    assert money["at_age"] < min(money["run_to_failure"], money["every_window"])
    assert rows.loc["every_window", "pieces"] == pytest.approx(
        36 * days.hours[0].sum() / 140.0, rel=0.01
    )


def test_without_all_costs_or_windows_nothing_is_compared() -> None:
    for of, prices in (
        (plan(windows=WEEKLY, defaults=COSTS), {NAME: None}),
        (plan(defaults=COSTS), {NAME: 10.0}),
    ):
        days = days_of(of)
        fleet = WEAR["worn_fleet"](of, days, WEAR["wearing"]())
        rules = change_rules(fleet, days, prices, of, 1)
        assert policies_beside(fleet, days, rules, prices, of, 1).empty
    assert tuple(COLUMNS) == EXHIBITS["policies"]
