"""The fit a person meets: states, estimates, intervals, draws."""

import numpy as np
import pandas as pd
import pytest

from forecast.life.bounds import zero_failure_bound
from forecast.life.lives import Lives
from forecast.life.posterior import DEFAULT_PRIOR, ShapePrior
from forecast.life.weibull import fit_weibull, fit_weibull_groups

INF = np.inf


def parts(failures: int, n: int = 60, seed: int = 1) -> Lives:
    """Parts of shape 2 and scale 5,000 h, watched until that number has failed."""
    life = np.sort(5000 * np.random.default_rng(seed).weibull(2, n))
    end = life[failures] * 0.999
    return Lives(np.minimum(life, end), np.where(life < end, life, INF))


def test_without_a_prior_the_fit_is_the_maximum_however_few_failed() -> None:
    fit = fit_weibull(parts(2))
    assert (fit.state, fit.failures, fit.prior) == ("fitted", 2, None)
    steeper = fit_weibull(parts(2), prior=None)
    assert steeper.shape == fit.shape


@pytest.mark.parametrize(
    "lives",
    [
        Lives([500.0] * 60, [INF] * 60),
        Lives([100.0, 200, 300], [INF, INF, 300]),
        Lives([0.0, 5], [INF, INF], [0, 5]),
        Lives([], []),
    ],
    ids=["none failed", "the oldest failed", "watched for no time", "no lives"],
)
def test_without_a_maximum_nothing_is_printed(lives: Lives) -> None:
    fit = fit_weibull(lives)
    assert fit.state == "no_fit"
    assert np.isnan([fit.shape, fit.scale, fit.log_likelihood, fit.b_life(10)]).all()
    assert np.isnan(fit.survival([1, 2])).all()
    assert np.isnan(fit.interval("scale")).all()
    with pytest.raises(ValueError, match="state is no_fit"):
        fit.draws(10, 1)


def test_few_failures_lean_on_the_prior_that_is_kept_beside_them() -> None:
    """One failure of sixty: the likelihood alone says shape 24, the prior holds it near 2."""
    lives = parts(1, seed=2)
    assert fit_weibull(lives).shape > 20
    fit = fit_weibull(lives, prior=DEFAULT_PRIOR)
    assert fit.state == "leans_on_prior"
    assert fit.prior is DEFAULT_PRIOR
    low, high = fit.interval("shape")
    assert 0.9 < low < 1.5 < fit.shape < 3 < high < 6
    assert str(DEFAULT_PRIOR) in str(fit)
    assert fit.interval("shape", 0.5)[0] > low


def test_from_twenty_failures_the_likelihood_speaks() -> None:
    few, enough = (fit_weibull(parts(n), prior=DEFAULT_PRIOR) for n in (19, 20))
    assert (few.state, enough.state) == ("leans_on_prior", "fitted")
    alone = fit_weibull(parts(20))
    assert (enough.shape, enough.scale) == (alone.shape, alone.scale)
    assert (
        enough.interval("b10")
        == alone.interval("b10")
        == alone.interval("b10", method="likelihood")
    )


def test_from_thirty_failures_the_curvature_is_enough() -> None:
    below, above = fit_weibull(parts(29)), fit_weibull(parts(30))
    assert below.interval("shape") == below.interval("shape", method="likelihood")
    assert above.interval("shape") == above.interval("shape", method="wald")
    assert above.interval("shape") != above.interval("shape", method="likelihood")
    assert above.interval("shape") == pytest.approx(
        above.interval("shape", method="likelihood"), rel=0.03
    )


def test_no_failure_gives_lower_bounds_of_life_and_no_more() -> None:
    lives = Lives([258.0] * 60, [INF] * 60)
    fit = fit_weibull(lives, prior=DEFAULT_PRIOR)
    assert fit.state == "lower_bound_only"
    assert np.isnan([fit.shape, fit.scale, fit.b_life(10)]).all()
    for of in ("shape", "scale", "b10", "b1"):
        low, high = fit.interval(of)
        assert 0 < low < INF
        assert high == INF
    shape, scale = fit.draws(4000, 1)
    assert fit.interval("b10")[0] == pytest.approx(
        np.quantile(scale * (-np.log(0.9)) ** (1 / shape), 0.05), rel=0.05
    )
    assert np.median(shape) == pytest.approx(2, rel=0.1)  # nothing but the prior to go by


def test_a_prior_on_the_wrong_side_is_flagged() -> None:
    rng = np.random.default_rng(3)
    steep = 1000 * rng.weibull(6, 15)
    assert fit_weibull(Lives(steep, steep), prior=DEFAULT_PRIOR).far_from_prior
    assert not fit_weibull(parts(15), prior=DEFAULT_PRIOR).far_from_prior
    many = 1000 * rng.weibull(6, 100)
    assert fit_weibull(Lives(many, many), prior=ShapePrior(2, 0.2)).far_from_prior


def test_known_shape_has_the_closed_form_and_the_chi_square_bound() -> None:
    lives = parts(4)
    fit = fit_weibull(lives, shape=2)
    assert (fit.state, fit.shape, fit.shape_given) == ("fitted", 2, True)
    exposure = (lives.lower**2).sum()
    assert fit.scale == pytest.approx((exposure / 4) ** 0.5)
    low, high = fit.interval("scale", 0.90)
    assert low == pytest.approx((2 * exposure / 18.307038) ** 0.5, rel=1e-6)  # chi-square .95, 10
    assert high == pytest.approx((2 * exposure / 2.732637) ** 0.5, rel=1e-6)  # chi-square .05, 8
    assert fit.interval("shape") == (2, 2)
    assert fit.interval("b10")[0] == pytest.approx(low * (-np.log(0.9)) ** 0.5)
    shape, scale = fit.draws(4000, 1)
    assert (shape == 2).all()
    assert low < np.median(scale) < high


def test_known_shape_counts_late_entries_and_failures_between_inspections() -> None:
    lives = parts(20)
    late = Lives(lives.lower, lives.upper, 0.5 * lives.lower)
    exposure = (0.75 * lives.lower**2).sum()
    assert fit_weibull(late, shape=2).scale == pytest.approx((exposure / 20) ** 0.5)
    before = np.where(lives.exact, np.floor(lives.lower / 200) * 200, lives.lower)
    after = np.where(lives.exact, before + 200, INF)
    found, seen = fit_weibull(Lives(before, after), shape=2), fit_weibull(lives, shape=2)
    assert found.scale == pytest.approx(seen.scale, rel=0.01)
    assert found.interval("scale") == pytest.approx(seen.interval("scale"), rel=0.01)
    scales = np.linspace(0.9, 1.1, 2001) * found.scale
    group = np.repeat(np.arange(2001), len(lives))
    copies = Lives(np.tile(before, 2001), np.tile(after, 2001))
    from forecast.life.likelihood import log_likelihood

    value = log_likelihood(copies, group, np.full(2001, np.log(2)), np.log(scales))
    assert np.argmax(value) == 1000  # nothing near is likelier


def test_known_shape_and_no_failure_is_the_bound_of_a_success_run() -> None:
    fit = fit_weibull(Lives([500.0] * 10, [INF] * 10), shape=2)
    assert (fit.state, fit.shape) == ("lower_bound_only", 2)
    assert np.isnan(fit.scale)
    low, high = fit.interval("scale", 0.90)
    assert low == pytest.approx(zero_failure_bound([500.0] * 10, 2, 0.95))
    assert high == INF
    assert fit_weibull(Lives([], []), shape=2).state == "no_fit"


def test_all_found_failed_at_the_first_look_says_nothing_of_the_scale() -> None:
    fit = fit_weibull(Lives([0.0, 0.0], [500.0, 700.0]), shape=2)
    assert fit.state == "no_fit"
    assert np.isnan(fit.scale)


def test_survival_quantile_and_b_life_agree() -> None:
    fit = fit_weibull(parts(25))
    assert fit.survival(fit.scale) == pytest.approx(np.exp(-1))
    assert fit.survival(fit.quantile([0.1, 0.5])) == pytest.approx([0.9, 0.5])
    assert fit.b_life(10) == pytest.approx(float(fit.quantile(0.1)))
    assert fit.quantile([0.0, 1.0]).tolist() == [0, INF]
    with pytest.raises(ValueError, match="p is 10"):
        fit.quantile(10)
    with pytest.raises(ValueError, match="percent must lie between 0 and 100 but is 0"):
        fit.b_life(0)


def test_draws_repeat_with_their_seed_and_centre_on_the_fit() -> None:
    fit = fit_weibull(parts(50))
    one, two = fit.draws(2000, 7), fit.draws(2000, 7)
    assert (one[0] == two[0]).all()
    assert (one[1] == two[1]).all()
    assert (fit.draws(2000, 8)[0] != one[0]).any()
    assert np.median(one[0]) == pytest.approx(fit.shape, rel=0.03)
    assert np.median(one[1]) == pytest.approx(fit.scale, rel=0.02)
    assert np.quantile(one[0], [0.05, 0.95]) == pytest.approx(fit.interval("shape"), rel=0.06)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"shape": -1}, "shape must be positive but is -1"),
        ({"shape": float("nan")}, "shape must be positive but is nan"),
        ({"shape": 2, "prior": DEFAULT_PRIOR}, "give shape or prior, not both"),
    ],
)
def test_bad_arguments(given: dict, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_weibull(parts(5), **given)


def test_bad_questions() -> None:
    fit = fit_weibull(parts(5))
    with pytest.raises(ValueError, match="method must be 'likelihood' or 'wald' but is 'exact'"):
        fit.interval("shape", method="exact")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="level must lie between 0 and 1 but is 90"):
        fit.interval("shape", level=90)
    with pytest.raises(ValueError, match="of must be 'shape'"):
        fit.interval("eta")


def test_groups_by_label_in_one_table() -> None:
    one, two = parts(10, seed=1), parts(20, seed=2)
    lives = Lives(
        np.concatenate([two.lower, one.lower, [5.0, 6.0]]),
        np.concatenate([two.upper, one.upper, [INF, INF]]),
    )
    table = fit_weibull_groups(lives, ["b"] * 60 + ["a"] * 60 + ["c"] * 2)
    assert table["group"].tolist() == ["a", "b", "c"]
    assert table["state"].tolist() == ["fitted", "fitted", "no_fit"]
    assert table["failures"].tolist() == [10, 20, 0]
    assert table["lives"].tolist() == [60, 60, 2]
    for row, alone in zip(table.itertuples(), (fit_weibull(one), fit_weibull(two)), strict=False):
        assert row.shape == pytest.approx(alone.shape)
        assert row.scale == pytest.approx(alone.scale)
        assert row.log_likelihood == pytest.approx(alone.log_likelihood)
    assert table.loc[2, ["shape", "scale", "log_likelihood"]].isna().all()
    numbered = fit_weibull_groups(lives, pd.Series([7] * 60 + [3] * 62))
    assert numbered["group"].tolist() == [3, 7]
    with pytest.raises(ValueError, match="there are 122 lives but 2 group labels"):
        fit_weibull_groups(lives, ["a", "b"])
