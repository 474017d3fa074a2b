"""What to order now, and what later: each part type by itself, all together, within a budget."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

import numpy as np
import pandas as pd

from forecast.planning.assortment import Wanted, choose
from forecast.planning.calendar import Calendar
from forecast.planning.demand import DemandPaths
from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.stock import needs_of, order_quantity, upper_rank
from forecast.planning.supply import Lot, Supply, lot_of, supply
from forecast.records.season import RESULTS
from forecast.records.words import percent

SOON: Final = 7
"""Days: an order that has to leave within them is placed now, and may leave a part for later."""
FEWEST_DAYS: Final = 14
"""Days between two orders: nearer ones are one."""
WORTH_WAITING: Final = 0.25
"""Least share of the pieces that a later order should have."""


@dataclass(frozen=True, eq=False)
class Buying:
    """One part type on the way to its orders.

    Attributes
    ----------
    of, have, lot
        Its demand, what is there, how it is sold.
    lasts, need, late
        As :func:`forecast.planning.stock.needs_of` gives them.
    level
        Chance of no stock-out that its own order was sized for.
    quantity
        Pieces to order.
    reached
        Whether an order can hold the level at all.
    said
        What was assumed.
    """

    of: DemandPaths
    have: Supply
    lot: Lot
    lasts: BoolArray
    need: Array
    late: Array
    level: float
    quantity: int
    reached: bool
    said: tuple[str, ...]

    def chance(self, pieces: int) -> float:
        """Return the chance of no stock-out with an order of so many pieces placed now."""
        return float(np.mean(self.need <= pieces) if pieces else self.lasts.mean())


def purchases(
    paths: Mapping[str, DemandPaths],
    stock: pd.DataFrame,
    part_types: pd.DataFrame,
    plan: Plan,
    calendar: Calendar,
) -> pd.DataFrame:
    """Return the result ``purchases``: what to order by when, at most two rows a part type.

    ``needed_by`` is the first day on which the stock may run out with half of the allowed
    chance, ``order_by`` a lead time before it. An order that has to leave now is followed by a
    second row where a good part of it can wait: the first covers, on every path that both cover,
    what is used until the second arrives, so that waiting costs no safety and the next forecast
    may change it. ``chance_with`` of a row counts the rows above it. ``state`` is ``late`` where
    the day has passed and the order still holds its level, ``cannot_reach`` where no order does.

    Parameters
    ----------
    paths
        By part type.
    stock, part_types
        ``Snapshot.stock`` and ``Snapshot.part_types``.
    plan
        Service level, ``all_types``, budget, reserves and costs.
    calendar
        The days ahead.
    """
    own = {
        name: _alone(of, supply(stock, name, calendar, plan.for_part_type(name).reserve), lot, plan)
        for name, of in paths.items()
        for lot in [lot_of(part_types, name)]
    }
    if plan.stocking.all_types is not None:
        own = _together(own, plan.stocking.all_types)
    if plan.stocking.budget is not None:
        own = _within(own, plan.stocking.budget, plan.season.currency)
    rows = [
        row
        for name, one in own.items()
        for row in _rows(one, plan.for_part_type(name), plan.season.currency, calendar)
    ]
    return pd.DataFrame(rows, columns=list(RESULTS["purchases"]))


def _alone(of: DemandPaths, have: Supply, lot: Lot, plan: Plan) -> Buying:
    """Return the order of one part type by its own service level."""
    level = plan.stocking.service_level
    order = order_quantity(of.total, level, have.by_day, lot.arrival, lot.min_order, lot.pack)
    lasts, need, late = needs_of(of.total, have.by_day, lot.arrival)
    said = [*have.assumed, *lot.assumed]
    if not order.reached:
        rest = (
            "the quantity is what the season needs from then on"
            if order.quantity
            else "after that nothing more is lacking"
        )
        said.append(
            f"no order holds {percent(level)}: with a chance of "
            f"{percent(np.isfinite(need).mean())} the shelf lasts until one could arrive; {rest}"
        )
    return Buying(
        of, have, lot, lasts, need, late, level, order.quantity, order.reached, tuple(said)
    )


def _together(own: dict[str, Buying], target: float) -> dict[str, Buying]:
    """Size the orders for one chance that nothing at all runs out.

    Part types that no order can reach keep theirs; the others reach the target given that.
    """
    able = {name: one for name, one in own.items() if one.reached}
    if not able:
        return own
    draws = len(next(iter(able.values())).need)
    share = min(upper_rank(draws, target) + 1, draws) / draws
    wanted = {
        name: Wanted(one.need, one.lasts, one.lot, one.lot.whole(_largest(one.need)))
        for name, one in able.items()
    }
    found, reached = choose(wanted, share)
    others = "" if len(able) == len(own) else ", those that no order can reach left out"
    said = f"sized for {percent(target)} that no part type runs out{others}"
    if reached < target:
        said = (
            f"no orders hold {percent(target)} for all part types together: "
            f"{percent(reached)} is the most"
        )
    return own | {
        name: _sized(one, found[name], one.chance(found[name]), said) for name, one in able.items()
    }


def _within(own: dict[str, Buying], budget: float, currency: str) -> dict[str, Buying]:
    """Cut the orders to what a budget pays for: what helps most for its money first."""
    asked = sum(one.quantity * _price(one) for one in own.values())
    if asked <= budget:
        return own
    wanted = {
        name: Wanted(_reckoned(one), one.lasts, one.lot, one.quantity)
        for name, one in own.items()
        if one.quantity
    }
    found, _ = choose(wanted, 1.0, budget)
    money = f"{currency} ".lstrip() + f"{budget:,.0f}"
    return own | {
        name: _sized(
            own[name],
            pieces,
            own[name].level,
            f"the budget of {money} pays for {pieces:,} of {own[name].quantity:,}",
        )
        for name, pieces in found.items()
        if pieces < own[name].quantity
    }


def _sized(one: Buying, quantity: int, level: float, said: str) -> Buying:
    return Buying(
        one.of,
        one.have,
        one.lot,
        one.lasts,
        one.need,
        one.late,
        min(max(level, 0.5), 1 - 1 / (2 * len(one.need))),
        quantity,
        one.reached,
        (*one.said, said),
    )


def _reckoned(one: Buying) -> Array:
    """Return what an order is measured by: where none comes in time, what is needed later on."""
    return one.need if one.reached else one.late


def _largest(need: Array) -> float:
    finite = need[np.isfinite(need)]
    return float(finite.max()) if len(finite) else 0.0


def _price(one: Buying) -> float:
    return one.lot.unit_cost if np.isfinite(one.lot.unit_cost) else 0.0


def _rows(one: Buying, part: PartPlan, currency: str, calendar: Calendar) -> list[dict[str, Any]]:
    """Return the row of one part type, or two: what leaves now, and what can wait."""
    needed = _needed_by(one.of.total, one.have.by_day, one.level, calendar)
    needed_by = needed if one.quantity else None
    order_by = None if needed_by is None else needed_by - timedelta(days=one.lot.lead_days)
    late = max((calendar.as_of - order_by).days, 0) if order_by is not None else 0
    first = {
        "part_type": one.of.part_type,
        "quantity": one.quantity,
        "order_by": order_by,
        "needed_by": needed_by,
        "cost": one.quantity * one.lot.unit_cost,
        "chance_without": one.chance(0),
        "chance_with": one.chance(one.quantity),
        "state": "cannot_reach" if not one.reached else "late" if late else "in_time",
        "days_late": late,
        "assumed": "; ".join(one.said),
    }
    advice = _by_costs(one, part, currency)
    soon = order_by is not None and order_by <= calendar.as_of + timedelta(days=SOON)
    split = _split(one) if soon and one.reached else None
    if split is None:
        return [first | {"assumed": "; ".join([*one.said, *advice])}]
    now, wait = split
    day = calendar.as_of + timedelta(days=wait)
    rest = one.quantity - now
    second = first | {
        "quantity": rest,
        "order_by": day,
        "needed_by": day + timedelta(days=one.lot.lead_days),
        "cost": rest * one.lot.unit_cost,
        "chance_without": one.chance(now),
        "state": "in_time",
        "days_late": 0,
        "assumed": "; ".join(["can wait: forecast again before it leaves", *advice]),
    }
    first |= {
        "quantity": now,
        "cost": now * one.lot.unit_cost,
        "chance_with": one.chance(now),
    }
    return [first, second]


def _split(one: Buying) -> tuple[int, int] | None:
    """Return the pieces to order now and the days that the others can wait; None: all now."""
    days = one.of.total.shape[1]
    wait = (days - one.lot.arrival) // 2
    if wait < FEWEST_DAYS:
        return None
    short: Array = np.cumsum(one.of.total, axis=1) - one.have.by_day
    second = one.lot.arrival + wait
    covered = one.need <= one.quantity
    early = short[covered, one.lot.arrival : second].max(initial=0.0)
    now = one.lot.whole(float(early))
    rest = one.quantity - now
    if now <= 0 or rest < max(one.lot.min_order, WORTH_WAITING * one.quantity):
        return None
    return now, wait


def _by_costs(one: Buying, part: PartPlan, currency: str) -> list[str]:
    """Say what the costs alone would order: the season's last order is a newsvendor's.

    A piece too few costs a failure and its stop, a piece too many its price: what it is worth next
    season nobody says.
    """
    stop, failure, price = part.stop_cost, part.unplanned_cost, one.lot.unit_cost
    if not one.quantity or stop is None or failure is None or not (price > 0):
        return []
    under = failure + stop
    if under <= 0:
        return []
    fractile = under / (under + price)
    pieces = one.lot.whole(float(np.quantile(one.late, fractile, method="inverted_cdf")))
    unit = f" {currency}".rstrip()
    return [
        f"by costs alone, as the season's last order: {pieces:,} (one too few costs {under:,.2f}"
        f"{unit}, one left over at most its price, {price:,.2f}{unit}: {percent(fractile, 1)} sure)"
    ]


def _needed_by(demand: IntArray, available: Array, level: float, calendar: Calendar) -> date:
    """Return the first day on which the stock runs out with half of the allowed chance."""
    used = np.quantile(
        np.cumsum(demand, axis=1), 1 - (1 - level) / 2, axis=0, method="inverted_cdf"
    )
    out = np.flatnonzero(used > available)
    return calendar.days[int(out[0])] if len(out) else calendar.days[-1]
