"""Likelihood-ratio and Wald intervals against a plain search and against their level."""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from forecast.life.intervals import likelihood_interval, share_of, wald_interval
from forecast.life.likelihood import log_likelihood, maximise
from forecast.life.lives import Lives


def sample(seed: int, n: int, *, between: bool = False) -> Lives:
    rng = np.random.default_rng(seed)
    life, end = 4000 * rng.weibull(2, n), rng.uniform(500, 5000, n)
    seen = np.minimum(life, end)
    if not between:
        return Lives(seen, np.where(life < end, seen, np.inf))
    before = np.floor(seen / 300) * 300
    return Lives(np.where(life < end, before, seen), np.where(life < end, before + 300, np.inf))


def searched(lives: Lives, of: str, level_cut: float) -> list[float]:
    """Profile by a scalar search inside a scalar root: slow, and written otherwise."""
    maxima = maximise(lives)
    share = share_of(of)
    log_h = 0.0 if share is None else np.log(-np.log1p(-share))

    def at(fixed: float, free: float) -> float:
        b, u = (fixed, free) if share is None else (free, fixed - log_h * np.exp(-free))
        return float(log_likelihood(lives, None, np.array([b]), np.array([u]))[0])

    u, b = float(maxima.log_scale[0]), float(maxima.log_shape[0])
    top, free = (b, u) if share is None else (u + log_h * np.exp(-b), b)

    def lost(fixed: float) -> float:
        found = minimize_scalar(
            lambda x: -at(fixed, x),
            bounds=(free - 3, free + 3),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return 2 * (float(maxima.log_likelihood[0]) + found.fun) - level_cut

    return [float(np.exp(brentq(lost, top, top + side))) for side in (-2.0, 2.0)]


@pytest.mark.parametrize("between", [False, True])
@pytest.mark.parametrize("of", ["shape", "scale", "b10", "b1"])
def test_likelihood_interval_is_where_the_profile_crosses(of: str, between: bool) -> None:
    lives = sample(2, 30, between=between)
    low, high = likelihood_interval(lives, None, maximise(lives), of, 0.90)
    assert [low[0], high[0]] == pytest.approx(searched(lives, of, 2.705543454095404), rel=1e-5)


def test_groups_together_equal_groups_alone() -> None:
    parts = [sample(seed, 25, between=bool(seed % 2)) for seed in range(6)]
    lives = Lives(
        np.concatenate([part.lower for part in parts]),
        np.concatenate([part.upper for part in parts]),
    )
    group = np.repeat(np.arange(6), 25)
    low, high = likelihood_interval(lives, group, maximise(lives, group), "b10")
    for g, part in enumerate(parts):
        alone = likelihood_interval(part, None, maximise(part), "b10")
        assert [low[g], high[g]] == pytest.approx([alone[0][0], alone[1][0]], rel=1e-6)


def test_wald_is_symmetric_on_the_log_scale_and_never_negative() -> None:
    lives = sample(7, 12)
    maxima = maximise(lives)
    for of, middle in (("shape", maxima.log_shape[0]), ("scale", maxima.log_scale[0])):
        low, high = wald_interval(maxima, of, 0.9)
        assert low[0] > 0
        assert np.log(low[0]) + np.log(high[0]) == pytest.approx(2 * middle)


def test_no_fit_has_no_interval() -> None:
    lives = Lives([1.0, 2, 3, 1, 2, 9], [1.0, 2, 3, np.inf, np.inf, 9])
    group = np.array([0, 0, 0, 1, 1, 1])
    maxima = maximise(lives, group)
    low, high = likelihood_interval(lives, group, maxima, "shape")
    assert np.isfinite([low[0], high[0]]).all()
    assert np.isnan([low[1], high[1]]).all()
    assert np.isnan(wald_interval(maxima, "b10")[0][1])


def test_a_likelihood_that_levels_off_has_no_upper_end() -> None:
    """Two found failed at the first inspection, the rest alive: no scale is too long."""
    lives = Lives([0, 0, 900, 1000, 900, 1000], [500, 2000, np.inf, np.inf, np.inf, np.inf])
    low, high = likelihood_interval(lives, None, maximise(lives), "scale", 0.99)
    assert np.isfinite(low[0])
    assert np.isinf(high[0])


@pytest.mark.parametrize("of", ["beta", "b0", "b100", "bx", ""])
def test_what_cannot_be_asked_for(of: str) -> None:
    with pytest.raises(ValueError, match="of must be 'shape'"):
        share_of(of)


def test_level_is_checked() -> None:
    with pytest.raises(ValueError, match="level must lie between 0 and 1 but is 90"):
        wald_interval(maximise(sample(1, 10)), "shape", 90)


@pytest.mark.parametrize(("expected", "count"), [(3.3, 800), (9.4, 1500)])
def test_likelihood_intervals_cover_at_their_level(expected: float, count: int) -> None:
    """90 % intervals of shape and B10 hold the truth in 86 to 94 % of sets."""
    rng = np.random.default_rng(int(expected * 10))
    n = 60
    end = (-np.log1p(-expected / n)) ** 0.5
    life = rng.weibull(2, (count, n)).ravel()
    lives = Lives(np.minimum(life, end), np.where(life < end, life, np.inf))
    group = np.repeat(np.arange(count), n)
    maxima = maximise(lives, group)
    enough = maxima.found
    for of, truth in (("shape", 2.0), ("b10", (-np.log(0.9)) ** 0.5)):
        low, high = likelihood_interval(lives, group, maxima, of, 0.90)
        held = (low[enough] <= truth) & (truth <= high[enough])
        assert 0.86 < held.mean() < 0.94
