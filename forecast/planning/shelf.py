"""How many spares planned change-outs may take, window by window.

Until an order placed today could be there, there is only what is on the shelf and on its way, less
the reserve. From then on a shortage is a matter of buying, not of planning: the list is not held
back, and the purchases say by when the pieces have to be ordered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, BoolArray
from forecast.planning.fleet import Fleet
from forecast.planning.plan import Plan
from forecast.planning.supply import lot_of, supply
from forecast.planning.worn import thin

Shelf = Mapping[str, Array]
"""By part type: [windows + 1] spares that the change-outs up to a window may take, the overhaul
first; infinite where nothing holds them back."""

_CELLS = 400_000  # rows x draws handled at a time


def shelf_limits(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    stock: pd.DataFrame,
    part_types: pd.DataFrame,
    plan: Plan,
    overhauled: Sequence[BoolArray],
) -> dict[str, Array]:
    """Return what the shelf allows planned change-outs to take.

    The reserve is kept back for failures; those expected beyond it are taken off as well. A part
    type whose stock nobody counted is not held back: the purchases say that none is assumed.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    stock, part_types
        ``Snapshot.stock`` and ``Snapshot.part_types``.
    overhauled
        By fleet: [rows] changed in the overhaul, which takes its spares first.
    """
    limits = {}
    days = [window.day for window in calendar.windows]
    for name in sorted({fleet.part_type for fleet in fleets}):
        limit = np.full(len(days) + 1, np.inf)
        counted = stock[(stock["part_type"] == name) & (stock["state"] == "on_hand")]
        arrival = lot_of(part_types, name).arrival
        if len(counted):
            reserve = plan.for_part_type(name).reserve
            have = supply(stock, name, calendar, reserve).by_day
            before = [number for number, day in enumerate(days) if day < arrival]
            mine = [(fleet, rows) for fleet, rows in zip(fleets, overhauled, strict=True)
                    if fleet.part_type == name]  # fmt: skip
            taken = sum(
                float(fleet.quantity[rows & fleet.takes_spare].sum()) for fleet, rows in mine
            )
            for number in before:
                failures = sum(_failures(fleet, rows, days[number]) for fleet, rows in mine)
                beyond = max(failures - reserve, 0.0)
                limit[number + 1] = max(np.floor(have[days[number]] - taken - beyond), 0.0)
            # what is taken now is lacking later
            limit = np.minimum.accumulate(limit[::-1])[::-1]
        limits[name] = limit
    return limits


def _failures(fleet: Fleet, overhauled: BoolArray, day: int) -> float:
    """Return the spares that pieces in place are expected to take by a day as they end."""
    law = thin(fleet.law)
    spares = fleet.quantity * (1.0 - fleet.turns[:, 0])
    rows = np.flatnonzero(~overhauled & (spares > 0) & ~fleet.pieces.due)
    ahead = fleet.ahead(day)
    step = max(1, _CELLS // law.draws)
    total = 0.0
    for at in range(0, len(rows), step):
        some = rows[at : at + step]
        lasts = law.survival(fleet.pieces.take(some), ahead[some]).mean(axis=1)
        total += float(spares[some] @ (1.0 - lasts))
    return total
