"""What to buy where part types share a target or a purse, and what of an order can wait."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import product

import numpy as np
import pandas as pd
import pytest

from forecast.planning.assortment import Wanted, choose
from forecast.planning.buying import purchases
from forecast.planning.calendar import Calendar
from forecast.planning.demand import DemandPaths
from forecast.planning.plan import Plan
from forecast.planning.stock import economic_order_quantity, upper_rank
from forecast.planning.supply import Lot

AS_OF = date(2027, 8, 1)
DAYS = 100
NAMES = ("CHEAP", "MIDDLE", "DEAR")
COSTS = (1.0, 5.0, 40.0)
EMPTY = pd.DataFrame({"part_type": [], "state": [], "quantity": [], "due": []})


def calendar() -> Calendar:
    days = tuple(AS_OF + timedelta(days=n + 1) for n in range(DAYS))
    inside = np.ones(DAYS, dtype=bool)
    return Calendar(AS_OF, days, ("G01",), ("A",), np.full((1, DAYS), 20.0), inside, ())


def plan(**tables: object) -> Plan:
    season = {"start": AS_OF, "end": AS_OF + timedelta(days=DAYS), "currency": "EUR"}
    return Plan.model_validate({"season": season, **tables})


def paths(draws: int = 4000, shared: float = 0.0) -> dict[str, DemandPaths]:
    """Return Poisson demand around 30, 20 and 10 pieces, evenly over the season."""
    rng = np.random.default_rng(5)
    season = np.exp(shared * rng.standard_normal(draws))[:, None]
    found = {}
    for name, mean in zip(NAMES, (30.0, 20.0, 10.0), strict=True):
        demand = rng.poisson(np.tile(mean * season / DAYS, DAYS)).astype(np.int64)
        none = np.zeros_like(demand)
        found[name] = DemandPaths(name, demand, none, none, pd.DataFrame())
    return found


def kinds(lead: float = 0.0, least: int = 1, pack: int = 1) -> pd.DataFrame:
    rows = [(name, cost, lead, least, pack) for name, cost in zip(NAMES, COSTS, strict=True)]
    columns = ["part_type", "unit_cost", "lead_time_days", "min_order", "pack_size"]
    return pd.DataFrame(rows, columns=columns)


def joint(own: dict[str, DemandPaths], bought: pd.DataFrame) -> float:
    total = bought.groupby("part_type")["quantity"].sum()
    enough = [of.total.sum(axis=1) <= total.get(name, 0) for name, of in own.items()]
    return float(np.logical_and.reduce(enough).mean())


def test_all_part_types_together_hold_their_chance_on_fresh_paths() -> None:
    own = paths()
    bought = purchases(own, EMPTY, kinds(), plan(stocking={"all_types": 0.90}), calendar())
    assert joint(own, bought) >= upper_rank(4000, 0.90) / 4000
    from scipy.stats import poisson

    total = bought.groupby("part_type")["quantity"].sum()
    exact = [poisson.cdf(total[name], mean) for name, mean in zip(NAMES, (30, 20, 10), strict=True)]
    assert 0.90 <= np.prod(exact) <= 0.93
    assert exact[0] > exact[2]  # the cheap one is bought more surely than the dear one
    first = bought.drop_duplicates("part_type")
    assert first["assumed"].str.contains("90 % that no part type runs out").all()


def test_part_types_together_cost_less_than_equal_levels() -> None:
    own = paths()
    together = purchases(own, EMPTY, kinds(), plan(stocking={"all_types": 0.90}), calendar())
    level = 0.90 ** (1 / 3)
    alike = purchases(own, EMPTY, kinds(), plan(stocking={"service_level": level}), calendar())
    assert together["cost"].sum() < alike["cost"].sum()


def test_the_choice_is_the_cheapest_of_all() -> None:
    """Every combination of small orders, tried one by one."""
    rng = np.random.default_rng(2)
    needs = {name: rng.poisson(mean, 600) for name, mean in zip(NAMES, (4, 3, 2), strict=True)}
    wanted = {
        name: Wanted(need.astype(float), need == 0, Lot(cost, 0, 0, 1, ()), 12)
        for (name, need), cost in zip(needs.items(), COSTS, strict=True)
    }
    found, share = choose(wanted, 0.85)
    cost = sum(found[name] * price for name, price in zip(NAMES, COSTS, strict=True))
    best = min(
        sum(q * price for q, price in zip(each, COSTS, strict=True))
        for each in product(range(13), repeat=3)
        if np.logical_and.reduce(
            [needs[name] <= q for name, q in zip(NAMES, each, strict=True)]
        ).mean()
        >= 0.85
    )
    assert share >= 0.85
    assert cost <= 1.05 * best


def test_a_budget_is_kept_and_spent_where_it_helps_most() -> None:
    own = paths()
    free = purchases(own, EMPTY, kinds(), plan(), calendar())
    assert free["cost"].sum() > 550
    tight = purchases(own, EMPTY, kinds(), plan(stocking={"budget": 550}), calendar())
    assert 500 < tight["cost"].sum() <= 550
    cut = tight[tight["assumed"].str.contains("the budget of EUR 550 pays for")]
    assert len(cut)
    assert (tight.groupby("part_type")["quantity"].sum()["CHEAP"]) >= 36
    wide = purchases(own, EMPTY, kinds(), plan(stocking={"budget": 9999}), calendar())
    pd.testing.assert_frame_equal(wide, free)


def test_what_no_order_can_reach_does_not_stop_the_others() -> None:
    sold = kinds()
    sold.loc[sold["part_type"] == "DEAR", "lead_time_days"] = 90
    bought = purchases(paths(), EMPTY, sold, plan(stocking={"all_types": 0.90}), calendar())
    states = bought.drop_duplicates("part_type").set_index("part_type")["state"]
    assert states["DEAR"] == "cannot_reach"
    assert states["CHEAP"] != "cannot_reach"
    assert "left out" in bought["assumed"].iloc[0]


def test_what_can_wait_is_a_second_row_and_costs_no_safety() -> None:
    own = paths()
    one = purchases(own, EMPTY, kinds(lead=0.0), plan(), calendar())
    assert one.groupby("part_type").size().max() == 2
    for name, rows in one.groupby("part_type"):
        first, second = rows.iloc[0], rows.iloc[-1]
        assert len(rows) == 2
        assert second["order_by"] >= AS_OF + timedelta(days=14)
        used = np.cumsum(own[str(name)].total, axis=1)
        have = np.full(DAYS, int(first["quantity"]))
        have[(second["needed_by"] - AS_OF).days - 1 :] += int(second["quantity"])
        split = float((used <= have).all(axis=1).mean())
        whole = float((used[:, -1] <= rows["quantity"].sum()).mean())
        assert split == whole == second["chance_with"]
        assert first["chance_with"] == second["chance_without"] < second["chance_with"]


def test_costs_alone_order_by_the_critical_fractile() -> None:
    from scipy.stats import poisson

    costs = {"unplanned_cost": 60.0, "planned_cost": 4.0}
    bought = purchases(paths(), EMPTY, kinds(), plan(defaults=costs), calendar())
    said = bought.drop_duplicates("part_type", keep="last").set_index("part_type")["assumed"][
        "DEAR"
    ]
    exact = int(poisson.ppf(60 / 100, 10))
    assert f"by costs alone, as the season's last order: {exact} " in said
    assert "60.0 % sure" in said


def test_economic_order_quantity(published: dict[tuple[str, str], tuple[float, float]]) -> None:
    """A bakery's flour, 4,860 a year, 4 an order, 30 a bag kept for a year (check J2)."""
    lot = published["J2", "EOQ: 4860 a year, 4 an order, 30 a unit-year"]
    twice = published["J2", "EOQ when demand doubles"]
    assert economic_order_quantity(4860, 4, 30) == pytest.approx(lot[0], abs=lot[1])
    assert economic_order_quantity(2 * 4860, 4, 30) == pytest.approx(twice[0], abs=twice[1])


@pytest.mark.parametrize("level", [0.80, 0.95])
def test_quantities_reach_their_level_over_many_part_types(level: float) -> None:
    """Six hundred part types of known demand: the order's true chance, mean and spread."""
    from scipy.stats import nbinom

    from forecast.planning.stock import order_quantity

    rng = np.random.default_rng(11)
    true = []
    for _ in range(600):
        mean, spread = float(rng.uniform(20, 400)), float(rng.uniform(5, 50))
        law = nbinom(spread, spread / (spread + mean))
        demand = law.rvs(4000, random_state=rng)[:, None]
        order = order_quantity(demand, level, 0, 0)
        true.append(float(law.cdf(order.quantity)))
    assert abs(np.mean(true) - level) < 0.02
    assert np.mean(np.array(true) >= level) >= 0.9
