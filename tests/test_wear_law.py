"""Straight or power law, and machines whose rate changed on a day."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.wear.law import rate_changes, wear_law

PUBLISHED = Path(__file__).parent / "published"


def fleet(seed: int, power: float, ages: tuple[float, ...] = (0.4, 0.9, 1.4, 2.0)) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for machine, effect in enumerate(0.12 * rng.standard_normal(20)):
        for piece in range(8):
            rate = 0.3 * np.exp(effect + 0.2 * rng.standard_normal())
            hours = np.array(ages) * rng.uniform(0.9, 1.1, len(ages))
            wear = 0.08 + 0.04 * rng.standard_normal() + rate * 2 * (hours / 2) ** power
            wear = wear + 0.03 * rng.standard_normal(len(ages))
            name = f"P{machine}-{piece}"
            rows += [
                (f"M{machine:02d}", name, 1000 * x, y) for x, y in zip(hours, wear, strict=True)
            ]
    return pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])


@pytest.mark.parametrize(("power", "chosen"), [(1.0, "straight"), (0.7, "power"), (1.3, "power")])
def test_the_readings_choose(power: float, chosen: str) -> None:
    law = wear_law(fleet(1, power), 0.03)
    assert law.chosen == chosen
    assert law.power == pytest.approx(power, abs=0.08)
    assert law.low - 0.03 <= power <= law.high + 0.03
    if power < 1:
        assert law.beyond > 0.03
        assert "too much" in law.says


def test_published_metal_wear_is_a_power_curve() -> None:
    """CHECKS F3: wear of 12 units under 3 loads goes with about the 0.2th power of the cycles.

    The slopes are those recomputed from the published data; a straight line must be refused.
    """
    data = pd.read_csv(PUBLISHED / "F3_metal_wear.csv")
    readings = data.assign(machine="rig", piece=data["unit"].astype(str))
    readings = readings.rename(columns={"cycles": "hours", "microns": "wear_mm"})
    law = wear_law(readings)
    assert law.chosen == "power"
    assert law.gain > 100
    assert law.power < 0.5
    assert law.beyond > 0.1
    for load, slope in {10: 0.197512, 50: 0.168334, 100: 0.207413}.items():
        own = wear_law(readings[readings["grams"] == load])
        assert own.log_slope == pytest.approx(slope, abs=2e-6)


def test_few_or_narrow_readings_choose_nothing() -> None:
    narrow = wear_law(fleet(1, 0.7, (1.2, 1.6, 2.0)), 0.03)
    assert narrow.chosen == "straight"
    assert "factor of 3" in narrow.says
    few = fleet(1, 0.7).head(20)
    assert "fewer than 10 pieces" in wear_law(few, 0.03).says


def changed(seed: int, jump: float) -> pd.DataFrame:
    """Two machines; the second wears faster by `jump` from its third visit on."""
    rng = np.random.default_rng(seed)
    days = pd.Timestamp("2026-05-01") + pd.to_timedelta([0, 21, 42, 63, 84], "D")
    hours = np.array([200.0, 700.0, 1200.0, 1700.0, 2200.0])
    rows = []
    for machine in ("M1", "M2"):
        for piece in range(20):
            rate = 0.0003 * np.exp(0.2 * rng.standard_normal())
            more = (jump - 1) * np.maximum(hours - 1200, 0) * (machine == "M2")
            wear = 0.08 + rate * (hours + more) + 0.03 * rng.standard_normal(5)
            rows += [
                (machine, f"{machine}-{piece}", day, x, y)
                for day, x, y in zip(days, hours, wear, strict=True)
            ]
    return pd.DataFrame(rows, columns=["machine", "piece", "at", "hours", "wear_mm"])


def test_a_change_of_rate_is_found_with_its_day_and_size() -> None:
    found = rate_changes(changed(1, 1.4), 0.03)
    assert list(found["machine"]) == ["M2"]
    assert found["at"].iloc[0] == pd.Timestamp("2026-06-12")
    assert found["pieces"].iloc[0] == 20
    more = pd.concat(rate_changes(changed(seed, 1.4), 0.03) for seed in range(8))
    assert set(more["machine"]) == {"M2"}
    assert more["ratio"].mean() == pytest.approx(1.4, abs=0.05)
    assert ((more["low"] <= 1.4) & (more["high"] >= 1.4)).sum() >= 5


def test_no_change_is_found_where_there_is_none() -> None:
    assert all(rate_changes(changed(seed, 1.0), 0.03).empty for seed in range(10))
