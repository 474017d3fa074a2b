"""Running hours: clocks spread by running, meters replaced and misread, seasons, planned days."""

import runpy
from pathlib import Path

import pytest

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]


@pytest.fixture
def book(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    return book


def by_day(book, machine: str) -> dict[str, float]:
    hours = book.table("hours_by_day")
    hours = hours[(hours["machine"] == machine) & (hours["hours"] > 0)]
    return dict(zip(hours["run_date"].astype(str).str[:10], hours["hours"], strict=True))


def test_clocks_are_spread_by_running_or_evenly_and_running_fills_in(book):
    for name, line in (("G1", "A"), ("G2", "A"), ("G3", "B"), ("G4", "B")):
        book.fleet(name, plant_line=line)
    for machine in ("G1", "G4"):
        book.clock(machine, "2026-08-04 00:00:00", 1000)
        book.clock(machine, "2026-08-08 00:00:00", 1066)
    for day, hours in (("04", 20), ("05", 0), ("06", 10), ("07", 3), ("09", 8)):
        book.add("running", run_date=f"2026-08-{day}", running_hours=hours, plant_line="A")
    book.add("running", run_date="2026-08-06", running_hours=7, machine="G2")
    book.add("running", run_date="2026-08-06", running_hours=6, machine="*")
    book.reading("G1", "2026-08-10", 0.2, position="1")
    book.write()
    assert by_day(book, "G1") == {
        "2026-08-04": 40.0,
        "2026-08-06": 20.0,
        "2026-08-07": 6.0,
        "2026-08-09": 8.0,
    }, "by running, none on the day the line stood; running alone after the last clock"
    assert by_day(book, "G2")["2026-08-06"] == 7, "the machine's own row before its line's"
    assert by_day(book, "G2")["2026-08-04"] == 20
    assert by_day(book, "G3") == {"2026-08-06": 6.0}, "of all, where line and machine say nothing"
    assert by_day(book, "G4") == {
        "2026-08-04": 20.0,
        "2026-08-05": 20.0,
        "2026-08-06": 6.0,
        "2026-08-07": 20.0,
    }, "what one told day cannot hold ran on days that no row tells"


def test_without_running_clocks_are_spread_evenly_over_parts_of_days(book):
    book.fleet("G1")
    book.clock("G1", "2026-08-04 12:00:00", 1000)
    book.clock("G1", "2026-08-06 00:00:00", 1030)
    # changed before anything tells how fast it runs: 48 h in the two days after, so 36 in 36
    book.fleet("G2")
    for moment, shows in (("04 12", 5000), ("06 00", 100), ("08 00", 148)):
        book.clock("G2", f"2026-08-{moment}:00:00", shows)
    assert by_day(book, "G1") == {"2026-08-04": 10.0, "2026-08-05": 20.0}
    assert sum(by_day(book, "G2").values()) == pytest.approx(36 + 48)
    meter = book.table("meter").query("machine == 'G1'").set_index("run_date")["hours_before"]
    assert meter.iloc[-1] == 30


def test_meters_replaced_and_misread(book):
    for name in ("G1", "G2", "G3", "G4", "G5"):
        book.fleet(name)
    book.run("*", "2026-08-03", 28)
    days = ("04", "09", "14", "19")
    shown = {
        "G1": (5000, 5100, 100, 200),
        "G2": (5000, 5100, 4200, 5300),
        "G3": (5000, 5100, 9999, 5300),
        "G5": (5000, 5100, 5200, 5300),
    }
    for machine, figures in shown.items():
        for day, figure in zip(days, figures, strict=True):
            book.clock(machine, f"2026-08-{day} 00:00:00", figure)
    book.clock("G4", "2026-08-04 00:00:00", 5000)
    book.clock("G4", "2026-08-09 00:00:00", 5100)
    book.clock("G4", "2026-08-14 00:00:00", 5200, event="replaced", start_shows=3)
    book.clock("G4", "2026-08-19 00:00:00", 103)
    book.write()
    doubts = book.snapshot().doubts
    of_meters = doubts[doubts["rule"] != "silent machine"]
    assert len(doubts) == len(of_meters) + 5, "machines that ran, of which nothing else is logged"
    assert list(zip(of_meters["rule"], of_meters["machine"], strict=True)) == [
        ("meter backwards", "G2"),
        ("meter over 24 h a day", "G3"),
        ("meter reset", "G1"),
    ]
    meter = book.table("meter")
    at = meter[meter["run_date"] == "2026-08-19"].set_index("machine")["hours_before"]
    assert at.to_dict() == {name: 320.0 for name in ("G1", "G2", "G3", "G4", "G5")}


def test_seasons_are_islands_named_by_their_year(book):
    book.fleet("G1", from_day="2024-08-05")
    book.run("G1", "2024-12-20", 30)
    book.run("G1", "2025-02-20", 10)
    book.run("G1", "2025-08-01", 10)
    book.run("G1", "2026-08-01", 40)
    book.reading("G1", "2026-08-20", 0.5, position="1")
    snapshot = book.snapshot()
    found = snapshot.seasons.astype(str).to_numpy().tolist()
    assert found == [
        ["2024", "2024-12-20", "2025-01-18"],
        ["2025", "2025-02-20", "2025-03-01"],
        ["2025-2", "2025-08-01", "2025-08-10"],
        ["2026", "2026-08-01", "2026-08-20"],
    ]
    cells = snapshot.fitted_cells.query("piece == 'G1 rollers 1 #1'")
    assert cells.set_index("season")["x"].to_dict() == {
        "2024": 0.6,
        "2025": 0.2,
        "2025-2": 0.2,
        "2026": 0.4,
    }
    planned = snapshot.running[snapshot.running["planned"]]
    assert planned["day"].min().isoformat()[:10] == "2026-08-21"
    assert len(planned) == 20
    assert snapshot.day.isoformat() == "2026-08-20"
