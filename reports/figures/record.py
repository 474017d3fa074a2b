"""Past forecasts beside what came."""

from __future__ import annotations

import pandas as pd

from reports import words
from reports.figures import look


def hindsight(rows: pd.DataFrame) -> tuple[look.Drawing, ...]:
    """Draw the range of each past forecast and the count that came, one figure a day of forecast.

    Parameters
    ----------
    rows
        Columns ``as_of``, ``part_type``, ``actual``, ``mean``, ``p05``, ``p95``, ``covered``, and
        ``basis`` where forecasts were scored on more than one.
    """
    keys = ["as_of", "basis"] if "basis" in rows.columns else ["as_of"]
    return tuple(
        _one(rows_of, " ".join(_said(value) for value in found), n)
        for n, (found, rows_of) in enumerate(rows.groupby(keys, sort=True))
    )


def _said(value: object) -> str:
    try:
        return words.day(value, year=True)
    except ValueError:
        return str(value).replace("_", " ")


def _one(rows: pd.DataFrame, title: str, n: int) -> look.Drawing:
    names = [str(name) for name in rows["part_type"]]
    low, mean, high, actual = (
        rows[name].astype(float).tolist() for name in ("p05", "mean", "p95", "actual")
    )
    figure = look.base(90 + 30 * len(names), right=20, top=10, left=look.room(names), bottom=46)
    figure.update_layout(
        barmode="overlay",
        bargap=0.5,
        xaxis={**look.GRID, "tickformat": ",.0f", "nticks": 6, "rangemode": "tozero",
               "title": look.axis_title("pieces")},
        yaxis={**look.AXIS, "range": [len(names) - 0.5, -0.5], "showline": False, "ticks": "",
               "tickvals": list(range(len(names))),
               "ticktext": [look.plain(name) for name in names]},
    )  # fmt: skip
    place = list(range(len(names)))
    figure.add_bar(
        y=place, x=[b - a for a, b in zip(low, high, strict=True)], base=low, orientation="h",
        marker={"color": look.BAND90, "line": {"color": look.EDGE, "width": 1}}, hoverinfo="skip",
    )  # fmt: skip
    figure.add_scatter(
        x=mean, y=place, mode="markers", hoverinfo="skip",
        marker={"symbol": "line-ns", "size": 14, "line": {"color": look.BEET, "width": 2.5}},
    )  # fmt: skip
    inside = [a <= value <= b for a, value, b in zip(low, actual, high, strict=True)]
    figure.add_scatter(
        x=actual,
        y=place,
        mode="markers",
        marker={
            "size": 9,
            "color": [look.INK if held else look.PAPER for held in inside],
            "line": {"color": look.INK, "width": 1.5},
        },
        customdata=[
            f"{look.plain(name)}: {words.count(came)} came, {words.span(a, b)} forecast"
            for name, came, a, b in zip(names, actual, low, high, strict=True)
        ],
        hovertemplate="%{customdata}<extra></extra>",
    )
    told = f"Forecast of {title}: {sum(inside)} of {len(inside)} counts lie inside their range."
    return look.drawing(figure, f"fig-hindsight-{n}", title, told)
