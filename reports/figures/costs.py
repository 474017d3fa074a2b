"""What the season costs, part type by part type and policy by policy."""

from __future__ import annotations

from typing import Any, Final, Literal

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look
from reports.tables import PLAIN

SHARES: Final[tuple[tuple[str, tuple[str, ...], Literal["open", "hatched", "solid"]], ...]] = (
    ("pieces", ("parts",), "open"),
    ("planned work", ("planned",), "hatched"),
    ("failures and stops", ("unplanned", "stops", "product_loss"), "solid"),
)


def bars(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw one bar a part type and policy, split into pieces, planned work and failures."""
    rows = forecast.results["costs"]
    rows = rows[rows["total"].astype(float) > 0].reset_index(drop=True)
    if rows.empty:
        return ()
    total = rows["total"].astype(float)
    drawn = tuple(
        look.Bar(name, _spans(row, float(total.max()), forecast.currency), _said(row, forecast))
        for name, (_, row) in zip(_names(rows), rows.iterrows(), strict=True)
    )
    dearest = rows.iloc[int(total.argmax())]
    told = (
        f"The dearest is {dearest['part_type']} with about "
        f"{words.about_money(dearest['total'], forecast.currency)}, of which failures and their "
        f"stops take {words.about_money(_failures(dearest), forecast.currency)}."
    )
    return (look.Drawing("fig-costs", f"Costs, {forecast.currency}", "", told, 0, bars=drawn),)


def _spans(
    row: pd.Series[Any], longest: float, currency: str
) -> tuple[tuple[Literal["open", "hatched", "solid"], float, str], ...]:
    """Split a bar into what it consists of."""
    found = []
    for what, columns, paint in SHARES:
        share = float(pd.to_numeric(row[list(columns)]).fillna(0.0).sum())
        if share > 0:
            found.append(
                (paint, round(share / longest, 4), f"{what}: {words.about_money(share, currency)}")
            )
    return tuple(found)


def _said(row: pd.Series[Any], forecast: SeasonForecast) -> str:
    said = words.about_money(row["total"], forecast.currency)
    low, high = row["total_low"], row["total_high"]
    if words.missing(low) or words.missing(high):
        return said
    return f"{said} ({words.about_money(low, '')} to {words.about_money(high, '')})"


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
