"""The laws that planning knows, each against plain simulation of what it says."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.planning.draws import Earliest, LifeDraws, Pieces, WearDraws, WeibullDraws

DRAWS = 500
SEEN = np.array([0.0, 900.0, 2500.0])


def pieces(own: bool = False) -> Pieces:
    ran = np.column_stack([SEEN * 0.6, SEEN * 0.4])
    rows = np.arange(3) if own else np.full(3, -1)
    return Pieces(np.array([0, 1, 1]), SEEN, ran, rows, np.zeros(3, dtype=bool))


def worn(own_left: np.ndarray | None = None) -> WearDraws:
    return WearDraws(
        level=np.full(DRAWS, np.log(0.3e-3)),
        season_levels=np.log(np.array([0.25e-3, 0.3e-3]))[:, None] * np.ones(DRAWS),
        machine_effect=np.array([[0.0], [0.1]]) * np.ones(DRAWS),
        piece_sd=0.2,
        offset=0.08,
        offset_sd=0.04,
        limit_mm=np.ones(DRAWS),
        future_sd=0.0,
        own_left=own_left,
    )


def broken() -> WeibullDraws:
    return WeibullDraws(np.full(DRAWS, 2.2), np.full(DRAWS, 5000.0))


LAWS = [broken(), worn(), Earliest((worn(), broken())), Earliest((broken(), worn(), broken()))]


def test_left_agrees_with_survival() -> None:
    rng = np.random.default_rng(1)
    ahead = np.array([1800.0, 1500.0, 700.0])
    for law in LAWS:
        left = np.concatenate([law.left(pieces(), rng) for _ in range(80)], axis=1)
        chance = law.survival(pieces(), ahead).mean(axis=1)
        error = np.sqrt(chance * (1 - chance) / left.shape[1])
        np.testing.assert_array_less(
            np.abs((left > ahead[:, None]).mean(axis=1) - chance), 4 * error
        )


def test_ending_is_left_given_that_the_piece_ends_in_time() -> None:
    rng = np.random.default_rng(2)
    ahead = np.array([1800.0, 1500.0, 700.0])
    row, draw = np.repeat(np.arange(3), DRAWS * 40), np.tile(np.arange(DRAWS), 3 * 40)
    for law in LAWS:
        left = np.concatenate([law.left(pieces(), rng) for _ in range(160)], axis=1)
        ending = law.ending(pieces(), row, draw, ahead[row], rng).reshape(3, -1)
        for at in range(3):
            ended = left[at][left[at] <= ahead[at]]
            for share in (0.2, 0.5, 0.8):
                point = np.quantile(ended, share)
                found = (ending[at] <= point).mean()
                error = np.sqrt(0.25 / len(ended) + 0.25 / ending.shape[1])
                assert abs(found - share) < 4 * error


def test_new_lives_agree_with_the_hazard() -> None:
    rng = np.random.default_rng(3)
    draw = np.tile(np.arange(DRAWS), 200)
    ages = np.array([1500.0, 3000.0])
    for law in LAWS:
        lives = law.new(np.ones(len(draw), dtype=np.int64), draw, rng)
        chance = np.exp(-law.hazard(1, ages)).mean(axis=1)
        error = np.sqrt(chance * (1 - chance) / len(draw))
        found = (lives[:, None] > ages).mean(axis=0)
        np.testing.assert_array_less(np.abs(found - chance), 4 * error)


def test_wear_agrees_with_depths_grown_one_by_one() -> None:
    """Offset and rate drawn, depth = offset + rate x hours, survivors kept: METHODS2 1.1."""
    rng = np.random.default_rng(4)
    offset = 0.08 + 0.04 * rng.standard_normal(400_000)
    own = np.exp(0.2 * rng.standard_normal(400_000) + 0.1)
    before = 0.6 * 2500 * 0.25e-3 + 0.4 * 2500 * 0.3e-3
    alive = offset + own * before < 1.0
    left = ((1.0 - offset - own * before) / (own * 0.3e-3))[alive]
    found = worn().survival(pieces(), np.full(3, 700.0))[2].mean()
    assert found == pytest.approx((left > 700).mean(), abs=0.004)


def test_pieces_with_readings_follow_their_own_paths() -> None:
    rng = np.random.default_rng(5)
    own_left = rng.uniform(0, 2000, (3, DRAWS))
    law = worn(own_left)
    np.testing.assert_array_equal(law.left(pieces(own=True), rng), own_left)
    ahead = np.full(3, 800.0)
    np.testing.assert_array_equal(law.survival(pieces(own=True), ahead), own_left > 800)


def test_a_piece_long_overdue_has_nothing_left_but_stays_finite() -> None:
    old = Pieces(
        np.array([0]), np.array([1e6]), np.array([[1e6, 0.0]]), np.array([-1]), np.array([False])
    )
    left = worn().left(old, np.random.default_rng(6))
    assert np.isfinite(left).all()
    assert (worn().survival(old, np.array([100.0])) <= 1.0).all()


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: WeibullDraws(np.ones(3), np.ones(4)),
        lambda: WeibullDraws(np.ones(3), np.zeros(3)),
        lambda: Earliest((broken(), WeibullDraws(np.ones(3), np.ones(3)))),
        lambda: WearDraws(
            np.ones(3), np.ones((2, 4)), np.ones((1, 3)), 0.1, 0.0, 0.0, np.ones(3), 0.0
        ),
    ],
)
def test_laws_that_do_not_fit_together_are_refused(wrong: object) -> None:
    with pytest.raises(ValueError, match=r"draw"):
        assert callable(wrong)
        law: LifeDraws = wrong()
        assert law.draws
