"""Keeps and finds season forecasts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from itertools import groupby
from typing import Final

import pandas as pd

from forecast.errors import NotInStore
from forecast.records.season import EXHIBITS, RESULTS, SeasonForecast, Stamp
from forecast.store.cells import from_rows, to_rows
from forecast.store.store import Store, Value

EXHIBIT: Final = "exhibit "
"""Before the name of an exhibit in the table ``results``: results and exhibits may share names."""

_DAYS: Final = ("as_of", "season_from", "season_until")

WAY_OUT: Final = "make one first: wearahead season PLAN"


def save_season(store: Store, forecast: SeasonForecast) -> SeasonForecast:
    """Keep a forecast under a number, in one commit.

    Parameters
    ----------
    store
        Open for writing.
    forecast
        Whole; its own number is not looked at.

    Returns
    -------
    SeasonForecast
        The same with its number; where one with an equal digest is kept already, that one.

    Raises
    ------
    StoreError
        If it could not be written; then nothing of it was.
    """
    digest = forecast.stamp.digest()

    def job(store: Store) -> SeasonForecast:
        kept = find_season(store, digest)
        if kept is not None:
            return kept
        _add(store, forecast, digest)
        number = _int(store.rows("queries/kept_forecasts")[-1]["forecast_no"])
        store.put("results", _rows(forecast, number))
        return replace(forecast, number=number)

    return store.commit(job)


def find_season(store: Store, digest: str) -> SeasonForecast | None:
    """Return the forecast kept under a digest of inputs, or None."""
    for row in store.rows("queries/kept_forecasts"):
        if row["digest"] == digest:
            return _load(store, row)
    return None


def load_season(store: Store, number: int | None = None) -> SeasonForecast:
    """Return a kept forecast, whole.

    Parameters
    ----------
    store
        Open, for reading or writing.
    number
        Its number; None: the latest.

    Raises
    ------
    NotInStore
        If there is none of that number; the message says which there are.
    """
    kept = store.rows("queries/kept_forecasts")
    if not kept:
        raise NotInStore(f"{store.address} keeps no forecast yet", WAY_OUT)
    if number is None:
        return _load(store, kept[-1])
    for row in kept:
        if row["forecast_no"] == number:
            return _load(store, row)
    there = ", ".join(f"{row['forecast_no']} ({row['plan_name']})" for row in kept)
    raise NotInStore(
        f"there is no forecast {number} in {store.address}; it keeps {there}",
        "name one of these, or make another: wearahead season PLAN",
        nearest=str(min((_int(row["forecast_no"]) for row in kept), key=lambda n: abs(n - number))),
    )


def kept_days(store: Store) -> list[tuple[int, date, date, date]]:
    """Return number, as_of, first and last day of the season of every kept forecast."""
    return [
        (
            _int(row["forecast_no"]),
            _date(row["as_of"]),
            _date(row["season_from"]),
            _date(row["season_until"]),
        )
        for row in store.rows("queries/kept_forecasts")
    ]


def _add(store: Store, forecast: SeasonForecast, digest: str) -> None:
    stamp = forecast.stamp
    store.run(
        "queries/add_forecast",
        digest=digest,
        plan_name=stamp.plan_name,
        plan_text=stamp.plan_text,
        as_of=stamp.as_of,
        seed=stamp.seed,
        draws=stamp.draws,
        versions=stamp.versions,
        last_import=stamp.last_import,
        last_decision=stamp.last_decision,
        snapshot=stamp.snapshot,
        season_from=forecast.season_from,
        season_until=forecast.season_until,
        currency=forecast.currency,
    )


def _rows(forecast: SeasonForecast, number: int) -> pd.DataFrame:
    """Return every result and exhibit as rows of the table ``results``."""
    named = [(name, forecast.results[name]) for name in RESULTS]
    named += [(EXHIBIT + name, forecast.exhibits[name]) for name in EXHIBITS]
    rows = [
        (number, name, row, content) for name, frame in named for row, content in to_rows(frame)
    ]
    return pd.DataFrame(rows, columns=["forecast_no", "name", "row_no", "content"])


def _load(store: Store, kept: dict[str, Value]) -> SeasonForecast:
    number = _int(kept["forecast_no"])
    rows = store.rows("queries/kept_rows", number=number)
    frames = {
        str(name): from_rows([str(row["content"]) for row in group])
        for name, group in groupby(rows, key=lambda row: row["name"])
    }
    return SeasonForecast(
        stamp=Stamp(
            plan_name=str(kept["plan_name"]),
            plan_text=str(kept["plan_text"]),
            as_of=_date(kept["as_of"]),
            seed=_int(kept["seed"]),
            draws=_int(kept["draws"]),
            versions=str(kept["versions"]),
            last_import=_int(kept["last_import"]),
            last_decision=_int(kept["last_decision"]),
            snapshot=str(kept["snapshot"]),
        ),
        season_from=_date(kept["season_from"]),
        season_until=_date(kept["season_until"]),
        currency=str(kept["currency"]),
        results={name: frames[name] for name in RESULTS if name in frames},
        exhibits={name: _exhibit(frames, name) for name in EXHIBITS},
        number=number,
    )


def _exhibit(frames: dict[str, pd.DataFrame], name: str) -> pd.DataFrame:
    """Return a kept exhibit; empty where the forecast was kept before there was such a one."""
    kept = frames.get(EXHIBIT + name)
    return pd.DataFrame(columns=list(EXHIBITS[name])) if kept is None else kept


def _int(value: Value) -> int:
    if isinstance(value, int):
        return value
    raise TypeError(f"{value!r} is no whole number")


def _date(value: Value) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    raise TypeError(f"{value!r} is no date")
