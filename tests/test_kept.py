"""Kept forecasts: equal types and values come back; the same inputs are kept once."""

import runpy
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.errors import NotInStore
from forecast.records.season import EXHIBITS, RESULTS
from forecast.store.cells import from_rows, to_rows
from forecast.store.opening import open_store
from forecast.store.seasons import find_season, load_season, save_season

example = runpy.run_path(str(Path(__file__).parent / "season_example.py"))["example"]


@pytest.fixture
def address(tmp_path):
    return str(tmp_path / "store.duckdb")


def equal(one, other) -> None:
    assert one.stamp == other.stamp
    names = ("season_from", "season_until", "currency", "number")
    assert [getattr(one, name) for name in names] == [getattr(other, name) for name in names]
    for declared, here, there in (
        (RESULTS, one.results, other.results),
        (EXHIBITS, one.exhibits, other.exhibits),
    ):
        for name in declared:
            pd.testing.assert_frame_equal(here[name], there[name], obj=name, check_exact=True)


def test_a_forecast_comes_back_as_it_was(address):
    forecast = example()
    with open_store(address, write=True) as store:
        kept = save_season(store, forecast)
    assert kept.number == 1
    with open_store(address) as store:
        equal(load_season(store), kept)
        equal(load_season(store, 1), replace(forecast, number=1))


def test_equal_inputs_are_kept_once_and_others_get_the_next_number(address):
    forecast = example()
    other = replace(forecast, stamp=replace(forecast.stamp, seed=forecast.stamp.seed + 1))
    with open_store(address, write=True) as store:
        assert find_season(store, forecast.stamp.digest()) is None
        first = save_season(store, forecast)
        again = save_season(store, replace(forecast, currency="another result of equal inputs"))
        second = save_season(store, other)
        equal(again, first)
        assert second.number == 2
        found = find_season(store, other.stamp.digest())
        assert found is not None
        equal(found, second)
        assert load_season(store).number == 2


def test_an_unknown_number_says_what_there_is(address):
    with open_store(address, write=True) as store:
        with pytest.raises(NotInStore, match="keeps no forecast yet") as caught:
            load_season(store, 1)
        assert "wearahead season" in caught.value.way_out
        save_season(store, example())
        with pytest.raises(NotInStore, match=r"no forecast 7 .* it keeps 1 ") as caught:
            load_season(store, 7)
        assert caught.value.nearest == "1"


FRAMES = {
    "empty": pd.DataFrame({"a": pd.Series(dtype="float64"), "b": pd.Series(dtype=object)}),
    "no columns": pd.DataFrame(),
    "numbers": pd.DataFrame(
        {"x": [0.1 + 0.2, np.nan, np.inf, -0.0], "n": [1, -(2**62), 0, 3], "f": [True, False] * 2}
    ),
    "narrow": pd.DataFrame({"i": np.array([1, 2], "int32"), "x": np.array([0.1, 1], "float32")}),
    "times": pd.DataFrame(
        {
            "ns": pd.to_datetime(["2026-08-03 07:00:00.123456789", None]),
            "us": pd.to_datetime(["2026-08-03", "2026-08-04"]).astype("datetime64[us]"),
        }
    ),
    "things": pd.DataFrame(
        {
            "a": pd.Series(["é\n'\"", "", "1"], dtype=object),
            "b": pd.Series([None, float("nan"), float("inf")], dtype=object),
            "c": pd.Series([date(2026, 8, 3), datetime(2026, 8, 3, 7, 30), 1], dtype=object),
            "d": pd.Series([Decimal("1.50"), True, np.int64(3)], dtype=object),
            "e": pd.Series([["x", 1.5], [], pd.NaT], dtype=object),
            "f": pd.Series(
                [pd.Timestamp("2026-08-03"), np.float64(0.1), np.bool_(False)], dtype=object
            ),
        }
    ),
    "category": pd.DataFrame({"k": pd.Series(["b", "a"], dtype="string")}),
}


@pytest.mark.parametrize("name", FRAMES)
def test_every_frame_round_trips(name):
    frame = FRAMES[name]
    rows = list(to_rows(frame))
    assert [number for number, _ in rows] == list(range(len(frame) + 1))
    back = from_rows([content for _, content in rows])
    pd.testing.assert_frame_equal(back, frame, check_exact=True, check_column_type=False)
    for column in frame:
        kinds = [type(cell) for cell in back[column]]
        expected = [getattr(cell, "item", lambda cell=cell: cell)() for cell in frame[column]]
        if frame[column].dtype == object:
            assert kinds == [type(cell) for cell in expected]


def test_what_cannot_be_kept_is_refused():
    with pytest.raises(TypeError, match="type object"):
        list(to_rows(pd.DataFrame({"a": [object()]})))
