"""How parts wear: measured paths with their way to the limit, and the machines compared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

MOST_PATHS: Final = 24
HEADROOM: Final = 1.3
PIECES: Final = "*pieces"
"""Marks a line of many pieces, which the page can thin to one machine."""


def wear_paths(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw the pieces nearest their limit, one figure a part type: known in ink, ahead in beet."""
    paths = forecast.exhibits["wear_paths"]
    return tuple(
        _paths(str(part), rows, n)
        for n, (part, rows) in enumerate(paths.groupby("part_type", sort=False))
    )


def _paths(part: str, rows: pd.DataFrame, n: int) -> look.Drawing:
    figure = look.base(320, right=96, top=14, left=60, bottom=46)
    figure.update_xaxes(
        tickformat=",.0f",
        nticks=6,
        rangemode="tozero",
        title=look.axis_title("running hours since fitting"),
    )
    figure.update_yaxes(nticks=6, title=look.axis_title("wear, mm"))
    numbers = rows.assign(
        **{name: rows[name].astype(float) for name in ("age", "wear_mm", "low", "high")}
    )
    limit = float(rows["limit_mm"].astype(float).max())
    names = _nearest(numbers, limit)
    _others(figure, numbers, names[1:])
    if names:
        _nearest_piece(figure, numbers[numbers["piece"] == names[0]])
    inside = numbers[(numbers["kind"] == "reading") | (numbers["wear_mm"] <= HEADROOM * limit)]
    top = max(HEADROOM * limit, 1.04 * float(inside["wear_mm"].max()))
    figure.update_yaxes(range=[min(0.0, float(inside["wear_mm"].min())), top])
    end = inside["age"].max()
    figure.add_shape(
        type="line", x0=0, x1=1, xref="paper", y0=limit, y1=limit,
        line={"color": look.INK, "width": 1.5},
    )  # fmt: skip
    look.label(figure, 1, limit, f"limit {words.digits(limit, 2)} mm", xref="paper")
    figure.update_xaxes(range=[0, 1.03 * float(end)])
    told = f"{part}: {_said(numbers, names, limit)}"
    return look.drawing(figure, f"fig-wear-{n}", part, told, part)


def _seen(ahead: pd.DataFrame, limit: float) -> tuple[float, float]:
    """Find the last point of a path that the figure shows: where its label stands."""
    shown = ahead[ahead["wear_mm"] <= HEADROOM * limit]
    last = (shown if len(shown) else ahead).iloc[-1]
    return float(last["age"]), float(last["wear_mm"])


def _nearest(rows: pd.DataFrame, limit: float) -> list[str]:
    """Name the pieces, nearest their limit first: by the last thing known or seen ahead."""
    last = rows[rows["kind"] == "reading"].groupby("piece", sort=True)["wear_mm"].last()
    order = (limit - last).sort_values(kind="stable")
    return [str(name) for name in order.index[:MOST_PATHS]]


def _nearest_piece(figure: Figure, rows: pd.DataFrame) -> None:
    """Draw the piece nearest its limit: readings in ink, its way ahead with its band."""
    known, ahead = (rows[rows["kind"] == kind] for kind in ("reading", "ahead"))
    machine = str(rows["machine"].iloc[0])
    where = _where(rows.iloc[0])
    if not ahead.empty:
        edge = {"color": look.EDGE, "width": 1, "dash": "4px,3px"}
        for end, fill in (("low", None), ("high", "tonexty")):
            figure.add_scatter(
                x=ahead["age"].round(1).tolist(), y=ahead[end].tolist(), mode="lines", line=edge,
                fill=fill, fillcolor=look.BAND90, hoverinfo="skip", meta=machine,
            )  # fmt: skip
    figure.add_scatter(
        x=known["age"].round(1).tolist(),
        y=known["wear_mm"].tolist(),
        mode="lines+markers",
        meta=machine,
        line={"color": look.INK, "width": 1.6},
        marker={"size": 5, "color": look.INK},
        customdata=[words.day(value) for value in known["at"]],
        hovertemplate=f"{where}, %{{customdata}}<br>%{{y:.2f}} mm at %{{x:,.0f}} h<extra></extra>",
    )
    if ahead.empty:
        return
    figure.add_scatter(
        x=ahead["age"].round(1).tolist(),
        y=ahead["wear_mm"].tolist(),
        mode="lines",
        meta=machine,
        line={"color": look.BEET, "width": 2.5},
        customdata=[words.day(value) for value in ahead["at"]],
        hovertemplate=f"{where}, %{{customdata}}<br>about %{{y:.2f}} mm<extra></extra>",
    )
    look.label(
        figure, *_seen(ahead, float(rows["limit_mm"].astype(float).max())), where,
        font={"size": 13, "color": look.BEET}, bgcolor=look.PAPER, name=machine,
    )  # fmt: skip


def _others(figure: Figure, rows: pd.DataFrame, names: list[str]) -> None:
    """Draw the other pieces as two broken lines: many lines of their own are slow to draw.

    ``ids`` names the machine of each point, so that the page can leave one machine's alone.
    """
    looks: dict[str, dict[str, Any]] = {
        "reading": {
            "mode": "lines+markers",
            "line": {"color": look.LINE, "width": 1},
            "marker": {"size": 3.5, "color": look.INK},
            "hovertemplate": "%{customdata}<br>%{y:.2f} mm at %{x:,.0f} h<extra></extra>",
        },
        "ahead": {
            "mode": "lines",
            "line": {"color": look.BEET, "width": 1},
            "hovertemplate": "%{customdata}<br>about %{y:.2f} mm<extra></extra>",
        },
    }
    for kind, how in looks.items():
        x: list[float | None] = []
        y: list[float | None] = []
        said: list[str] = []
        ids: list[str] = []
        for name in reversed(names):
            own = rows[(rows["piece"] == name) & (rows["kind"] == kind)]
            if own.empty:
                continue
            where = _where(own.iloc[0])
            x += [*own["age"].round(1), None]
            y += [*own["wear_mm"], None]
            said += [*(f"{where}, {words.day(value)}" for value in own["at"]), ""]
            ids += [str(own["machine"].iloc[0])] * (len(own) + 1)
        if x:
            figure.add_scatter(x=x, y=y, customdata=said, ids=ids, meta=PIECES, **how)


def _where(row: pd.Series[Any]) -> str:
    return look.plain(f"{row['machine']} {row['position']}")


def _said(rows: pd.DataFrame, names: list[str], limit: float) -> str:
    if not names:
        return "no piece has readings."
    own = rows[rows["piece"] == names[0]]
    last = own[own["kind"] == "reading"].iloc[-1]
    where = f"{last['machine']} {last['position']}".strip()
    return (
        f"of {words.plural(len(names), 'piece')} drawn, {where} is nearest its limit of "
        f"{words.digits(limit, 2)} mm: {words.digits(last['wear_mm'], 2)} mm at "
        f"{words.about(last['age'])} hours."
    )


def machines(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw how fast each machine wears its parts against the fleet, one figure a part type."""
    frame = forecast.results["machines"]
    return tuple(
        _ratios(str(part), rows, n)
        for n, (part, rows) in enumerate(frame.groupby("part_type", sort=False))
        if len(rows) > 1
    )


def _ratios(part: str, rows: pd.DataFrame, n: int) -> look.Drawing:
    ordered = rows.assign(rate_ratio=rows["rate_ratio"].astype(float)).sort_values(
        "rate_ratio", kind="stable"
    )
    low, middle, high = (
        ordered[name].astype(float) for name in ("ratio_low", "rate_ratio", "ratio_high")
    )
    real = [bool(differs) for differs in (low > 1) | (high < 1)]
    names = [str(name) for name in ordered["machine"]]
    place = list(range(len(names)))
    figure = look.base(240, right=12, top=18, left=60, bottom=12)
    figure.update_xaxes(showticklabels=False, ticks="", range=[-1, len(names)])
    figure.update_yaxes(nticks=5, tickformat=".1f", title=look.axis_title("times the fleet"))
    figure.add_shape(
        type="line", x0=0, x1=1, xref="paper", y0=1, y1=1, line={"color": look.INK, "width": 1}
    )
    for marked in (False, True):
        chosen = [k for k in place if real[k] is marked]
        figure.add_scatter(
            x=chosen,
            y=[round(middle.iloc[k], 3) for k in chosen],
            mode="markers",
            marker={
                "size": 7,
                "color": look.BEET if marked else look.PAPER,
                "line": {"width": 1.3, "color": look.BEET if marked else look.INK},
            },
            error_y={
                "type": "data",
                "array": [round(high.iloc[k] - middle.iloc[k], 3) for k in chosen],
                "arrayminus": [round(middle.iloc[k] - low.iloc[k], 3) for k in chosen],
                "color": look.BEET if marked else look.LINE,
                "thickness": 1.3,
                "width": 0,
            },
            ids=[names[k] for k in chosen],
            customdata=[look.plain(names[k]) for k in chosen],
            hovertemplate="%{customdata}: %{y:.2f} times the fleet<extra></extra>",
        )
    for k in _labelled(real):
        # a slow machine's name stands under its bar, clear of the axis and of the bars beside it
        under = middle.iloc[k] < 1
        side: dict[str, Any] = {"xanchor": "left", "xshift": -6} if k < 3 else {"xanchor": "center"}
        look.label(
            figure,
            k,
            (low if under else high).iloc[k],
            look.plain(names[k]),
            yanchor="top" if under else "bottom",
            name=names[k],
            **side,
        )
    fast, slow = (
        [names[k] for k in place if real[k] and bool(middle.iloc[k] > 1) is up]
        for up in (True, False)
    )
    said = (
        f"{words.listed(fast[::-1]) or 'no machine'} surely faster than the fleet, "
        f"{words.listed(slow) or 'none'} surely slower."
    )
    return look.drawing(figure, f"fig-machines-{n}", part, f"{part}: {said}", part)


def _labelled(real: list[bool]) -> list[int]:
    """Choose the machines to name in the figure: the outermost that differ; the text has more."""
    marked = [k for k, differs in enumerate(real) if differs]
    return sorted({*marked[:1], *marked[-1:]})
