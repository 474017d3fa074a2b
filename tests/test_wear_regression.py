"""Log rate on duty and grade: exponents recovered and covered, words, limits of the tested."""

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.ratio import rate_ratio
from forecast.wear.regression import RateRegression, fit_log_rate

Array = npt.NDArray[np.float64]
TRUTH = {"log_pressure": 1.0, "log_speed": 0.5, "temperature": 0.02, "grade trial": -0.3}
FORMULA = "log_pressure + log_speed + temperature + grade"


def readings(seed: int, machines: int = 30, pieces: int = 12) -> pd.DataFrame:
    """Return readings of METHODS 2.4: 1 to 15 a piece; p^1.0 v^0.5, 2 % a degree, grade -0.3."""
    rng = np.random.default_rng(seed)
    rows = []
    for machine in range(machines):
        effect = 0.1 * rng.standard_normal()
        speed = float(np.exp(rng.normal(-1.5, 0.3)))
        warm = float(rng.uniform(15, 40))
        for piece in range(pieces):
            pressure = float(np.exp(rng.normal(-1.0, 0.4)))
            grade = "trial" if rng.random() < 0.4 else "standard"
            log_rate = (
                np.log(0.3)
                + (np.log(pressure) + 1.0)
                + 0.5 * (np.log(speed) + 1.5)
                + 0.02 * (warm - 25)
                - 0.3 * (grade == "trial")
            )
            rate = np.exp(log_rate + effect + 0.15 * rng.standard_normal())
            offset = 0.08 + 0.03 * rng.standard_normal()
            for hours in np.sort(rng.uniform(0.2, 3.0, rng.integers(1, 16))):
                wear = offset + rate * hours + 0.03 * rng.standard_normal()
                names = (f"M{machine:02d}", f"P{machine:02d}-{piece:02d}")
                rows.append((*names, 1000 * hours, wear, pressure, speed, warm, grade))
    columns = ["machine", "piece", "hours", "wear_mm"]
    return pd.DataFrame(
        rows, columns=[*columns, "pressure_mpa", "speed_m_s", "temperature_c", "grade"]
    )


@pytest.fixture(scope="module")
def fit() -> RateRegression:
    return fit_log_rate(readings(1), FORMULA)


def test_exponents_are_recovered_and_checked_by_other_means(fit: RateRegression) -> None:
    table = fit.table().set_index("term")
    for term, truth in TRUTH.items():
        row = table.loc[term]
        half = (row["value_high"] - row["value_low"]) / 2
        assert abs(row["value"] - truth) < 2 * half, term
        assert row["check_low"] <= row["value"] <= row["check_high"], "the check agrees"
    assert fit.piece_sd == pytest.approx(0.15, rel=0.15)
    assert fit.machine_sd == pytest.approx(0.10, rel=0.6)
    assert fit.left_out == ()


def test_intervals_cover_the_exponents() -> None:
    """METHODS 2.4: 90 % intervals over 20 fleets hold 80 truths about 72 times."""
    held, errors = [], []
    for seed in range(20):
        table = fit_log_rate(readings(seed, 24, 8), FORMULA).terms.set_index("term")
        for term, truth in TRUTH.items():
            row = table.loc[term]
            held.append(row["value_low"] <= truth <= row["value_high"])
            if term == "log_pressure":
                errors.append(row["value"] - truth)
    assert 0.83 <= np.mean(held) <= 0.97
    assert abs(np.mean(errors)) < 0.02, "no bias of the pressure exponent (plain slopes: +.03)"


def test_words_say_what_an_exponent_means(fit: RateRegression) -> None:
    means = fit.terms.set_index("term")["means"]
    assert means["log_pressure"].startswith("10 % more pressure: ")
    assert means["log_pressure"].endswith(" % more wear")
    assert "times the wear" in means["grade trial"]
    assert "trial against standard" in means["grade trial"]
    assert means["temperature"].startswith("10 C warmer: ")


def test_predictions_outside_the_tested_range_are_flagged(fit: RateRegression) -> None:
    duty = pd.DataFrame(
        {
            "pressure_mpa": [0.37, 5.0, 0.37, 0.37],
            "speed_m_s": [0.22, 0.22, 0.22, 0.22],
            "temperature_c": [25.0, 25.0, 80.0, 25.0],
            "grade": ["standard", "standard", "standard", "other"],
        }
    )
    told = fit.predict(duty)
    assert told["extrapolated"].tolist() == [False, True, True, True]
    assert fit.outside(duty).tolist() == [False, True, True, True]
    mean = 0.3e-3 * np.exp((0.1**2 + 0.15**2) / 2)  # the duty of the truth's constant, about
    assert told.loc[0, "low"] < mean < told.loc[0, "high"] * 1.05
    assert set(fit.tested["term"]) == {"pressure", "speed", "temperature", "grade"}


def test_sums_sites_and_readings_give_the_same() -> None:
    from forecast.wear.sums import wear_sums

    table = readings(3, 12, 8)
    wear, cells = wear_sums(table)
    own = wear.merge(cells[["piece", "sx", "sxx", "sxy"]], on="piece")
    first = table.drop_duplicates("piece").drop(columns=["machine", "hours", "wear_mm"])
    by_sums = fit_log_rate(own.merge(first, on="piece"), FORMULA)
    by_rows = fit_log_rate(table, FORMULA)
    pd.testing.assert_frame_equal(by_sums.terms, by_rows.terms, rtol=1e-9)
    rates = first.assign(
        machine=[name[1:3] for name in first["piece"]],
        log_rate=np.log(first["pressure_mpa"]) + 0.1 * np.arange(len(first)) / len(first),
        variance=0.01,
    )
    told = fit_log_rate(rates, "log_pressure").terms
    assert told.loc[0, "value"] == pytest.approx(1.0, abs=0.1)


def test_what_does_not_vary_or_hides_behind_another_is_left_out_and_named() -> None:
    table = readings(4, 12, 6)
    table["temperature_c"] = 20.0
    table["size"] = table["grade"]
    fit = fit_log_rate(table, "log_pressure + temperature + grade + size")
    assert list(fit.terms["term"]) == ["log_pressure", "grade trial"]
    assert "temperature does not vary" in fit.left_out
    assert any(text.startswith("size trial can't be told apart") for text in fit.left_out)
    with pytest.raises(ValueError, match="no column for the term 'colour'"):
        fit_log_rate(table, "colour")
    with pytest.raises(ValueError, match="lack the column"):
        fit_log_rate(table.drop(columns="hours"), "grade")


def test_rate_ratio_is_adjusted_for_duty() -> None:
    """The trial grade runs at twice the pressure: unadjusted it looks worse, adjusted better."""
    rng = np.random.default_rng(5)
    rows = []
    for machine in range(20):
        effect = 0.3 * rng.standard_normal()
        for piece in range(10):
            trial = piece % 2 == 1
            pressure = float(np.exp(rng.normal(-1.0 + 0.7 * trial, 0.35)))
            rate = 0.3 * np.exp(effect + np.log(pressure) + 1 - 0.3 * trial)
            rate *= np.exp(0.1 * rng.standard_normal())
            for hours in (0.6, 1.4, 2.2):
                wear = 0.08 + rate * hours + 0.02 * rng.standard_normal()
                rows.append((f"M{machine:02d}", f"{machine}-{piece}", 1000 * hours, wear))
                rows[-1] += (pressure, "B" if trial else "A")
    table = pd.DataFrame(
        rows, columns=["machine", "piece", "hours", "wear_mm", "pressure_mpa", "grade"]
    )
    plain = rate_ratio(table, "A", "B", adjust=())
    told = rate_ratio(table, "A", "B")
    assert plain.low > 1.0
    assert told.low < np.exp(-0.3) < told.high < 1.0
    assert told.adjusted_for == ("log_pressure",)
    assert told.pairs == 20
    assert not told.extrapolated
    nobody = rate_ratio(table, "A", "C")
    assert np.isnan(nobody.ratio)
    apart = table[(table["grade"] == "A") == (table["pressure_mpa"] < 0.5)]
    assert rate_ratio(apart, "A", "B").extrapolated
