"""Numbers, days and chances in words."""

from __future__ import annotations

import math
from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from reports import words


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.08, "1 in 12"),
        (1 / 12, "1 in 12"),
        (0.95, "19 in 20"),
        (0.5, "1 in 2"),
        (0.4, "2 in 5"),
        (0.667, "2 in 3"),
        (0.2, "1 in 5"),
        (0.8, "4 in 5"),
        (0.043, "1 in 25"),
        (0.0031, "1 in 300"),
        (0.007, "1 in 150"),
        (0.991, "99 in 100"),
        (0.0, "under 1 in 1,000"),
        (1.0, "over 999 in 1,000"),
        (math.nan, ""),
    ],
)
def test_a_chance_is_counted(chance: float, said: str) -> None:
    assert words.one_in(chance) == said


def test_a_chance_is_never_called_zero_or_certain() -> None:
    assert words.chance(0.0) == "under 0.1 %"
    assert words.percent(0.9996) == "over 99.9 %"
    assert words.percent(0.995) == "99.5 %"
    assert words.chance(0.083) == "8 % (1 in 12)"


def test_counts_have_sensible_digits() -> None:
    assert [words.count(v) for v in (3.42, 12.6, 1240.2, 2.0, None)] == [
        "3.4",
        "13",
        "1,240",
        "2",
        "",
    ]
    assert words.about(12345) == "12,300"
    assert words.about(988.4) == "988"
    assert words.digits(0.047612) == "0.0476"
    assert words.digits(99.96) == "100.0"
    assert words.digits(math.inf) == "no end"


def test_days_in_any_shape() -> None:
    for shape in (
        date(2026, 9, 6),
        datetime(2026, 9, 6, 7),
        pd.Timestamp("2026-09-06"),
        "2026-09-06",
        "2026-09-06T00:00:00",
    ):
        assert words.day(shape, weekday=True) == "Sun 6 Sep"
    assert words.day(pd.NaT) == ""
    assert words.day(date(2026, 9, 6), year=True) == "6 Sep 2026"


def test_money_and_lists() -> None:
    assert words.money(12400.4, "EUR") == "€12,400"
    assert words.money(12.5, "CHF") == "CHF 12.50"
    assert words.money(np.nan, "EUR") == ""
    assert words.listed(list("ABC")) == "A, B and C"
    assert words.listed(list("ABCDEF")) == "A, B, C and 3 more"
    assert words.plural(1, "piece") == "1 piece"
    assert words.plural(40, "piece") == "40 pieces"
