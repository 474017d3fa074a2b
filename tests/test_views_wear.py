"""Readings to wear: sizes against fitted sizes, corrections to 20 C, sums by season, samples."""

import json
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.rests_on import corrections_said
from forecast.store.snapshots import take_snapshot

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]


@pytest.fixture
def book(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.run("*", "2026-08-03", 28)
    return book


def test_every_kind_of_reading_becomes_wear(book):
    book.part_type(nominal_mm=30.0)
    book.part_type("WALL", 6.0, nominal_mm=10.0, limit_measure="remaining")
    book.part_type("HALF", 2.0)
    cases = [
        ("SLEEVE", {}, 0.25, 0.25, True),
        ("SLEEVE", {"reading_kind": "bore"}, 30.4, 0.3, True),
        ("SLEEVE", {"reading_kind": "diameter"}, 29.9, 0.2, True),
        ("SLEEVE", {"reading_kind": "clearance"}, 0.75, 0.65, True),
        ("SLEEVE", {"reading_kind": "percent"}, 40.0, 0.4, True),
        ("WALL", {}, 8.0, 2.0, False),
        ("HALF", {"reading_kind": "percent"}, 25.0, 0.5, True),
    ]
    for number, (part, more, value, _, fitted) in enumerate(cases, 1):
        name = f"G{number}"
        book.fleet(name, part, shaft_mm=30.0)
        if fitted:
            book.change(name, "2026-08-03", "fitted", position="1", part_type=part, fitted_mm=30.1)
        book.reading(name, "2026-08-13", value, position="1", part_type=part, **more)
    snapshot = book.snapshot()
    found = snapshot.wear.sort_values("machine")
    assert found["last_mm"].tolist() == pytest.approx([wear for *_, wear, _ in cases])
    assert found["fitted_known"].tolist() == [True] * 5 + [False, True]
    limits = snapshot.part_types.set_index("part_type")["wear_limit_mm"]
    assert limits["WALL"] == 4.0, "a remaining size of 6 of 10 mm is a depth of 4"


def test_as_left_on_a_new_piece_is_its_fitted_size_and_no_wear(book):
    book.part_type(nominal_mm=30.0)
    book.fleet("G1")
    bore = {"position": "1", "reading_kind": "bore"}
    book.reading("G1", "2026-08-10", 30.45, **bore)
    book.reading("G1", "2026-08-13", 30.55, found_left="removed", **bore)
    book.change("G1", "2026-08-13", position="1", reason="planned")
    book.reading("G1", "2026-08-13", 30.15, found_left="as_left", **bore)
    book.reading("G1", "2026-08-18", 30.25, found_left="as_left", **bore)
    aged = book.table("aged")
    assert aged["wear_mm"].tolist() == pytest.approx([0.45, 0.55, 0.10])
    assert aged["piece"].str[-2:].tolist() == ["#1", "#1", "#2"]
    assert aged["fitted_known"].tolist() == [False, False, True]


def test_heat_is_corrected_by_what_holds_the_part_and_said_where_it_cannot_be(book, trade):
    """Published checks: TRADE E6 (free bush), E6b (strip), E7 (water) and E9 (pressed bush).

    A free bush of 30.2549 mm reads 30.35 at 60 C with a gauge at 25 C. One pressed in steel closes
    instead, by 0.02244 mm: what reads 29.97756 at 60 C is 30.00 at 20 C.
    """
    e6, e6b, e7, e9 = (trade[name] for name in ("E6", "E6b", "E7", "E9"))
    free, steel = {"held": "free", "cte_um_per_m_k": 80}, {"housing_mm": 36.0, "housing_cte": 11.5}
    pressed = {"held": "pressed", "cte_um_per_m_k": 80, **steel}
    hot = {"reading_kind": "bore", "part_temperature_c": 60}
    strip = {"reading_kind": "remaining", "part_temperature_c": e6b["T"]}
    wet = {"reading_kind": "bore", "wet": "yes"}
    closed = 30.0 + e9["bore_change_area"]
    cases = {
        "FREE": (30.1, free, 30.35, {**hot, "gauge_temperature_c": 25}, e6["true_wear"], ""),
        "NO-GAUGE": (30.1, free, 30.35, hot, e6["d20_no_gauge_term"] - 30.1, ""),
        "PRESSED": (29.9, pressed, closed, hot, 0.1, ""),
        "STRIP": (10.0, {"held": "free", "cte_um_per_m_k": 100}, 9.62, strip, e6b["wear"], ""),
        "WET": (30.0, {"held": "free", "swelling_percent": 0.75}, 30.3, wet,
                e7["dry_from_conditioned_30_30"] - 30, ""),
        "UNKNOWN": (30.1, {"cte_um_per_m_k": 80}, 30.35, hot, 0.25, "constraint unknown"),
        "NO-CTE": (30.1, {"held": "free"}, 30.35, hot, 0.25, "expansion unknown"),
        "NO-HOUSING": (30.1, {**pressed, "housing_mm": None}, 30.35, hot, 0.25, "housing unknown"),
        "PLAY": (30.1, free, 0.35, {**hot, "reading_kind": "clearance"}, 0.25,
                 "a clearance: no correction for heat"),
        "WHICH": (30.1, free, 30.35, {"reading_kind": "bore", "gauge_temperature_c": 35}, 0.25,
                  "part temperature unknown"),
        "SWOLLEN": (30.0, {"held": "free"}, 30.3, wet, 0.3, "wet: growth unknown"),
        "HELD-WET": (30.0, {**pressed, "swelling_percent": 0.75}, 30.3, wet, 0.3,
                     "wet: held in a housing"),
        "COOL": (30.1, free, 30.35, {"reading_kind": "bore", "part_temperature_c": 20.3}, 0.25, ""),
    }  # fmt: skip
    for number, (part, (nominal, more, value, read, _, _)) in enumerate(cases.items(), 1):
        limit = {"limit_measure": "remaining"} if part == "STRIP" else {}
        book.part_type(part, 6.0 if limit else 1.0, nominal_mm=nominal, **{**more, **limit})
        book.fleet(f"G{number}", part, shaft_mm=30.0)
        book.reading(f"G{number}", "2026-08-13", value, part_type=part, position="1", **read)
    with book.looked() as store:
        aged = store._connection.execute("SELECT * FROM aged").df()
        said = corrections_said(take_snapshot(store))
    aged = aged.set_index("part_type").loc[list(cases)]
    assert [row[1] for row in said if row[0].startswith("FREE")] == ["1 of 1, by up to 0.095 mm"]
    assert {row[0].split(":")[0]: row[2] for row in said if "not corrected" in row[0]} == {
        part: why for part, (*_, why) in cases.items() if why
    }
    expected = [wear for *_, wear, _ in cases.values()]
    assert aged["wear_mm"].astype(float).tolist() == pytest.approx(expected, abs=5.1e-5)
    assert aged["not_corrected"].tolist() == [why for *_, why in cases.values()]
    parts = aged[["slip_mm", "dry_less_mm", "heat_mm"]].astype(float)
    assert parts.sum(axis=1).tolist() == pytest.approx(aged["correction_mm"].tolist(), abs=5.1e-5)
    assert parts.loc["FREE", "heat_mm"] == pytest.approx(-e6["correction"], abs=1e-6)
    assert parts.loc["PRESSED", "heat_mm"] == pytest.approx(-e9["bore_change_area"], abs=1e-6)
    assert parts.loc["WET", "dry_less_mm"] == pytest.approx(
        e7["dry_from_conditioned_30_30"] - 30.3, abs=1e-6
    )


@pytest.fixture
def trade():
    file = Path(__file__).parent / "published" / "trade_examples.json"
    return json.loads(file.read_text())


def by_hand(aged: pd.DataFrame, bounds: dict[str, tuple[str, str]]) -> pd.DataFrame:
    """The sums of METHODS2 1.1 by loops: 20 h a day in each season, from the first day on."""
    rows = []
    for piece, readings in aged.groupby("piece"):
        x = {}
        for season, (first, last) in bounds.items():
            until = readings["moment"].clip(upper=pd.Timestamp(last) + pd.Timedelta(days=1))
            days = (until - pd.Timestamp(first)) / pd.Timedelta(days=1)
            x[season] = (days.clip(lower=0) * 0.02).round(5).to_numpy()
        y = readings["wear_mm"].to_numpy()
        for one in x:
            for other in x:
                if one <= other and x[one].sum() > 0 and x[other].sum() > 0:
                    same = one == other
                    sums = (
                        x[one].sum() * same,
                        (x[one] * y).sum() * same,
                        (x[one] * x[other]).sum(),
                    )
                    rows.append((piece, one, other, *sums))
    return pd.DataFrame(rows, columns=["piece", "season", "other", "sx", "sxy", "sxx"])


def test_sums_by_season_are_those_worked_out_reading_by_reading(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    rng = np.random.default_rng(5)
    spans = {"2024": ("2024-08-05", 20), "2025": ("2025-08-04", 30), "2026": ("2026-08-03", 10)}
    for first, days in spans.values():
        book.run("*", first, days)
    for machine in ("G1", "G2", "G3"):
        book.fleet(machine, from_day="2024-08-05")
        for n, (first, days) in enumerate(spans.values()):
            for day in sorted(rng.choice(days, 4, replace=False)):
                when = pd.Timestamp(first) + pd.Timedelta(days=int(day))
                depth = round(0.2 * n + 0.01 * int(day) + 0.05, 2)
                book.reading(machine, when.isoformat()[:10], depth, position="1")
    book.reading("G1", "2026-08-12", 0.7, position="1", chosen="suspect")
    snapshot = book.snapshot()
    aged = book.table("aged").query("not is_suspect")
    ends = {"2024": "2024-08-24", "2025": "2025-09-02", "2026": "2026-08-12"}
    bounds = {season: (spans[season][0], ends[season]) for season in spans}
    expected = by_hand(aged, bounds)
    pd.testing.assert_frame_equal(snapshot.wear_cells, expected, atol=2e-4, rtol=1e-4)
    sums = aged.groupby("piece")["wear_mm"].agg(["count", "sum", lambda y: (y**2).sum()])
    found = snapshot.wear.set_index("piece")
    assert found["n"].tolist() == sums["count"].tolist() == [12, 12, 12]
    assert found["sy"].tolist() == pytest.approx(sums["sum"].tolist())
    assert found["syy"].tolist() == pytest.approx(sums.iloc[:, 2].tolist())
    assert found.loc["G1 rollers 1 #1", "last_mm"] == 0.7, "a suspect reading serves its own place"
    total = snapshot.fitted_cells.groupby("piece")["x"].sum()
    ages = snapshot.fitted.set_index("piece")["age"]
    assert (total * 1000).to_dict() == pytest.approx(ages.to_dict())


def test_hours_before_the_watch_count_to_the_first_season(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", start_state="300")
    book.run("G1", "2026-08-03", 10)
    book.reading("G1", "2026-08-08", 0.3, position="1")
    snapshot = book.snapshot()
    assert snapshot.wear.loc[0, "last_age"] == pytest.approx(300 + 5.5 * 20)
    assert snapshot.wear_cells["sx"].tolist() == pytest.approx([0.41])


def test_samples_of_a_set_have_its_age_and_what_was_replaced(book):
    book.part_type("LINER")
    book.fleet("G1", "LINER", "20", place="pockets", serialised="no", kit="K1")
    here = {"place": "pockets", "part_type": "LINER", "kit": "K1"}
    for day, depths in (("08", (0.1, 0.2, 0.15)), ("18", (0.3, 0.2, 0.4))):
        for depth in depths:
            book.reading("G1", f"2026-08-{day}", depth, **here)
    book.reading("G1", "2026-08-18", 0.9, chosen="suspect", **here)
    book.change("G1", "2026-08-10", quantity=3, reason="broken", **here)
    book.change("G1", "2026-08-18", quantity=2, reason="broken", **here)
    snapshot = book.snapshot()
    samples = snapshot.samples
    assert samples["n"].tolist() == [3, 3]
    assert samples["replaced_share"].tolist() == pytest.approx([0, 0.15])
    assert samples["culled_share"].tolist() == [0, 0]
    assert samples["sy"].tolist() == pytest.approx([0.45, 0.9])
    assert samples["syy"].tolist() == pytest.approx([0.0725, 0.29])
    # three of twenty pieces were replaced when the set had run 150 h: they are 160 h old at 310 h
    younger = [310.0] * 17 + [160.0] * 3
    assert samples["age"].tolist() == pytest.approx([110, sum(younger) / 20])
    squares = sum(age * age for age in younger) / 20
    assert samples["age_sq"].tolist() == pytest.approx([110**2, squares])
    assert snapshot.sample_cells["x"].tolist() == pytest.approx([0.11, sum(younger) / 20000])
    assert snapshot.wear.empty
