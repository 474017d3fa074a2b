"""A snapshot by hand: part types, lives and whatever else a test of the life jobs needs.

Not a test: ``runpy.run_path(...)["snapshot"](...)`` gives one.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from forecast.records.snapshot import COLUMNS, Snapshot


def part_type(name: str = "PAD", **more: Any) -> dict[str, Any]:
    """Return a row of part types."""
    usual = {
        "part_type": name, "description": "", "grade": "A", "size": "20", "form": "pad",
        "clock": "hours", "wear_limit_mm": 2.0, "limit_measure": "depth", "sides": 1,
        "limit_low_mm": np.nan, "limit_high_mm": np.nan, "alert_mm": np.nan,
        "gauge_sd_mm": np.nan, "carries_people": False, "prior_shape": np.nan,
        "prior_shape_low": np.nan, "prior_shape_high": np.nan, "prior_source": None,
        "unit_cost": 10.0, "currency": "EUR", "lead_time_days": 14, "min_order": 1, "pack_size": 1,
    }  # fmt: skip
    return dict.fromkeys(COLUMNS["part_types"]) | usual | more


def lives(age: Any, failed: Any, name: str = "PAD", prefix: str = "", **more: Any) -> pd.DataFrame:
    """Return rows of lives: seen failures ('broken') and suspensions."""
    usual = {
        "piece": [f"{name}{prefix}{n}" for n in range(len(age))], "machine": "M1",
        "part_type": name, "duty_group": "", "grade": "A", "lower": np.asarray(age, float),
        "upper": np.where(failed, age, np.inf), "entry": 0.0, "weight": 1.0,
        "mode": np.where(failed, "broken", ""), "ended": np.where(failed, "logged", ""),
    }  # fmt: skip
    return pd.DataFrame(usual | more)


def snapshot(parts: list[dict[str, Any]], **frames: pd.DataFrame) -> Snapshot:
    """Return a snapshot with these part types and frames; the others are empty."""
    empty = {name: pd.DataFrame(columns=list(columns)) for name, columns in COLUMNS.items()}
    every = empty | {"part_types": pd.DataFrame(parts)} | frames
    return Snapshot(date(2026, 8, 2), 1, 0, "by hand", **every)
