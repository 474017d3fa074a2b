"""The survival curve without a law."""

import csv
from pathlib import Path

import numpy as np
import pytest

from forecast.life.curves import survival_curve
from forecast.life.lives import Lives

DATA = Path(__file__).parent / "published"
INF = np.inf

pytestmark = pytest.mark.filterwarnings("ignore")  # lifelines and what it imports


def test_kaplan_meier_steps_at_failures_and_has_a_band() -> None:
    curve = survival_curve(Lives([1, 2, 3, 4.0], [1, INF, 3, INF]))
    at = curve.set_index("time")["survival"]
    assert at[1] == pytest.approx(3 / 4)
    assert at[3] == pytest.approx(3 / 8)
    row = curve[curve["time"] == 3].iloc[0]
    assert 0 < row["low"] < row["survival"] < row["high"] < 1


def test_weights_are_copies_and_late_entries_wait() -> None:
    weighed = survival_curve(Lives([1, 2.0], [1, INF], weight=[1, 3]))
    assert weighed.set_index("time")["survival"][1] == pytest.approx(3 / 4)
    late = survival_curve(Lives([1, 3, 4.0], [1, 3, INF], entry=[0, 0, 2]))
    at = late.set_index("time")["survival"]
    assert at[1] == pytest.approx(1 / 2)
    assert at[3] == pytest.approx(1 / 4)


def test_kaplan_meier_agrees_with_another_program() -> None:
    """Late entries, ties, weights: lifelines 0.30 (KaplanMeierFitter, log-log Greenwood band)."""
    from lifelines import KaplanMeierFitter

    rng = np.random.default_rng(7)
    age = np.ceil(900 * rng.weibull(2.0, 300))
    entry = np.where(rng.random(300) < 0.3, np.floor(age * rng.random(300)), 0.0)
    failed = rng.random(300) < 0.4
    weight = rng.integers(1, 4, 300).astype(float)
    curve = survival_curve(Lives(age, np.where(failed, age, INF), entry=entry, weight=weight))
    other = KaplanMeierFitter(alpha=0.1).fit(age, failed, entry=entry, weights=weight)
    at = curve["time"].to_numpy()[1:]
    assert curve["survival"].to_numpy()[1:] == pytest.approx(
        other.survival_function_.iloc[:, 0].loc[at].to_numpy(), rel=1e-9
    )
    for column, end in enumerate(("low", "high")):
        band = other.confidence_interval_.iloc[:, column].loc[at].to_numpy()
        assert curve[end].to_numpy()[1:] == pytest.approx(band, rel=1e-9, nan_ok=True)


def test_inspections_of_one_schedule_give_shares_by_counting() -> None:
    """Data of C1: Nelson (1982) p. 415, 167 parts inspected together; the estimate is counting."""
    with (DATA / "C1_cracks_months.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    lower, upper, count = (
        np.array([float(row[name] or "inf") for row in rows])
        for name in ("lower", "upper", "count")
    )
    curve = survival_curve(Lives(lower, upper, weight=count)).set_index("time")
    found = np.isfinite(upper)
    assert curve.loc[upper[found], "survival"].to_numpy() == pytest.approx(
        1 - np.cumsum(count[found]) / count.sum(), abs=1e-4
    )
    assert curve.loc[0.0, "survival"] == pytest.approx(1)
    assert curve[["low", "high"]].isna().all(axis=None)


def test_inspections_and_late_entries_take_the_middle() -> None:
    curve = survival_curve(Lives([1, 4.0], [3, INF], entry=[0.5, 0])).set_index("time")
    assert curve.loc[2.0, "survival"] == pytest.approx(1 / 2)


def test_no_lives_no_curve() -> None:
    curve = survival_curve(Lives([], []))
    assert curve.columns.tolist() == ["time", "survival", "low", "high"]
    assert len(curve) == 0
