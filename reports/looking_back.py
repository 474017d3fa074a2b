"""The sections that compare: grades or batches side by side, and past forecasts with what came.

A forecast without such a result has no such section.
"""

from __future__ import annotations

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import record, versus
from reports.parts import Figures, Section, result_table


def side_by_side(forecast: SeasonForecast) -> Section | None:
    """Show grades or batches against each other: the result ``versus``, where there is one."""
    rows = _found(forecast, "versus")
    if rows is None:
        return None
    title = "Side by side"
    listed = result_table(forecast, "versus", "Compared: b against a, with 90 % ranges")
    if rows.empty:
        none = "No two grades or batches have run side by side long enough to be compared."
        return Section("side-by-side", title, (none,), (listed,))
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
    return Section("side-by-side", title, (text,), (drawn, listed))


def in_hindsight(forecast: SeasonForecast) -> Section | None:
    """Show how far past forecasts were off: the record ``hindsight``, where there is one."""
    rows = _found(forecast, "hindsight")
    if rows is None or rows.empty:
        return None
    covered = [bool(value) for value in rows["covered"] if not words.missing(value)]
    held = (
        f"In {sum(covered)} of {len(covered)} cases what the season asked for lay inside the range "
        "that 9 in 10 should. "
        if covered
        else ""
    )
    text = (
        f"{held}Each forecast was made from what was known on its day and nothing later. A few "
        "seasons say little about coverage: cases of one season share its weather and its crop."
    )
    drawn = Figures(
        "How to read it: the bar is what was forecast, 9 in 10 cases, its tick what was expected; "
        "the point is what came. A hollow point lies outside.",
        record.hindsight(rows),
        size="wide",
    )
    listed = result_table(forecast, "hindsight", "Past forecasts and what came")
    return Section("in-hindsight", "In hindsight", (text,), (drawn, listed))


def _found(forecast: SeasonForecast, name: str) -> pd.DataFrame | None:
    frame = forecast.results.get(name)
    return forecast.exhibits.get(name) if frame is None else frame
