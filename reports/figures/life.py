"""How long parts last: the failures of each mode on Weibull paper."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

SHARES: Final = {
    0.0001: "1 in 10,000",
    0.001: "1 in 1,000",
    0.01: "1 in 100",
    0.1: "1 in 10",
    0.5: "half",
    0.9: "9 in 10",
    0.99: "99 in 100",
}
MOST_MARKS: Final = 5
MOST_TICKS: Final = 400


def weibull_paper(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw each part type and mode: failures at adjusted ranks, fit and band, pieces running.

    Where the forecast carries it, the share gone without any model (Kaplan-Meier, or Turnbull for
    failures found at inspections) lies under the fit as ink steps.
    """
    points = forecast.exhibits["life_points"]
    drawings = []
    for n, ((part, mode), rows) in enumerate(points.groupby(["part_type", "mode"], sort=False)):
        title = f"{part}, {mode}" if mode else str(part)
        drawings.append(_paper(title, rows, n, str(part)))
    return tuple(drawings)


def _height(share: float) -> float:
    """Map a share gone to its height on the paper: log(-log(1 - share))."""
    return math.log(-math.log1p(-min(max(share, 1e-9), 1 - 1e-9)))


def _paper(title: str, rows: pd.DataFrame, n: int, part: str) -> look.Drawing:
    numbers = rows.assign(
        **{name: rows[name].astype(float) for name in ("age", "share", "low", "high")}
    )
    failed, fit, bound, running, curve = (
        numbers[numbers["kind"] == kind] for kind in ("failed", "fit", "bound", "running", "curve")
    )
    curve = curve[(curve["share"] > 0) & (curve["age"] > 0)]
    told = numbers[numbers["kind"] != "running"]  # ticks alone do not stretch the axis
    ages = (told if (told["age"] > 0).any() else numbers).query("age > 0")["age"]
    figure = look.base(340, right=20, top=14, left=look.room(["1 in 10 gone"]), bottom=46)
    if ages.empty:
        return look.drawing(figure, f"fig-life-{n}", title, f"{title}: nothing to draw.", part)
    line = fit if len(fit) else bound
    shares = [*failed["share"], *line["share"].iloc[[0, -1] if len(line) else []]]
    low = _height(max(1e-4, min([0.02, *shares])))
    high = _height(min(0.995, max([0.12, *shares, *curve["share"]])))
    foot = low - 0.08 * (high - low)
    _axes(figure, float(ages.min()), float(ages.max()), foot, high)
    if len(fit):
        _fit(figure, fit)
    if len(bound):
        _bound(figure, bound)
    if len(curve):
        _curve(figure, curve)
    _failed(figure, failed)
    _running(figure, running[running["age"] >= ages.min()], foot, 0.045 * (high - low))
    left = math.log10(float(ages.min()))
    said = _corner(figure, fit, foot, left) if len(fit) else _least(figure, bound, foot, left)
    seen = words.plural(len(failed), "failure") if len(failed) else "failures counted, without ages"
    seen = "no failure so far" if len(bound) else seen
    return look.drawing(figure, f"fig-life-{n}", title, f"{title}: {seen}; {said}", part)


def _axes(figure: Figure, first: float, last: float, low: float, high: float) -> None:
    marks = _marks(first, last, (1, 2, 5))
    if len(marks) > MOST_MARKS:
        marks = _marks(first, last, (1, 3))
    pad = 0.03 * (math.log10(last / first) or 1)
    figure.update_xaxes(
        type="log",
        range=[math.log10(first) - pad, math.log10(last) + pad],
        tickangle=0,
        tickvals=marks,
        ticktext=[f"{mark:,}" for mark in marks],
        title={
            "text": "running hours since fitting",
            "font": {"size": 13, "color": look.SOFT},
            "standoff": 6,
        },
    )
    heights = {share: _height(share) for share in SHARES}
    figure.update_yaxes(
        range=[low, high + 0.05 * (high - low)],
        tickvals=list(heights.values()),
        ticktext=[f"{text} gone" if share == 0.1 else text for share, text in SHARES.items()],
    )


def _marks(first: float, last: float, steps: tuple[int, ...]) -> list[int]:
    tried = [step * 10**power for power in range(8) for step in steps]
    return [mark for mark in tried if 0.8 * first <= mark <= 1.2 * last]


def _fit(figure: Figure, fit: pd.DataFrame) -> None:
    edge = {"color": look.EDGE, "width": 1, "dash": "4px,3px"}
    x = fit["age"].round(1).tolist()
    banded = fit["low"].notna().all() and fit["high"].notna().all()
    if banded:
        for end, fill in (("low", None), ("high", "tonexty")):
            figure.add_scatter(
                x=x, y=[round(_height(share), 4) for share in fit[end]], mode="lines", line=edge,
                fill=fill, fillcolor=look.BAND90, hoverinfo="skip",
            )  # fmt: skip
    figure.add_scatter(
        x=x,
        y=[round(_height(share), 4) for share in fit["share"]],
        mode="lines",
        line={"color": look.BEET, "width": 2.5},
        customdata=[words.chance(share) for share in fit["share"]],
        hovertemplate="at %{x:,.0f} h %{customdata} gone<extra></extra>",
    )


def _bound(figure: Figure, bound: pd.DataFrame) -> None:
    """Draw the highest share that lives without a failure allow: a broken line, no band."""
    figure.add_scatter(
        x=bound["age"].round(1).tolist(),
        y=[round(_height(share), 4) for share in bound["share"]],
        mode="lines",
        line={"color": look.BEET, "width": 2, "dash": "6px,4px"},
        customdata=[words.chance(share) for share in bound["share"]],
        hovertemplate="at %{x:,.0f} h no more than %{customdata} gone<extra></extra>",
    )


def _curve(figure: Figure, curve: pd.DataFrame) -> None:
    """Draw the share gone without a model, as steps; its band thin and dashed, in ink."""
    x = curve["age"].round(1).tolist()
    for end in ("low", "high"):
        own = curve[end].where(curve[end] > 0)
        figure.add_scatter(
            x=x,
            y=[None if share != share else round(_height(share), 4) for share in own],
            mode="lines",
            line={"color": look.LINE, "width": 1, "dash": "2px,3px", "shape": "hv"},
            hoverinfo="skip",
        )
    figure.add_scatter(
        x=x,
        y=[round(_height(share), 4) for share in curve["share"]],
        mode="lines",
        line={"color": look.INK, "width": 1.5, "shape": "hv"},
        customdata=[words.chance(share) for share in curve["share"]],
        hovertemplate="at %{x:,.0f} h %{customdata} gone, without a model<extra></extra>",
    )


def _failed(figure: Figure, failed: pd.DataFrame) -> None:
    figure.add_scatter(
        x=failed["age"].round(1).tolist(),
        y=[round(_height(share), 4) for share in failed["share"]],
        mode="markers",
        marker={"size": 7, "color": look.PAPER, "line": {"color": look.INK, "width": 1.5}},
        customdata=[words.chance(share) for share in failed["share"]],
        hovertemplate="failed at %{x:,.0f} h, %{customdata} gone<extra></extra>",
    )


def _running(figure: Figure, running: pd.DataFrame, foot: float, tall: float) -> None:
    """Draw pieces still running as ticks at the foot; every n-th where they are many."""
    ages = sorted(running.loc[running["age"] > 0, "age"].round(0))
    ages = ages[:: max(1, math.ceil(len(ages) / MOST_TICKS))]
    x: list[float | None] = []
    y: list[float | None] = []
    for age in ages:
        x += [age, age, None]
        y += [foot, foot + tall, None]
    figure.add_scatter(
        x=x, y=y, mode="lines", line={"color": look.LINE, "width": 1}, hoverinfo="skip"
    )


def _corner(figure: Figure, fit: pd.DataFrame, foot: float, left: float) -> str:
    """Draw the corner at one in ten gone, in words; return it as a sentence."""
    if not len(fit):
        return "no line was fitted."
    age = _crossing(fit["age"], fit["share"])
    if age is None:
        return "one in ten gone lies outside what is drawn."
    ends = [_crossing(fit["age"], fit[name].fillna(0.0)) for name in ("high", "low")]
    level = _height(0.1)
    figure.add_scatter(
        x=[10**left, age, age], y=[level, level, foot], mode="lines",
        line={"color": look.INK, "width": 1, "dash": "dot"}, hoverinfo="skip",
    )  # fmt: skip
    said = f"at {words.about(age)} h"
    if ends[0] and ends[1]:
        said += f" ({words.span(*ends)})"
    look.label(figure, left, level, said, yanchor="bottom", xshift=2)
    return f"1 in 10 gone {said}."


def _least(figure: Figure, bound: pd.DataFrame, foot: float, left: float) -> str:
    """Say, where nothing failed, the age before which one in ten is hardly gone."""
    age = _crossing(bound["age"], bound["share"]) if len(bound) else None
    if age is None:
        return "no line was fitted."
    level = _height(0.1)
    figure.add_scatter(
        x=[10**left, age, age], y=[level, level, foot], mode="lines",
        line={"color": look.INK, "width": 1, "dash": "dot"}, hoverinfo="skip",
    )  # fmt: skip
    said = f"not before {words.about(age)} h"
    look.label(figure, left, level, said, yanchor="bottom", xshift=2)
    return f"1 in 10 gone {said}."


def _crossing(ages: pd.Series[float], shares: pd.Series[float]) -> float | None:
    """Find the age at which the share reaches one in ten, between the points of the line."""
    points = list(zip(ages, shares, strict=True))
    for (age0, share0), (age1, share1) in pairwise(points):
        if 0 < share0 <= 0.1 <= share1 and share1 > share0 and age0 > 0:
            part = (_height(0.1) - _height(share0)) / (_height(share1) - _height(share0))
            return math.exp(math.log(age0) + part * math.log(age1 / age0))
    return None
