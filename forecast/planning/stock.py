"""Pieces to buy, by when, in the maker's lots; what remains at the end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.demand import DemandPaths
from forecast.planning.draws import Array, IntArray
from forecast.planning.plan import Plan

PURCHASES: Final = [
    "part_type",
    "quantity",
    "order_by",
    "needed_by",
    "cost",
    "chance_without",
    "chance_with",
    "state",
    "days_late",
    "assumed",
]
_CURVE_POINTS = 24


@dataclass(frozen=True)
class OrderQuantity:
    """What to order, and what it does.

    Attributes
    ----------
    quantity
        Pieces, in the maker's lots.
    chance_without, chance_with
        Chance of no stock-out over all days, without and with the order.
    reached
        Whether the order holds the service level; if the shelf runs empty before it can arrive
        too often, no order does.
    """

    quantity: int
    chance_without: float
    chance_with: float
    reached: bool


@dataclass(frozen=True)
class Optimum:
    """The stock that balances two costs, and what the season then costs on average."""

    stock: float
    cost: float


@dataclass(frozen=True, eq=False)
class Supply:
    """What is there without a new order.

    Attributes
    ----------
    by_day
        [days] pieces on the shelf and delivered up to each day, less the reserve.
    on_hand
        Counted pieces, the reserve included.
    coming
        Pieces on order that arrive by the last day.
    assumed
        What had to be assumed.
    """

    by_day: Array
    on_hand: int
    coming: int
    assumed: tuple[str, ...]


@dataclass(frozen=True)
class _Lot:
    """How the maker sells a part type."""

    unit_cost: float
    lead_days: int
    min_order: int
    pack: int
    assumed: tuple[str, ...]


def order_quantity(
    demand_draws: IntArray | Array,
    service_level: float,
    on_hand: float | Array,
    arrival_day: int,
    min_order: int = 0,
    pack: int = 1,
) -> OrderQuantity:
    """Return the least order that keeps the shelf from running empty with a given chance.

    Of the needs of the single paths the order covers the one at the upper rank
    ``binom.ppf(.95, draws, service_level)``, so that the chance of few draws does not order too
    little; then the least order and the maker's packs.

    Parameters
    ----------
    demand_draws
        [draws, days] pieces used each day, from the first day ahead.
    service_level
        Wanted chance of no stock-out over all days.
    on_hand
        Pieces there at the start; or [days] pieces there up to each day.
    arrival_day
        Index of the day from which an order placed now can be used.
    min_order, pack
        Least order, and pieces in a pack.

    Raises
    ------
    ValueError
        If the service level is not between 0 and 1, or a pack is empty.
    """
    from scipy.stats import binom

    if not 0 < service_level < 1 or pack < 1:
        raise ValueError("the service level should be between 0 and 1, and a pack at least 1")
    without, need = _needs(demand_draws, on_hand, arrival_day)
    rank = min(int(binom.ppf(0.95, len(need), service_level)), len(need) - 1)
    ordered = np.sort(need)
    reached = bool(np.isfinite(ordered[rank]))
    if reached:
        wanted = float(ordered[rank])
    else:  # cover what an order can still help
        finite = ordered[np.isfinite(ordered)]
        within = min(int(np.ceil(service_level * len(finite))), len(finite) - 1)
        wanted = float(finite[within]) if len(finite) else 0.0
    quantity = _in_lots(wanted, min_order, pack)
    return OrderQuantity(quantity, float(without.mean()), float(np.mean(need <= quantity)), reached)


def poisson_stock(mean: float, assurance: float) -> int:
    """Return the smallest stock that covers a Poisson demand with a given chance.

    Parameters
    ----------
    mean
        Expected demand.
    assurance
        Chance that demand does not exceed the stock, between 0 and 1.
    """
    from scipy.stats import poisson

    if mean < 0 or not 0 < assurance < 1:
        raise ValueError("the mean should not be negative, the assurance between 0 and 1")
    return int(poisson.ppf(assurance, mean))


def newsvendor(mean: float, sd: float, under: float, over: float) -> Optimum:
    """Return the stock for one season of normal demand when pieces cannot be reordered.

    Parameters
    ----------
    mean, sd
        Of the demand.
    under, over
        Cost of a piece too few, and of a piece too many.
    """
    from scipy.stats import norm

    if min(sd, under, over) <= 0:
        raise ValueError("sd and both costs should be above 0")
    score = float(norm.ppf(under / (under + over)))
    return Optimum(mean + score * sd, float((under + over) * sd * norm.pdf(score)))


def supply(stock: pd.DataFrame, part_type: str, calendar: Calendar, reserve: int) -> Supply:
    """Return what is there of a part type without a new order.

    An order without a due date, or one overdue, is not counted on: that is said.

    Parameters
    ----------
    stock
        ``Snapshot.stock``: part_type, state, quantity, due.
    part_type
        Its name.
    calendar
        The days ahead.
    reserve
        Pieces kept back.
    """
    mine = stock[stock["part_type"] == part_type]
    counted = mine[mine["state"] == "on_hand"]
    on_hand = int(counted["quantity"].sum())
    said = [] if len(counted) else ["nobody counted the stock: none is assumed"]
    by_day = np.full(len(calendar.days), float(max(on_hand - reserve, 0)))
    coming = 0
    orders = mine[mine["state"] == "on_order"]
    dates = pd.to_datetime(orders["due"])
    for due, pieces in zip(dates, orders["quantity"].astype(int), strict=True):
        at = -1 if pd.isna(due) else calendar.at(due.date())
        if at < 0:
            when = "has no due date" if pd.isna(due) else f"was due on {due.date()}"
            said.append(f"{pieces} on order {when}: not counted on")
        elif at < len(by_day):
            by_day[at:] += pieces
            coming += pieces
    return Supply(by_day, on_hand, coming, tuple(said))


def purchases(
    paths: Mapping[str, DemandPaths],
    stock: pd.DataFrame,
    part_types: pd.DataFrame,
    plan: Plan,
    calendar: Calendar,
) -> pd.DataFrame:
    """Return the result ``purchases``: what to order now or by when, for each part type.

    ``needed_by`` is the first day on which the stock may run out with half of the allowed
    chance, ``order_by`` a lead time before it. The chances hold for an order placed on the day
    of the forecast. ``state`` is ``late`` where that day has passed and the order still holds
    the service level, ``cannot_reach`` where no order does.

    Parameters
    ----------
    paths
        By part type.
    stock, part_types
        ``Snapshot.stock`` and ``Snapshot.part_types``.
    plan
        Service level and reserve.
    calendar
        The days ahead.
    """
    rows = [
        _purchase(
            of, supply(stock, name, calendar, plan.for_part_type(name).reserve), lot, plan, calendar
        )
        for name, of in paths.items()
        for lot in [_lot(part_types, name)]
    ]
    return pd.DataFrame(rows, columns=PURCHASES)


def stock_curve(
    paths: Mapping[str, DemandPaths],
    stock: pd.DataFrame,
    part_types: pd.DataFrame,
    plan: Plan,
    calendar: Calendar,
    bought: pd.DataFrame,
) -> pd.DataFrame:
    """Return the result ``stock_curve``: the chance of no stock-out for each possible order.

    ``*`` stands for all part types together, on the same paths: with nothing bought, and with
    the purchases.

    Parameters
    ----------
    paths, stock, part_types, plan, calendar
        As for :func:`purchases`.
    bought
        The purchases.
    """
    quantity = dict(zip(bought["part_type"], bought["quantity"], strict=True))
    rows: list[dict[str, Any]] = []
    all_without, all_with, money = True, True, 0.0
    for name, of in paths.items():
        lot = _lot(part_types, name)
        have = supply(stock, name, calendar, plan.for_part_type(name).reserve)
        without, need = _needs(of.total, have.by_day, _arrival(lot))
        for pieces in _orders(need, lot, int(quantity[name])):
            chance = float(np.mean(need <= pieces)) if pieces else float(without.mean())
            rows.append(_curve_row(name, pieces, chance, pieces * lot.unit_cost))
        all_without &= without
        all_with &= need <= quantity[name] if quantity[name] else without
        money += quantity[name] * lot.unit_cost if quantity[name] else 0.0
    if paths:
        total = int(sum(quantity.values()))
        rows.append(_curve_row("*", 0, float(np.mean(all_without)), 0.0))
        if total:
            rows.append(_curve_row("*", total, float(np.mean(all_with)), money))
    return pd.DataFrame(rows, columns=["part_type", "bought", "chance_no_stock_out", "cost"])


def closing_stock(
    paths: Mapping[str, DemandPaths],
    stock: pd.DataFrame,
    part_types: pd.DataFrame,
    calendar: Calendar,
    bought: pd.DataFrame,
) -> pd.DataFrame:
    """Return the result ``closing_stock``: what is left on the season's last day.

    Parameters
    ----------
    paths, stock, part_types, calendar, bought
        As for :func:`stock_curve`; reserves are included.
    """
    quantity = dict(zip(bought["part_type"], bought["quantity"], strict=True))
    rows = []
    for name, of in paths.items():
        have = supply(stock, name, calendar, 0)
        start = have.on_hand + have.coming + int(quantity[name])
        left = np.maximum(start - of.total.sum(axis=1), 0)
        low, high = np.quantile(left, [0.05, 0.95], method="inverted_cdf")
        mean = float(left.mean())
        cost = mean * _lot(part_types, name).unit_cost
        rows.append(
            {"part_type": name, "mean": mean, "p05": int(low), "p95": int(high), "cost": cost}
        )
    return pd.DataFrame(rows, columns=["part_type", "mean", "p05", "p95", "cost"])


def _purchase(
    of: DemandPaths, have: Supply, lot: _Lot, plan: Plan, calendar: Calendar
) -> dict[str, Any]:
    level = plan.stocking.service_level
    order = order_quantity(of.total, level, have.by_day, _arrival(lot), lot.min_order, lot.pack)
    needed_by = _needed_by(of.total, have.by_day, level, calendar) if order.quantity else None
    order_by = None if needed_by is None else needed_by - timedelta(days=lot.lead_days)
    late = max((calendar.as_of - order_by).days, 0) if order_by is not None else 0
    state = "cannot_reach" if not order.reached else "late" if late else "in_time"
    said = [*have.assumed, *lot.assumed]
    if not order.reached:
        lasts = _lasts_to(of.total, have.by_day, _arrival(lot))
        said.append(f"no order holds {level:.0%}: the shelf lasts to its arrival with {lasts:.0%}")
    return {
        "part_type": of.part_type,
        "quantity": order.quantity,
        "order_by": order_by,
        "needed_by": needed_by,
        "cost": order.quantity * lot.unit_cost,
        "chance_without": order.chance_without,
        "chance_with": order.chance_with,
        "state": state,
        "days_late": late,
        "assumed": "; ".join(said),
    }


def _needs(demand: IntArray | Array, available: float | Array, arrival: int) -> tuple[Any, Array]:
    """Return which paths last without an order, and what each needs by one (inf: too late)."""
    short = np.cumsum(demand, axis=1) - available
    days = short.shape[1]
    arrival = min(max(arrival, 0), days)
    need = np.maximum(short[:, arrival:].max(axis=1, initial=0.0), 0.0).astype(np.float64)
    if arrival > 0:
        need[(short[:, :arrival] > 0).any(axis=1)] = np.inf
    return (short <= 0).all(axis=1), need


def _lasts_to(demand: IntArray, available: Array, arrival: int) -> float:
    return float(np.isfinite(_needs(demand, available, arrival)[1]).mean())


def _in_lots(wanted: float, min_order: int, pack: int) -> int:
    """Return the least order of whole packs that covers a need; 0 where nothing is needed."""
    if wanted <= 0:
        return 0
    return int(np.ceil(max(wanted, min_order) / pack)) * pack


def _needed_by(demand: IntArray, available: Array, level: float, calendar: Calendar) -> date | None:
    """Return the first day on which the stock runs out with half of the allowed chance."""
    used = np.quantile(
        np.cumsum(demand, axis=1), 1 - (1 - level) / 2, axis=0, method="inverted_cdf"
    )
    out = np.flatnonzero(used > available)
    return calendar.days[int(out[0])] if len(out) else calendar.days[-1]


def _orders(need: Array, lot: _Lot, chosen: int) -> Sequence[int]:
    """Return the orders that a curve shows: nothing, the chosen one, and lots around it."""
    finite = need[np.isfinite(need)]
    top = float(np.quantile(finite, 0.995)) if len(finite) else 0.0
    most = max(_in_lots(top, lot.min_order, lot.pack), chosen)
    least = _in_lots(1.0, lot.min_order, lot.pack)
    step = lot.pack * max(1, int(np.ceil((most - least) / lot.pack / _CURVE_POINTS)))
    return sorted({0, chosen, most, *range(least, most + 1, step)} - {-1})


def _curve_row(name: str, pieces: int, chance: float, cost: float) -> dict[str, Any]:
    return {"part_type": name, "bought": pieces, "chance_no_stock_out": chance, "cost": cost}


def _arrival(lot: _Lot) -> int:
    """Return the index of the day from which an order of today can be used."""
    return max(lot.lead_days - 1, 0)


def _lot(part_types: pd.DataFrame, name: str) -> _Lot:
    """Return how a part type is sold; what nobody gave is assumed, and said."""
    mine = part_types[part_types["part_type"] == name]

    def given(column: str) -> float:
        value = mine[column].iloc[0] if len(mine) else None
        return np.nan if value is None or pd.isna(value) else float(value)

    lead, least, pack = given("lead_time_days"), given("min_order"), given("pack_size")
    said = () if np.isfinite(lead) else ("lead time not given: none is assumed",)
    return _Lot(
        given("unit_cost"),
        int(lead) if np.isfinite(lead) else 0,
        int(least) if np.isfinite(least) else 0,
        max(int(pack), 1) if np.isfinite(pack) else 1,
        said,
    )
