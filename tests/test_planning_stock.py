"""What to buy, by when: published stock levels, closed forms, and the maker's lots."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from forecast.planning.buying import purchases
from forecast.planning.calendar import Calendar
from forecast.planning.demand import DemandPaths
from forecast.planning.plan import Plan
from forecast.planning.stock import (
    closing_stock,
    newsvendor,
    order_quantity,
    poisson_stock,
    stock_curve,
    upper_rank,
)
from forecast.records.season import RESULTS

AS_OF = date(2027, 8, 1)
DAYS = 100


def test_poisson_stock_levels(published: dict[tuple[str, str], tuple[float, float]]) -> None:
    """A standard cumulative Poisson table (check J1)."""
    for mean in (0.5, 1, 2, 3, 5):
        for assurance in (0.9, 0.95, 0.99):
            name = f"smallest stock with P(demand<=stock)>={assurance:g}, mean {mean:g}"
            assert poisson_stock(mean, assurance) == published["J1", name][0]


def test_newsvendor_balances_both_costs() -> None:
    best = newsvendor(100, 20, under=3, over=1)
    assert best.stock == pytest.approx(100 + 20 * 0.6744898)
    around = [cost_of(stock) for stock in (best.stock - 1, best.stock, best.stock + 1)]
    assert around[1] == min(around)
    assert best.cost == pytest.approx(around[1], rel=0.01)


def cost_of(stock: float) -> float:
    demand = 100 + 20 * np.random.default_rng(1).standard_normal(400_000)
    short = np.maximum(demand - stock, 0).mean()
    return float(3 * short + np.maximum(stock - demand, 0).mean())


def even(total: np.ndarray, days: int = DAYS) -> np.ndarray:
    """Spread whole totals evenly over the days [draws, days]."""
    upto = np.floor(np.outer(total, np.arange(1, days + 1)) / days + 1e-9)
    return np.diff(upto, prepend=0.0, axis=1).astype(np.int64)


def test_an_order_of_the_first_day_covers_the_upper_rank_of_the_totals() -> None:
    total = np.arange(1, 1001)
    order = order_quantity(even(total), 0.95, 100, 0)
    assert 950 - 100 <= order.quantity <= 970 - 100
    assert order.chance_without == pytest.approx(0.1)
    assert order.chance_with == pytest.approx((order.quantity + 100) / 1000)
    assert order.reached


def test_packs_and_least_orders_are_whole() -> None:
    demand = even(np.full(500, 130))
    assert order_quantity(demand, 0.95, 100, 0).quantity == 30
    assert order_quantity(demand, 0.95, 100, 0, pack=25).quantity == 50
    assert order_quantity(demand, 0.95, 100, 0, min_order=60, pack=25).quantity == 75
    assert order_quantity(demand, 0.95, 130, 0, min_order=60).quantity == 0


def test_an_order_that_comes_too_late_is_said_and_still_covers_the_rest() -> None:
    demand = even(np.full(500, 200))
    order = order_quantity(demand, 0.95, 20, 42)
    assert not order.reached
    assert order.chance_with == 0.0
    assert order.quantity == 180


def test_the_order_does_not_help_before_it_arrives() -> None:
    late = np.zeros((100, DAYS), dtype=np.int64)
    late[:, 80] = 10
    late[:10, 5] = 10
    order = order_quantity(late, 0.8, 0, 42)
    assert order.quantity == 10
    assert order.chance_with == pytest.approx(0.9)


def calendar() -> Calendar:
    days = tuple(AS_OF + timedelta(days=n + 1) for n in range(DAYS))
    inside = np.ones(DAYS, dtype=bool)
    return Calendar(AS_OF, days, ("G01",), ("A",), np.full((1, DAYS), 20.0), inside, ())


def plan(**tables: object) -> Plan:
    season = {"start": AS_OF, "end": AS_OF + timedelta(days=DAYS)}
    return Plan.model_validate({"season": season, **tables})


def paths(name: str = "SLEEVE-30") -> dict[str, DemandPaths]:
    """Return 2,000 paths whose season totals lie evenly between 100 and 300."""
    demand = even(np.linspace(100, 300, 2000).round())
    none = np.zeros_like(demand)
    return {name: DemandPaths(name, demand, none, none, pd.DataFrame())}


def kinds(lead: float | None = 21, cost: float | None = 6.0) -> pd.DataFrame:
    row = ("SLEEVE-30", cost, lead, 50, 25)
    columns = ["part_type", "unit_cost", "lead_time_days", "min_order", "pack_size"]
    return pd.DataFrame([row], columns=columns)


def stock(*rows: tuple[str, str, int, str | None]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["part_type", "state", "quantity", "due"])


def bought(rows: pd.DataFrame, sold: pd.DataFrame | None = None, **tables: object) -> pd.Series:
    sold = kinds() if sold is None else sold
    table = purchases(paths(), rows, sold, plan(**tables), calendar())
    assert tuple(table.columns) == RESULTS["purchases"]
    return table.iloc[0]


def test_order_in_time() -> None:
    row = bought(stock(("SLEEVE-30", "on_hand", 100, None)))
    assert row["state"] == "in_time"
    assert row["quantity"] % 25 == 0
    assert row["order_by"] == row["needed_by"] - timedelta(days=21)
    assert row["needed_by"] > AS_OF + timedelta(days=30)
    assert row["cost"] == 6.0 * row["quantity"]
    assert row["chance_without"] < 0.01 < 0.95 <= row["chance_with"]


def test_order_late_and_order_that_cannot_reach() -> None:
    late = bought(stock(("SLEEVE-30", "on_hand", 58, None)))
    assert (late["state"], late["days_late"] > 0) == ("late", True)
    lost = bought(stock(("SLEEVE-30", "on_hand", 20, None)))
    assert lost["state"] == "cannot_reach"
    assert "no order holds 95 %" in lost["assumed"]


def test_what_is_on_order_counts_from_its_day() -> None:
    row = bought(
        stock(("SLEEVE-30", "on_hand", 60, None), ("SLEEVE-30", "on_order", 250, "2027-08-20"))
    )
    assert (row["quantity"], row["chance_without"]) == (0, 1.0)
    assert row["order_by"] is None
    overdue = bought(
        stock(("SLEEVE-30", "on_hand", 60, None), ("SLEEVE-30", "on_order", 250, "2027-07-01"))
    )
    assert overdue["quantity"] > 0
    assert "was due on 2027-07-01: not counted on" in overdue["assumed"]


def test_the_reserve_is_kept_back() -> None:
    rows = stock(("SLEEVE-30", "on_hand", 300, None))
    assert bought(rows)["quantity"] == 0
    assert bought(rows, defaults={"reserve": 100})["quantity"] > 0


def test_what_nobody_gave_is_said_and_no_cost_is_invented() -> None:
    row = bought(stock(), sold=kinds(lead=None, cost=None))
    assert "nobody counted the stock" in row["assumed"]
    assert "lead time not given" in row["assumed"]
    assert np.isnan(row["cost"])


def test_curve_and_closing_stock_agree_with_the_purchase() -> None:
    rows = stock(("SLEEVE-30", "on_hand", 100, None))
    table = purchases(paths(), rows, kinds(), plan(), calendar())
    curve = stock_curve(paths(), rows, kinds(), plan(), calendar(), table)
    left = closing_stock(paths(), rows, kinds(), calendar(), table)
    assert tuple(curve.columns) == RESULTS["stock_curve"]
    assert tuple(left.columns) == RESULTS["closing_stock"]
    own = curve[curve["part_type"] == "SLEEVE-30"].set_index("bought")["chance_no_stock_out"]
    assert own.is_monotonic_increasing
    assert own[table["quantity"][0]] == table["chance_with"][0]
    assert own[0] == table["chance_without"][0]
    assert (
        curve[curve["part_type"] == "*"]["chance_no_stock_out"].iloc[-1]
        == own.loc[table["quantity"][0]]
    )
    expected = 100 + table["quantity"][0] - 200
    assert left["mean"][0] == pytest.approx(expected, abs=2)


@pytest.mark.parametrize(("draws", "share"), [(100, 0.95), (400, 0.5), (2000, 0.95), (4000, 0.99)])
def test_the_upper_rank_is_the_binomial_quantile(draws: int, share: float) -> None:
    from scipy.stats import binom

    assert upper_rank(draws, share) == binom.ppf(0.95, draws, share)
