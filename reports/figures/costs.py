"""What the season costs, part type by part type and policy by policy."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look
from reports.tables import PLAIN

SHARES: Final[tuple[tuple[str, tuple[str, ...], dict[str, Any]], ...]] = (
    ("pieces", ("parts",), {"color": look.PAPER, "line": {"color": look.INK, "width": 1}}),
    (
        "planned work",
        ("planned",),
        {
            "color": look.PAPER,
            "line": {"color": look.INK, "width": 1},
            "pattern": {"shape": "/", "fgcolor": look.INK, "size": 5},
        },
    ),
    (
        "failures and stops",
        ("unplanned", "stops", "product_loss"),
        {"color": look.BEET, "line": {"color": look.BEET, "width": 1}},
    ),
)

ROOM: Final = 2.2
"""Lengths of the longest bar across the figure: the rest is for its label, on a phone too."""


def bars(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw one bar a part type and policy, split into pieces, planned work and failures."""
    rows = forecast.results["costs"]
    rows = rows[rows["total"].astype(float) > 0].reset_index(drop=True)
    if rows.empty:
        return ()
    names = [look.plain(name) for name in _names(rows)]
    total = rows["total"].astype(float)
    figure = look.base(70 + 30 * len(rows), right=12, top=8, left=look.room(_names(rows)))
    figure.update_layout(
        barmode="stack",
        bargap=0.35,
        yaxis={**look.AXIS, "autorange": "reversed", "showline": False, "ticks": ""},
        xaxis={
            **look.GRID,
            "tickformat": ",.0f",
            "nticks": 4,
            "range": [0, ROOM * float(total.max())],
        },
    )
    for what, columns, marker in SHARES:
        share = rows[list(columns)].astype(float).fillna(0.0).sum(axis=1)
        figure.add_bar(
            y=names,
            x=share.round(2).tolist(),
            orientation="h",
            marker=marker,
            customdata=[words.about_money(value, forecast.currency) for value in share],
            hovertemplate=f"%{{y}}<br>{what}: %{{customdata}}<extra></extra>",
        )
    for name, value, low, high in zip(
        names, total, rows["total_low"], rows["total_high"], strict=True
    ):
        said = words.about_money(value, forecast.currency)
        if not words.missing(low) and not words.missing(high):
            ends = (words.about_money(end, "") for end in (low, high))
            said += f" ({' to '.join(ends)})"
        look.label(figure, value, name, said)
    dearest = rows.iloc[int(total.argmax())]
    told = (
        f"The dearest is {dearest['part_type']} with about "
        f"{words.about_money(dearest['total'], forecast.currency)}, of which failures and their "
        f"stops take {words.about_money(_failures(dearest), forecast.currency)}."
    )
    return (look.drawing(figure, "fig-costs", f"Costs, {forecast.currency}", told),)


def _names(rows: pd.DataFrame) -> list[str]:
    """Name each bar by its part type; by its policy too where a part type has several."""
    if rows["part_type"].is_unique:
        return rows["part_type"].astype(str).tolist()
    policies = [PLAIN.get(str(policy), str(policy)) for policy in rows["policy"]]
    pairs = zip(rows["part_type"], policies, strict=True)
    return [f"{part}, {policy}" for part, policy in pairs]


def _failures(row: pd.Series[Any]) -> float:
    found = [words.number(row[name]) for name in ("unplanned", "stops", "product_loss")]
    return sum(value for value in found if value == value)
