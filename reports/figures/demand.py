"""What the season asks for, what one more lot buys, and the stops to expect."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

WEEK_MS: Final = 7 * 24 * 3600 * 1000
LEAST_SHOWN = 0.05  # pieces or stops a week: less is a line of no height
HEADROOM: Final = 1.13
"""Heights of the axis over the highest line: a label fits above it."""
FEWEST_LOTS: Final = 2
"""A curve of fewer points shows no choice."""


def demand_bands(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw the pieces asked for so far and by week, one figure a part type."""
    weeks = forecast.results["demand"]
    return tuple(
        _demand(forecast, str(part), rows, n)
        for n, (part, rows) in enumerate(weeks.groupby("part_type", sort=False))
    )


def _demand(forecast: SeasonForecast, part: str, rows: pd.DataFrame, n: int) -> look.Drawing:
    as_of = forecast.stamp.as_of
    days = [day for value in rows["week"] if (day := words.as_date(value))]
    first = min([forecast.season_from, *days])
    highest = rows["cumulative_high"].astype(float).max()
    figure = look.base(320, left=look.room([f"{highest:,.0f}0"]))
    figure.update_layout(
        yaxis={
            **look.GRID,
            "domain": [0.34, 1],
            "nticks": 5,
            "tickformat": ",.0f",
        },
        yaxis2={
            **look.GRID,
            "domain": [0, 0.22],
            "rangemode": "tozero",
            "nticks": 3,
            "tickformat": ",",
        },
        xaxis={**look.AXIS, "anchor": "y2"},
        barmode="stack",
        bargap=0.25,
    )
    look.calendar(figure, as_of, first, forecast.season_until)
    total = rows[rows["kind"] == "total"]
    said = _cumulative(figure, forecast, total)
    _weekly(figure, rows)
    look.label(
        figure, 1, 0.11, "each week", xref="paper", yref="paper",
        font={"size": 12, "color": look.SOFT},
    )  # fmt: skip
    return look.drawing(figure, f"fig-demand-{n}", part, f"{part}: {said}", part)


def _cumulative(figure: Figure, forecast: SeasonForecast, total: pd.DataFrame) -> str:
    """Draw the running sum with its band; return what it says."""
    start = max(forecast.stamp.as_of + timedelta(days=1), _first(total, forecast.season_from))
    ends = [_week_end(value, forecast.season_until) for value in total["week"]]
    x = [start.isoformat(), *ends]
    used = _used(figure, forecast, total)
    middle = [used, *(used + total["mean"].astype(float).cumsum()).round(2)]
    low, high = (
        [used, *(used + total[f"cumulative_{end}"].astype(float))] for end in ("low", "high")
    )
    edge = {"color": look.EDGE, "width": 1, "dash": "4px,3px"}
    figure.add_scatter(x=x, y=low, mode="lines", line=edge, hoverinfo="skip")
    figure.add_scatter(
        x=x, y=high, mode="lines", line=edge, fill="tonexty", fillcolor=look.BAND90,
        hoverinfo="skip",
    )  # fmt: skip
    _middle_half(figure, forecast, total, x, used)
    figure.add_scatter(
        x=x,
        y=middle,
        mode="lines",
        line={"color": look.BEET, "width": 2.5},
        customdata=[[words.about(a), words.about(b)] for a, b in zip(low, high, strict=True)],
        hovertemplate="by %{x|%-d %b}: %{y:,.0f} pieces<br>%{customdata[0]} to %{customdata[1]}"
        "<extra></extra>",
    )
    tallest = max(_stock(figure, forecast, total, (low, high)), *high, 1e-9)
    figure.update_layout(yaxis={"range": [0, HEADROOM * tallest]})
    points = [middle[-1], low[-1], high[-1]]
    heights = look.apart(points, 0.085 * tallest)
    texts = [f"{words.about(points[0])} expected", words.about(low[-1]), words.about(high[-1])]
    for value, text, height in zip(points, texts, heights, strict=True):
        colour = look.BEET if value == points[0] else look.INK
        look.label(figure, x[-1], height, text, font={"size": 13, "color": colour})
    return (
        f"by {words.day(forecast.season_until)} {words.about(middle[-1])} pieces are expected, "
        f"{words.span(low[-1], high[-1])} in 9 of 10 cases."
    )


def _middle_half(
    figure: Figure, forecast: SeasonForecast, total: pd.DataFrame, x: list[str], used: float
) -> None:
    """Draw the band that half of all seasons stay in, where the forecast carries it."""
    band = forecast.exhibits["middle_band"]
    own = band[band["part_type"] == total["part_type"].iloc[0]] if len(total) else band
    if len(own) != len(total) or own.empty:
        return
    low, high = ([used, *(used + own[end].astype(float))] for end in ("low", "high"))
    edge = {"color": look.EDGE, "width": 0.8, "dash": "4px,3px"}
    figure.add_scatter(x=x, y=low, mode="lines", line=edge, hoverinfo="skip")
    figure.add_scatter(
        x=x, y=high, mode="lines", line=edge, fill="tonexty", fillcolor=look.BAND50,
        hoverinfo="skip",
    )  # fmt: skip


def _used(figure: Figure, forecast: SeasonForecast, total: pd.DataFrame) -> float:
    """Draw what was used so far this season as ink steps, where the forecast carries it."""
    known = forecast.exhibits.get("used")
    if known is None or total.empty:
        return 0.0
    own = known[known["part_type"] == total["part_type"].iloc[0]]
    if own.empty:
        return 0.0
    after = forecast.stamp.as_of + timedelta(days=1)
    ends = [_week_end(value, forecast.stamp.as_of) for value in own["week"]]
    sums = [0.0, *own["quantity"].astype(float).cumsum()]
    figure.add_scatter(
        x=[words.as_date(own["week"].iloc[0]), *ends, after.isoformat()],
        y=[*sums, sums[-1]],
        mode="lines+markers",
        line={"color": look.INK, "width": 1.8, "shape": "hv"},
        marker={"size": [5] * len(sums) + [0], "color": look.INK},
        hovertemplate="until %{x|%-d %b}: %{y:,.0f} used<extra></extra>",
    )
    return float(sums[-1])


def _stock(
    figure: Figure,
    forecast: SeasonForecast,
    total: pd.DataFrame,
    band: tuple[list[float], list[float]],
) -> float:
    """Draw shelf and orders on their way as dotted ink, named where the band leaves room.

    Returns the highest it comes to; 0 where nothing is known of it.
    """
    supply = forecast.exhibits.get("supply")
    if supply is None or total.empty:
        return 0.0
    own = supply[supply["part_type"] == total["part_type"].iloc[0]]
    if own.empty:
        return 0.0
    x = [words.as_date(value) for value in own["day"]]
    y = [float(value) for value in own["quantity"]]
    x.append(forecast.season_until + timedelta(days=1))
    y.append(y[-1])
    figure.add_scatter(
        x=[day.isoformat() for day in x if day],
        y=y,
        mode="lines",
        line={"color": look.INK, "width": 1.5, "dash": "dot", "shape": "hv"},
        hovertemplate="%{x|%-d %b}: shelf and orders %{y:,.0f}<extra></extra>",
    )
    known = [(day.isoformat(), value) for day, value in zip(x, y, strict=True) if day]
    tall = 0.1 * max(*y, *band[1])
    quarter = max(2, len(band[0]) // 4)
    room = {
        side: not any(low < at + tall and high > at for low, high in zip(*ends, strict=True))
        for side, at, ends in (
            ("right", y[-1], [end[-quarter:] for end in band]),
            ("left", y[0], [end[:quarter] for end in band]),
        )
    }
    side = "left" if room["left"] and not room["right"] else "right"
    at = known[0] if side == "left" else known[-1]
    look.label(figure, *at, "shelf + orders", xanchor=side, yanchor="bottom", xshift=0)
    return max(y)


def _weekly(figure: Figure, rows: pd.DataFrame) -> None:
    """Draw planned change-outs as outlined bars, unplanned ones as solid beet."""
    looks: dict[str, dict[str, Any]] = {
        "overhaul": {
            "color": look.PAPER,
            "line": {"color": look.INK, "width": 1},
            "pattern": {"shape": "/", "fgcolor": look.INK, "size": 5},
        },
        "planned": {"color": look.PAPER, "line": {"color": look.INK, "width": 1}},
        "unplanned": {"color": look.BEET, "line": {"color": look.BEET, "width": 1}},
    }
    for kind, marker in looks.items():
        own = rows[(rows["kind"] == kind) & (rows["mean"].astype(float) >= LEAST_SHOWN)]
        if own.empty:
            continue
        figure.add_bar(
            x=[_middle(value) for value in own["week"]],
            y=own["mean"].astype(float).round(2).tolist(),
            width=WEEK_MS * 0.72,
            marker=marker,
            yaxis="y2",
            customdata=[words.day(value) for value in own["week"]],
            hovertemplate=f"week of %{{customdata}}: %{{y:.1f}} {kind}<extra></extra>",
        )


def stock_curves(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw the chance of no stock-out against the pieces bought, where there is a choice."""
    curve = forecast.results["stock_curve"]
    bought = forecast.results["purchases"].groupby("part_type")["quantity"].sum().astype(float)
    return tuple(
        _curve(str(part), rows, float(bought.get(part, 0.0)), n)
        for n, (part, rows) in enumerate(curve.groupby("part_type", sort=False))
        if part != "*" and len(rows) > FEWEST_LOTS
    )


def _curve(part: str, rows: pd.DataFrame, bought: float, n: int) -> look.Drawing:
    x, y = rows["bought"].astype(float).tolist(), rows["chance_no_stock_out"].astype(float).tolist()
    x, y = _until_sure(x, y, bought)
    figure = look.base(200, right=12, top=30, left=look.room(["19 in 20"]))
    figure.update_yaxes(
        range=[-0.03, 1.05],
        tickvals=[0, 0.5, 0.8, 0.95],
        ticktext=["never", "1 in 2", "4 in 5", "19 in 20"],
    )
    figure.update_xaxes(range=[-0.04 * x[-1], 1.06 * x[-1]], tickformat=",.0f", nticks=5)
    figure.add_scatter(
        x=x,
        y=y,
        mode="lines+markers",
        line={"color": look.BEET, "width": 2},
        marker={"color": look.PAPER, "size": 6, "line": {"color": look.BEET, "width": 1.5}},
        cliponaxis=False,
        customdata=[words.chance(value) for value in y],
        hovertemplate="buy %{x:,.0f}: enough with %{customdata}<extra></extra>",
    )
    near = min(range(len(x)), key=lambda k: abs(x[k] - bought))
    figure.add_shape(
        type="line", x0=bought, x1=bought, y0=-0.03, y1=1.05,
        line={"color": look.INK, "width": 1.5, "dash": "dot"},
    )  # fmt: skip
    side = "left" if bought < 0.3 * x[-1] else "right" if bought > 0.7 * x[-1] else "center"
    text = f"buy {words.count(bought)}" if bought else "buy none"
    look.label(figure, bought, 1, text, yref="paper", xanchor=side, yanchor="bottom")
    pieces = words.count(x[near]) if x[near] else "none"
    said = f"{part}: buying {pieces} is enough with a chance of {words.chance(y[near])}."
    return look.drawing(figure, f"fig-stock-{n}", part, said, part)


def _until_sure(x: list[float], y: list[float], bought: float) -> tuple[list[float], list[float]]:
    """Cut a curve one lot after it is all but sure, and not before what is bought."""
    sure = next((k for k, chance in enumerate(y) if chance > 0.998), len(y))
    needed = next((k for k, pieces in enumerate(x) if pieces >= bought), len(x))
    end = max(sure, needed, 3) + 2
    return x[:end], y[:end]


def stops(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw the unplanned stops of each week with their range."""
    rows = forecast.results["unplanned_stops"]
    if rows.empty:
        return ()
    said = (
        f"About {words.plural(rows['stops_mean'].sum(), 'unplanned stop')} until the season's end."
    )
    figure = look.base(260, right=16, left=44)
    figure.update_yaxes(rangemode="tozero", nticks=5)
    look.calendar(
        figure, forecast.stamp.as_of, _first(rows, forecast.season_from), forecast.season_until
    )
    rows = rows[rows["stops_p95"].astype(float) >= LEAST_SHOWN]
    mean = rows["stops_mean"].astype(float)
    figure.add_bar(
        x=[_middle(value) for value in rows["week"]],
        y=mean.round(2).tolist(),
        width=WEEK_MS * 0.72,
        marker={"color": look.BEET},
        error_y={
            "type": "data",
            "array": (rows["stops_p95"].astype(float) - mean).clip(lower=0).round(2).tolist(),
            "arrayminus": (mean - rows["stops_p05"].astype(float)).clip(lower=0).round(2).tolist(),
            "color": look.INK,
            "thickness": 1.2,
            "width": 4,
        },
        customdata=[words.day(value) for value in rows["week"]],
        hovertemplate="week of %{customdata}: %{y:.1f} stops<extra></extra>",
    )
    return (look.drawing(figure, "fig-stops", "Unplanned stops, week by week", said),)


def _first(rows: pd.DataFrame, season_from: date) -> date:
    days = [day for value in rows["week"] if (day := words.as_date(value))]
    return min([season_from, *days])


def _middle(week: object) -> str:
    monday = words.as_date(week)
    return f"{(monday + timedelta(days=3)).isoformat()} 12:00" if monday else ""


def _week_end(week: object, last: date) -> str:
    monday = words.as_date(week)
    return min(monday + timedelta(days=7), last + timedelta(days=1)).isoformat() if monday else ""
