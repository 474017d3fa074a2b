"""Keeps how far forecasts of the past were off."""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd

from forecast.records.season import EXHIBITS
from forecast.store.store import Store


def save_scores(store: Store, scored: pd.DataFrame) -> int:
    """Keep scores under the next number, in one commit.

    Parameters
    ----------
    store
        Open for writing.
    scored
        Columns of the table ``scores`` without ``score_no``.

    Returns
    -------
    int
        The number.
    """

    def job(store: Store) -> int:
        number = int(str(store.rows("queries/next_score")[0]["score_no"]))
        store.put("scores", scored.assign(score_no=number))
        return number

    return store.commit(job)


def load_scores(store: Store) -> pd.DataFrame:
    """Return the record: columns of ``EXHIBITS["hindsight"]``, oldest day first."""
    rows = store.rows("queries/kept_scores")
    frame = pd.DataFrame(rows, columns=list(EXHIBITS["hindsight"]))
    frame["as_of"] = pd.Series([_day(value) for value in frame["as_of"]], dtype=object)
    return frame


def _day(value: object) -> object:
    """Return a day as a date, whatever the database gave."""
    return value.date() if isinstance(value, datetime) else value if isinstance(value, date) else ""
