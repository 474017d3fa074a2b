"""How parts wear: measured paths with their way to the limit, and the machines compared."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

MOST_PATHS: Final = 24
HEADROOM: Final = 1.3


def wear_paths(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw the pieces nearest their limit, one figure a part type: known in ink, ahead in beet."""
    paths = forecast.exhibits["wear_paths"]
    return tuple(
        _paths(str(part), rows, n)
        for n, (part, rows) in enumerate(paths.groupby("part_type", sort=False))
    )


def _paths(part: str, rows: pd.DataFrame, n: int) -> look.Drawing:
    figure = look.base(320, right=96, top=14)
    figure.update_xaxes(
        tickformat=",.0f", nticks=6, rangemode="tozero", title=_axis("running hours since fitting")
    )
    figure.update_yaxes(nticks=6, title=_axis("wear, mm"))
    numbers = rows.assign(
        **{name: rows[name].astype(float) for name in ("age", "wear_mm", "low", "high")}
    )
    limit = float(rows["limit_mm"].astype(float).max())
    names = _nearest(numbers, limit)
    for rank, name in reversed(list(enumerate(names))):
        _piece(figure, numbers[numbers["piece"] == name], first=rank == 0)
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
    return look.drawing(figure, f"fig-wear-{n}", part, f"{part}: {_said(numbers, names, limit)}")


def _seen(ahead: pd.DataFrame, limit: float) -> tuple[float, float]:
    """Find the last point of a path that the figure shows: where its label stands."""
    shown = ahead[ahead["wear_mm"] <= HEADROOM * limit]
    last = (shown if len(shown) else ahead).iloc[-1]
    return float(last["age"]), float(last["wear_mm"])


def _axis(text: str) -> dict[str, object]:
    return {"text": text, "font": {"size": 13, "color": look.SOFT}, "standoff": 6}


def _nearest(rows: pd.DataFrame, limit: float) -> list[str]:
    """Name the pieces, nearest their limit first: by the last thing known or seen ahead."""
    last = rows[rows["kind"] == "reading"].groupby("piece", sort=True)["wear_mm"].last()
    order = (limit - last).sort_values(kind="stable")
    return [str(name) for name in order.index[:MOST_PATHS]]


def _piece(figure: Figure, rows: pd.DataFrame, *, first: bool) -> None:
    known, ahead = (rows[rows["kind"] == kind] for kind in ("reading", "ahead"))
    where = look.plain(" ".join(str(rows[name].iloc[0]) for name in ("machine", "position")))
    if first and not ahead.empty:
        edge = {"color": look.EDGE, "width": 1, "dash": "4px,3px"}
        for end, fill in (("low", None), ("high", "tonexty")):
            figure.add_scatter(
                x=ahead["age"].round(1).tolist(), y=ahead[end].tolist(), mode="lines", line=edge,
                fill=fill, fillcolor=look.BAND90, hoverinfo="skip",
            )  # fmt: skip
    figure.add_scatter(
        x=known["age"].round(1).tolist(),
        y=known["wear_mm"].tolist(),
        mode="lines+markers",
        line={"color": look.INK if first else look.LINE, "width": 1.6 if first else 1},
        marker={"size": 5 if first else 3.5, "color": look.INK},
        customdata=[words.day(value) for value in known["at"]],
        hovertemplate=f"{where}, %{{customdata}}<br>%{{y:.2f}} mm at %{{x:,.0f}} h<extra></extra>",
    )
    figure.add_scatter(
        x=ahead["age"].round(1).tolist(),
        y=ahead["wear_mm"].tolist(),
        mode="lines",
        line={"color": look.BEET, "width": 2.5 if first else 1},
        customdata=[words.day(value) for value in ahead["at"]],
        hovertemplate=f"{where}, %{{customdata}}<br>about %{{y:.2f}} mm<extra></extra>",
    )
    if first and not ahead.empty:
        look.label(
            figure, *_seen(ahead, float(rows["limit_mm"].astype(float).max())), where,
            font={"size": 13, "color": look.BEET}, bgcolor=look.PAPER,
        )  # fmt: skip


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
    figure = look.base(240, right=12, top=18)
    figure.update_xaxes(showticklabels=False, ticks="", range=[-1, len(names)])
    figure.update_yaxes(nticks=5, tickformat=".1f", title=_axis("times the fleet"))
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
            customdata=[look.plain(names[k]) for k in chosen],
            hovertemplate="%{customdata}: %{y:.2f} times the fleet<extra></extra>",
        )
    for k in _labelled(real):
        look.label(
            figure, k, high.iloc[k], look.plain(names[k]), xanchor="center", yanchor="bottom",
        )  # fmt: skip
    fast, slow = (
        [names[k] for k in place if real[k] and bool(middle.iloc[k] > 1) is up]
        for up in (True, False)
    )
    said = (
        f"{words.listed(fast[::-1]) or 'no machine'} surely faster than the fleet, "
        f"{words.listed(slow) or 'none'} surely slower."
    )
    return look.drawing(figure, f"fig-machines-{n}", part, f"{part}: {said}")


def _labelled(real: list[bool]) -> list[int]:
    """Choose the machines to name in the figure: the outermost that differ; the text has more."""
    marked = [k for k, differs in enumerate(real) if differs]
    return sorted({*marked[:1], *marked[-1:]})
