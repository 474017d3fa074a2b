"""Laws of other families beside the Weibull law, and whether it fits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast.life.curves import families
from forecast.life.fitness import fitness
from forecast.life.lives import Lives
from forecast.life.weibull import fit_weibull

pytestmark = pytest.mark.filterwarnings("ignore")  # lifelines and what it imports
INF = np.inf


def test_each_family_is_that_of_another_program() -> None:
    """Complete lives: scipy's fits, and the closed forms of exponential and lognormal."""
    life = 1000 * np.random.default_rng(1).gamma(3.0, 1.0, 150)
    table = families(Lives(life, life)).set_index("family")
    expected = {
        "weibull": stats.weibull_min(*stats.weibull_min.fit(life, floc=0)),
        "gamma": stats.gamma(*stats.gamma.fit(life, floc=0)),
        "exponential": stats.expon(scale=life.mean()),
        "lognormal": stats.lognorm(np.log(life).std(), scale=np.exp(np.log(life).mean())),
    }
    assert set(table.index) == set(expected)
    for name, own in expected.items():
        row = table.loc[name]
        assert row["log_likelihood"] == pytest.approx(own.logpdf(life).sum(), abs=0.01), name
        assert row["b10"] == pytest.approx(own.ppf(0.1), rel=0.01), name
        assert row["aic"] == pytest.approx(2 * row["parameters"] - 2 * row["log_likelihood"])
    assert table["parameters"].to_dict() == {
        "weibull": 2, "gamma": 2, "exponential": 1, "lognormal": 2,
    }  # fmt: skip
    assert table["aic"].is_monotonic_increasing


@pytest.mark.parametrize("family", ["weibull", "lognormal"])
def test_the_family_lives_were_drawn_from_has_the_least_aic(family: str) -> None:
    rng = np.random.default_rng(2)
    life = 1000 * (rng.weibull(4.0, 500) if family == "weibull" else rng.lognormal(0, 0.6, 500))
    end = np.minimum(life, np.quantile(life, 0.8))
    lives = Lives(end, np.where(life == end, end, INF), np.where(life > 400, 100.0, 0.0))
    table = families(lives)
    assert table["family"].iloc[0] == family
    fit = fit_weibull(lives)
    row = table.set_index("family").loc["weibull"]
    assert row["log_likelihood"] == pytest.approx(fit.log_likelihood, abs=1e-3)
    assert row["b10"] == pytest.approx(fit.b_life(10), rel=1e-3)


def test_lives_of_a_weibull_law_fit_one_as_often_as_chance_says() -> None:
    rng = np.random.default_rng(3)
    badly = []
    for _ in range(100):
        life = 1000 * rng.weibull(2.0, 120)
        end = rng.uniform(300, 2500, 120)
        age = np.minimum(life, end)
        lives = Lives(age, np.where(life <= end, age, INF))
        fit = fit_weibull(lives)
        found = fitness(lives, fit.shape, fit.scale)
        assert found.expected.sum() == pytest.approx(found.seen.sum(), rel=0.01)
        badly.append(found.chance < 0.05)
    assert sum(badly) <= 13  # 5 expected; the fit to the lives themselves shifts it a little


def test_early_failures_and_mixed_causes_are_said_in_words() -> None:
    rng = np.random.default_rng(4)
    early = np.concatenate([rng.uniform(1, 60, 60), 1000 * rng.weibull(5.0, 240)])
    fit = fit_weibull(Lives(early, early))
    found = fitness(Lives(early, early), fit.shape, fit.scale)
    assert found.chance < 0.001
    assert found.says.startswith("a Weibull law fits badly: ")
    assert found.edges[0] == 0 and found.edges[-1] == early.max()
    few = Lives(early[:15], early[:15])
    told = fitness(few, 1.0, 500.0)
    assert np.isnan(told.chance)
    assert told.says == "too few failures to tell whether the law fits"
