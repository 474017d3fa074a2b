"""Posterior draws against sums over a fine grid, and what pooling promises."""

import numpy as np
import pytest

from forecast.life.likelihood import log_likelihood, maximise
from forecast.life.lives import Array, IntArray, Lives
from forecast.life.posterior import (
    DEFAULT_PRIOR,
    FLAT,
    ShapePrior,
    fixed_shape_draws,
    pooled_draws,
    pooled_prior,
    posterior_draws,
)

SHARES = [0.05, 0.25, 0.5, 0.75, 0.95]


def lives_with(failures: int, *, between: bool = False, late: bool = False, seed: int = 0) -> Lives:
    """Sixty lives of shape 2; the suspensions end where that number of failures is reached."""
    rng = np.random.default_rng(seed)
    life = np.sort(5000 * rng.weibull(2, 60))
    end = life[failures] * 0.999
    seen = np.minimum(life, end)
    failed = life < end
    lower, upper = seen.copy(), np.where(failed, seen, np.inf)
    if between:
        lower[failed] = np.floor(seen[failed] / 400) * 400
        upper[failed] = lower[failed] + 400
    entry = np.where(np.arange(60) % 3 == 0, 0.4 * lower, 0.0) if late else None
    return Lives(lower, upper, entry)


def summed(lives: Lives, prior: ShapePrior, share: float | None) -> Array:
    """Quantiles of the shape, or of the age of a share, by summing the density over a grid."""
    b = np.linspace(np.log(0.2), np.log(14), 161)
    x = np.linspace(-14, 4, 181)
    grid_b, grid_x = (axis.ravel() for axis in np.meshgrid(b, x, indexing="ij"))
    u = np.log(lives.oldest) - grid_x * np.exp(-grid_b)
    copies = [np.empty(0)]
    for at_b, at_u in zip(np.array_split(grid_b, 20), np.array_split(u, 20), strict=True):
        rows = Lives(
            np.tile(lives.lower, at_b.size),
            np.tile(lives.upper, at_b.size),
            np.tile(lives.entry, at_b.size),
        )
        group = np.repeat(np.arange(at_b.size), len(lives))
        copies.append(log_likelihood(rows, group, at_b, at_u))
    density = np.concatenate(copies) + prior.log_density(grid_b) + 0.5 * grid_x
    mass = np.exp(density - 0.05 * np.exp(grid_x) - density.max())
    if share is None:
        total = np.cumsum(mass.reshape(b.size, x.size).sum(axis=1))
        return np.exp(np.interp(np.array(SHARES) * total[-1], total, b + (b[1] - b[0]) / 2))
    value = u + np.log(-np.log1p(-share)) * np.exp(-grid_b)
    order = np.argsort(value)
    total = np.cumsum(mass[order])
    return np.exp(np.interp(np.array(SHARES) * total[-1], total, value[order]))


@pytest.mark.parametrize(
    ("failures", "between", "late"),
    [(0, False, False), (1, False, True), (5, False, False), (2, True, False), (20, True, True)],
)
def test_draws_follow_the_posterior(failures: int, between: bool, late: bool) -> None:
    lives = lives_with(failures, between=between, late=late)
    draws = posterior_draws(lives, DEFAULT_PRIOR, 20_000, np.random.default_rng(1))
    shape, scale = draws
    found = np.quantile(shape, SHARES)
    assert found == pytest.approx(summed(lives, DEFAULT_PRIOR, None), rel=0.015)
    age = scale * (-np.log(0.9)) ** (1 / shape)
    wanted = summed(lives, DEFAULT_PRIOR, 0.1)
    # with no failure the upper tail is the prior's: long, and hard for both ways of summing
    upto = 2 if failures == 0 else 5
    assert np.quantile(age, SHARES)[:upto] == pytest.approx(wanted[:upto], rel=0.03)


def test_both_routes_give_the_same_where_both_hold() -> None:
    """An inspection each 0.5 h is as good as seeing the failure."""
    lives = lives_with(5)
    narrow = Lives(
        np.where(lives.exact, lives.lower - 0.25, lives.lower),
        np.where(lives.exact, lives.lower + 0.25, lives.upper),
    )
    rng = np.random.default_rng(3)
    one, two = (posterior_draws(x, DEFAULT_PRIOR, 20_000, rng) for x in (lives, narrow))
    for a, b in zip(one, two, strict=True):
        assert np.quantile(b, SHARES) == pytest.approx(np.quantile(a, SHARES), rel=0.02)


def test_many_failures_are_normal_about_the_maximum() -> None:
    rng = np.random.default_rng(5)
    life = 4000 * rng.weibull(2, 600)
    lives = Lives(life, life)
    maxima = maximise(lives)
    shape, scale = posterior_draws(lives, FLAT, 20_000, rng)
    assert np.log(shape).mean() == pytest.approx(maxima.log_shape[0], abs=0.002)
    assert np.cov(np.log(scale), np.log(shape)) == pytest.approx(maxima.covariance[0], rel=0.06)
    firm = ShapePrior(1.0, 0.01, "a strong belief")
    pulled, _ = posterior_draws(lives, firm, 5_000, rng)
    assert 1.0 < np.median(pulled) < 1.15  # a firm prior is not overruled by the short cut


def test_draws_are_stratified_but_in_no_order() -> None:
    lives = lives_with(5)
    shape, _ = posterior_draws(lives, DEFAULT_PRIOR, 2_000, np.random.default_rng(1))
    again, _ = posterior_draws(lives, DEFAULT_PRIOR, 2_000, np.random.default_rng(1))
    assert (shape == again).all()
    assert abs(np.corrcoef(shape[1:], shape[:-1])[0, 1]) < 0.08
    other, _ = posterior_draws(lives, DEFAULT_PRIOR, 2_000, np.random.default_rng(2))
    assert np.quantile(other, SHARES) == pytest.approx(np.quantile(shape, SHARES), rel=0.005)


def test_posterior_knows_no_unit() -> None:
    lives = lives_with(2)
    other = Lives(lives.lower / 1000, lives.upper / 1000)
    one, two = (
        posterior_draws(x, DEFAULT_PRIOR, 500, np.random.default_rng(1)) for x in (lives, other)
    )
    assert two[0] == pytest.approx(one[0])
    assert 1000 * two[1] == pytest.approx(one[1])


def test_known_shape_has_a_gamma_rate() -> None:
    """2 S2 / scale^shape is chi-square with 2 r + 1 degrees of freedom, but for the prior."""
    lives = lives_with(5)
    shape, scale = fixed_shape_draws(lives, 2.0, 40_000, np.random.default_rng(1))
    assert (shape == 2).all()
    rate = (lives.oldest / scale) ** 2
    assert rate.mean() == pytest.approx(
        5.5 / (0.05 + ((lives.lower / lives.oldest) ** 2).sum()), rel=0.01
    )


def test_lives_watched_for_no_time_cannot_be_drawn_from() -> None:
    with pytest.raises(ValueError, match="the 2 lives were watched for no time"):
        posterior_draws(
            Lives([0.0, 5], [np.inf, np.inf], [0, 5]), DEFAULT_PRIOR, 10, np.random.default_rng(1)
        )


def test_one_young_suspension_gives_draws_that_are_finite() -> None:
    """Hardly anything is known: scales reach far, but no draw overflows."""
    wide = ShapePrior(1.0, 2.0, "hardly one")
    draws = posterior_draws(Lives([1.0], [np.inf]), wide, 5_000, np.random.default_rng(1))
    for values in draws:
        assert np.isfinite(values).all()
        assert (values > 0).all()


def fleet(failures: int, *, between: bool = False) -> tuple[Lives, Array]:
    """1,320 parts, new, watched 2,200 h; so many failures at random among them."""
    rng = np.random.default_rng(failures)
    age, failed = np.full(1320, 2200.0), np.zeros(1320, bool)
    pick = rng.choice(1320, failures, replace=False)
    age[pick], failed[pick] = 2200 * rng.random(failures) ** (1 / 2.2), True
    if between:
        before = np.where(failed, np.floor(age / 100) * 100, age)
        return Lives(before, np.where(failed, before + 100, np.inf)), failed
    return Lives(age, np.where(failed, age, np.inf)), failed


def ahead(lives: Lives, failed: Array, group: IntArray, groups: int) -> Array:
    """Failures of the survivors in the next 2,200 h, by draw."""
    rng = np.random.default_rng(groups)
    shape, scale = pooled_draws(lives, group, groups, DEFAULT_PRIOR, 4_000, rng)
    assert shape.shape == (4_000,)
    assert scale.shape == (groups, 4_000)
    left = np.bincount(group, ~failed, groups).astype(int)
    chance = -np.expm1((2200 / scale) ** shape - (4400 / scale) ** shape)
    return rng.binomial(left[:, None], chance).sum(axis=0)


@pytest.mark.parametrize("between", [False, True])
@pytest.mark.parametrize("failures", [0, 2, 10, 60, 250])
def test_splitting_a_fleet_does_not_multiply_its_failures(failures: int, between: bool) -> None:
    lives, failed = fleet(failures, between=between)
    number = np.arange(1320)
    whole = ahead(lives, failed, number % 1, 1)
    for groups in (5, 40):
        split = ahead(lives, failed, number % groups, groups)
        chance = 4 * np.hypot(split.std(), whole.std()) / np.sqrt(whole.size)
        assert split.mean() == pytest.approx(whole.mean(), rel=0.03, abs=chance)
        assert np.quantile(split, 0.95) == pytest.approx(np.quantile(whole, 0.95), rel=0.12)
    if failures == 0:  # the prior alone: 4.1 [0, 13] measured for one group, 3.8 [0, 14] for forty
        assert whole.mean() == pytest.approx(4.0, abs=1.2)
        assert np.quantile(whole, [0.05, 0.95]) == pytest.approx([0, 13], abs=1.5)


def test_groups_that_differ_keep_their_difference() -> None:
    rng = np.random.default_rng(8)
    scale = np.repeat([2000.0, 8000.0], 300)
    life, group = scale * rng.weibull(2, 600), np.repeat([0, 1], 300)
    seen = np.minimum(life, 2500)
    lives = Lives(seen, np.where(life < 2500, seen, np.inf))
    shape, drawn = pooled_draws(lives, group, 2, DEFAULT_PRIOR, 4_000, rng)
    assert np.quantile(shape, [0.05, 0.95])[0] < 2 < np.quantile(shape, [0.05, 0.95])[1]
    for row, truth in zip(drawn, (2000, 8000), strict=True):
        low, high = np.quantile(row, [0.02, 0.98])
        assert low < truth < high
        assert high / low < 2


def test_a_group_without_lives_gets_the_spread_between_groups() -> None:
    lives, _ = fleet(60)
    group = np.arange(1320) % 5
    _, scale = pooled_draws(lives, group, 6, DEFAULT_PRIOR, 4_000, np.random.default_rng(1))
    spread = np.log(scale).std(axis=1)
    assert spread[5] > 1.1 * spread[:5].max()
    assert np.median(scale[5]) == pytest.approx(np.median(scale[:5]), rel=0.25)


@pytest.mark.parametrize("spread", [0.0, 0.6])
def test_pooled_forecasts_cover(spread: float) -> None:
    """Twelve groups of 110, all new next season: 90 % bands of each group and of the sum."""
    rng = np.random.default_rng(int(spread * 10))
    held, held_sum, repeats = [], [], 25
    for _ in range(repeats):
        theta = rng.gamma(1 / spread**2, spread**2, 12) if spread else np.ones(12)
        k = rng.lognormal(np.log(2), 0.3)
        life = 2200 * (rng.exponential(size=(12, 110)) / (0.15 * theta[:, None])) ** (1 / k)
        seen = np.minimum(life, 2200).ravel()
        lives = Lives(seen, np.where(life.ravel() < 2200, seen, np.inf))
        group = np.repeat(np.arange(12), 110)
        shape, scale = pooled_draws(lives, group, 12, DEFAULT_PRIOR, 1_500, rng)
        y = rng.binomial(110, -np.expm1(-((2200 / scale) ** shape)))
        truth = rng.binomial(110, -np.expm1(-0.15 * theta))
        low, high = np.quantile(y, [0.05, 0.95], axis=1, method="inverted_cdf")
        held.append((low <= truth) & (truth <= high))
        low, high = np.quantile(y.sum(axis=0), [0.05, 0.95], method="inverted_cdf")
        held_sum.append(low <= truth.sum() <= high)
    assert 0.86 < np.mean(held) < 0.98
    assert np.mean(held_sum) >= 0.76  # 25 sets: 0.9 less two standard errors and a bit


def test_prior_from_a_range_and_its_words() -> None:
    prior = ShapePrior.from_range(1.5, 3.0, why="maker's tests")
    assert prior.centre == pytest.approx(np.sqrt(4.5))
    assert prior.log_sd == pytest.approx(np.log(2) / 3.29)
    assert str(prior) == "shape 2.1 (1.5-3): maker's tests"
    assert ShapePrior.from_range(1.5, 3.0, centre=2.0).centre == 2.0
    assert (DEFAULT_PRIOR.centre, DEFAULT_PRIOR.log_sd) == (2.0, 0.5)
    assert "convention" in DEFAULT_PRIOR.why


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ShapePrior(0, 0.5), "centre of a shape prior must be positive but is 0"),
        (lambda: ShapePrior(2, 0), "log_sd of a shape prior must be positive but is 0"),
        (lambda: ShapePrior.from_range(3, 2), "needs 0 < low < high but has 3 and 2"),
    ],
)
def test_a_prior_that_cannot_be(make: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()  # type: ignore[operator]


def test_prior_pooled_from_groups_with_failures_enough() -> None:
    rng = np.random.default_rng(4)
    shapes = np.exp(np.log(2.5) + 0.4 * rng.standard_normal(40))
    life = 1000 * rng.weibull(shapes[:, None], (40, 50)).ravel()
    maxima = maximise(Lives(life, life), np.repeat(np.arange(40), 50))
    prior = pooled_prior(maxima)
    assert prior is not None
    assert prior.centre == pytest.approx(2.5, rel=0.2)
    assert prior.log_sd == pytest.approx(0.4, rel=0.3)
    assert prior.why == "pooled from 40 groups with 10 failures or more"
    alike = maximise(Lives(life[:500], life[:500]), np.repeat(np.arange(10), 50))
    assert pooled_prior(alike, fewest=60) is None
    equal = 1000 * rng.weibull(2, (20, 50)).ravel()
    same = pooled_prior(maximise(Lives(equal, equal), np.repeat(np.arange(20), 50)))
    assert same is not None
    assert same.log_sd == 0.25  # never less: twenty groups do not prove that the next is alike
