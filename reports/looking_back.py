"""The sections that compare: grades or batches side by side, and past forecasts with what came.

A forecast without such a result has no such section.
"""

from __future__ import annotations

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import record, versus
from reports.parts import Figures, Section, result_table
from reports.tables import Table


def side_by_side(forecast: SeasonForecast) -> Section | None:
    """Show grades or batches against each other: the exhibit ``versus``, where it has rows."""
    rows = forecast.exhibits["versus"]
    if rows.empty:
        return None
    listed = result_table(forecast, "versus", "Compared: b against a, with 90 % ranges")
    drawn = Figures(
        "How to read it: each point is one comparison with its 90 % range; on the ink rule both "
        "are alike. Solid points differ by more than chance explains.",
        versus.ratios(rows),
        size="wide",
    )
    text = (
        "Where two ran on the same machines they are paired, so that a hard machine counts against "
        "both. A wear rate below 1 and a life above 1 speak for b."
    )
    return Section("side-by-side", "Side by side", (text,), (drawn, listed))


def in_hindsight(forecast: SeasonForecast) -> Section | None:
    """Show how far past forecasts were off, and how this season keeps to an earlier forecast."""
    record_rows, running = forecast.exhibits["hindsight"], forecast.exhibits["so_far"]
    if record_rows.empty and running.empty:
        return None
    text: list[str] = []
    parts: list[Figures | Table] = []
    if not running.empty:
        text.append(_this_season(running))
        parts.append(result_table(forecast, "so_far", "This season so far, against a forecast"))
    if not record_rows.empty:
        text.append(_seasons_past(record_rows))
        parts += _record(forecast, record_rows)
    return Section("in-hindsight", "In hindsight", tuple(text), tuple(parts))


def _this_season(rows: pd.DataFrame) -> str:
    """Say which part types leave the band of the forecast that was made before."""
    out = rows[rows["outside"].isin(["above", "below"])]
    told = [
        f"{name} lies {side}" for name, side in zip(out["part_type"], out["outside"], strict=True)
    ]
    held = (
        f"{words.listed(told)} what 9 in 10 seasons were to use."
        if told
        else "every part type is inside what 9 in 10 seasons were to use."
    )
    number = words.count(rows["forecast"].iloc[0])
    return (
        f"This season against forecast {number}, up to {words.day(rows['until'].iloc[0])}: {held}"
    )


def _seasons_past(rows: pd.DataFrame) -> str:
    covered = [bool(value) for value in rows["covered"] if not words.missing(value)]
    held = (
        f"In {sum(covered)} of {len(covered)} cases what the season asked for lay inside the range "
        "that 9 in 10 should. "
        if covered
        else ""
    )
    return (
        f"{held}Each forecast was made from what was known on its day and nothing later. A few "
        "seasons say little about coverage: cases of one season share its weather and its crop."
    )


def _record(forecast: SeasonForecast, rows: pd.DataFrame) -> tuple[Figures, Table]:
    drawn = Figures(
        "How to read it: the bar is what was forecast, 9 in 10 cases, its tick what was expected; "
        "the point is what came. A hollow point lies outside.",
        record.hindsight(rows),
        size="wide",
    )
    return drawn, result_table(forecast, "hindsight", "Past forecasts and what came")
