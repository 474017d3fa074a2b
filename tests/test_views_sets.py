"""Sets whose pieces are not serialised: kits that come and go, counts by week, stock."""

import runpy
from pathlib import Path

import numpy as np
import pytest

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]


@pytest.fixture
def book(tmp_path):
    """One machine with pocket liners of two sizes, running 20 h a day for four weeks."""
    book = Logbook(tmp_path / "store.duckdb")
    for part in ("L35", "L45"):
        book.part_type(part)
    book.run("*", "2026-08-03", 28)
    return book


def pockets(book, machine: str, **small) -> None:
    place = {"place": "pockets", "serialised": "no"}
    book.fleet(machine, "L35", "20", **place, **small)
    book.fleet(machine, "L45", "20", **{**place, "start_state": None})


def switch(book, machine: str, day: str, old: tuple[str, str], new: tuple[str, str], **more):
    here = {"place": "pockets", "reason": "size_change"}
    book.change(machine, day, "removed", part_type=old[0], kit=old[1], **here)
    book.change(machine, day, "fitted", part_type=new[0], kit=new[1], **here, **more)


def test_a_kit_keeps_its_age_and_counts_follow_it(book):
    pockets(book, "G1", kit="K35")
    small, large = ("L35", "K35"), ("L45", "K45")
    switch(book, "G1", "2026-08-09", small, large, age_at_fit=100)
    switch(book, "G1", "2026-08-23", large, small)
    here = {"place": "pockets"}
    book.change("G1", "2026-08-05", part_type="L35", kit="K35", quantity=2, reason="broken", **here)
    book.change("G1", "2026-08-05", part_type="L35", kit="K35", quantity=3, reason="worn", **here)
    book.change("G1", "2026-08-06", part_type="L35", kit="K35", quantity=0, **here)
    book.change("G1", "2026-08-12", part_type="L45", kit="K45", quantity=4, reason="worn", **here)
    book.reading("G1", "2026-08-30", 0.4, part_type="L35", kit="K35", **here)
    snapshot = book.snapshot()
    fitted = snapshot.fitted.set_index("kit")
    assert fitted["in_place"].to_dict() == {"K35": True, "K45": False}
    assert fitted["quantity"].tolist() == [20, 20]
    assert fitted["age"].to_dict() == pytest.approx({"K35": 130 + 150, "K45": 100 + 280}, abs=0.1)
    counts = snapshot.counts
    assert counts.groupby("kit")["mode"].unique().map(list).to_dict() == {
        "K35": ["broken"],
        "K45": ["worn"],
    }, "K35's type has readings, so worn is left to the wear model; K45's has none"
    first = counts[counts["kit"] == "K35"].iloc[0]
    assert (first["replaced"], first["others"], first["start_age"]) == (2, 3, 0)
    by_week = counts.groupby("kit")["hours"].apply(list).to_dict()
    assert by_week["K35"] == pytest.approx([130, 150], abs=0.02)
    replaced = counts.groupby("kit")["replaced"].apply(list).to_dict()
    assert str(replaced) == "{'K35': [2.0, nan], 'K45': [0.0, 4.0, 0.0]}", "nobody has looked since"
    assert by_week["K45"] == pytest.approx([10, 140, 130], abs=0.02)
    assert counts.loc[counts["kit"] == "K45", "start_age"].unique().tolist() == [100]
    assert counts["positions"].unique().tolist() == [20]
    assert snapshot.lives.empty, "sets are told by counts"


def test_what_ran_since_the_last_look_is_no_exposure(book):
    """Counts are noted on Sundays: on Friday nobody knows what broke since. In G2 all is noted."""
    for machine in ("G1", "G2"):
        book.fleet(machine, "L35", "20", place=f"pockets{machine}", serialised="no")
    for day, broken in (("09", 1), ("16", 0), ("23", 2)):
        here = {"place": "pocketsG1", "part_type": "L35", "reason": "broken"}
        book.change("G1", f"2026-08-{day}", quantity=broken, **here)
    here = {"place": "pocketsG2", "part_type": "L35", "reason": "broken"}
    book.change("G2", "2026-08-12", quantity=1, **here)
    book.change("G2", "2026-08-26", quantity=1, **here)
    book.stock("L35", "2026-08-28", "on_hand", 50)
    counts = book.snapshot("2026-08-28").counts.set_index(["machine", "week"])
    assert str(counts.loc["G1", "replaced"].tolist()) == "[1.0, 0.0, 2.0, nan]"
    assert counts.loc["G2", "replaced"].tolist() == [0, 1, 0, 1]
    for machine in ("G1", "G2"):
        assert counts.loc[machine, "hours"].sum() == pytest.approx(26 * 20, abs=0.1)


def test_alternatives_before_their_first_fitting_and_kits_of_unknown_age(book):
    pockets(book, "G1", kit="K35")
    pockets(book, "G2", **{"start_state": "unknown"})
    switch(book, "G2", "2026-08-09", ("L35", None), ("L45", None))
    book.reading("G1", "2026-08-20", 0.4, place="pockets", part_type="L35", kit="K35")
    snapshot = book.snapshot()
    fitted = snapshot.fitted.set_index(["machine", "part_type"])
    assert fitted["in_place"].to_dict() == {
        ("G1", "L35"): True,
        ("G1", "L45"): False,
        ("G2", "L35"): False,
        ("G2", "L45"): True,
    }
    assert fitted["kit"].tolist() == ["K35", "", "", ""]
    assert np.isnan(fitted["age"].to_numpy()).tolist() == [False, True, True, True]
    unknown = snapshot.counts.query("machine == 'G2'")
    assert np.isnan(unknown["start_age"]).all()
    assert set(unknown["kit"]) == {""} and set(unknown["mode"]) == {"broken"}
    assert set(unknown["unit"]) == {"G2 pockets L35", "G2 pockets L45"}


def test_stock_is_the_last_count_and_the_orders_open_since(book):
    book.fleet("G1", "L35")
    for day, quantity in (("01", 50), ("20", 40)):
        book.stock("L35", f"2026-08-{day}", "on_hand", quantity)
    book.stock("L35", "2026-08-20", "on_hand", 7, stock_condition="part_worn")
    for number, due in ((1, "2026-08-15"), (2, "2026-09-10"), (3, "2026-09-20")):
        book.stock("L35", "2026-08-02", "on_order", 100 * number, due=due, order_no=f"P{number}")
    book.stock("L35", "2026-08-21", "cancelled", 300, order_no="P3")
    stock = book.snapshot().stock
    assert stock.astype(str).to_numpy().tolist() == [
        ["L35", "on_hand", "40", "NaT", "2026-08-20"],
        ["L35", "on_order", "200", "2026-09-10", "2026-08-02"],
    ]
