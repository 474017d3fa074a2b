"""Result frames as tables for people: labels, units, sensible digits, ranges in one cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import pandas as pd

from reports import words

LABELS: Final = {
    "part_type": "part type",
    "mean": "expected",
    "p05": "1 in 20 below",
    "p50": "middle",
    "p80": "enough in 4 of 5",
    "p90": "enough in 9 of 10",
    "p95": "enough in 19 of 20",
    "week": "week from",
    "cumulative_low": "so far, low",
    "cumulative_high": "so far, high",
    "cumulative_p05": "up to this week alone, low",
    "cumulative_p95": "up to this week alone, high",
    "order_by": "order by",
    "needed_by": "needed by",
    "chance_without": "enough without",
    "chance_with": "enough with",
    "days_late": "days late",
    "bought": "pieces bought",
    "chance_no_stock_out": "chance of no stock-out",
    "change_over_mm": "change over, mm",
    "crew_hours": "crew hours",
    "on_shelf": "on the shelf",
    "chance_if_left": "lasts if left",
    "left": "hours left",
    "chance_window": "lasts to the window",
    "chance_season": "lasts the season",
    "chance_next": "and the next",
    "first_day": "from",
    "last_day": "until",
    "stops_mean": "stops",
    "hours_mean": "hours",
    "product_loss": "product loss",
    "break_even_ratio": "pays from a ratio of",
    "duty_group": "duty group",
    "b10": "1 in 10 gone, h",
    "scale": "scale (63 % gone), h",
    "mean_rate": "mean rate",
    "rate_unit": "unit",
    "machine_sd": "between machines",
    "piece_sd": "between pieces",
    "gauge_sd_mm": "gauge error, mm",
    "offset_mm": "bedding-in, mm",
    "rate_ratio": "times the fleet",
    "ratio": "b over a",
    "adjusted_for": "adjusted for",
    "extrapolated": "beyond the tested range",
    "aic": "AIC",
    "log_likelihood": "log-likelihood",
    "pairs": "machines with both",
    "parts_saved": "pieces saved",
    "money_saved": "money saved",
    "wear_mm": "wear, mm",
    "limit_mm": "limit, mm",
    "age": "hours",
    "change": "to change",
    "measure_again": "to measure again",
    "narrows_by": "narrows by, pieces",
    "may_flip": "may flip",
    "minutes": "minutes",
    "pv_mpa_m_s": "PV, MPa m/s",
    "k_us": "k, US units",
    "leave": "to leave in",
    "as_of": "forecast on",
    "until": "up to",
    "pinball": "pinball loss, pieces",
    "crps": "CRPS, pieces",
    "bias": "expected less actual",
    "used": "used so far",
    "chosen": "followed",
    "change_at_h": "change at, h",
    "change_at_mm": "change at, mm",
    "money": "costs",
    "failed": "failures",
    "outside": "outside its band",
    "covered": "inside 9 in 10",
}
COUNTS: Final = frozenset(
    [
        "quantity",
        "lives",
        "failures",
        "pieces",
        "readings",
        "line",
        "import",
        "days_late",
        "bought",
        "on_shelf",
        "machines",
        "parameters",
        "pairs",
        "parts_saved",
        "hours",
        "left",
        "change",
        "measure_again",
        "leave",
        "pairs",
        "seasons",
        "parts_saved",
        "actual",
        "used",
        "forecast",
    ]
)
BANDS: Final = frozenset([("middle_band", "low"), ("middle_band", "high")])
EXPECTED: Final = frozenset(
    [
        "mean",
        "p05",
        "p50",
        "p80",
        "p90",
        "p95",
        "planned",
        "unplanned",
        "overhaul",
        "cumulative_low",
        "cumulative_high",
        "cumulative_p05",
        "cumulative_p95",
        "stops_mean",
        "stops_p05",
        "stops_p95",
        "hours_mean",
        "hours_p05",
        "hours_p95",
        "age",
        "expected",
        "change_at_h",
        "failed",
    ]
)
CHANCES: Final = frozenset(
    [
        "chance_without",
        "chance_with",
        "chance_no_stock_out",
        "chance_if_left",
        "chance_window",
        "chance_season",
        "chance_next",
        "share",
        "power",
        "may_flip",
    ]
)
DAYS: Final = frozenset(
    [
        "first_day",
        "last_day",
        "week",
        "order_by",
        "needed_by",
        "window",
        "at",
        "day",
        "as_of",
        "until",
    ]
)
MONEY: Final = {
    "costs": frozenset(["parts", "planned", "unplanned", "stops", "product_loss", "total"]),
    "closing_stock": frozenset({"cost"}),
    "purchases": frozenset({"cost"}),
    "stock_curve": frozenset({"cost"}),
    "versus": frozenset({"money_saved"}),
    "policies": frozenset({"money"}),
}
SHORT: Final = 26
LEAST_TOLD: Final = 0.01
"""Pieces below which nobody cares by how many a reading narrows a total."""
FIGURES: Final = {
    "machine_sd": 2,
    "piece_sd": 2,
    "gauge_sd_mm": 2,
    "narrows_by": 2,
    "offset_mm": 2,
    "break_even_ratio": 2,
    "shape": 2,
    "change_over_mm": 2,
    "change_at_mm": 2,
    "rate_ratio": 2,
    "ratio": 2,
    "aic": 5,
    "log_likelihood": 5,
    "pinball": 2,
    "crps": 2,
    "bias": 2,
}
PLAIN: Final = {
    "success_run": "run, few failures allowed",
    "zero_failure": "run without a failure",
    "um/h": "µm/h",
    "wear_rate": "wear rate",
    "in_time": "in time",
    "cannot_reach": "too late to order",
    "measure_again": "measure again",
    "leans_on_prior": "leans on the prior",
    "lower_bound_only": "lower bound only",
    "no_fit": "no fit",
    "few_readings": "few readings",
    "by_moments": "from samples",
    "as_proposed": "as proposed",
    "as_logged": "as logged",
    "run_to_failure": "run to failure",
    "at_age": "at an age",
    "every_window": "every window",
    "at_wear": "at a wear depth",
}


Kind = Literal["n", "d", "s", "t"]


PAPER_LETTERS: Final = 132
"""Letters of a table across A4 at 7.5 pt."""
PAPER_STRIP: Final = 14
"""Letters of the narrowest column of texts on paper."""


@dataclass(frozen=True)
class Column:
    """A column: its name in the result, its label for people, and what its cells hold.

    Attributes
    ----------
    kind
        ``n`` numbers, which stand at the right; ``d`` days; ``s`` names and short texts, which are
        not broken over lines; ``t`` texts.
    """

    name: str
    label: str
    kind: Kind

    @property
    def right(self) -> bool:
        """Whether its cells stand at the right."""
        return self.kind == "n"


@dataclass(frozen=True)
class Table:
    """A table; ``id`` is the result's name: the same in command, JSON, anchor and sheet."""

    id: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def tight(self) -> bool:
        """Whether paper has no room for its short cells unbroken, beside a strip for each text."""
        longest = [
            max((len(row[n]) for row in self.rows), default=0) for n in range(len(self.columns))
        ]
        letters = sum(
            PAPER_STRIP if column.kind == "t" else count + 2
            for column, count in zip(self.columns, longest, strict=True)
        )
        return letters > PAPER_LETTERS


def table(
    name: str,
    frame: pd.DataFrame,
    caption: str,
    *,
    currency: str = "",
    columns: Sequence[str] | None = None,
    id: str | None = None,
    years: bool = True,
) -> Table:
    """Write a result frame for people.

    A column with ``_low`` and ``_high`` (or ``_p05`` and ``_p95``) beside it takes both into its
    own cell; columns that are empty throughout are left out, except where all are.

    Parameters
    ----------
    name
        Of the result or exhibit: decides how its columns are written.
    frame
        Its rows.
    caption
        What the table holds, for the reader.
    currency
        Of its money.
    columns
        Which columns, in which order; all if None.
    id
        Anchor, if it is not ``name``.
    years
        Whether days are written with their year.

    Returns
    -------
    Table
        Ready for the page.
    """
    wanted = list(columns or frame.columns)
    ranges = {
        column: ends
        for column in wanted
        if (ends := _ends(column, list(frame.columns))) is not None
    }
    hidden = {end for ends in ranges.values() for end in ends}
    if name == "purchases":
        hidden.add("days_late")
    kept = [
        column
        for column in wanted
        if column not in hidden
        and (frame.empty or column in ranges or not frame[column].map(words.missing).all())
    ]
    cells = [_cells(name, frame, column, ranges.get(column), currency, years) for column in kept]
    heads = tuple(
        Column(
            column, LABELS.get(column, column.replace("_", " ")), _kind(name, column, own, frame)
        )
        for column, own in zip(kept, cells, strict=True)
    )
    anchor = name if id is None else id
    return Table(anchor, caption, heads, tuple(zip(*cells, strict=True)) if kept else ())


def _ends(column: str, known: Sequence[str]) -> tuple[str, str] | None:
    stem = column.removesuffix("_mean").removeprefix("mean_") if column != "mean" else ""
    for low, high in (
        (f"{column}_low", f"{column}_high"),
        (f"{stem}_low", f"{stem}_high"),
        (f"{stem}_p05", f"{stem}_p95"),
        ("ratio_low", "ratio_high") if column == "rate_ratio" else ("", ""),
        ("low", "high") if column == "expected" else ("", ""),
    ):
        if low in known and high in known:
            return low, high
    return None


def _kind(name: str, column: str, cells: Sequence[str], frame: pd.DataFrame) -> Kind:
    if column in DAYS:
        return "d"
    if (
        column in COUNTS | EXPECTED | CHANCES
        or (name, column) in BANDS
        or column in MONEY.get(name, ())
        or column in ("shape", "scale", "b10", "mean_rate", "rate_ratio", "ratio", "aic", "cost")
        or (name == "duty" and column in ("value", "limit"))
        or column in ("pinball", "crps", "bias")
        or column.endswith(("_mm", "_sd", "_hours", "_ratio"))
        or (len(frame) and frame[column].dtype.kind in "iuf")
    ):
        return "n"
    return "s" if max(map(len, cells), default=0) <= SHORT else "t"


def _cells(
    name: str,
    frame: pd.DataFrame,
    column: str,
    ends: tuple[str, str] | None,
    currency: str,
    years: bool,
) -> list[str]:
    values = list(frame[column])
    if name == "purchases" and column in ("state", "quantity", "cost"):
        return _bought(frame, column, currency)
    if column == "window":
        return [words.day(value, weekday=True) for value in values]
    if column in DAYS:
        return [words.day(value, year=years) for value in values]
    if ends is None:
        return [_text(name, column, value, currency) for value in values]
    lows, highs = (list(frame[end]) for end in ends)
    return [
        _range(*(_text(name, column, v, currency) for v in three))
        for three in zip(values, lows, highs, strict=True)
    ]


def _range(middle: str, low: str, high: str) -> str:
    if middle and low and high and (low, high) != (middle, middle):
        return f"{middle} ({low} to {high})"
    if not middle and low:
        return f"over {low}"
    return middle


def _bought(frame: pd.DataFrame, column: str, currency: str) -> list[str]:
    """Write what is bought; where nothing is, the row says 'none' and why, not 'in time'."""
    cells = []
    for quantity, cost, state, days in zip(
        frame["quantity"], frame["cost"], frame["state"], frame["days_late"], strict=True
    ):
        some, late = words.number(quantity) > 0, words.number(days)
        if column == "quantity":
            cells.append(words.count(quantity) if some else "none")
        elif column == "cost":
            cells.append(words.money(cost, currency) if some else "")
        elif str(state) == "late" and late > 0:
            cells.append(f"{words.plural(late, 'day')} late")
        elif not some and str(state) == "in_time":
            cells.append("enough there")
        else:
            cells.append(PLAIN.get(str(state), str(state)))
    return cells


def _text(name: str, column: str, value: object, currency: str) -> str:
    if words.missing(value):
        return ""
    if column in MONEY.get(name, ()):
        exact = name in ("purchases", "stock_curve")
        return words.money(value, currency) if exact else words.about_money(value, currency)
    if isinstance(value, str):
        return PLAIN.get(value, value)
    if column in CHANCES:
        return words.chance(value)
    if isinstance(value, bool) or type(value).__name__ == "bool":
        return "yes" if value else "no"
    if column in ("crew_hours", "minutes"):
        return words.hours(value)
    if column == "narrows_by" and 0 < words.number(value) < LEAST_TOLD:
        return f"under {LEAST_TOLD:g}"
    if column in EXPECTED:
        return words.about(value)
    if column in COUNTS or (name, column) in BANDS:
        return words.count(value)
    try:
        return words.digits(value, FIGURES.get(column, 3))
    except ValueError:
        return str(value)
