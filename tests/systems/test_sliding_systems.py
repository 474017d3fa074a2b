"""Worked systems whose wear goes by hours, metres slid or strokes: physics against the logs.

Check values marked 'common practice, no source' are facts of the trade that nobody has printed.
"""

from __future__ import annotations

import math
import runpy
from datetime import date
from pathlib import Path

import pytest

from forecast.errors import NotInStore
from forecast.jobs.duty import Given, judge, printed_material
from forecast.jobs.fits import fit_all
from forecast.jobs.season import forecast_season
from forecast.physics.attack import attacks, family
from forecast.physics.duty import (
    bush,
    elongation_percent,
    oscillating_bush,
    pad,
    stroke_wear,
    turning_sleeve,
)
from forecast.physics.heat import PressedBush, friction_heat, moisture_growth, pressed_bore
from forecast.physics.materials import read_materials
from forecast.planning.plan import Plan

EXAMPLES = runpy.run_path(str(Path(__file__).with_name("system_examples.py")))
measured_plant = EXAMPLES["measured_plant"]
close = pytest.approx

CEILING_F, SAFE_F = 220.0, 210.0
"""Continuous ceiling of a bearing grade of PET, and what is safe: common practice, no source."""

MOISTURE_24H = 0.07
"""Per cent of water that the same grade takes up in a day: common practice, no source."""


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def test_screw_pump_bearing_under_water(tmp_path: Path) -> None:
    """A lower bearing 120 x 150 mm under 6 kN at 40 r/min, in the water that it pumps."""
    held = bush(6000, 120, 150, 40)
    assert held.pressure_mpa == close(1 / 3)
    assert held.speed_m_s == close(math.pi * 0.120 * 40 / 60)
    known = measured_plant(
        tmp_path / "s.duckdb",
        0.15e-3,
        part={"grade": "PET", "description": "lower bearing"},
        fleet={
            "medium": "river water",
            "temperature_c": 14,
            "pressure_mpa": held.pressure_mpa,
            "speed_m_s": held.speed_m_s,
        },
    )
    cold = judge(known, "PART", Given()).set_index("quantity")
    assert "hot water" not in cold.index  # 14 C splits no chains to speak of
    k = cold.loc["specific wear rate", "value"] * 1e-6
    fitted = fit_all(known).wear.iloc[0]
    assert 1000 * held.depth(k, 1.0) == close(fitted["mean_rate"], rel=1e-4)  # back again
    assert fitted["mean_rate_low"] < 0.15 < fitted["mean_rate_high"]
    warm = judge(known, "PART", Given(temperature_c=65.0)).set_index("quantity")
    assert not warm.loc["hot water", "inside"]
    assert "extrapolated" in " ".join(warm["source"])
    # wet is a duty of its own: a day in water grows the bore's wall by next to nothing
    assert moisture_growth(20.0, MOISTURE_24H, 0.0025) < 0.005
    # pressed in and warm from friction, the shaft is still free
    bore = pressed_bore(120.3, 150.2, 150.0)
    assert PressedBush(150, bore, 8e-5, 1.15e-5).clearance(119.7, 1.2e-5, 30) > 0.1


def test_lift_bearing_block_carries_people(tmp_path: Path) -> None:
    """A lift's bearing block: caution shown, forecast refused, whatever the readings say."""
    known = measured_plant(tmp_path / "s.duckdb", 0.1e-3, part={"carries_people": True})
    shown = judge(known, "PART", Given(0.3, 0.1))
    caution = shown[shown["quantity"] == "carries people"]
    assert len(caution) == 1
    assert not caution["inside"].iloc[0]
    assert "no safety basis" in caution["source"].iloc[0]
    fits = fit_all(known)
    assert fits.wear_fits == {}
    assert "carries people" in set(fits.assumed["value"])
    season = {"start": date(2026, 8, 3), "end": date(2026, 11, 8), "running_hours_per_day": 20}
    with pytest.raises(NotInStore, match="nothing in service can be forecast"):
        forecast_season(known, Plan.model_validate({"season": season}))


def test_slide_pad_by_metres_slid(tmp_path: Path) -> None:
    """A pad 40 x 60 mm under 480 N that slides 900 m an hour: its clock is metres."""
    k, found = 1.2e-6, pad(480, 40, 60, 0.25)
    per_metre = k * found.pressure_mpa  # mm: h = k p s
    assert found.depth(k, 1.0) == close(per_metre * 900.0)
    known = measured_plant(
        tmp_path / "s.duckdb",
        per_metre,
        per_hour=900.0,
        part={"clock": "metres"},
        fleet={"clock_per_hour": 900.0},
    )
    row = fit_all(known).wear.iloc[0]
    assert row["rate_unit"] == "um/1000 metres"
    low, high = (
        row[name] / 1e6 / found.pressure_mpa for name in ("mean_rate_low", "mean_rate_high")
    )
    assert low < k * math.exp(0.10**2 / 2) < high  # k again, from the depth a metre
    assert high / low < 1.6


def test_film_guide_roller_bush() -> None:
    """A light roller that turns on its bush: 15 N, 12 x 20 mm, 900 r/min; speed is its limit."""
    sleeve, fixed = turning_sleeve(15, 12, 20, 900), bush(15, 12, 20, 900)
    assert sleeve.pv_mpa_m_s == fixed.pv_mpa_m_s == close(0.0625 * math.pi * 0.012 * 15)
    bearing = read_materials()["PET-bearing"].get("specific_wear_rate")
    assert bearing is not None
    k = bearing.low * 1e-6
    assert sleeve.depth(k, 2160) == close(fixed.depth(k, 2160) / math.pi)
    grows = sleeve.diametral * float(sleeve.depth(k, 2160))
    assert grows == close(2 / math.pi * float(fixed.depth(k, 2160)))
    assert 0.05 < grows < 0.2  # round, but loose after a season: the film wanders
    assert friction_heat(0.19, 15, sleeve.speed_m_s) < 2.0  # W


def test_chain_roller() -> None:
    """A chain roller under 300 N: its bush swings at the sprocket, the chain gets longer."""
    swings = oscillating_bush(300, 14, 18, 15, 0.5)
    assert swings.speed_m_s == close(2 * math.radians(15) * 0.014 * 0.5)
    wears = float(swings.depth(5e-6, 2 * 2160))
    pitch, pitches = 100.0, 10
    # each joint wears on one side: the pitch grows by the depth of the bush
    longer = elongation_percent(pitches * (pitch + wears), pitch, pitches)
    assert longer == close(wears, rel=1e-9)
    assert longer < 2.0  # under the usual 2 to 3 %
    running = turning_sleeve(300, 14, 18, 120)
    assert running.depth(5e-6, 2160) > wears / 2  # the roller's own bore decides


def test_valve_plug_by_strokes(tmp_path: Path) -> None:
    """A plug that seals with 2 MPa and slides 40 mm a stroke, 1200 strokes an hour."""
    k = 2e-6
    per_stroke = float(stroke_wear(k, 2.0, 0.040, 1.0))
    assert per_stroke == close(1.6e-7)
    known = measured_plant(
        tmp_path / "s.duckdb",
        per_stroke,
        per_hour=1200.0,
        weeks=(4, 8, 12),
        part={"clock": "cycles"},
        fleet={"clock_per_hour": 1200.0},
    )
    row = fit_all(known).wear.iloc[0]
    assert row["rate_unit"] == "um/1000 cycles"
    low, high = row["mean_rate_low"], row["mean_rate_high"]
    assert low < per_stroke * 1e6 * math.exp(0.10**2 / 2) < high


def test_press_cups_and_bearings_in_hot_oil(tmp_path: Path) -> None:
    """Hot oil at 95 and 103 C: heat is the limit, oil itself attacks nothing here."""
    printed = read_materials()["PET-bearing"].get("max_temperature")
    assert printed is not None
    assert printed.low == close(celsius(SAFE_F), abs=0.5)  # the printed 99 C is the safe 210 F
    assert celsius(SAFE_F) < celsius(CEILING_F) < printed.high
    assert attacks(family("PET"), "hot oil", 103.0) == ()
    known = measured_plant(
        tmp_path / "s.duckdb",
        0.1e-3,
        part={"grade": "PET", "max_temperature_c": round(celsius(SAFE_F), 1)},
        fleet={"medium": "hot oil", "temperature_c": 95},
    )
    for asked, inside in ((None, True), (103.0, False)):
        shown = judge(known, "PART", Given(temperature_c=asked), printed_material("PET-bearing"))
        heat = shown[shown["quantity"] == "temperature"].set_index("source")["inside"]
        assert bool(heat["the part type's limit"]) is inside
        assert bool(heat[printed.cited]) is inside
