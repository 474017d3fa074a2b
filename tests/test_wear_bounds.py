"""Readings found only ok or over: they help, they do not bias, and they know their own piece."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.bounds import bounds_of
from forecast.wear.rates import WearFit, fit_wear_sums
from forecast.wear.sums import ONE_SEASON, wear_sums

Array = npt.NDArray[np.float64]
MACHINES, RATE, LIMIT = 30, 0.3, 0.62


def plant(seed: int, measured: int, gauged: int) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Pieces measured twice and others held against a gauge twice, on each machine."""
    rng = np.random.default_rng(seed)
    rows, bounds, cells = [], [], []
    for machine, effect in enumerate(0.12 * rng.standard_normal(MACHINES)):
        for piece in range(measured + gauged):
            rate = RATE * np.exp(effect + 0.2 * rng.standard_normal())
            hours = np.sort(rng.uniform(0.5, 2.4, 2))
            wear = 0.08 + 0.04 * rng.standard_normal() + rate * hours
            wear = wear + 0.03 * rng.standard_normal(2)
            name = f"P{machine:02d}-{piece:02d}"
            for x, y in zip(hours, wear, strict=True):
                if piece < measured:
                    rows.append((f"M{machine:02d}", name, 1000 * x, y))
                    continue
                ok = y < LIMIT
                at = len(bounds)
                ends = (-np.inf, LIMIT) if ok else (LIMIT, np.inf)
                bounds.append((at, name, f"M{machine:02d}", 1000 * x, *ends, False))
                cells.append((at, ONE_SEASON, x))
    readings = pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])
    names = ["bound", "piece", "machine", "age", "low_mm", "high_mm", "suspect"]
    return (
        readings,
        pd.DataFrame(bounds, columns=names),
        pd.DataFrame(cells, columns=["bound", "season", "x"]),
    )


def fitted(seed: int, measured: int = 3, gauged: int = 12, *, use: bool = True) -> WearFit:
    readings, bounds, cells = plant(seed, measured, gauged)
    wear, own = wear_sums(readings)
    return fit_wear_sums(
        wear, own, (ONE_SEASON,), gauge_sd=0.03, bounds=(bounds, cells) if use else None
    )


def test_bounds_narrow_the_fit_and_do_not_bias_it() -> None:
    with_them = [fitted(seed) for seed in range(6)]
    without = [fitted(seed, use=False) for seed in range(6)]
    truth = RATE / 1000 * np.exp((0.12**2 + 0.2**2) / 2)
    off = np.log([fit.mean_rate / truth for fit in with_them])
    assert abs(off.mean()) < 0.025
    held = [fit.mean_rate_low <= truth <= fit.mean_rate_high for fit in with_them]
    assert sum(held) >= 4
    assert np.mean([fit.piece_sd for fit in with_them]) == pytest.approx(0.2, abs=0.025)
    width = [
        np.mean([np.log(fit.machines["ratio_high"] / fit.machines["ratio_low"]) for fit in fits])
        for fits in (with_them, without)
    ]
    assert width[0] < 0.88 * width[1]


def test_a_piece_found_over_is_taken_as_fast_and_one_found_ok_as_slow() -> None:
    readings, bounds, _ = plant(1, 3, 12)
    fit = fitted(1)
    rate = fit.pieces.set_index("piece")["rate"]
    over = bounds.loc[np.isfinite(bounds["low_mm"]) & (bounds["age"] < 1500), "piece"].unique()
    ok = bounds.loc[~np.isfinite(bounds["low_mm"]) & (bounds["age"] > 1900), "piece"].unique()
    assert len(over) > 5
    assert len(ok) > 5
    middle = rate[readings["piece"].unique()].median()
    assert rate[over].median() > 1.1 * middle
    assert rate[ok].median() < 0.93 * middle


def test_only_the_latest_ok_and_the_earliest_over_count() -> None:
    names = ["bound", "piece", "machine", "age", "low_mm", "high_mm", "suspect"]
    rows = [
        (0, "a", "M", 500.0, -np.inf, 1.0, False),
        (1, "a", "M", 900.0, -np.inf, 1.0, False),
        (2, "a", "M", 1500.0, 1.0, np.inf, False),
        (3, "a", "M", 1900.0, 1.0, np.inf, False),
        (4, "b", "M", 900.0, -np.inf, 1.0, True),
        (5, None, "M", 900.0, -np.inf, 1.0, False),
        (6, "c", "M", np.nan, -np.inf, 1.0, False),
        (7, "d", "M", 900.0, -np.inf, 1.0, False),
    ]
    cells = pd.DataFrame(
        [(at, "2026", row[3] / 1000) for at, row in enumerate(rows) if row[3] == row[3]],
        columns=["bound", "season", "x"],
    )
    cells.loc[cells["bound"] == 7, "season"] = "2024"
    found = bounds_of(pd.DataFrame(rows, columns=names), cells, ["2025", "2026"])
    assert list(found.piece) == ["a", "a"]
    assert found.x[:, 1].tolist() == [0.9, 1.5]


def test_bounds_far_from_the_wear_change_nothing() -> None:
    readings, bounds, cells = plant(2, 6, 2)
    far = bounds.assign(low_mm=-np.inf, high_mm=9.0)
    far["piece"] = readings["piece"].unique()[np.arange(len(far)) % 180]
    wear, own = wear_sums(readings)
    plain = fit_wear_sums(wear, own, (ONE_SEASON,), gauge_sd=0.03)
    told = fit_wear_sums(wear, own, (ONE_SEASON,), gauge_sd=0.03, bounds=(far, cells))
    assert told.mean_rate == pytest.approx(plain.mean_rate, rel=2e-3)
    assert told.piece_sd == pytest.approx(plain.piece_sd, rel=2e-2)
