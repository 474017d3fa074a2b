"""Ranks, the line on Weibull paper, and bounds without failures, against published values."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import beta, binom, chi2, linregress

from forecast.life.bounds import success_run_size, zero_failure_bound
from forecast.life.lives import Lives
from forecast.life.ranks import adjusted_ranks, median_ranks, plot_points, rank_regression

Published = dict[tuple[str, str], tuple[float, float]]
DATA = Path(__file__).parent / "published"


def table(name: str, *columns: str) -> list[np.ndarray]:
    with (DATA / name).open(newline="") as file:
        rows = list(csv.DictReader(file))
    return [np.array([float(row[column]) for row in rows]) for column in columns]


def test_d1_line_of_twenty_units(published: Published) -> None:
    """D1: NIST/SEMATECH e-Handbook, R code of the Weibull-plot example: y regressed on x."""
    hours, failed = table("B1_nist_20_units.csv", "hours", "failed")
    shape, scale = rank_regression(hours, failed == 1, on="time", ranks="benard")
    found = {
        "log10-log10 slope (Y on X, Benard)": shape,
        "intercept": -shape * np.log10(scale),
        "scale 10^(-a/b)": scale,
    }
    for quantity, value in found.items():
        expected, tolerance = published["D1", quantity]
        assert value == pytest.approx(expected, abs=tolerance), quantity


def test_the_usual_line_regresses_time_on_rank() -> None:
    hours, failed = table("B1_nist_20_units.csv", "hours", "failed")
    shape, scale = rank_regression(hours, failed == 1)
    rank = np.arange(1, 11)
    line = linregress(
        np.log(-np.log(1 - beta.median(rank, 21 - rank))), np.log(np.sort(hours[failed == 1]))
    )
    exact = rank_regression(hours, failed == 1, ranks="exact")
    assert exact == pytest.approx((1 / line.slope, np.exp(line.intercept)), rel=1e-9)
    assert shape == pytest.approx(exact[0], rel=0.01)
    assert shape > rank_regression(hours, failed == 1, on="time")[0]
    assert scale == pytest.approx(exact[1], rel=0.01)


def test_d2_adjusted_ranks(published: Published) -> None:
    """D2: Abernethy, The New Weibull Handbook, table 2-3 (quoted); 25.5 there is a misprint."""
    time, failed = table("D2_rivet_8.csv", "t", "failed")
    order = np.random.default_rng(1).permutation(8)
    ranks = adjusted_ranks(time[order], failed[order] == 1)
    points = plot_points(Lives(time, np.where(failed == 1, time, np.inf)))
    assert points["adjusted_rank"].to_numpy() == pytest.approx(ranks)
    assert points["age"].tolist() == sorted(time[failed == 1])
    for i in range(5):
        expected, tolerance = published["D2", f"adjusted rank {i + 1}"]
        assert ranks[i] == pytest.approx(expected, abs=tolerance)
        expected, tolerance = published["D2", f"median rank % {i + 1} (Benard)"]
        assert 100 * points["share"][i] == pytest.approx(expected, abs=tolerance)


def test_d3_median_ranks(published: Published) -> None:
    """D3: medians of beta(i, n - i + 1); tables in any Weibull handbook."""
    ranks = median_ranks(10)
    for i in range(5):
        expected, tolerance = published["D3", f"exact median rank n=10 i={i + 1}"]
        assert ranks[i] == pytest.approx(expected, abs=tolerance)
    assert ranks + ranks[::-1] == pytest.approx(np.ones(10))
    for n, worst in ((5, 0.0010), (10, 0.0012), (20, 0.0009)):
        error = np.abs(median_ranks(n, "benard") - median_ranks(n)).max()
        assert error == pytest.approx(worst, abs=1e-4)


def test_without_suspensions_ranks_are_places() -> None:
    assert adjusted_ranks([3, 1, 2], [True] * 3) == pytest.approx([1, 2, 3])
    assert adjusted_ranks([1, 2], [False, False]).size == 0


def test_points_weigh_tie_and_enter_late() -> None:
    apart = plot_points(Lives([1, 2, 3, 4.0], [1, 2, 3, np.inf]))
    assert apart["adjusted_rank"].tolist() == pytest.approx([1, 2, 3])
    tied = plot_points(Lives([1, 2, 2, 3.0], [1, 2, 2, np.inf]))
    weighed = plot_points(Lives([1, 2, 3.0], [1, 2, np.inf], weight=[1, 2, 1]))
    assert tied["adjusted_rank"].tolist() == pytest.approx([1, 2.5])
    assert weighed["adjusted_rank"].tolist() == pytest.approx([1, 2.5])
    found = plot_points(Lives([1, 2.0], [3, np.inf]))
    assert found["age"].tolist() == [2]
    late = plot_points(Lives([1, 2, 5, 6.0], [1, 2, np.inf, np.inf], entry=[0, 0, 0, 3]))
    assert late["adjusted_rank"].tolist() == pytest.approx([5 / 4, 5 / 4 + 15 / 4 / 3])
    assert len(plot_points(Lives([1.0], [np.inf]))) == 0


def test_what_has_no_line() -> None:
    with pytest.raises(ValueError, match=r"two failures at different ages but has \[5.0\]"):
        rank_regression([5, 6], [True, False])
    with pytest.raises(ValueError, match="two failures at different ages"):
        rank_regression([5, 5], [True, True])
    with pytest.raises(ValueError, match="age 0"):
        rank_regression([0, 5], [True, True])
    with pytest.raises(ValueError, match="on must be 'rank' or 'time' but is 'x'"):
        rank_regression([1, 5], [True, True], on="x")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="but 'mean' was asked for"):
        median_ranks(5, "mean")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="n must be 1 or more but is 0"):
        median_ranks(0)
    with pytest.raises(ValueError, match="time has shape"):
        adjusted_ranks([1, 2], [True])


def test_e1_success_runs(published: Published) -> None:
    """E1: textbook sizes; ceil(ln(1 - C) / ln R) and a binomial search."""
    for reliability, confidence in ((0.9, 0.9), (0.95, 0.95), (0.99, 0.9)):
        quantity = f"units for R={reliability} C={confidence} with 0 failures"
        expected, tolerance = published["E1", quantity]
        assert success_run_size(reliability, confidence) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(("r", "c", "f"), [(0.9, 0.9, 1), (0.95, 0.8, 3), (0.5, 0.75, 0)])
def test_sizes_are_the_smallest_that_prove(r: float, c: float, f: int) -> None:
    n = success_run_size(r, c, f)
    assert binom.cdf(f, n, 1 - r) <= 1 - c + 1e-12
    assert binom.cdf(f, n - 1, 1 - r) > 1 - c


def test_e2_zero_failure_bound(published: Published) -> None:
    """E2: Nelson (1985); (2 sum t^b / chi-square(C; 2))^(1/b)."""
    bound = zero_failure_bound([500.0] * 10, 2, 0.95)
    expected, tolerance = published["E2", "10 units x 500 h, no failure, shape 2: lower 95% scale"]
    assert bound == pytest.approx(expected, abs=tolerance)
    expected, tolerance = published["E2", "lower 95% R(500 h)"]
    assert np.exp(-((500 / bound) ** 2)) == pytest.approx(expected, abs=tolerance)
    ages = np.array([100.0, 2500, 900])
    formula = (2 * (ages**1.5).sum() / chi2.ppf(0.8, 2)) ** (1 / 1.5)
    assert zero_failure_bound(ages, 1.5, 0.8) == pytest.approx(formula)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([], 2, 0.9), "at least one"),
        (([-1], 2, 0.9), "ages of 0 or more"),
        (([0, 0], 2, 0.9), "must not all be 0"),
        (([5], 0, 0.9), "shape must be positive but is 0"),
        (([5], 2, 90), "confidence must lie between 0 and 1 but is 90"),
    ],
)
def test_bounds_that_cannot_be(arguments: tuple, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        zero_failure_bound(*arguments)
    with pytest.raises(ValueError, match="reliability must lie between 0 and 1 but is 1"):
        success_run_size(1, 0.9)
    with pytest.raises(ValueError, match=r"failures must be 0, 1, 2, .* but is -1"):
        success_run_size(0.9, 0.9, -1)
