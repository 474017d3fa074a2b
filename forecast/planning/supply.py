"""What is there of a part type, what is coming, and how its maker sells it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array


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
class Lot:
    """How the maker sells a part type.

    Attributes
    ----------
    unit_cost
        Of a piece; NaN where nobody gave it.
    lead_days
        From the order to the pieces on the shelf.
    min_order, pack
        Least order, and pieces in a pack.
    assumed
        What had to be assumed.
    """

    unit_cost: float
    lead_days: int
    min_order: int
    pack: int
    assumed: tuple[str, ...]

    @property
    def arrival(self) -> int:
        """Index of the day from which an order placed on the day of the forecast can be used."""
        return max(self.lead_days - 1, 0)

    def whole(self, wanted: float) -> int:
        """Return the least order of whole packs that covers a need; 0 where nothing is needed."""
        if wanted <= 0:
            return 0
        return int(np.ceil(max(wanted, self.min_order) / self.pack)) * self.pack


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


def lot_of(part_types: pd.DataFrame, name: str) -> Lot:
    """Return how a part type is sold; what nobody gave is assumed, and said."""
    mine = part_types[part_types["part_type"] == name]

    def given(column: str) -> float:
        value = mine[column].iloc[0] if len(mine) else None
        return np.nan if value is None or pd.isna(value) else float(value)

    lead, least, pack = given("lead_time_days"), given("min_order"), given("pack_size")
    said = () if np.isfinite(lead) else ("lead time not given: none is assumed",)
    return Lot(
        given("unit_cost"),
        int(lead) if np.isfinite(lead) else 0,
        int(least) if np.isfinite(least) else 0,
        max(int(pack), 1) if np.isfinite(pack) else 1,
        said,
    )
