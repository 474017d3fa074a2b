"""Sizes at 20 C: the trade examples, and the same formulas in Python and in SQL."""

import json
from itertools import product
from math import isnan
from pathlib import Path

import duckdb
import pytest

import sql
from forecast.physics.sizes import (
    clearance,
    close_in,
    dry_size,
    pressed_bore_at_20c,
    size_at_20c,
    wear_from_reading,
)

EXAMPLES = json.loads((Path(__file__).parent / "published" / "trade_examples.json").read_text())


def test_a_free_bush_read_hot_is_smaller_than_it_seems():
    """Published check: TRADE E6, a 30 mm PET bush read at 60 C with a caliper of 25 C."""
    example = EXAMPLES["E6"]
    size = size_at_20c(30.35, 60, 25, example["alpha_part"], example["alpha_gauge"])
    assert size == pytest.approx(example["d20"], abs=1e-9)
    assert 30.35 - size == pytest.approx(example["correction"], abs=1e-9)
    assert wear_from_reading("bore", size, 30.1, None) == pytest.approx(
        example["true_wear"], abs=1e-9
    )
    cold = size_at_20c(30.35, 60, 20, example["alpha_part"])
    assert cold == pytest.approx(example["d20_no_gauge_term"], abs=1e-9)


def test_the_remaining_thickness_of_a_hot_strip_hides_wear():
    """Published check: TRADE E6b."""
    example = EXAMPLES["E6b"]
    size = size_at_20c(example["read"], example["T"], part_cte=example["alpha"])
    assert size == pytest.approx(example["th20"], abs=1e-9)
    wear = wear_from_reading("remaining", size, None, example["nominal"])
    assert wear == pytest.approx(example["wear"], abs=1e-9)


def test_a_wet_bush_is_larger_than_dry():
    """Published check: TRADE E7, PA6 at 3 % water: 0.225 mm on 30 mm."""
    example = EXAMPLES["E7"]
    swelling = 100 * example["linear_per_pct"] * example["w_pct"]
    assert dry_size(30.30, swelling) == pytest.approx(
        example["dry_from_conditioned_30_30"], abs=1e-9
    )
    assert 30 * swelling / 100 == pytest.approx(example["growth_mm"])


def test_a_bush_pressed_in_closes_by_the_area_rule():
    """Published check: TRADE E8."""
    example = EXAMPLES["E8"]
    closes = close_in(example["interference"], example["housing"], example["bore_free"])
    assert closes == pytest.approx(example["closure_area"], abs=1e-9)
    assert example["bore_free"] - closes == pytest.approx(example["bore_after_area"], abs=1e-9)
    rule = example["interference"] * example["housing"] / example["bore_free"]
    assert closes == pytest.approx(rule, rel=0.01)
    assert clearance(30.15, 30.0) == pytest.approx(0.15)


def test_the_bore_of_a_pressed_bush_closes_when_hot():
    """Published check: TRADE E9, area rule: 0.0224 mm from 20 to 60 C."""
    example = EXAMPLES["E9"]
    hot = example["d"] + example["bore_change_area"]
    housing = (example["D"], example["alpha_housing"])
    cold = pressed_bore_at_20c(hot, 20 + example["dT"], example["alpha_bush"], *housing)
    assert cold == pytest.approx(example["d"], abs=1e-9)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="does not fit"):
        pressed_bore_at_20c(37.0, 60, 8e-5, 36.0, 1.15e-5)
    with pytest.raises(ValueError, match="closes a bore"):
        close_in(30.0, 36.0, 5.0)
    with pytest.raises(ValueError, match="'thickness' is none of"):
        wear_from_reading("thickness", 1.0, None, None)
    assert isnan(wear_from_reading("bore", 30.0, None, None))


@pytest.fixture(scope="module")
def macros():
    connection = duckdb.connect()
    for name in sql.names("macros")[:11]:
        connection.execute(sql.statement(name))
    yield connection
    connection.close()


def asked(connection, call: str, *values):
    return connection.execute(f"SELECT {call}", list(values)).fetchone()[0]


def test_macros_and_python_agree_on_a_grid(macros):
    temperatures = (-5.0, 20.0, 41.5, 60.0)
    for size, part, gauge, cte in product(
        (0.4, 9.62, 30.35), temperatures, (15.0, 20.0), (0, 8e-5)
    ):
        found = asked(macros, "size_at_20c(?, ?, ?, ?, 11.5e-6)", size, part, gauge, cte)
        assert found == pytest.approx(size_at_20c(size, part, gauge, cte), rel=1e-14)
    for bore, part, cte in product((29.0, 30.2, 35.5), temperatures, (5e-5, 1e-4)):
        call = "pressed_bore_at_20c(?, ?, ?, 36.0, 11.5e-6)"
        expected = pressed_bore_at_20c(bore, part, cte, 36.0, 11.5e-6)
        assert asked(macros, call, bore, part, cte) == pytest.approx(expected, rel=1e-14)
    assert asked(macros, "pressed_bore_at_20c(37.0, 60, 8e-5, 36.0, 1.15e-5)") is None
    for size, swelling in product((9.9, 30.3), (0.0, 0.75, 2.1)):
        found = asked(macros, "dry_size(?, ?)", size, swelling)
        assert found == pytest.approx(dry_size(size, swelling), rel=1e-14)
    kinds = ("wear_depth", "remaining", "diameter", "bore", "clearance", "pitch")
    for kind, value, fitted, nominal in product(kinds, (0.3, 30.4), (None, 30.1), (None, 30.0)):
        found = asked(macros, "wear_from_reading(?, ?, ?, ?)", kind, value, fitted, nominal)
        expected = wear_from_reading(kind, value, fitted, nominal)
        assert found is None if isnan(expected) else found == pytest.approx(expected, rel=1e-14)
