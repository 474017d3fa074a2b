"""Three ways to simulate a season, each the others' test: cohorts, events, whole lives."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import binom

from forecast.planning.cohorts import (
    LARGE,
    binomial,
    expected_cohorts,
    simulate_cohorts,
    suits_cohorts,
)
from forecast.planning.draws import (
    Array,
    Earliest,
    IntArray,
    LifeDraws,
    Pieces,
    WearDraws,
    WeibullDraws,
    new_pieces,
)
from forecast.planning.events import Events, simulate_pieces
from forecast.planning.follow import Looked, follow_pieces
from forecast.planning.plan import ProductLoss
from forecast.planning.policy import renewal_function
from forecast.planning.worn import chance_over

NONE: IntArray = np.zeros(0, dtype=np.int64)
Published = dict[tuple[str, str], tuple[float, float]]


def weibull(shape: float, scale: float, draws: int = 2) -> WeibullDraws:
    return WeibullDraws(np.full(draws, shape), np.full(draws, scale))


def wearing(draws: int = 400, **changed: object) -> WearDraws:
    rng = np.random.default_rng(5)
    given: dict[str, object] = {
        "level": np.log(3e-4) + 0.1 * rng.standard_normal(draws),
        "season_levels": np.full((1, draws), np.log(3e-4)),
        "machine_effect": 0.1 * rng.standard_normal((1, draws)),
        "piece_sd": 0.2,
        "offset": 0.08,
        "offset_sd": 0.03,
        "limit_mm": np.ones(draws),
        "future_sd": 0.05,
    }
    return WearDraws(**{**given, **changed})  # type: ignore[arg-type]


def of_ages(ages: list[float]) -> Pieces:
    size = len(ages)
    return Pieces(
        np.zeros(size, dtype=np.int64),
        np.array(ages),
        np.array(ages)[:, None],
        np.full(size, -1, dtype=np.int64),
        np.zeros(size, dtype=bool),
    )


def expected(law: LifeDraws, hours: Array, pieces: Pieces | None = None) -> Array:
    found = expected_cohorts(
        law,
        pieces or new_pieces(np.zeros(1, dtype=np.int64), 1),
        np.array([1000]),
        hours,
        np.array([-1]),
        np.zeros(0),
        NONE,
    )
    return found.unplanned[0] / 1000


def test_expected_failures_follow_the_published_renewal_table(published: Published) -> None:
    """Tijms (2003), table 8.1.1, p. 312 (check H1): Weibull, mean 1, cv2 .25; to its rounding."""
    times = [0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5]
    cumulative = np.cumsum(expected(weibull(2.101349, 1.129063), np.full(250, 0.01)))
    name = "Weibull renewal function, mean 1, cv2=0.25 (shape 2.101349), t={:g}"
    for time in times:
        value, tolerance = published["H1", name.format(time)]
        assert cumulative[round(time * 100) - 1] == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize(
    ("shape", "scale"),
    [
        (2.2, 6000),
        (1, 1000),
        (1.5, 500),
        (3, 1000),
        (3.5, 5000),
        (0.7, 1500),
        (0.8, 800),
        (1.5, 3000),
        (2, 20000),
    ],
)
def test_expected_failures_follow_the_renewal_equation(shape: float, scale: float) -> None:
    """METHODS 3.1: the middle of the step holds the total to 5e-4, whatever the days."""
    hours = np.tile([24.0, 20.0, 0.0, 11.0], 30)
    total = expected(weibull(shape, scale), hours).sum()
    assert total == pytest.approx(renewal_function(shape, scale, [hours.sum()])[0], rel=5e-4)


def test_failures_of_old_pieces_are_their_own_law_and_the_renewal_of_their_successors() -> None:
    hours, age, law = np.full(120, 22.0), 2500.0, weibull(2.4, 4000)
    total = expected(law, hours, of_ages([age])).sum()
    steps = np.linspace(0, hours.sum(), 20_001)
    first = -np.expm1((age / 4000) ** 2.4 - ((age + steps) / 4000) ** 2.4)
    later = renewal_function(2.4, 4000, steps[::-1])
    wanted = first[-1] + (np.diff(first) * (later[:-1] + later[1:]) / 2).sum()
    assert total == pytest.approx(wanted, rel=5e-4)


Engine = Callable[..., Events]


def season(
    engine: Engine, law: LifeDraws, quantity: int, age: float | None, seed: int = 1
) -> Events:
    """Simulate twelve ages of pieces over 17 weeks, with a window on every Sunday."""
    rng = np.random.default_rng(3)
    hours = np.where(rng.random(119) < 0.1, 0.0, rng.uniform(14.0, 24.0, 119))
    windows = np.arange(6, 119, 7)
    ages = (np.arange(12) + 0.5) * 250.0
    clock = np.cumsum(hours)
    change_age = np.full(len(windows), np.inf)
    planned_at = np.full(12, -1)
    if age is not None:
        change_age = np.full(len(windows), age)
        change_age[5] = np.inf  # no crew in that window
        of_age = (ages[:, None] + clock[windows] >= age) & np.isfinite(change_age)
        planned_at = np.where(of_age.any(axis=1), of_age.argmax(axis=1), -1)
    return engine(
        law,
        of_ages(ages.tolist()),
        np.full(12, quantity),
        hours,
        planned_at,
        change_age,
        windows,
        np.random.default_rng(seed),
    )


def whole(*arguments: object) -> Events:
    return follow_pieces(*arguments, Looked())  # type: ignore[arg-type]


LAWS: dict[str, LifeDraws] = {
    "broken": weibull(2.2, 3500.0, 400),
    "worn": wearing(),
    "both": Earliest((wearing(), weibull(2.0, 9000.0, 400))),
}


def alike(one: Array | IntArray, other: Array | IntArray, slack: float) -> None:
    """Ask that the means over the paths differ by less than four standard errors of theirs."""
    # both run on the same parameters path by path: what differs is the chance of single pieces
    difference = one - other
    error = difference.std() / np.sqrt(len(difference))
    assert abs(difference.mean()) <= 4 * error + slack * other.mean()


@pytest.mark.parametrize("age", [None, 1500.0, 2600.0])
@pytest.mark.parametrize("name", LAWS)
def test_cohorts_agree_with_events(name: str, age: float | None) -> None:
    one = season(simulate_cohorts, LAWS[name], 200, age)
    other = season(simulate_pieces, LAWS[name], 200, age, seed=2)
    alike(one.unplanned.sum(axis=1), other.unplanned.sum(axis=1), 5e-4)
    alike(one.changed.sum(axis=1), other.changed.sum(axis=1), 1e-3)
    spread = one.unplanned.sum(axis=1).std() / other.unplanned.sum(axis=1).std()
    assert spread == pytest.approx(1.0, abs=0.08)
    # week by week; a piece fitted within a week stands at its middle
    for week in range(17):
        days = slice(7 * week, 7 * week + 7)
        alike(one.unplanned[:, days].sum(axis=1), other.unplanned[:, days].sum(axis=1), 0.01)
    if age is not None:
        for window in range(17):
            alike(one.changed[:, window], other.changed[:, window], 0.02)


@pytest.mark.parametrize("age", [None, 1500.0])
@pytest.mark.parametrize("name", LAWS)
def test_whole_lives_agree_with_events(name: str, age: float | None) -> None:
    one = season(whole, LAWS[name], 60, age)
    other = season(simulate_pieces, LAWS[name], 60, age, seed=2)
    alike(one.unplanned.sum(axis=1), other.unplanned.sum(axis=1), 0)
    alike(one.changed.sum(axis=1), other.changed.sum(axis=1), 0)
    assert one.turned is not None
    assert one.turned.sum() == 0


def test_ten_million_pieces_are_the_expectation_of_few() -> None:
    many = season(simulate_cohorts, LAWS["broken"], 800_000, 1500.0)
    mean = expected_season(LAWS["broken"], 800_000, 1500.0)
    assert many.unplanned.sum(axis=1) == pytest.approx(mean, rel=0.01)


def expected_season(law: LifeDraws, quantity: int, age: float) -> Array:
    def engine(*arguments: object) -> Events:
        found = expected_cohorts(*arguments[:-1])  # type: ignore[arg-type]
        return Events(found.unplanned, found.changed)  # type: ignore[arg-type]

    return season(engine, law, quantity, age).unplanned.sum(axis=1)


@pytest.mark.parametrize(("count", "chance"), [(4000, 0.007), (300, 0.3), (15_000, 0.02)])
def test_large_binomial_numbers_have_their_law(count: int, chance: float) -> None:
    """Their distribution against scipy's; 200,000 numbers tell it to 3e-3 (Kolmogorov, 5 %)."""
    size = 200_000
    drawn = binomial(np.random.default_rng(1), np.full(size, count), np.full(size, chance))
    at = np.arange(drawn.max() + 2)
    share = np.cumsum(np.bincount(drawn, minlength=len(at))) / size
    assert np.abs(share - binom.cdf(at, count, chance)).max() < 3e-3 + 1e-3
    assert drawn.std() == pytest.approx(binom.std(count, chance), rel=6e-3)


def test_cohorts_are_for_large_sets_of_like_pieces() -> None:
    assert suits_cohorts(np.full(12, LARGE // 12 + 1))
    assert not suits_cohorts(np.full(12, 15))
    assert not suits_cohorts(np.ones(LARGE, dtype=np.int64))


class TestDepth:
    """Policies that look at the depth of a piece."""

    WINDOWS = np.arange(6, 119, 7)
    HOURS = np.full(119, 20.0)

    def run(self, law: LifeDraws, looked: Looked, ages: list[float], **more: object) -> Events:
        size = len(ages)
        return follow_pieces(
            law,
            of_ages(ages),
            np.full(size, 1),
            self.HOURS,
            np.full(size, -1),
            np.full(len(self.WINDOWS), np.inf),
            self.WINDOWS,
            np.random.default_rng(1),
            looked,
            **more,  # type: ignore[arg-type]
        )

    def sure(self, **changed: object) -> WearDraws:
        """Pieces that all wear a thousandth of a mm in 2 h, from 0.1 mm, on 50 paths."""
        flat = np.full(50, np.log(5e-4))
        none = {"piece_sd": 0.0, "offset_sd": 0.0, "future_sd": 0.0, "offset": 0.1}
        law = {"level": flat, "season_levels": flat[None], "machine_effect": np.zeros((1, 50))}
        return wearing(50, **{**law, **none, **changed})

    def test_a_piece_is_changed_in_the_first_window_in_which_it_is_over(self) -> None:
        every = np.ones(17, dtype=bool)
        found = self.run(self.sure(), Looked(0.795, every), [0.0])
        # 0.795 mm after 1,390 h: the tenth window (day 70, 1,400 h); then no more this season
        assert found.changed.sum(axis=0).tolist() == [0] * 9 + [50] + [0] * 7
        assert found.unplanned.sum() == 0

    def test_a_window_that_is_shut_leaves_it_for_the_next(self) -> None:
        some = np.ones(17, dtype=bool)
        some[9] = False
        found = self.run(self.sure(), Looked(0.795, some), [0.0])
        assert found.changed.sum(axis=0)[10] == 50
        shut = np.zeros(17, dtype=bool)
        at_the_limit = self.run(self.sure(), Looked(0.795, shut), [10.0])
        assert at_the_limit.changed.sum() == 0
        assert at_the_limit.unplanned.sum(axis=0)[89] == 50  # 1,790 h: the 90th day

    def test_the_second_side_takes_the_spare(self) -> None:
        found = self.run(self.sure(), Looked(sides=2), [1010.0])
        assert found.turned is not None
        # worn on day 40, turned; the second side outlasts the season
        assert found.unplanned.sum(axis=0)[39] == found.turned.sum(axis=0)[39] == 50
        last = self.run(self.sure(), Looked(sides=2), [1010.0], side=np.array([1]))
        assert last.turned is not None
        assert last.unplanned.sum() == 50
        assert last.turned.sum() == 0

    def test_a_broken_piece_cannot_be_turned(self) -> None:
        found = self.run(weibull(2.0, 500.0, 50), Looked(sides=2), [0.0, 100.0])
        assert found.unplanned.sum() > 0
        assert found.turned is not None
        assert found.turned.sum() == 0

    def test_lost_product_is_the_integral_of_the_depth_above_where_it_begins(self) -> None:
        """From 0.4 mm (600 h) to the limit (1,800 h): 0.002 x 0.0005 x 1200^2 / 2 = 0.72."""
        looked = Looked(loss=ProductLoss(from_mm=0.4, per_mm_per_hour=0.002))
        found = self.run(self.sure(), looked, [0.0])
        assert found.loss is not None
        after = 2380.0 - 1800.0  # the successor's hours: it stays under 0.4 mm until 600 h
        assert after < 600.0
        np.testing.assert_allclose(found.loss, 0.72, rtol=1e-5)

    def test_the_chance_to_be_over_a_depth_is_that_of_drawn_lives(self) -> None:
        law = Earliest((wearing(4000), weibull(2.0, 9000.0, 4000)))
        pieces, ahead = of_ages([300.0, 1200.0, 2200.0]), np.array([500.0, 500.0, 200.0])
        told = chance_over(law, pieces, ahead, np.full(3, 0.7))
        for row in range(3):
            hours = np.array([ahead[row]])
            found = follow_pieces(
                law,
                pieces.take(np.array([row])),
                np.array([1]),
                hours,
                np.array([-1]),
                np.array([np.inf]),
                np.array([0]),
                np.random.default_rng(row),
                Looked(0.7, np.ones(1, dtype=bool)),
            )
            assert found.changed.mean() == pytest.approx(told[row], abs=0.03)

    def test_readings_of_its_own_tell_when_a_piece_is_over(self) -> None:
        law = self.sure(own_left=np.full((1, 50), 700.0), own_rate=np.full((1, 50), 1e-3))
        pieces = Pieces(
            np.zeros(1, dtype=np.int64), np.array([900.0]), np.array([[900.0]]),
            np.zeros(1, dtype=np.int64), np.zeros(1, dtype=bool),
        )  # fmt: skip
        # 0.3 mm now, 0.8 after 500 h
        assert chance_over(law, pieces, np.array([499.0]), np.array([0.8]))[0] == 0
        assert chance_over(law, pieces, np.array([501.0]), np.array([0.8]))[0] == 1
        found = follow_pieces(
            law, pieces, np.array([1]), self.HOURS, np.array([-1]), np.full(17, np.inf),
            self.WINDOWS, np.random.default_rng(1), Looked(0.8, np.ones(17, dtype=bool)),
        )  # fmt: skip
        assert found.changed.sum(axis=0)[3] == 50  # 560 h: the first window after 500 h
