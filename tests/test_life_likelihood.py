"""The likelihood of many groups against differently written oracles on random mixed lives."""

import warnings

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import root

from forecast.life.likelihood import Likelihood, log_likelihood, maximise
from forecast.life.lives import Lives

INF = np.inf
COLUMNS = ("lower", "upper", "entry", "weight")


def mixed_lives(seed: int, n: int, *, late: bool = True, whole_weights: bool = False) -> Lives:
    """Exact, suspended, found-between-inspections and left-censored lives, some entered late."""
    rng = np.random.default_rng(seed)
    scale, shape = 10 ** rng.uniform(0, 4), rng.uniform(0.8, 4)
    life = scale * rng.weibull(shape, n)
    entry = np.where(rng.random(n) < 0.3, scale * rng.uniform(0.01, 0.5, n), 0) * late
    life = np.maximum(life, entry + 0.01 * scale)  # the oracles share this bend; the law need not
    end = np.maximum(scale * rng.uniform(0.3, 1.8, n), entry + 0.02 * scale)
    gap = scale * rng.uniform(0.05, 0.5, n)
    before = np.maximum(np.floor(life / gap) * gap, entry)
    kind = np.where(life > end, 2, rng.integers(0, 2, n))
    lower = np.choose(kind, [life, before, end])
    upper = np.choose(kind, [life, np.maximum(before, np.floor(life / gap) * gap) + gap, INF])
    weight = rng.choice([1.0, 2.0, 3.0] if whole_weights else [1.0, 2.0, 0.5], n)
    return Lives(lower, upper, entry, weight)


def plain_log_likelihood(lives: Lives, u: complex, b: complex) -> complex:
    """Written row by row from the definition; takes complex numbers, for exact derivatives."""
    shape, total = np.exp(b), 0j
    h = lambda t: np.exp(shape * (np.log(t) - u)) if t > 0 else 0j  # noqa: E731
    for a, c, e, w in zip(lives.lower, lives.upper, lives.entry, lives.weight, strict=True):
        if a == c:
            value = b - np.log(a) + shape * (np.log(a) - u) - h(a)
        elif np.isinf(c):
            value = -h(a)
        else:
            value = np.log(np.exp(-h(a)) - np.exp(-h(c)))
        total += w * (value + h(e))
    return total


def score(lives: Lives, point: np.ndarray) -> list[float]:
    u, b = point
    step = 1e-20j
    return [
        plain_log_likelihood(lives, u + step, b).imag / 1e-20,
        plain_log_likelihood(lives, u, b + step).imag / 1e-20,
    ]


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.integers(10, 40))
def test_optimum_solves_the_score_equations(seed: int, n: int) -> None:
    lives = mixed_lives(seed, n)
    maxima = maximise(lives)
    assume(maxima.found[0])
    at = np.array([maxima.log_scale[0], maxima.log_shape[0]])
    solved = root(lambda x: score(lives, x), at + np.array([0.01, -0.01]), tol=1e-12)
    assert np.exp(at) == pytest.approx(np.exp(solved.x), rel=1e-6)
    value = plain_log_likelihood(lives, *at).real
    assert maxima.log_likelihood[0] == pytest.approx(value, rel=1e-10, abs=1e-9)


@settings(max_examples=6)
@given(st.integers(0, 10**6), st.integers(25, 60))
def test_never_below_lifelines_and_near_it(seed: int, n: int) -> None:
    lives = mixed_lives(seed, n)
    maxima = maximise(lives)
    assume(maxima.found[0])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines import WeibullFitter

        fitter = WeibullFitter().fit_interval_censoring(
            lives.lower, lives.upper, entry=lives.entry, weights=lives.weight, timeline=[1.0]
        )
    theirs = np.log([fitter.lambda_, fitter.rho_])
    value = plain_log_likelihood(lives, *theirs).real
    assert maxima.log_likelihood[0] >= value - 1e-9
    assert np.exp(maxima.log_scale[0]) == pytest.approx(fitter.lambda_, rel=1e-4)
    assert np.exp(maxima.log_shape[0]) == pytest.approx(fitter.rho_, rel=1e-4)


@settings(max_examples=30)
@given(
    st.integers(0, 10**6),
    st.floats(-1, 1),
    st.floats(-1, 1),
)
@example(3, 1.0, 1.0)
def test_slopes_are_those_of_the_value(seed: int, du: float, db: float) -> None:
    lives = mixed_lives(seed, 20)
    u, b = np.log(lives.oldest / 2) + du, 0.5 + db
    at = Likelihood(lives).slopes(np.array([u]), np.array([b]))
    value = plain_log_likelihood(lives, u, b).real
    assume(np.isfinite(value))
    size = 1 + abs(value)
    assert at.value[0] == pytest.approx(value, rel=1e-9)
    assert [at.by_scale[0], at.by_shape[0]] == pytest.approx(
        score(lives, np.array([u, b])), abs=1e-8 * size
    )
    h = 1e-5
    up, down = (score(lives, np.array([u + s * h, b])) for s in (1, -1))
    right, left = (score(lives, np.array([u, b + s * h])) for s in (1, -1))
    by_scale = [(high - low) / 2 / h for high, low in zip(up, down, strict=True)]
    curvatures = [*by_scale, (right[1] - left[1]) / 2 / h]
    assert [at.scale_scale[0], at.scale_shape[0], at.shape_shape[0]] == pytest.approx(
        curvatures, rel=1e-5, abs=1e-5 * size
    )


def test_groups_together_equal_groups_alone() -> None:
    parts = [mixed_lives(seed, 30) for seed in range(12)]
    lives = Lives(*(np.concatenate([getattr(p, name) for p in parts]) for name in COLUMNS))
    group = np.repeat(np.arange(12), 30)
    order = np.random.default_rng(1).permutation(group.size)
    together = maximise(lives.only(order), group[order])
    for g, part in enumerate(parts):
        alone = maximise(part)
        assert together.log_shape[g] == pytest.approx(alone.log_shape[0], rel=1e-9)
        assert together.log_scale[g] == pytest.approx(alone.log_scale[0], rel=1e-9)
        assert together.log_likelihood[g] == pytest.approx(alone.log_likelihood[0], rel=1e-9)
        assert together.covariance[g] == pytest.approx(alone.covariance[0], rel=1e-6)


@settings(max_examples=20)
@given(st.integers(0, 10**6), st.floats(1e-3, 1e6))
def test_another_unit_of_time_scales_the_scale(seed: int, factor: float) -> None:
    lives = mixed_lives(seed, 30)
    other = Lives(lives.lower * factor, lives.upper * factor, lives.entry * factor, lives.weight)
    one, two = maximise(lives), maximise(other)
    assume(one.found[0])
    assert two.found[0]
    assert two.log_shape[0] == pytest.approx(one.log_shape[0], abs=1e-8)
    assert two.log_scale[0] - one.log_scale[0] == pytest.approx(np.log(factor), abs=1e-8)


def test_weights_are_copies() -> None:
    lives = mixed_lives(5, 30, whole_weights=True)
    copies = np.repeat(np.arange(30), lives.weight.astype(int))
    flat = Lives(lives.lower[copies], lives.upper[copies], lives.entry[copies])
    one, two = maximise(lives), maximise(flat)
    assert two.log_shape == pytest.approx(one.log_shape, rel=1e-9)
    assert two.covariance == pytest.approx(one.covariance, rel=1e-6)


@pytest.mark.parametrize(
    ("lower", "upper", "why"),
    [
        ([5, 6, 7], [INF] * 3, "nothing failed"),
        ([1, 2, 9], [INF, INF, 9], "the one failure is the oldest row"),
        ([4, 4, 4], [4, 4, 4], "all failures equal"),
        ([0, 3, 4], [6, 7, 9], "all intervals share a point"),
        ([2], [2], "one row"),
        ([0, 0], [5, 7], "found at the first inspection"),
    ],
)
def test_no_maximum_is_said_before_the_climb(lower: list, upper: list, why: str) -> None:
    likelihood, maxima = Likelihood(Lives(lower, upper)), maximise(Lives(lower, upper))
    assert not likelihood.exists[0], why
    assert maxima.state == ("no_fit",)
    assert np.isnan([maxima.log_shape[0], maxima.log_scale[0], maxima.log_likelihood[0]]).all()
    assert np.isnan(maxima.covariance).all()


@settings(max_examples=40)
@given(st.integers(0, 10**6), st.integers(1, 4))
def test_existence_test_agrees_with_the_climb(seed: int, n: int) -> None:
    """With no late entries the test is exact: where it says no, ever steeper laws fit better."""
    lives = mixed_lives(seed, n, late=False)
    exists = Likelihood(lives).exists[0]
    assert maximise(lives).found[0] == exists
    if not exists and lives.failures:
        log_scale = np.log(lives.oldest) + np.linspace(-4, 2, 6001)
        copies = Lives(*(np.tile(getattr(lives, name), 6001) for name in COLUMNS))
        group = np.repeat(np.arange(6001), n)
        best = [
            log_likelihood(copies, group, np.full(6001, b), log_scale).max() for b in (1, 2.5, 4)
        ]
        assert best[0] <= best[1] + 0.01 <= best[2] + 0.02  # the grid of scales is not that fine


def test_a_group_without_lives_has_no_fit() -> None:
    lives = Lives([1.0, 2, 3, 4], [1.0, 2, 3, INF])
    maxima = maximise(lives, np.array([2, 2, 2, 2]), 4)
    assert maxima.state == ("no_fit", "no_fit", "fitted", "no_fit")
    assert maxima.failures.tolist() == [0, 0, 3, 0]
    assert maximise(Lives([], [])).state == ()


def test_late_entries_can_take_the_maximum_away() -> None:
    """All that is seen are failures just after entry: the likelihood rises towards shape 0."""
    entry = np.array([10.0, 100, 1000, 10000])
    age = entry * 1.001
    assert maximise(Lives(age, age, entry)).state == ("no_fit",)


def test_precise_and_far_apart_lives_have_their_fit() -> None:
    close = maximise(Lives([1000.0, 1001, 1002], [1000.0, 1001, 1002]))
    assert close.found[0]
    assert np.exp(close.log_shape[0]) > 500
    tail = Lives([1.0, 1, 5000], [1.0, 1, 5001], weight=[40, 1, 1])
    far = maximise(tail)
    assert far.found[0]
    assert far.log_likelihood[0] == pytest.approx(
        plain_log_likelihood(tail, far.log_scale[0], far.log_shape[0]).real, rel=1e-9
    )


def test_group_numbers_are_checked() -> None:
    lives = Lives([1.0, 2], [1.0, INF])
    with pytest.raises(ValueError, match="there are 2 lives but group has shape"):
        maximise(lives, np.array([0]))
    with pytest.raises(ValueError, match="start at 0 but -1"):
        maximise(lives, np.array([0, -1]))
    with pytest.raises(ValueError, match="group holds 3 but there are 2"):
        maximise(lives, np.array([0, 3]), 2)


def test_log_likelihood_at_any_point() -> None:
    lives = mixed_lives(1, 20)
    group = np.arange(20) % 2
    value = log_likelihood(lives, group, np.array([0.5, 0.7]), np.log([50.0, 60.0]))
    for g, (b, scale) in enumerate(((0.5, 50.0), (0.7, 60.0))):
        expected = plain_log_likelihood(lives.only(group == g), np.log(scale), b).real
        assert value[g] == pytest.approx(expected)
