"""Hours left and lives where wear follows a power of hours: against simulated fleets."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from forecast.wear.law import wear_law
from forecast.wear.rates import WearFit, fit_wear

LIMIT, GAUGE, RATE, OFFSET = 1.0, 0.015, 0.3, 0.08
AGES = (0.4, 0.9, 1.4, 2.0)


def fleet(seed: int, power: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Readings of 300 pieces, half of them read four times, and their true hours left."""
    rng = np.random.default_rng(seed)
    rows, truth = [], []
    for machine, effect in enumerate(0.12 * rng.standard_normal(30)):
        for piece in range(10):
            rate = RATE * np.exp(effect + 0.2 * rng.standard_normal())
            offset = OFFSET + 0.02 * rng.standard_normal()
            count = len(AGES) if rng.random() < 0.5 else int(rng.integers(1, len(AGES)))
            age = np.array(AGES)[:count] * rng.uniform(0.9, 1.1, count)
            wear = offset + rate * 2 * (age / 2) ** power + GAUGE * rng.standard_normal(count)
            name = f"{machine}/{piece}"
            rows += [(f"M{machine:02d}", name, 1000 * x, y) for x, y in zip(age, wear, strict=True)]
            end = 2 * ((LIMIT - offset) / (2 * rate)) ** (1 / power)
            truth.append((name, count, 1000 * max(end - age[-1], 0.0)))
    readings = pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])
    return readings, pd.DataFrame(truth, columns=["piece", "count", "left"])


@cache
def both(power: float) -> tuple[WearFit, WearFit, pd.DataFrame]:
    readings, truth = fleet(1, power)
    straight = fit_wear(readings, gauge_sd=GAUGE)
    law = wear_law(readings, GAUGE)
    assert law.chosen == "power"
    return straight, replace(straight, bend=law.bend), truth


def told(fit: WearFit, truth: pd.DataFrame) -> tuple[float, float]:
    """Return the share of intervals that hold the truth, and how far medians are off (log)."""
    table = fit.hours_to_limit(LIMIT).merge(truth, on="piece")
    table = table[table["left"] > 0]
    held = (table["low"] <= table["left"]) & (table["left"] <= table["high"])
    return float(held.mean()), float(
        np.median(np.log(table["median"].clip(lower=1) / table["left"]))
    )


@pytest.mark.parametrize("power", [0.6, 0.85, 1.3])
def test_hours_left_follow_the_power(power: float) -> None:
    straight, bent, truth = both(power)
    held, off = told(bent, truth)
    assert held >= 0.85
    assert abs(off) < 0.05
    assert abs(told(straight, truth)[1]) > 0.1, "a straight line would be far off"


@pytest.mark.parametrize("power", [0.6, 1.3])
def test_a_new_piece_ends_where_the_curve_does(power: float) -> None:
    straight, bent, _ = both(power)
    limit = np.full(2000, LIMIT)
    rates = bent.draws(2000, np.random.default_rng(1), machines=(), seasons=(), running=None)
    assert rates.bent is not None
    line = np.log(LIMIT - straight.offset) - rates.level
    life = np.exp(line + rates.bent.slower(limit, straight.offset))
    true = 2000 * ((LIMIT - OFFSET) / (2 * RATE)) ** (1 / power)
    # one season: the next has a level of its own, so medians are compared
    assert np.median(life) == pytest.approx(true, rel=0.08)
    assert abs(np.log(np.median(np.exp(line)) / true)) > 0.1


def test_the_path_ahead_is_the_curve() -> None:
    _, bent, _ = both(0.6)
    own = bent.pieces["piece"].iloc[0]
    rates = bent.draws(
        1000,
        np.random.default_rng(2),
        machines=["M00"],
        seasons=list(bent.seasons),
        running=bent.seasons[-1],
    )
    hours = np.array([0.0, 1000.0, 2000.0])
    path = bent.path(rates, str(own), np.array([2000.0]), hours, np.random.default_rng(3))
    first, second = np.diff(path["median"])
    assert 0 < second < first
    left, rate = bent.own_left_and_rate(
        rates,
        pd.DataFrame({"piece": [own]}),
        np.array([[2000.0]]),
        np.full(1000, LIMIT),
        np.random.default_rng(3),
    )
    now = LIMIT - rate * left
    assert np.median(now[left > 0]) == pytest.approx(path["median"].iloc[0], rel=0.05)


def test_readings_that_are_straight_leave_no_bend() -> None:
    readings, _ = fleet(1, 1.0)
    assert wear_law(readings, GAUGE).bend is None
