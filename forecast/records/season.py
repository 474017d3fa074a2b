"""One season forecast, whole: the neck between planning and every output."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final

import pandas as pd

RESULTS: Final[Mapping[str, tuple[str, ...]]] = {
    "season_totals": (
        "part_type",
        "mean",
        "p05",
        "p50",
        "p80",
        "p90",
        "p95",
        "planned",
        "unplanned",
        "overhaul",
    ),
    "demand": (
        "part_type",
        "week",
        "kind",
        "mean",
        "p05",
        "p50",
        "p80",
        "p90",
        "p95",
        "cumulative_low",
        "cumulative_high",
        "cumulative_p05",
        "cumulative_p95",
    ),
    "purchases": (
        "part_type",
        "quantity",
        "order_by",
        "needed_by",
        "cost",
        "chance_without",
        "chance_with",
        "state",
        "days_late",
        "assumed",
    ),
    "stock_curve": ("part_type", "bought", "chance_no_stock_out", "cost"),
    "closing_stock": ("part_type", "mean", "p05", "p95", "cost"),
    "to_change": (
        "window",
        "machine",
        "place",
        "part_type",
        "positions",
        "quantity",
        "quantity_low",
        "quantity_high",
        "change_over_mm",
        "because",
        "crew_hours",
        "on_shelf",
        "chance_if_left",
    ),
    "overhaul": (
        "machine",
        "place",
        "position",
        "part_type",
        "quantity",
        "decision",
        "chance_season",
        "chance_next",
        "sure",
        "crew_hours",
        "first_day",
        "last_day",
    ),
    "unplanned_stops": (
        "week",
        "stops_mean",
        "stops_p05",
        "stops_p95",
        "hours_mean",
        "hours_p05",
        "hours_p95",
    ),
    "costs": (
        "part_type",
        "policy",
        "parts",
        "planned",
        "unplanned",
        "stops",
        "product_loss",
        "total",
        "total_low",
        "total_high",
        "break_even_ratio",
    ),
    "life": (
        "part_type",
        "duty_group",
        "mode",
        "lives",
        "failures",
        "shape",
        "shape_low",
        "shape_high",
        "scale",
        "scale_low",
        "scale_high",
        "b10",
        "b10_low",
        "b10_high",
        "state",
        "prior",
    ),
    "wear": (
        "part_type",
        "duty_group",
        "grade",
        "pieces",
        "readings",
        "mean_rate",
        "mean_rate_low",
        "mean_rate_high",
        "rate_unit",
        "machine_sd",
        "piece_sd",
        "gauge_sd_mm",
        "offset_mm",
        "state",
    ),
    "doubts": (
        "id",
        "rule",
        "machine",
        "position",
        "part_type",
        "at",
        "what",
        "proposal",
        "default",
        "state",
        "note",
    ),
    "set_aside": ("import", "file", "line", "column", "value", "rule", "hint"),
    "machines": ("machine", "part_type", "rate_ratio", "ratio_low", "ratio_high", "pieces"),
    "assumed": ("what", "value", "why", "effect"),
}
"""The columns of each result: the only declaration of them."""

STUDIES: Final[Mapping[str, tuple[str, ...]]] = {
    "versus": (
        "by",
        "a",
        "b",
        "what",
        "ratio",
        "ratio_low",
        "ratio_high",
        "pairs",
        "adjusted_for",
        "extrapolated",
        "parts_saved",
        "money_saved",
    ),
    "sample_size": ("method", "better_percent", "machines", "hours", "power", "confidence"),
    "life_checks": (
        "part_type",
        "duty_group",
        "mode",
        "check",
        "value",
        "value_low",
        "value_high",
        "says",
    ),
    "life_terms": ("part_types", "mode", "term", "value", "value_low", "value_high", "means"),
    "life_families": (
        "part_type",
        "duty_group",
        "mode",
        "family",
        "parameters",
        "log_likelihood",
        "aic",
        "b10",
    ),
    "duty": ("part_type", "quantity", "value", "limit", "unit", "inside", "source"),
    "specific_wear": (
        "part_type",
        "duty_group",
        "pv_mpa_m_s",
        "k",
        "k_low",
        "k_high",
        "k_us",
        "k_us_low",
        "k_us_high",
    ),
    "rate_law": (
        "term",
        "value",
        "value_low",
        "value_high",
        "check",
        "check_low",
        "check_high",
        "means",
    ),
    "hours_left": (
        "part_type",
        "machine",
        "place",
        "position",
        "piece",
        "quantity",
        "age",
        "age_from",
        "read",
        "left",
        "left_low",
        "left_high",
        "chance_window",
        "chance_season",
        "chance_next",
    ),
    "evidence": (
        "machine",
        "place",
        "position",
        "piece",
        "step",
        "at",
        "value",
        "value_low",
        "value_high",
        "unit",
        "says",
        "from",
    ),
    "measure_next": (
        "machine",
        "place",
        "position",
        "part_type",
        "narrows_by",
        "may_flip",
        "minutes",
    ),
    "to_measure": ("machine", "place", "position", "part_type"),
    "compare": ("input", "part_type", "change_in_total", "change_in_purchase"),
}
"""The columns of answers that are no part of a kept forecast."""

EXHIBITS: Final[Mapping[str, tuple[str, ...]]] = {
    "wear_paths": (
        "part_type",
        "piece",
        "machine",
        "position",
        "kind",
        "at",
        "age",
        "wear_mm",
        "low",
        "high",
        "limit_mm",
    ),
    "life_points": ("part_type", "mode", "kind", "age", "share", "low", "high"),
    "season_days": ("day", "ahead"),
    "windows": ("window", "crew_hours", "used", "over", "machines"),
    "used": ("part_type", "week", "quantity"),
    "supply": ("part_type", "day", "quantity"),
    "season_band": ("part_type", "week", "mean", "low", "high"),
    "middle_band": ("part_type", "week", "low", "high"),
    "policies": (
        "part_type",
        "policy",
        "chosen",
        "change_at_h",
        "change_at_mm",
        "money",
        "failed",
        "pieces",
    ),
    "so_far": ("part_type", "until", "used", "expected", "low", "high", "outside", "forecast"),
    "hindsight": (
        "as_of",
        "part_type",
        "actual",
        "mean",
        "p05",
        "p95",
        "covered",
        "pinball",
        "crps",
        "bias",
        "basis",
        "seasons",
    ),
    "versus": STUDIES["versus"],
}
"""What the report draws beside the results.

``wear_paths.kind`` is ``reading`` (a measured point) or ``ahead`` (the fitted line and its band);
``life_points.kind`` is ``failed`` (a point at its adjusted median rank), ``fit`` (the fitted line
with its 90 % band), ``bound`` (where nothing failed: the highest share that the lives allow),
``curve`` (the share gone from that age on with no law assumed, and its 90 % band) or ``running``
(the age of a piece still in place; share is empty).
``used`` is what the season has used so far, by week; ``supply`` what it has used and what the
shelf and the orders on their way give, from each day on; ``season_band`` the pieces used within
the season from the day after ``as_of``, summed up to the end of each week, with a band that holds
the whole path with 90 %. ``middle_band`` is the band that half of all seasons stay in from start
to end, beside ``demand``'s cumulative band of 90 %; ``policies`` what each policy would come to in
the long run over the hours ahead (money, pieces failed, pieces used), the one followed marked.
``so_far`` sets what was used against that band of an earlier forecast
(its number, ``outside`` is above, below or empty), and ``hindsight`` is the record of forecasts
scored: both belong to the store as it stands when a forecast is taken from it. ``versus`` sets the
grades side by side and is reckoned when a report is written.
"""


@dataclass(frozen=True)
class Stamp:
    """With it any forecast can be taken again.

    Attributes
    ----------
    plan_name, plan_text
        The season's name, and the plan file's text after ``--set``.
    as_of
        The day the forecast starts from.
    seed, draws
        Of the simulation.
    versions
        Of this program and of the libraries that compute.
    last_import, last_decision
        What of the logs was seen.
    snapshot
        Digest of what was known.
    """

    plan_name: str
    plan_text: str
    as_of: date
    seed: int
    draws: int
    versions: str
    last_import: int
    last_decision: int
    snapshot: str

    def digest(self) -> str:
        """Return the sha256 of the inputs, taken before anything is computed."""
        inputs = [
            self.plan_text,
            self.as_of.isoformat(),
            self.seed,
            self.draws,
            self.versions,
            self.snapshot,
        ]
        return hashlib.sha256(json.dumps(inputs).encode()).hexdigest()


@dataclass(frozen=True, eq=False)
class SeasonForecast:
    """One season forecast.

    Attributes
    ----------
    stamp
        The inputs.
    season_from, season_until
        First and last day of the season.
    currency
        Of every cost.
    results
        The frames of :data:`RESULTS`, by name.
    exhibits
        The frames of :data:`EXHIBITS`, by name.
    number
        Under which it is kept; None until then.
    """

    stamp: Stamp
    season_from: date
    season_until: date
    currency: str
    results: Mapping[str, pd.DataFrame]
    exhibits: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    number: int | None = None

    def __post_init__(self) -> None:
        for declared, frames in ((RESULTS, self.results), (EXHIBITS, self.exhibits)):
            for name, columns in declared.items():
                if name not in frames:
                    raise ValueError(f"the forecast lacks the result {name!r}")
                found = tuple(map(str, frames[name].columns))
                if found != columns:
                    raise ValueError(
                        f"result {name!r} has the columns {', '.join(found)}; "
                        f"it should have {', '.join(columns)}"
                    )

    def tables(self) -> dict[str, pd.DataFrame]:
        """Return every result by name, in the order of :data:`RESULTS`."""
        return {name: self.results[name] for name in RESULTS}
