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
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.plan import Plan
from forecast.planning.supply import Lot, Supply, lot_of, supply

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
        Whether the order holds the service level; where the shelf too often runs empty before it
        arrives, no order does.
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
    :func:`upper_rank`, so that the chance of few draws does not order too
    little; then the least order and the maker's packs. Where no order can hold the service level,
    because the shelf runs empty before it arrives, it covers what is needed from then on, the
    backlog included.

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
    if not 0 < service_level < 1 or pack < 1:
        raise ValueError("the service level should be between 0 and 1, and a pack at least 1")
    without, need, late = _needs(demand_draws, on_hand, arrival_day)
    rank = min(upper_rank(len(need), service_level), len(need) - 1)
    reached = bool(np.isfinite(np.sort(need)[rank]))
    wanted = float(np.sort(need if reached else late)[rank])
    quantity = Lot(np.nan, 0, min_order, pack, ()).whole(wanted)
    return OrderQuantity(quantity, float(without.mean()), float(np.mean(need <= quantity)), reached)


def upper_rank(draws: int, share: float, confidence: float = 0.95) -> int:
    """Return the rank that holds a share of the law behind some draws, surely enough.

    The quantile of the binomial number of draws under the share, counted from 0. (The special
    function, not ``scipy.stats``, whose import takes as long as a forecast's fits.)

    Parameters
    ----------
    draws
        How many.
    share
        Of the law, between 0 and 1.
    confidence
        That the rank is not below the share.
    """
    from scipy.special import bdtr

    below = bdtr(np.arange(draws + 1), draws, share)
    return int(np.searchsorted(below, confidence, side="left"))


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


def economic_order_quantity(demand: float, order_cost: float, holding_cost: float) -> float:
    """Return the order that balances the cost of ordering and of keeping, for steady demand.

    The square root of 2 x demand x order_cost / holding_cost. (Harris, Factory 10, 1913.) A
    season's spares are no steady demand: it tells whether a lot is of a sensible size.

    Parameters
    ----------
    demand
        Pieces a year.
    order_cost
        Of one order, whatever its size.
    holding_cost
        Of one piece kept for a year.
    """
    if min(demand, order_cost) < 0 or holding_cost <= 0:
        raise ValueError("demand and costs should not be negative, and keeping should cost money")
    return float(np.sqrt(2 * demand * order_cost / holding_cost))


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
        for lot in [lot_of(part_types, name)]
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
    draws = next((len(of.total) for of in paths.values()), 1)
    all_without, all_with, money = np.ones(draws, dtype=bool), np.ones(draws, dtype=bool), 0.0
    for name, of in paths.items():
        lot = lot_of(part_types, name)
        have = supply(stock, name, calendar, plan.for_part_type(name).reserve)
        without, need, _ = _needs(of.total, have.by_day, lot.arrival)
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
        cost = mean * lot_of(part_types, name).unit_cost
        rows.append(
            {"part_type": name, "mean": mean, "p05": int(low), "p95": int(high), "cost": cost}
        )
    return pd.DataFrame(rows, columns=["part_type", "mean", "p05", "p95", "cost"])


def _purchase(
    of: DemandPaths, have: Supply, lot: Lot, plan: Plan, calendar: Calendar
) -> dict[str, Any]:
    level = plan.stocking.service_level
    order = order_quantity(of.total, level, have.by_day, lot.arrival, lot.min_order, lot.pack)
    needed_by = _needed_by(of.total, have.by_day, level, calendar) if order.quantity else None
    order_by = None if needed_by is None else needed_by - timedelta(days=lot.lead_days)
    late = max((calendar.as_of - order_by).days, 0) if order_by is not None else 0
    state = "cannot_reach" if not order.reached else "late" if late else "in_time"
    said = [*have.assumed, *lot.assumed]
    if not order.reached:
        lasts = _lasts_to(of.total, have.by_day, lot.arrival)
        said.append(
            f"no order holds {level:.0%}: with a chance of {lasts:.0%} the shelf lasts until one "
            "could arrive; "
            + (
                "the quantity is what the season needs from then on"
                if order.quantity
                else "after that nothing more is lacking"
            )
        )
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


def _needs(
    demand: IntArray | Array, available: float | Array, arrival: int
) -> tuple[BoolArray, Array, Array]:
    """Return which paths last without an order, what order each needs, and what if late.

    The needed order is infinite where the shelf runs empty before the order arrives; the last
    array tells what is needed from the arrival on all the same.
    """
    used = np.cumsum(np.asarray(demand, dtype=np.float64), axis=1)
    short: Array = used - np.asarray(available, dtype=np.float64)
    days = short.shape[1]
    arrival = min(max(arrival, 0), days)
    late = np.maximum(short[:, arrival:].max(axis=1, initial=0.0), 0.0)
    empty = (short[:, :arrival] > 0).any(axis=1)
    lasts: BoolArray = np.all(short <= 0, axis=1)
    return lasts, np.where(empty, np.inf, late), late


def _lasts_to(demand: IntArray, available: Array, arrival: int) -> float:
    return float(np.isfinite(_needs(demand, available, arrival)[1]).mean())


def _needed_by(demand: IntArray, available: Array, level: float, calendar: Calendar) -> date | None:
    """Return the first day on which the stock runs out with half of the allowed chance."""
    used = np.quantile(
        np.cumsum(demand, axis=1), 1 - (1 - level) / 2, axis=0, method="inverted_cdf"
    )
    out = np.flatnonzero(used > available)
    return calendar.days[int(out[0])] if len(out) else calendar.days[-1]


def _orders(need: Array, lot: Lot, chosen: int) -> Sequence[int]:
    """Return the orders that a curve shows: nothing, the chosen one, and lots around it."""
    finite = need[np.isfinite(need)]
    top = float(np.quantile(finite, 0.995)) if len(finite) else 0.0
    most = max(lot.whole(top), chosen)
    least = lot.whole(1.0)
    step = lot.pack * max(1, int(np.ceil((most - least) / lot.pack / _CURVE_POINTS)))
    return sorted({0, chosen, most, *range(least, most + 1, step)} - {-1})


def _curve_row(name: str, pieces: int, chance: float, cost: float) -> dict[str, Any]:
    return {"part_type": name, "bought": pieces, "chance_no_stock_out": chance, "cost": cost}
