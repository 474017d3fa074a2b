"""A kit goes from one machine to another with its age; stock used against change-outs, by type."""

import runpy
from pathlib import Path

import pytest

from forecast.store.snapshots import take_snapshot

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """Kit K35: on G1 (20 h a day), on the shelf, then on G2 (10 h a day)."""
    book = Logbook(tmp_path_factory.mktemp("kits") / "store.duckdb")
    for part in ("L35", "L45"):
        book.part_type(part)
    book.part_type(sides=2)
    book.run("G1", "2026-08-03", 28, hours=20)
    book.run("G2", "2026-08-03", 28, hours=10)
    pockets = {"place": "pockets", "serialised": "no"}
    book.fleet("G1", "L35", "20", kit="K35", **pockets)
    book.fleet("G1", "L45", "20", **{**pockets, "start_state": None})
    book.fleet("G2", "L45", "20", kit="K45", **pockets)
    book.fleet("G2", "L35", "20", **{**pockets, "start_state": None})
    book.fleet("G1")
    here = {"place": "pockets", "part_type": "L35", "kit": "K35"}
    switch = {**here, "reason": "size_change"}
    other = {"place": "pockets", "part_type": "L45", "reason": "size_change"}
    book.change("G1", "2026-08-08", quantity=4, reason="broken", **here)
    book.change("G1", "2026-08-13", "removed", **switch)
    book.change("G1", "2026-08-13", "fitted", kit="K45-2", age_at_fit=100, **other)
    book.change("G2", "2026-08-18", "removed", kit="K45", **other)
    book.change("G2", "2026-08-18", "fitted", **switch)
    book.change("G2", "2026-08-23", quantity=2, reason="broken", **here)
    for depth in (0.2, 0.3):
        book.reading("G2", "2026-08-28", depth, **here)
    book.change("G1", "2026-08-13", position="1", reason="broken")
    book.change("G1", "2026-08-13", "turned", position="2", reason="worn")
    counted = {"L35": (50, 30), "L45": (40, 40), "SLEEVE": (10, 9)}
    for part, counts in counted.items():
        for day, quantity in zip(("04", "28"), counts, strict=True):
            book.stock(part, f"2026-08-{day}", "on_hand", quantity)
    return book


@pytest.fixture(scope="module")
def looked(book):
    """The snapshot, and the stock spans by part type: used and logged."""
    with book.looked() as store:
        snapshot = take_snapshot(store)
        spans = store._connection.execute("SELECT part_type, used, logged FROM stock_spans")
        return snapshot, {part: (used, logged) for part, used, logged in spans.fetchall()}


def test_a_kit_carries_its_age_to_another_machine(looked):
    """Noon to noon: 10.5 days of 20 h, then 10.5 of 10 h to the end of the 28th."""
    snapshot, _ = looked
    fitted = snapshot.fitted[snapshot.fitted["place"] == "pockets"].set_index("kit")
    assert fitted.loc["K35", ["machine", "in_place"]].tolist() == ["G2", True]
    assert fitted.loc["K35", "age"] == pytest.approx(10.5 * 20 + 10.5 * 10, abs=0.05)
    assert fitted.loc["K45", "age"] == pytest.approx(15.5 * 10, abs=0.05)
    assert not fitted.loc["K45", "in_place"], "on the shelf, at the age it had"
    assert fitted.loc["K45-2", "age"] == pytest.approx(100 + 15.5 * 20, abs=0.05)
    by_week = snapshot.counts.query("unit == 'K35'").groupby("week")["hours"].first()
    assert by_week.tolist() == pytest.approx([140, 70, 55, 50], abs=0.05), "none on the shelf"
    assert snapshot.counts.query("unit == 'K35'")["replaced"].sum() == 6
    assert "one piece in two places" not in set(snapshot.doubts["rule"])


def test_pieces_replaced_inside_it_start_their_own_age(looked):
    """When read the kit is 310 h old; four pieces came at its 110 h, two at its 260 h."""
    snapshot, _ = looked
    (visit,) = snapshot.samples.to_dict("records")
    ages = [310.0] * 14 + [200.0] * 4 + [50.0] * 2
    assert visit["age"] == pytest.approx(sum(ages) / 20, abs=0.02)
    assert visit["age_sq"] == pytest.approx(sum(age * age for age in ages) / 20, rel=1e-3)
    assert (visit["machine"], visit["kit"], visit["n"]) == ("G2", "K35", 2)


def test_stock_used_stands_against_the_change_outs_of_each_type(looked):
    """Pieces replaced count; a whole kit that is fitted uses no spare, nor does turning one."""
    snapshot, spans = looked
    assert spans == {"L35": (20, 6), "L45": (0, 0), "SLEEVE": (1, 1)}
    (stock,) = snapshot.doubts.query("rule == 'stock used'").to_dict("records")
    assert stock["part_type"] == "L35"
    assert stock["what"].endswith("stock used 20, change-outs logged 6")
