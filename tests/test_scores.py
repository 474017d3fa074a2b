"""Scores of forecasts against published values, closed forms and sums over the distributions."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from forecast.jobs.scores import coverage, crps, interval_score, pinball_loss
from forecast.life.lives import Lives
from forecast.life.posterior import FLAT, posterior_draws
from forecast.life.weibull import fit_weibull
from forecast.planning.draws import Array, IntArray, Pieces, WeibullDraws
from forecast.planning.events import simulate_pieces
from forecast.planning.stock import newsvendor

Published = dict[tuple[str, str], tuple[float, float]]
DATA = Path(__file__).parent / "published"


def near(published: Published, check: str, quantity: str, value: float) -> None:
    expected, tolerance = published[check, quantity]
    assert value == pytest.approx(expected, abs=max(tolerance, 1e-12)), quantity


def test_l1_pinball_loss(published: Published) -> None:
    """L1: the four examples of scikit-learn's documentation of mean_pinball_loss."""
    happened = [1, 2, 3]
    near(published, "L1", "pinball y=1,2,3 q=0,2,3 a=.1", pinball_loss(happened, [0, 2, 3], 0.1))
    near(published, "L1", "pinball q=1,2,4 a=.1", pinball_loss(happened, [1, 2, 4], 0.1))
    near(published, "L1", "pinball q=0,2,3 a=.9", pinball_loss(happened, [0, 2, 3], 0.9))
    near(published, "L1", "pinball q=1,2,4 a=.9", pinball_loss(happened, [1, 2, 4], 0.9))


def test_l3_interval_score(published: Published) -> None:
    """L3: Gneiting and Raftery, JASA 102 (2007), eq. 43, in closed form."""
    for happened in (5, 1, 12):
        name = f"interval score [2,9] alpha=.1 y={happened}"
        near(published, "L3", name, interval_score(2, 9, happened, 0.90))


def test_crps_is_the_integral_of_squared_distances() -> None:
    """Gneiting and Raftery 2007, eq. 20 against eq. 21, by summing over a fine grid."""
    draws = np.random.default_rng(1).gamma(4.0, 5.0, 400)
    grid = np.linspace(-50, 250, 600_001)
    below = np.searchsorted(np.sort(draws), grid, side="right") / len(draws)
    for happened in (3.0, 20.0, 90.0):
        summed = float(((below - (grid >= happened)) ** 2).sum() * (grid[1] - grid[0]))
        assert crps(draws, happened) == pytest.approx(summed, abs=2e-3)


def test_scores_are_least_where_the_forecast_is_true() -> None:
    """Proper: nobody gains by telling a wider, a narrower or a shifted law."""
    rng = np.random.default_rng(2)
    happened = rng.normal(0.0, 1.0, 4000)
    told = {
        (shift, spread): np.mean(
            [crps(shift + spread * rng.standard_normal(200), one) for one in happened]
        )
        for shift, spread in ((0.0, 1.0), (0.0, 0.4), (0.0, 2.5), (1.0, 1.0))
    }
    assert min(told, key=lambda key: told[key]) == (0.0, 1.0)
    level = 0.9
    losses = {q: pinball_loss(happened, np.full(4000, q), level) for q in (0.6, 1.2816, 2.0)}
    assert min(losses, key=lambda key: losses[key]) == 1.2816


def test_ends_count_as_held() -> None:
    assert coverage([2, 2, 2], [9, 9, 9], [2, 9, 10]) == pytest.approx(2 / 3)


def test_the_newsvendor_in_closed_form() -> None:
    """Normal demand: mean + z sd with z = Phi^-1(under / (under + over)).

    Silver, Pyke and Peterson, Inventory Management and Production Planning (1998), section 10.2
    (formula; recomputed here by Phi's own series, not by the library that the planner uses).
    """
    from statistics import NormalDist

    for under, over in ((3.0, 1.0), (1.0, 1.0), (0.5, 9.5)):
        z = NormalDist().inv_cdf(under / (under + over))
        best = newsvendor(100.0, 20.0, under, over)
        assert best.stock == pytest.approx(100 + 20 * z, abs=1e-6)
        assert best.cost == pytest.approx((under + over) * 20 * NormalDist().pdf(z), abs=1e-6)


def bearing_cages() -> tuple[Lives, Array, IntArray]:
    """Return the lives, and ages and numbers of the cages still in service."""
    with (DATA / "B2_bearing_cage_1703.csv").open(newline="") as file:
        table = [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(file)]
    hours, failed, count = (np.array([row[name] for row in table]) for name in table[0])
    lives = Lives(hours, np.where(failed == 1, hours, np.inf), weight=count)
    there = failed == 0
    return lives, hours[there], count[there].astype(np.int64)


def ahead(shape: Array, scale: Array, age: Array, count: IntArray) -> IntArray:
    """Return the failures of each draw in the next 300 h: fifteen days of 20 h."""
    hours = np.full(15, 20.0)
    size = len(age)
    pieces = Pieces(
        np.zeros(size, dtype=np.int64), age, age[:, None], np.full(size, -1),
        np.zeros(size, dtype=bool),
    )  # fmt: skip
    found = simulate_pieces(
        WeibullDraws(shape, scale), pieces, count, hours, np.full(size, -1), np.zeros(0),
        np.zeros(0, dtype=np.int64), np.random.default_rng(1),
    )  # fmt: skip
    total: IntArray = found.unplanned.sum(axis=1)
    return total


def test_k1_failures_ahead_of_1697_bearing_cages(published: Published) -> None:
    """K1: Meeker and Escobar (1998), table 12.1; Escobar and Meeker, Technometrics 41 (1999).

    Expected failures in the next 300 h with the fitted law, and its 90 % interval; recomputed
    there from unrounded chances. What they warn of holds: a range that knows how little six
    failures tell is wider than the plug-in's.
    """
    lives, age, count = bearing_cages()
    fit = fit_weibull(lives)
    draws = 20_000
    law = WeibullDraws(np.full(1, fit.shape), np.full(1, fit.scale))
    size = len(age)
    pieces = Pieces(
        np.zeros(size, dtype=np.int64), age, age[:, None], np.full(size, -1),
        np.zeros(size, dtype=bool),
    )  # fmt: skip
    lasts = law.survival(pieces, np.full(size, 300.0))[:, 0]
    assert count.sum() == 1697
    near(published, "K1", "bearing cage: expected failures in next 300 h",
         float(count @ (1 - lasts)))  # fmt: skip
    plug_in = ahead(np.full(draws, fit.shape), np.full(draws, fit.scale), age, count)
    low, high = np.quantile(plug_in, [0.05, 0.95], method="inverted_cdf")
    near(published, "K1", "plug-in 5% lower", float(low))
    near(published, "K1", "plug-in 95% upper (Poisson-binomial and Poisson)", float(high))
    shape, scale = posterior_draws(lives, FLAT, draws, np.random.default_rng(3))
    knowing = ahead(shape, scale, age, count)
    assert np.quantile(knowing, 0.95, method="inverted_cdf") > high
