"""Grades that do the same job, side by side: what the report of a season shows of ``versus``."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.versus import COMPARED, two_sides
from forecast.records.season import STUDIES, SeasonForecast
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

MOST_GRADES: Final = 4
"""Grades compared with each other: the ones with most pieces."""


def with_grades(address: str, forecast: SeasonForecast) -> SeasonForecast:
    """Return a kept forecast with the comparison of its grades: exhibit ``versus``.

    Seconds of work that no plan waits for, so a forecast is made without and a report with it;
    from what was known when the forecast was made.

    Parameters
    ----------
    address
        The store that keeps the forecast.
    forecast
        As it was kept.
    """
    stamp = forecast.stamp
    with open_store(address) as store:
        seen = stamp.last_import, stamp.last_decision
        snapshot = take_snapshot(store, stamp.as_of, seen)
    return replace(forecast, exhibits={**forecast.exhibits, "versus": grades_beside(snapshot)})


def grades_beside(snapshot: Snapshot) -> pd.DataFrame:
    """Compare every two grades that did the same job, without what it is worth.

    Parameters
    ----------
    snapshot
        What is known.

    Returns
    -------
    DataFrame
        Columns of ``STUDIES["versus"]``; the grade with more pieces is ``a``. Grades that never
        did the same job, and comparisons the logs give no number for, have no row.
    """
    pieces = snapshot.lives["grade"].dropna().map(str)
    counts = pieces[pieces != ""].value_counts().rename_axis("grade").reset_index(name="pieces")
    ordered = counts.sort_values(["pieces", "grade"], ascending=[False, True], kind="stable")
    rows: list[dict[str, object]] = []
    for a, b in combinations(ordered["grade"].head(MOST_GRADES).tolist(), 2):
        try:
            sides = two_sides(snapshot, a, b)
        except NotInStore:
            continue
        for what, compare in COMPARED.items():
            found = compare(sides)
            if found is None or not np.isfinite(found.ratio):
                continue
            rows.append(
                {
                    "by": "grade",
                    "a": a,
                    "b": b,
                    "what": what,
                    "ratio": found.ratio,
                    "ratio_low": found.low,
                    "ratio_high": found.high,
                    "pairs": found.pairs,
                    "adjusted_for": ", ".join(found.adjusted_for),
                    "extrapolated": found.extrapolated,
                    "parts_saved": np.nan,
                    "money_saved": np.nan,
                }
            )
    return pd.DataFrame(rows, columns=list(STUDIES["versus"]))
