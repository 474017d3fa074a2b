"""Pressure, speed, PV and expected wear against the worked examples TRADE-E2 and E3."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from forecast.physics.duty import pressure, pv, specific_wear_rate, speed, wear_depth

TRADE = json.loads((Path(__file__).parent / "published" / "trade_examples.json").read_text())


def test_pressure_speed_and_pv_of_a_bush() -> None:
    """TRADE-E2: 500 N on a bush 30 x 40 mm at 60 r/min (definitions; ISO 7148-2 for the forms)."""
    example = TRADE["E2"]
    p = pressure(example["F_N"], diameter_mm=example["d_mm"], length_mm=example["L_mm"])
    v = speed(example["d_mm"], example["n_rpm"])
    assert p == pytest.approx(example["p_MPa"], rel=1e-12)
    assert v == pytest.approx(example["v_m_s"], rel=1e-12)
    assert pv(p, v) == pytest.approx(example["pv_MPa_m_s"], rel=1e-12)


def test_season_wear_from_a_us_wear_factor() -> None:
    """TRADE-E3: K 35e-10 in3 min/(ft lbf h) over 2160 h: 0.2152943846612252 mm."""
    example, bush = TRADE["E3"], TRADE["E2"]
    k = specific_wear_rate(35, "1e-10 in3 min/(ft lbf h)")
    assert k == pytest.approx(example["k_mm3_per_Nm"], rel=1e-12)
    depth = wear_depth(k, bush["p_MPa"], bush["v_m_s"], example["t_h"])
    assert depth == pytest.approx(example["h_mm"], rel=1e-12)
    assert 1000 * depth / example["t_h"] == pytest.approx(example["rate_um_per_h"], rel=1e-12)


def test_season_wear_of_the_unfilled_grade() -> None:
    """TRADE-E3b: the same bush unfilled, K 210e-10: 1.2917663079673514 mm."""
    k = specific_wear_rate(210e-10, "in3 min/(ft lbf h)")
    assert k == pytest.approx(TRADE["E3b_unfilled_PET"]["k"], rel=1e-12)
    depth = wear_depth(k, TRADE["E2"]["p_MPa"], TRADE["E2"]["v_m_s"], 2160)
    assert depth == pytest.approx(TRADE["E3b_unfilled_PET"]["h_mm"], rel=1e-12)


def test_wear_factor_units() -> None:
    """TRADE 1.2: 1 mm3/(N m) is 1e-9 m2/N, and the US unit is 201.44130240306833 of it."""
    assert specific_wear_rate(1, "m2/N") == pytest.approx(1e9)
    assert specific_wear_rate(1, "1e-15 m2/N") == pytest.approx(1e-6)
    assert specific_wear_rate(5, "1e-6 mm3/(N m)") == pytest.approx(5e-6)
    expected = TRADE["K_US_unit_in_mm3_per_Nm"]
    assert specific_wear_rate(1, "in3 min/(ft lbf h)") == pytest.approx(expected, rel=1e-14)


@pytest.mark.parametrize("unit", ["furlong", "1e-10", "", "1e-6 mm/N"])
def test_unknown_unit_names_the_known_ones(unit: str) -> None:
    with pytest.raises(ValueError, match="known are mm3"):
        specific_wear_rate(1.0, unit)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_wear_factor_must_be_positive(value: float) -> None:
    with pytest.raises(ValueError, match="positive number"):
        specific_wear_rate(value, "m2/N")


def test_arrays_pass_through() -> None:
    depths = wear_depth(1e-6, np.array([0.1, 0.2]), 0.5, np.array([100.0, 100.0]))
    assert depths == pytest.approx([0.018, 0.036])
    with pytest.raises(ValueError, match="area should be positive"):
        pressure(1.0, diameter_mm=0.0, length_mm=1.0)
