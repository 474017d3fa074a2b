"""TRADE E1 to E16, one by one: geometries, heat, clearances, rates and shapes."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

from forecast.life.lives import Lives
from forecast.life.weibull import fit_weibull
from forecast.physics.attack import attacks, family
from forecast.physics.duty import (
    bush,
    elongation_percent,
    guide_strip,
    oscillating_bush,
    pad,
    specific_wear_rate,
    stroke_wear,
    thrust_washer,
    turning_sleeve,
    us_wear_factor,
    wear_depth,
)
from forecast.physics.heat import (
    POISSON,
    PressedBush,
    arrhenius,
    assembly_clearance,
    derated_pv,
    friction_heat,
    heat_flux,
    moisture_growth,
    press_fit,
    pressed_bore,
    running_clearance,
)
from forecast.physics.materials import UNITS, read_materials
from forecast.physics.sizes import close_in
from forecast.physics.units import convert
from forecast.planning.policy import best_age, cost_by_age
from forecast.wear.equivalents import equivalent_shape, rate_sd

TRADE = json.loads((Path(__file__).parent / "published" / "trade_examples.json").read_text())
K = TRADE["E3"]["k_mm3_per_Nm"]
close = pytest.approx


def test_e1_exact_factors() -> None:
    """TRADE-E1: conversions from the definitions of inch, foot and pound-force."""
    one = {"psi_ft": convert(1, "MPa m/s", "psi ft/min"), "us": TRADE["K_US_unit_in_mm3_per_Nm"]}
    assert one["psi_ft"] == close(TRADE["MPa_m_per_s_in_psi_ft_per_min"], rel=1e-14)
    assert convert(1, "psi", "MPa") * 1e6 == close(TRADE["psi_in_Pa"], rel=1e-14)
    assert convert(1, "ft/min", "m/s") == TRADE["ft_per_min_in_m_per_s"]
    assert convert(1, "kgf/cm2", "MPa") == close(TRADE["kgf_per_cm2_in_MPa"], rel=1e-14)
    old = convert(1, "N/cm2 m/min", "MPa m/s")
    assert old == close(TRADE["N_per_cm2_times_m_per_min_in_MPa_m_per_s"], rel=1e-14)
    assert specific_wear_rate(1, "in3 min/(ft lbf h)") == close(one["us"], rel=1e-14)
    assert us_wear_factor(1e-6) == close(TRADE["1e-6_mm3_per_Nm_in_1e-10_US"], rel=1e-14)
    # a compounder's table printed twice, US x1e-10 and metric x1e-8: within one printed unit
    for us, metric in ((13, 26), (61, 122), (132, 265), (11, 22), (41, 82)):
        ours = specific_wear_rate(us, "1e-10 in3 min/(ft lbf h)") * 1e8
        assert abs(ours - metric) < 1


def test_e2_bush() -> None:
    """TRADE-E2: 500 N on a bush 30 x 40 mm at 60 r/min."""
    found, example = bush(500, 30, 40, 60), TRADE["E2"]
    assert found.pressure_mpa == close(example["p_MPa"], rel=1e-12)
    assert found.speed_m_s == close(example["v_m_s"], rel=1e-12)
    assert found.pv_mpa_m_s == close(example["pv_MPa_m_s"], rel=1e-12)
    assert convert(found.pressure_mpa, "MPa", "psi") == close(example["p_psi"], rel=1e-12)
    assert convert(found.speed_m_s, "m/s", "ft/min") == close(example["v_fpm"], rel=1e-12)
    pv_us = convert(found.pv_mpa_m_s, "MPa m/s", "psi ft/min")
    assert pv_us == close(example["pv_psi_fpm"], rel=1e-12)


def test_e3_season_wear_of_bush_and_turning_sleeve() -> None:
    """TRADE-E3 and E3c: 2160 h; the sleeve's bore grows by 2 k p s / pi in diameter."""
    example, contact = TRADE["E3"], bush(500, 30, 40, 60)
    depth = contact.depth(K, 2160)
    assert depth == close(example["h_mm"], rel=1e-12)
    assert contact.speed_m_s * 2160 * 3600 == close(example["sliding_distance_m"], rel=1e-12)
    us = 3.5e-9 * TRADE["E2"]["p_psi"] * TRADE["E2"]["v_fpm"] * 2160  # inches
    assert convert(us, "in", "mm") == close(depth, rel=1e-12)
    assert contact.specific_wear_rate(depth / 2160) == close(K, rel=1e-12)
    sleeve, turned = turning_sleeve(500, 30, 40, 60), TRADE["E3c_rotating_sleeve"]
    assert sleeve.depth(K, 2160) == close(turned["radial_wear_mm"], rel=1e-12)
    grows = sleeve.diametral * sleeve.depth(K, 2160)
    assert grows == close(turned["diametral_clearance_growth_mm"], rel=1e-12)
    unfilled = TRADE["E3b_unfilled_PET"]
    assert contact.depth(unfilled["k"], 2160) == close(unfilled["h_mm"], rel=1e-12)


def test_e4_thrust_washer() -> None:
    """TRADE-E4: 60/32 mm, 400 N, 60 r/min."""
    found, example = thrust_washer(400, 60, 32, 60), TRADE["E4"]
    assert found.pressure_mpa == close(example["p_MPa"], rel=1e-12)
    assert found.speed_m_s == close(example["v_mean_m_s"], rel=1e-12)
    assert found.pv_mpa_m_s == close(example["pv"], rel=1e-12)
    assert found.depth(K, 2160) == close(example["h_mm_2160h"], rel=1e-12)
    with pytest.raises(ValueError, match="smaller hole"):
        thrust_washer(400, 30, 32, 60)


def test_e5_chain_pad_and_guide_strip() -> None:
    """TRADE-E5: pads of 20 x 50 mm at 125 mm, 60 N, 0.5 m/s, k 1e-6."""
    example = TRADE["E5"]
    assert pad(60, 20, 50, 0.5).depth(1e-6, 2160) == close(example["pad_h_mm"], rel=1e-12)
    strip = guide_strip(60, 20, 50, 125, 0.5)
    assert strip.share == close(example["strip_duty"])
    assert strip.depth(1e-6, 2160) == close(example["strip_h_mm"], rel=1e-12)
    with pytest.raises(ValueError, match="pitch"):
        guide_strip(60, 20, 50, 40, 0.5)


def test_a_swinging_bush_and_strokes() -> None:
    """Mean speed 2 theta d f (two sweeps of 2 theta d / 2 a cycle); strokes: h = k p s n."""
    found = oscillating_bush(500, 30, 40, 45, 1.0)
    assert found.speed_m_s == close(2 * (math.pi / 4) * 0.030)
    assert found.pressure_mpa == close(500 / 1200)
    assert stroke_wear(1e-6, 0.5, 0.04, 1e6) == close(wear_depth(1e-6, 0.5, 0.04, 1e6 / 3600))


def test_e6_and_e7_moisture() -> None:
    """TRADE-E7: 30 mm of PA6 at 3 % water grow by 0.225 mm (E6: test_sizes)."""
    example = TRADE["E7"]
    grown = moisture_growth(example["d"], example["w_pct"], example["linear_per_pct"])
    assert grown == close(example["growth_mm"], rel=1e-12)


def test_e8_press_fit() -> None:
    """TRADE-E8: D 36, bore 30, one maker's sizing rule."""
    example = TRADE["E8"]
    assert press_fit(36) == close(example["interference"], rel=1e-12)
    assert pressed_bore(30, 36 + press_fit(36), 36) == close(example["bore_after_area"], rel=1e-12)
    assert assembly_clearance(3) == close(example["assembly_clearance_rule"], rel=1e-12)


@pytest.mark.parametrize("number", [0, 1, 2])
def test_e9_running_clearance_at_60_c(number: int) -> None:
    """TRADE-E9: the bore closes and the shaft grows; three models."""
    example = TRADE["E9"]
    model = ("axial_free", "area", "axial_fixed")[number]
    held = PressedBush(36, 30, example["alpha_bush"], example["alpha_housing"])
    change = held.bore_change(60, model)
    assert change == close(example[f"bore_change_{model}"], rel=1e-9)
    shaft = 30 * example["alpha_shaft"] * 40
    assert shaft - change == close(example[f"clearance_loss_{model}"], rel=1e-9)
    # the example's shaft grows from its nominal 30 mm; a shaft 0.15 mm thinner hardly less
    left = PressedBush(36, 30, held.bush_cte, held.housing_cte).clearance(
        29.85, example["alpha_shaft"], 60, model
    )
    assert left == close(example["running_clearance_from_0.15"][number], abs=1.1e-4)


def test_e9_a_sheer_heat_leaves_no_bore() -> None:
    with pytest.raises(ValueError, match="none of area"):
        PressedBush(36, 30, 8e-5, 1e-5).bore_change(60, "guess")
    with pytest.raises(ValueError, match="no bore left"):
        PressedBush(36, 1, 1e-3, 0).bore_change(60)


def test_e10_heat() -> None:
    """TRADE-E10: friction 0.19 on the bush of E2."""
    contact = bush(500, 30, 40, 60)
    assert friction_heat(0.19, 500, contact.speed_m_s) == close(TRADE["E10"]["Q_W"], rel=1e-12)
    flux = heat_flux(0.19, contact.pressure_mpa, contact.speed_m_s)
    assert flux == close(TRADE["E10"]["q_W_per_cm2"], rel=1e-12)
    assert derated_pv(0.1, 20, 100) == 0.1
    assert derated_pv(0.1, 62.5, 100) == close(0.05)
    assert derated_pv(0.1, 130, 100) == 0.0


def test_e11_chain_elongation() -> None:
    """TRADE-E11: ten pitches of 100 mm read 1012.0."""
    example = TRADE["E11"]
    assert elongation_percent(1012.0, 100.0, 10) == close(example["elong_pct"])
    assert elongation_percent(example["limit2_mm"], 100.0, 10) == close(2.0)


def test_e12_how_sure_a_rate_is() -> None:
    """TRADE-E12: a gauge sd of 0.03 mm; two readings, and weekly ones."""
    for hours in (168, 504, 1008, 2160):
        expected = TRADE["E12"][f"{hours}h"]["sd_rate_um_h"]
        assert 1000 * rate_sd(0.03, [0, hours]) == close(expected, rel=1e-12)
    for weeks, expected in TRADE["E12"]["OLS_weekly"].items():
        times = 168.0 * np.arange(int(weeks))
        assert 1000 * rate_sd(0.03, times) == close(expected, rel=1e-9)
    with pytest.raises(ValueError, match="different times"):
        rate_sd(0.03, [5, 5])


def test_e13_weibull() -> None:
    """TRADE-E13: shape 3, scale 2500 (one failure at 2500 h with a fixed shape has this scale)."""
    life, example = fit_weibull(Lives([2500.0], [2500.0]), shape=3.0), TRADE["E13"]
    assert life.scale == close(2500.0, rel=1e-12)
    at = lambda hours: float(life.survival(np.array([hours]))[0])  # noqa: E731
    assert at(2160.0) == close(example["R2160"], rel=1e-12)
    assert life.b_life(10) == close(example["B10"], rel=1e-12)
    assert life.quantile(0.5) == close(example["median"], rel=1e-12)
    assert at(2660.0) / at(500.0) == close(example["R2160_given_500"], rel=1e-12)
    assert at(3660.0) / at(1500.0) == close(example["R2160_given_1500"], rel=1e-12)


def test_e14_shape_equivalents() -> None:
    """TRADE-E14: the scatter of wear rates alone implies a shape."""
    for cv, expected in TRADE["E14"].items():
        assert equivalent_shape(float(cv)) == close(expected["beta_equiv"], rel=1e-12)


def test_e15_age_replacement() -> None:
    """TRADE-E15: shape 3, scale 2500, costs 1 and 5 (also test_planning_policy)."""
    example = TRADE["E15"]
    best = best_age(3, 2500, 1, 5)
    assert best.age == close(example["T_opt_h"], abs=2)
    assert best.cost_rate == close(example["cost_rate_opt"], rel=1e-6)
    even = (np.arange(200_000) + 0.5) / 200_000
    ages, rates = cost_by_age(2500 * (-np.log1p(-even)) ** (1 / 3), 1, 5)
    assert np.interp(2160, ages, rates) == close(example["cost_2160"], rel=1e-4)


def test_e16_arrhenius() -> None:
    """TRADE-E16: polyester in water above and below 82 C, and in caustic soda."""
    example = TRADE["E16"]
    assert arrhenius(134, 85, 95) == close(example["above_Tg_134_85to95"], rel=1e-6)
    assert arrhenius(31, 40, 60) == close(example["below_Tg_31_40to60"], rel=1e-6)
    assert arrhenius(54.2, 50, 80) == close(example["naoh_54_2_50to80"], rel=1e-6)


def test_what_attacks_polyester_without_loss_of_size() -> None:
    of = family("PET-15", "")
    assert of == "polyester"
    assert family("trial grade", "nylon 66 sleeve") == "nylon"
    assert family("standard") == ""
    found = {attack.what for attack in attacks(of, "2 % caustic, then hot water rinse", 75.0)}
    assert found == {"hot caustic", "hot water"}
    assert {a.what for a in attacks(of, "caustic", 20.0)} == {"caustic"}
    assert attacks(of, "cold water", 15.0) == ()
    assert {a.what for a in attacks("acetal", "nitric acid", 40.0)} == {"strong acid", "oxidiser"}


def test_materials_have_a_source_each_and_no_value_from_memory() -> None:
    """Every value has a source that was read; the printed expansion of UHMW-PE (wrong) is out."""
    known = read_materials()
    assert known["UHMW-PE"].get("cte") is None
    for material in known.values():
        for value in material.values:
            assert value.quantity in UNITS
            assert re.search(r"order of magnitude$", value.cited)
            assert value.read_on
    bearing, plain = (known[name].get("specific_wear_rate") for name in ("PET-bearing", "PET"))
    assert bearing is not None
    assert plain is not None
    assert bearing.low * 1e-6 == close(specific_wear_rate(35e-10, "in3 min/(ft lbf h)"), rel=1e-3)
    assert plain.low / bearing.low == close(6.0, rel=1e-3)


def test_a_material_file_of_ones_own(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        '[X]\nvalues = [{ quantity = "friction", value = 0.2, source = "our rig",'
        " verified_by_plant = true }]\n"
    )
    value = read_materials(own)["X"].get("friction")
    assert value is not None
    assert value.cited == "our rig; verified by the plant"
    for text, message in (
        ("[X\n", "no TOML"),
        ("[X]\n", "list of values"),
        ('[X]\nvalues = [{ quantity = "colour", value = 1, source = "a" }]\n', "none of"),
        ('[X]\nvalues = [{ quantity = "friction", source = "a" }]\n', "needs a value"),
        ('[X]\nvalues = [{ quantity = "friction", value = 0.2 }]\n', "needs its source"),
    ):
        own.write_text(text)
        with pytest.raises(ValueError, match=message):
            read_materials(own)


@pytest.mark.parametrize("number", [0, 1, 2])
def test_e9_running_clearance_from_the_bench_to_the_machine(number: int) -> None:
    """TRADE-E8 and E9 in one: pressed in, then warm; dry, as E9 has it, then wet."""
    example = TRADE["E9"]
    model = ("axial_free", "area", "axial_fixed")[number]
    ctes = tuple(example[f"alpha_{name}"] for name in ("bush", "housing", "shaft"))
    outer = 36 + press_fit(36)
    free = 30 + close_in(press_fit(36), 36, 30)  # about: so that the bore in place is near 30
    pressed = pressed_bore(free, outer, 36)
    shaft = pressed - 0.15
    cold = running_clearance((free, outer), 36, shaft, ctes=ctes, temperature_c=20)
    assert cold == close(0.15, abs=1e-9)
    warm = running_clearance((free, outer), 36, shaft, ctes=ctes, temperature_c=60, model=model)
    assert warm == close(example["running_clearance_from_0.15"][number], abs=1e-3)
    # 1 % of water, .0025 a per cent: the wall of 3 mm grows inwards, its section held outside
    wet = running_clearance(
        (free, outer), 36, shaft, ctes=ctes, temperature_c=60, model=model,
        swelling=moisture_growth(1.0, 1.0, 0.0025),
    )  # fmt: skip
    squeeze = (1 + POISSON, None, 1 + 2 * POISSON / (1 - POISSON))[number]
    if squeeze is not None:
        assert warm - wet == close((36 - pressed) * 0.0025 * squeeze, rel=1e-6)
    else:
        bore = (wet + shaft * (1 + ctes[2] * 40)) ** 2
        outside = (36 * (1 + ctes[1] * 40)) ** 2
        grown = ((1 + ctes[0] * 40) * 1.0025) ** 2
        assert outside - bore == close((36**2 - pressed**2) * grown, rel=1e-9)
