"""Lives: what is accepted, what is refused with its value, and how kinds are counted."""

import numpy as np
import pytest

from forecast.life.lives import Lives

INF = np.inf


def test_kinds_are_told_apart_and_counted() -> None:
    lives = Lives(
        [5, 3, 0, 7, 2], [5, INF, 4, 9, INF], entry=[1, 0, 0, 2, 1], weight=[1, 2, 1, 1, 1]
    )
    assert lives.exact.tolist() == [True, False, False, False, False]
    assert lives.between.tolist() == [False, False, True, True, False]
    assert lives.suspended.tolist() == [False, True, False, False, True]
    assert lives.failures == 3
    assert str(lives) == ("6 lives: 1 exact, 2 between inspections, 3 suspensions, 3 entered late")
    assert str(Lives([5], [5])) == "1 life: 1 exact"
    assert str(Lives([], [])) == "0 lives"
    assert str(Lives([5], [INF], weight=[0.5])) == "0.5 lives: 0.5 suspensions"


def test_sums_and_choice_of_rows() -> None:
    lives = Lives([5, 3, 0], [5, INF, 4], entry=[1, 0, 0], weight=[1, 2, 1])
    assert lives.exposure == 4 + 6 + 4
    assert lives.oldest == 5
    assert (lives.count, len(lives)) == (4, 3)
    only = lives.only(np.array([False, True, True]))
    assert only.lower.tolist() == [3, 0]
    assert only.weight.tolist() == [2, 1]


def test_rows_cannot_be_changed_afterwards() -> None:
    ages = np.array([1.0, 2.0])
    lives = Lives(ages, ages)
    ages[0] = 99
    assert lives.lower[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        lives.lower[0] = 3
    with pytest.raises(AttributeError):
        lives.lower = ages  # type: ignore[misc]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (([1, -2], [1, INF]), "lower must be finite and not negative, but row 1 has -2"),
        (([np.nan], [1]), "lower must be finite and not negative, but row 0 has nan"),
        (([1], [np.nan]), "upper must be an age, or infinite, but row 0 has nan"),
        (([5, 3], [5, 2]), "upper must not lie below lower, but row 1 has 2 against 3"),
        (([0], [0]), "a failure must have an age above 0, but row 0 has 0"),
        (([5], [INF], [6]), "entry must not lie above lower, but row 0 has 6 against 5"),
        (([5], [5], [5]), "entry must lie below upper, but row 0 has 5 against 5"),
        (([5], [5], [-1]), "entry must be finite and not negative, but row 0 has -1"),
        (([5], [5], None, [0]), "weight must be finite and positive, but row 0 has 0"),
        (([5, 6], [5]), "lower has 2 rows but upper has 1"),
        (([[5]], [5]), r"lower must be one-dimensional but has shape \(1, 1\)"),
    ],
)
def test_faulty_rows_are_refused_with_their_value(arguments: tuple, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Lives(*arguments)
