"""Grades that do the same job, side by side: what the report of a season shows of ``versus``."""

from __future__ import annotations

from itertools import combinations
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.kinds import COMPARED, two_sides
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot

MOST_GRADES: Final = 4
"""Grades compared with each other: the ones with most pieces."""


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
