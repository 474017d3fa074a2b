"""Weibull fits against published and recomputed answers; data in tests/published/."""

import csv
from pathlib import Path

import numpy as np
import pytest

from forecast.life.lives import Lives
from forecast.life.weibull import WeibullFit, fit_weibull

Published = dict[tuple[str, str], tuple[float, float]]
DATA = Path(__file__).parent / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="") as file:
        return list(csv.DictReader(file))


def column(table: list[dict[str, str]], name: str) -> np.ndarray:
    return np.array([float(row[name] or "inf") for row in table])


def right_censored(time: np.ndarray, failed: np.ndarray, weight: object = None) -> Lives:
    return Lives(time, np.where(failed, time, np.inf), weight=weight)


def agrees(published: Published, check: str, **found: float) -> None:
    for quantity, value in found.items():
        expected, tolerance = published[check, NAMES[quantity]]
        assert value == pytest.approx(expected, abs=tolerance), quantity


NAMES = {
    "bearing_shape": "Weibull MLE shape (48.48 variant)",
    "rate": "1/scale",
    "scale": "scale",
    "log_likelihood": "log-likelihood",
    "shape_4840": "shape, 48.40 variant",
    "scale_4840": "scale, 48.40 variant",
    "mle_shape": "Weibull MLE shape",
    "scale_h": "scale h",
    "b10_h": "B10 h",
    "f_8000": "F(8000 h)",
}


def test_a1_ball_bearings(published: Published) -> None:
    """A1: Lieblein and Zelen (1956); Leemis (2009) ex. 8.1 (vignette of the R package conf)."""
    time = column(rows("A1_ball_bearings_23.csv"), "million_revolutions")
    fit = fit_weibull(Lives(time, time))
    agrees(
        published,
        "A1",
        bearing_shape=fit.shape,
        rate=1 / fit.scale,
        scale=fit.scale,
        log_likelihood=fit.log_likelihood,
    )
    variant = np.where(time == 48.48, 48.40, time)
    assert (variant != time).sum() == 1
    fit = fit_weibull(Lives(variant, variant))
    agrees(published, "A1", shape_4840=fit.shape, scale_4840=fit.scale)


def test_b1_twenty_units(published: Published) -> None:
    """B1: NIST/SEMATECH e-Handbook 8.4.1.2, 20 units, 10 failures by 500 h."""
    table = rows("B1_nist_20_units.csv")
    fit = fit_weibull(right_censored(column(table, "hours"), column(table, "failed") == 1))
    agrees(published, "B1", mle_shape=fit.shape, scale=fit.scale, log_likelihood=fit.log_likelihood)


def bearing_cage() -> WeibullFit:
    table = rows("B2_bearing_cage_1703.csv")
    failed = column(table, "failed") == 1
    return fit_weibull(right_censored(column(table, "hours"), failed, column(table, "count")))


def test_b2_bearing_cages_weights_and_six_failures(published: Published) -> None:
    """B2: Abernethy et al. (1983); answer in the README of the R package fwb. Grouped rows."""
    fit = bearing_cage()
    assert fit.state == "fitted"
    assert fit.failures == 6
    agrees(
        published,
        "B2",
        mle_shape=fit.shape,
        scale_h=fit.scale,
        log_likelihood=fit.log_likelihood,
        b10_h=fit.b_life(10),
        f_8000=1 - float(fit.survival(8000)),
    )


def test_b5_shock_absorbers_one_mode_at_a_time(published: Published) -> None:
    """B5: O'Connor (1985), Meeker and Escobar (1998) table C.2; the other mode is a suspension."""
    table = rows("B5_shock_absorber.csv")
    distance, mode = column(table, "distance"), np.array([row["mode"] for row in table])
    for failed, name in (
        (mode != "Censored", "all modes"),
        (mode == "Mode1", "Mode1"),
        (mode == "Mode2", "Mode2"),
    ):
        fit = fit_weibull(right_censored(distance, failed))
        shape = f"{name} shape" + (" (Mode2 as suspensions)" if name == "Mode1" else "")
        for quantity, value in ((shape, fit.shape), (f"{name} scale", fit.scale)):
            expected, tolerance = published["B5", quantity]
            assert value == pytest.approx(expected, abs=tolerance), quantity


def test_b6_fans_with_shape_given_and_fitted(published: Published) -> None:
    """B6: Nelson (1982) p. 133; ln(mean) 10.26477 in the tests of the R package survival."""
    table = rows("B6_genfan.csv")
    lives = right_censored(column(table, "hours"), column(table, "status") == 1)
    exponential, weibull = fit_weibull(lives, shape=1), fit_weibull(lives)
    for value, quantity in (
        (np.log(exponential.scale), "exponential: ln(mean hours)"),
        (exponential.scale, "exponential mean hours"),
        (weibull.shape, "Weibull shape"),
        (weibull.scale, "Weibull scale"),
    ):
        expected, tolerance = published["B6", quantity]
        assert value == pytest.approx(expected, abs=tolerance), quantity


def test_c1_turbine_parts_between_inspections(published: Published) -> None:
    """C1: Nelson (1982) p. 415, months table; recomputed with scipy, lifelines and R survreg."""
    table = rows("C1_cracks_months.csv")
    lives = Lives(column(table, "lower"), column(table, "upper"), weight=column(table, "count"))
    fit = fit_weibull(lives)
    for value, quantity in (
        (fit.shape, "interval Weibull shape (months)"),
        (fit.scale, "scale months"),
        (fit.log_likelihood, "log-likelihood"),
    ):
        expected, tolerance = published["C1", quantity]
        assert value == pytest.approx(expected, abs=tolerance), quantity


def test_c3_heat_exchanger_tubes(published: Published) -> None:
    """C3: Meeker and Escobar (1998) example 1.5; recomputed with scipy and R."""
    table = rows("C3_heat_exchanger.csv")
    fit = fit_weibull(
        Lives(column(table, "lower"), column(table, "upper"), weight=column(table, "count"))
    )
    for value, quantity in ((fit.shape, "interval Weibull shape"), (fit.scale, "scale years")):
        expected, tolerance = published["C3", quantity]
        assert value == pytest.approx(expected, abs=tolerance), quantity


def test_c4a_late_entries_and_the_trap_of_ignoring_them(published: Published) -> None:
    """C4a: Channing House, Hyde (1977), R boot::channing; recomputed with scipy and R optim."""
    table = rows("C4_channing_left_truncated.csv")
    seen = [row for row in table if float(row["exit"]) > float(row["entry"])]
    assert len(seen) == 457
    age, died = column(seen, "exit"), column(seen, "cens") == 1
    right = fit_weibull(Lives(age, np.where(died, age, np.inf), entry=column(seen, "entry")))
    trap = fit_weibull(right_censored(age, died))
    for value, quantity in (
        (right.shape, "left-truncated Weibull, all: shape"),
        (right.scale, "all: scale months"),
        (trap.shape, "trap: shape if entry ignored"),
    ):
        expected, tolerance = published["C4a", quantity]
        assert value == pytest.approx(expected, abs=tolerance), quantity
