"""What the life plot draws: bands that end where the table's intervals do, points at ranks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.paper import bare_curve, failed_and_running, fitted_curve, posterior_curve
from forecast.life.lives import Lives
from forecast.life.weibull import fit_weibull


def watched(failures: int, count: int = 120, seed: int = 3) -> Lives:
    """Lives of shape 2 and scale 1,000 h, ended by the watch after so many failures."""
    life = np.sort(1000 * np.random.default_rng(seed).weibull(2.0, count))
    end = life[failures - 1] if failures else life[0] * 0.99
    return Lives(np.minimum(life, end), np.where(life <= end, life, np.inf))


@pytest.mark.parametrize("failures", [8, 60])
def test_the_band_ends_where_the_interval_of_the_table_does(failures: int) -> None:
    """By likelihood ratio with 8 failures, by curvature with 60."""
    fit = fit_weibull(watched(failures))
    drawn = fitted_curve("PAD", "broken", fit)
    low, high = fit.interval("b10")
    at = {age: drawn.loc[np.isclose(drawn["age"], age)].iloc[0] for age in (low, high)}
    assert at[low]["high"] == pytest.approx(0.1, abs=2e-3)
    assert at[high]["low"] == pytest.approx(0.1, abs=2e-3)
    middle = drawn.loc[np.isclose(drawn["age"], fit.b_life(10))].iloc[0]
    assert middle["share"] == pytest.approx(0.1, abs=1e-9)
    assert (drawn["low"] <= drawn["share"]).all() and (drawn["share"] <= drawn["high"]).all()
    assert drawn["share"].is_monotonic_increasing


def test_the_band_of_draws_holds_its_share_of_them() -> None:
    rng = np.random.default_rng(1)
    shape, scale = np.exp(rng.normal(0.7, 0.2, 4000)), 1000 * np.exp(rng.normal(0, 0.1, 4000))
    drawn = posterior_curve("PAD", "broken", (shape, scale), 800.0, 3)
    for row in drawn.iloc[[5, 30, 55]].itertuples():
        gone = -np.expm1(-((row.age / scale) ** shape))
        assert np.mean((gone >= row.low) & (gone <= row.high)) == pytest.approx(0.9, abs=0.005)
    bound = posterior_curve("PAD", "broken", (shape, scale), 800.0, 0)
    assert set(bound["kind"]) == {"bound"}
    assert bound["low"].isna().all() and bound["high"].isna().all()


def test_points_and_steps_are_those_of_the_lives() -> None:
    lives = watched(20)
    rows = pd.DataFrame({"mode": np.where(np.isinf(lives.upper), "", "broken"),
                         "lower": lives.lower, "upper": lives.upper})  # fmt: skip
    drawn = failed_and_running("PAD", "broken", lives, rows)
    failed = drawn[drawn["kind"] == "failed"]
    assert len(failed) == 20
    # all suspensions come after the last failure: ranks are places (Benard's (i - .3) / (n + .4))
    assert failed["share"].to_numpy() == pytest.approx((np.arange(20) + 0.7) / 120.4, abs=2e-3)
    steps = bare_curve("PAD", "broken", lives)
    assert steps["share"].to_numpy() == pytest.approx(np.arange(1, 21) / 120)
    assert (steps["low"] < steps["share"]).all() and (steps["share"] < steps["high"]).all()
