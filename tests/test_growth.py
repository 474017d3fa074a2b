"""Whether wear is straight and steady stands beside every forecast."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.fits import fit_all
from forecast.jobs.growth import growth_assumed, growths
from forecast.jobs.season import forecast_season
from forecast.planning.plan import read_plan
from forecast.records.snapshot import Snapshot

TESTS = Path(__file__).parent
FLEETS: dict[str, Any] = runpy.run_path(str(TESTS / "fleets.py"))
Logbook = runpy.run_path(str(TESTS / "logbook.py"))["Logbook"]
PART = FLEETS["PART"]


def growth(power: float, faster: float = 1.0) -> pd.DataFrame:
    """Five readings of 96 pieces; on M01 the rate changes by ``faster`` after the third."""
    rng = np.random.default_rng(2)
    days = pd.date_range("2025-09-01", periods=5, freq="14D")
    rows = []
    for machine in range(12):
        for piece in range(8):
            rate = 0.3 * np.exp(0.15 * rng.standard_normal())
            for number, day in enumerate(days):
                x = 0.4 * (number + 1)
                worn = rate * 2.0 * (x / 2.0) ** power
                if machine == 0 and number > 2:
                    worn += (faster - 1) * rate * (x - 1.2)
                wear = 0.07 + worn + 0.015 * rng.standard_normal()
                rows.append((len(rows) + 1, f"M{machine + 1:02d}", f"{machine}/{piece}", PART, "",
                             day, wear, "2025", 1000 * x))  # fmt: skip
    columns = ["reading", "machine", "piece", "part_type", "duty_group", "at", "wear_mm", "cell"]
    return pd.DataFrame(rows, columns=[*columns, "hours"])


@pytest.fixture(scope="module")
def fleet() -> tuple[Snapshot, str]:
    snapshot, text, _ = FLEETS["fleet"]("worn", 3)
    gauged = snapshot.part_types.assign(gauge_sd_mm=0.015)
    return replace(snapshot, part_types=gauged), text


def test_a_bent_law_stands_among_what_the_forecast_assumes(
    fleet: tuple[Snapshot, str], tmp_path: Path
) -> None:
    snapshot, text = fleet
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    bent = replace(snapshot, growth=growth(0.6))
    plan = read_plan(path, ["draws.count=100"])
    results = forecast_season(bent, plan).results
    found = results["assumed"]
    (row,) = found[found["what"] == f"{PART}: wear grows"].itertuples()
    assert float(row.value.split()[5]) == pytest.approx(0.6, abs=0.04)
    assert row.why == "the readings bend"
    assert row.effect.startswith("hours left follow that power; at 1.5 times the longest age read")
    assert "too much" in row.effect
    straight = forecast_season(snapshot, plan).results
    mean = [of["season_totals"]["mean"].iloc[0] for of in (results, straight)]
    assert mean[0] < 0.95 * mean[1], "wear that slows down lasts longer"


def test_straight_wear_is_said_to_be_straight(fleet: tuple[Snapshot, str]) -> None:
    snapshot, _ = fleet
    fits = fit_all(snapshot).wear_fits
    (row,) = growth_assumed(growths(replace(snapshot, growth=growth(1.0)), fits))
    assert row[1] == "in a straight line"
    assert "does as well" in row[2] or "so near a straight line" in row[2]
    assert growth_assumed(growths(snapshot, fits)) == [], "no readings, nothing to say"


def test_a_machine_whose_rate_changed_is_named(fleet: tuple[Snapshot, str]) -> None:
    snapshot, _ = fleet
    fits = fit_all(snapshot).wear_fits
    rows = growth_assumed(growths(replace(snapshot, growth=growth(1.0, faster=1.6)), fits))
    (row,) = [row for row in rows if "one rate throughout" in row[0]]
    assert row[0] == f"{PART} on M01: one rate throughout"
    assert float(row[1].split()[0]) == pytest.approx(1.6, abs=0.15)
    assert "since 2025-09-29, by 8 pieces" in row[2]


def test_readings_that_tell_the_law_come_from_pieces_read_three_times(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", positions="3")
    book.run("G1", "2026-08-03", 60)
    for position, times in (("1", 4), ("2", 3), ("3", 2)):
        for number in range(times):
            day = f"2026-09-{3 + 6 * number:02d}"
            book.reading("G1", day, 0.2 + 0.1 * number, position=position)
    book.write()
    found = book.snapshot().growth
    assert found.groupby("piece")["reading"].nunique().tolist() == [4, 3]
    first = found[found["piece"] == found["piece"].iloc[0]]
    assert np.diff(first["hours"]) == pytest.approx([120.0] * 3, abs=0.1)
