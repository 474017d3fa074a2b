"""Pieces and their lives: spells, ages, ends, modes, turned sides, kits, unlogged change-outs."""

import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]


@pytest.fixture
def book(tmp_path):
    """One machine with two sleeves, running 20 h on each day of August 2026."""
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1")
    book.run("G1", "2026-08-03", 28)
    return book


def lives(book) -> pd.DataFrame:
    return book.snapshot().lives.set_index("piece")


def test_a_piece_lives_the_hours_between_its_change_outs(book):
    book.change("G1", "2026-08-13", position="1", reason="broken")
    book.reading("G1", "2026-08-30 23:59:59", 0.5, position="2")
    found = lives(book)
    first = found.loc["G1 rollers 1 #1"]
    assert first["lower"] == first["upper"] == pytest.approx(10.5 * 20)
    assert first["mode"] == "broken"
    second = found.loc["G1 rollers 1 #2"]
    assert second["lower"] == pytest.approx(17.5 * 20)
    assert np.isinf(second["upper"]) and second["mode"] == ""
    assert found.loc["G1 rollers 2 #1", "lower"] == pytest.approx(28 * 20)


def many(tmp_path, count: int, **fleet):
    """Machines G1, G2, ... with two sleeves each, running 20 h on each day of August 2026."""
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    for number in range(1, count + 1):
        book.fleet(f"G{number}", **fleet)
    book.run("*", "2026-08-03", 28)
    return book


def modes(book) -> list[str]:
    """The modes in which the first pieces of position 1 ended, by machine."""
    found = book.snapshot().lives
    return found.loc[found["piece"].str.endswith("rollers 1 #1"), "mode"].tolist()


def test_reasons_to_modes_where_the_type_has_no_readings(tmp_path):
    reasons = {
        "broken": "broken",
        "seized": "seized",
        "chemical": "chemical",
        "worn": "worn",
        "planned": "",
        "opportunistic": "",
        "size_change": "",
        "unknown": "",
        None: "",
    }
    book = many(tmp_path, len(reasons))
    for number, reason in enumerate(reasons, 1):
        book.change(f"G{number}", "2026-08-13", position="1", reason=reason)
    assert modes(book) == list(reasons.values())


def test_worn_without_readings_is_no_failure_where_parts_were_changed_at_an_age(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", past_policy="at_age")
    book.run("G1", "2026-08-03", 28)
    book.change("G1", "2026-08-13", position="1", reason="worn")
    assert lives(book).loc["G1 rollers 1 #1", "mode"] == ""


def test_worn_is_a_failure_only_if_the_removal_reading_is_at_the_limit(tmp_path):
    cases = [
        (day, depth, found_left, mode)
        for day, depth, mode in (("13", 1.02, "worn"), ("13", 0.97, ""), ("12", 1.02, ""))
        for found_left in ("removed", "as_found", None)
    ]
    book = many(tmp_path, len(cases))
    for number, (day, depth, found_left, _) in enumerate(cases, 1):
        name = f"G{number}"
        book.reading(name, "2026-08-08", 0.5, position="1")
        book.reading(name, f"2026-08-{day}", depth, position="1", found_left=found_left)
        book.change(name, "2026-08-13", position="1", reason="worn")
    assert modes(book) == [mode for *_, mode in cases]


def test_an_end_between_two_days_is_an_interval(book):
    book.change("G1", "2026-08-13", position="1", reason="broken", taken_from="2026-08-10")
    life = lives(book).loc["G1 rollers 1 #1"]
    assert life["lower"] == pytest.approx(7.5 * 20)
    assert life["upper"] == pytest.approx(10.5 * 20)


def test_a_stated_age_is_the_age_at_entry_and_an_unknown_one_gives_no_life(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", start_state="450")
    book.fleet("G2", start_state="unknown")
    book.run("G1", "2026-08-03", 10)
    book.run("G2", "2026-08-03", 10)
    book.change("G2", "2026-08-08", position="2", reason="planned")
    book.reading("G1", "2026-08-12 23:59:59", 0.4, position="1")
    snapshot = book.snapshot()
    found = snapshot.lives.set_index("piece")
    assert found.loc["G1 rollers 1 #1", ["entry", "lower"]].tolist() == [450.0, 650.0]
    assert [name for name in found.index if name.startswith("G2")] == ["G2 rollers 2 #2"]
    ages = snapshot.fitted.set_index("piece")["age"]
    assert np.isnan(ages["G2 rollers 1 #1"]) and ages["G2 rollers 2 #2"] == pytest.approx(90)
    assert set(snapshot.fitted_cells["piece"]) == set(ages.dropna().index)


def test_a_turned_piece_goes_on_with_a_new_side(book):
    book.change("G1", "2026-08-13", "turned", position="1", reason="worn")
    found = lives(book)
    assert found.loc["G1 rollers 1 #1", "mode"] == ""
    assert found.loc["G1 rollers 1 #1", "lower"] == pytest.approx(210)
    snapshot = book.snapshot()
    assert "G1 rollers 1 #1 side 2" in set(snapshot.fitted["piece"])
    assert len(snapshot.fitted) == 2


def test_a_named_piece_keeps_its_age_over_all_its_stays(book):
    book.change("G1", "2026-08-08", "replaced", position="1", piece="S77")
    book.change("G1", "2026-08-13", "removed", position="1", reason="planned")
    book.change("G1", "2026-08-23", "replaced", position="2", piece="S77")
    book.reading("G1", "2026-08-30 23:59:59", 0.3, position="2")
    snapshot = book.snapshot()
    piece = snapshot.fitted.set_index("piece").loc["S77"]
    assert piece["position"] == "2"
    assert piece["age"] == pytest.approx((5 + 7.5) * 20)
    assert snapshot.lives.set_index("piece").loc["S77", "lower"] == piece["age"]
    assert snapshot.wear.set_index("piece").loc["S77", "last_age"] == pytest.approx(250, abs=0.02)


def test_fitted_rows_on_the_first_day_say_which_new_pieces_they_are(book):
    book.change("G1", "2026-08-03", "fitted", position="1", fitted_mm=30.1)
    book.change("G1", "2026-08-13", position="1", reason="broken")
    found = lives(book)
    assert [name for name in found.index if "rollers 1" in name] == [
        "G1 rollers 1 #1",
        "G1 rollers 1 #2",
    ]
    assert found.loc["G1 rollers 1 #1", "lower"] == pytest.approx(210)


def test_a_change_out_nobody_wrote_down_ends_one_piece_and_begins_another(book):
    for day, depth in (("05", 0.2), ("10", 0.5), ("15", 0.8), ("20", 0.1), ("25", 0.3)):
        book.reading("G1", f"2026-08-{day}", depth, position="1")
    snapshot = book.snapshot()
    assert snapshot.doubts["rule"].tolist() == ["unlogged change-out"]
    found = snapshot.lives.set_index("piece")
    ended, begun = found.loc["G1 rollers 1 #1"], found.loc["G1 rollers 1 #2"]
    assert ended["lower"] == pytest.approx(12.5 * 20), "alive at the last reading before the fall"
    assert ended["upper"] == pytest.approx(17.5 * 20), "it had left by the reading after"
    assert begun["lower"] == pytest.approx((23 - 15) * 20), "begun midway, known to the 25th"
    worn = snapshot.wear.set_index("piece")["n"]
    assert worn.to_dict() == {"G1 rollers 1 #1": 3, "G1 rollers 1 #2": 2}


def test_some_logged_machines_give_readings_but_no_lives(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", logged="some")
    book.run("G1", "2026-08-03", 28)
    book.reading("G1", "2026-08-13", 0.4, position="1")
    snapshot = book.snapshot()
    assert snapshot.lives.empty
    assert snapshot.wear["n"].tolist() == [1]


def test_positions_are_counts_ranges_or_names(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1", positions="3", place="a")
    book.fleet("G1", positions="01-02", place="b")
    book.fleet("G1", positions="A, B", place="c")
    book.fleet("G1", positions="P09-P11", place="d")
    book.run("G1", "2026-08-03", 5)
    book.change("G1", "2026-08-05", place="b", position="002", reason="broken")
    snapshot = book.snapshot()
    at = snapshot.fitted.groupby("place")["position"].apply(list).to_dict()
    assert at == {
        "a": ["1", "2", "3"],
        "b": ["1", "2"],
        "c": ["A", "B"],
        "d": ["P09", "P10", "P11"],
    }
    assert (snapshot.lives["mode"] == "broken").sum() == 1
