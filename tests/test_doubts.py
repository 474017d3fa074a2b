"""Doubts: each rule on rows planted for it, its default, and what settling it changes."""

import runpy
from datetime import date
from pathlib import Path

import pytest

from forecast.errors import NotInStore, WearaheadError
from forecast.intake.doubts import doubts, settle
from forecast.records.season import RESULTS

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]
TODAY = date(2026, 9, 1)


@pytest.fixture
def book(tmp_path):
    """Machines G1 to G3 with ten sleeves each, worn by 0.1 mm a week in five visits."""
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.run("*", "2026-08-03", 35)
    for machine in ("G1", "G2", "G3"):
        book.fleet(machine, positions="10")
    return book


def depth(machine: int, position: int, week: int) -> float:
    return round(0.2 + 0.11 * week + 0.017 * position + 0.009 * machine * (position % 3), 2)


def visits(book, special: dict[tuple[str, int, int], float | None]) -> None:
    """Read positions 1 to 10 of three machines in five weeks, with some cells overridden."""
    for week in range(5):
        for number in (1, 2, 3):
            for position in range(1, 11):
                cell = (f"G{number}", position, week)
                value = special.get(cell, depth(number, position, week))
                if value is not None:
                    when = f"2026-08-{5 + 5 * week:02d}"
                    book.reading(cell[0], when, value, position=str(position))


def rules(found) -> list[tuple[str, str, str]]:
    return [(row["rule"], row["machine"], row["position"]) for row in found]


def test_a_clean_log_raises_no_doubt(book):
    visits(book, {})
    book.write()
    assert doubts(book.address) == []


def test_each_rule_finds_what_was_planted_and_nothing_else(book):
    special: dict[tuple[str, int, int], float | None] = {
        ("G1", 3, 2): round(depth(1, 3, 2) / 25.4, 4),
        ("G1", 4, 4): round(depth(1, 4, 4) / 25.4, 4),
        ("G1", 5, 1): depth(1, 5, 1) * 10,
        ("G1", 6, 3): round(depth(1, 6, 3) * 25.4, 2),
        ("G2", 2, 3): 0.05,
        ("G2", 2, 4): 0.13,
        ("G2", 9, 2): depth(2, 9, 2) - 0.1,
    }
    # an exchange of two positions of G3 at one visit
    special |= {("G3", 1, 0): 0.1, ("G3", 1, 1): 0.15, ("G3", 1, 3): 0.25, ("G3", 1, 4): 0.3}
    special |= {("G3", 1, 2): depth(3, 8, 2), ("G3", 8, 2): 0.2}
    visits(book, special)
    for position in range(1, 10):
        book.reading("G2", "2026-08-28", depth(1, position, 0), position=str(position))
    book.reading("GI", "2026-08-06", 0.4, position="1")
    book.reading("G1", "2026-08-06", 0.4, position="11")
    book.reading("G2", "2026-08-06", 0.4)
    book.change("G2", "2026-08-06", quantity=0)
    book.write()
    found = doubts(book.address)
    assert rules(found) == [
        ("doubled sheet", "G2", ""),
        ("not in the fleet", "G1", "11"),
        ("not in the fleet", "G2", ""),
        ("not in the fleet", "GI", ""),
        ("swapped positions", "G3", "8"),
        ("unit slip", "G1", "5"),
        ("unit slip", "G1", "3"),
        ("unit slip", "G1", "6"),
        ("unit slip", "G1", "4"),
        ("unlogged change-out", "G2", "2"),
    ]
    assert {tuple(row) for row in found} == {RESULTS["doubts"]}
    assert {row["state"] for row in found} == {"open"}
    defaults = {row["rule"]: row["default"] for row in found}
    assert defaults == {
        "doubled sheet": "as_proposed",
        "not in the fleet": "as_logged",
        "swapped positions": "as_logged",
        "unit slip": "as_proposed",
        "unlogged change-out": "as_proposed",
    }
    assert "G1" in next(row["proposal"] for row in found if row["machine"] == "GI")
    used = book.table("rows_used")
    mended = used[used["machine"] == "G1"].set_index(["position", "reading_day"])["size_20_mm"]
    for position, week in ((3, 2), (4, 4), (5, 1), (6, 3)):
        at = (str(position), f"2026-08-{5 + 5 * week:02d}")
        assert mended.loc[at] == pytest.approx(depth(1, position, week), abs=0.006)
    assert "2026-08-28" not in set(used["reading_day"].astype(str).str[:10])


def test_a_doubt_is_settled_for_good_and_can_be_opened_again(book):
    visits(book, {("G1", 3, 2): round(depth(1, 3, 2) / 25.4, 4)})
    book.write()
    (doubt,) = doubts(book.address)
    before = book.snapshot()
    row = settle(book.address, doubt["id"][:3], as_="logged", today=TODAY, note="a new piece")
    assert (row["state"], row["note"], row["id"]) == ("as_logged", "a new piece", doubt["id"])
    logged = book.snapshot()
    after = logged.doubts.to_dict("records")
    assert row in after, "settled, it is found under the same id"
    assert len(after) == 2, "and the fall it explained is a doubt of its own"
    assert logged.wear["sy"].sum() < before.wear["sy"].sum() - 0.3
    assert logged.last_decision == 1
    assert book.snapshot(upto=(1, 0)).digest == before.digest, "taken again without the decision"
    settle(book.address, doubt["id"], as_="open", today=TODAY)
    assert [row["state"] for row in doubts(book.address)] == ["open"]


def test_settling_a_swap_exchanges_the_readings(book):
    special = {("G3", 1, 0): 0.1, ("G3", 1, 1): 0.15, ("G3", 1, 3): 0.25, ("G3", 1, 4): 0.3}
    special |= {("G3", 1, 2): depth(3, 8, 2), ("G3", 8, 2): 0.2}
    visits(book, special)
    book.write()
    (doubt,) = doubts(book.address)
    assert doubt["rule"] == "swapped positions"
    settle(book.address, doubt["id"], as_="proposed", today=TODAY)
    aged = book.table("aged").query("machine == 'G3' and position == '1'")
    assert aged["wear_mm"].tolist() == pytest.approx([0.1, 0.15, 0.2, 0.25, 0.3])


@pytest.mark.slow
def test_the_moment_of_a_change_out_can_be_given(book):
    visits(book, {("G2", 2, 3): 0.05, ("G2", 2, 4): 0.13})
    book.write()
    (doubt,) = doubts(book.address)
    with pytest.raises(WearaheadError, match="not between the readings") as caught:
        settle(book.address, doubt["id"], as_="proposed", today=TODAY, at=date(2026, 8, 25))
    assert "--at" in caught.value.way_out
    settle(book.address, doubt["id"], as_="proposed", today=TODAY, at=date(2026, 8, 16))
    fitted = book.snapshot().fitted.set_index("piece")
    assert fitted.loc["G2 rollers 2 #2", "age"] == pytest.approx(9.5 * 20)
    settle(book.address, doubt["id"], as_="logged", today=TODAY)
    assert "G2 rollers 2 #2" not in set(book.snapshot().fitted["piece"])


def test_an_id_that_no_doubt_has_is_refused(book):
    visits(book, {})
    book.write()
    with pytest.raises(NotInStore, match="no doubt 'abc'") as caught:
        settle(book.address, "abc", as_="open", today=TODAY)
    assert "doubts" in caught.value.way_out
    with pytest.raises(ValueError, match="not 'maybe'"):
        settle(book.address, "abc", as_="maybe", today=TODAY)


def test_a_store_without_events_has_no_doubts(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.write()
    assert doubts(book.address) == []
