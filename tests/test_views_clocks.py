"""Clocks of cycles, metres and tonnes, from files through the views to the frames.

Eight machines run 10 h on each day from 3 to 12 August 2026, but stand on the 8th and 9th: 50 h,
then 30 h. Whatever their meters tell, a piece in place all the time is 4,800 cycles old.
"""

import math
from datetime import date

import pytest

from forecast.intake.importing import import_logs
from forecast.jobs.rests_on import ages_said
from forecast.store.look import look
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

PARTS = """\
part_type,wear_limit_mm,gauge_sd_mm,clock,max_age
SEAL,2.0,0.02,cycles,5000
BELT,2.0,0.02,metres,
CHUTE,2.0,0.02,tonnes,
PAD,2.0,0.02,hours,
"""

FLEET = """\
machine,place,part_type,positions,from,start_state,clock_per_hour
C1,head,SEAL,2,2026-08-03,new,
C2,head,SEAL,2,2026-08-03,new,
C3,head,SEAL,2,2026-08-03,new,
C4,head,SEAL,2,2026-08-03,new,
C5,head,SEAL,2,2026-08-03,new,
C6,head,SEAL,2,2026-08-03,1000,60
C7,head,SEAL,2,2026-08-03,new,
M1,table,BELT,2,2026-08-03,new,1800.5
T1,mouth,CHUTE,2,2026-08-03,new,
H1,rail,PAD,2,2026-08-03,new,
H3,rail,PAD,2,2026-07-25,new,
"""

CLOCKS = """\
machine,at,shows,clock,meter,event,start_shows
C1,2026-08-03 00:00,1000,cycles,,,
C1,2026-08-08 00:00,4000,cycles,,,
C1,2026-08-13 00:00,5800,cycles,,,
C2,2026-08-03 00:00,99000,cycles,,,
C2,2026-08-08 00:00,102000,cycles,,replaced,50
C2,2026-08-13 00:00,1850,cycles,,,
C3,2026-08-03 00:00,5000,cycles,,,
C3,2026-08-05 00:00,6200,cycles,,,
C3,2026-08-08 00:00,100,cycles,,,
C3,2026-08-13 00:00,1900,cycles,,,
C4,2026-08-03 00:00,97500,cycles,,,
C4,2026-08-08 00:00,500,cycles,,,
C4,2026-08-13 00:00,2300,cycles,,,
C5,2026-08-03 00:00,1000,cycles,,,
C5,2026-08-08 00:00,4000,cycles,,,
C5,2026-08-10 00:00,3000,cycles,,,
C5,2026-08-13 00:00,5800,cycles,,,
T1,2026-08-03 00:00,0,tonnes,,,
T1,2026-08-13 00:00,400,tonnes,,,
H1,2026-08-03 00:00,100,,,,
H1,2026-08-08 00:00,150,,,,
H1,2026-08-10 00:00,400,,,,
H1,2026-08-13 00:00,180,,,,
H3,2026-07-25 00:00,5000,,,,
H3,2026-07-27 00:00,5020,,,,
H3,2026-07-29 00:00,7,,,,
H3,2026-07-31 00:00,27,,,,
"""

RUNNING = "date,running_hours,machine\n" + "".join(
    f"2026-08-{day:02d},{0 if day in (8, 9) else 10},*\n" for day in range(3, 13)
)

MACHINES = [row.split(",")[:3] for row in FLEET.splitlines()[1:]]

CHANGES = "machine,at,action,part_type,place,position,reason\n" + "".join(
    f"{machine},2026-08-11 00:00,replaced,{part},{place},1,broken\n"
    for machine, place, part in MACHINES
)

READINGS = "machine,at,part_type,place,position,value\n" + "".join(
    f"{machine},{at},{part},{place},{position},{value}\n"
    for machine, place, part in MACHINES
    for at, position, value in (
        ("2026-08-08 00:00", 2, 0.16),
        ("2026-08-12 00:00", 1, 0.05),
        ("2026-08-12 00:00", 2, 0.22),
    )
)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clocks")
    logs = {"part_types": PARTS, "fleet": FLEET, "clocks": CLOCKS, "running": RUNNING,
            "change_outs": CHANGES, "readings": READINGS}  # fmt: skip
    for name, text in logs.items():
        (folder / f"{name}.csv").write_text(text)
    address = str(folder / "s.duckdb")
    files = [folder / f"{name}.csv" for name in logs]
    report = import_logs(address, files, today=date(2026, 8, 31))
    assert sum(file.set_aside for file in report.files) == 0
    with open_store(address) as opened:
        look(opened)
        yield opened


@pytest.fixture(scope="module")
def snapshot(store):
    return take_snapshot(store)


PER_HOUR = dict.fromkeys(("C1", "C2", "C3", "C4", "C5", "C6"), 60.0) | {
    "M1": 1800.5, "T1": 5.0, "H1": 1.0}  # fmt: skip
"""What each clock counts in a running hour: 3,000 in 50 h and 1,800 in 30 h, 400 t in 80 h."""


def test_ages_are_what_the_meter_counted_whatever_became_of_it(snapshot):
    ages = snapshot.fitted.set_index(["machine", "position"])["age"]
    start = {"C6": 1000.0}
    for machine, pace in PER_HOUR.items():
        assert ages[machine, "2"] == pytest.approx(start.get(machine, 0) + 80 * pace), machine
        # replaced on the 11th, two seconds after midnight: 60 h had been run, 20 h were to come
        assert ages[machine, "1"] == pytest.approx(20 * pace, rel=3e-5), machine
    lives = snapshot.lives.set_index("piece")
    for machine, place, _ in MACHINES:
        if machine in PER_HOUR:
            first = lives.loc[f"{machine} {place} 1 #1"]
            age = start.get(machine, 0) + 60 * PER_HOUR[machine]
            assert (first["lower"], first["upper"]) == (pytest.approx(age, rel=3e-5),) * 2
    assert lives.loc["C6 head 1 #1", "entry"] == 1000


def test_a_clock_that_nothing_counts_leaves_ages_unknown_and_is_a_doubt(snapshot):
    own = snapshot.fitted[snapshot.fitted["machine"] == "C7"]
    assert own["age"].isna().all()
    assert not snapshot.lives["machine"].eq("C7").any()
    doubt = snapshot.doubts[snapshot.doubts["machine"] == "C7"]
    assert doubt["rule"].tolist() == ["no hours"]
    assert "no meter counts its cycles" in doubt["what"].iloc[0]


def test_every_fault_of_a_meter_is_found_once_and_nothing_else_is(snapshot):
    found = snapshot.doubts[snapshot.doubts["machine"] != "C7"]
    rows = found[["rule", "machine", "default", "state"]].to_numpy().tolist()
    assert sorted(rows) == [
        ["meter backwards", "C5", "as_proposed", "open"],
        ["meter over 24 h a day", "H1", "as_proposed", "open"],
        ["meter reset", "C3", "as_proposed", "open"],
        ["meter reset", "H3", "as_proposed", "open"],
        ["meter rollover", "C4", "as_proposed", "open"],
    ]


def test_wear_goes_with_the_part_types_own_clock(snapshot):
    """Two readings, (3.0, 0.16) and (4.2, 0.22) thousand cycles and mm: 0.05 um a cycle."""
    wear = snapshot.wear.set_index("piece")
    cells = snapshot.wear_cells.set_index("piece")
    for machine in ("C1", "C2", "C3", "C4", "C5"):
        piece = f"{machine} head 2 #1"
        assert wear.loc[piece, "last_age"] == pytest.approx(4200)
        sums = cells.loc[piece, ["sx", "sxy", "sxx"]].astype(float).tolist()
        assert sums == pytest.approx([7.2, 3 * 0.16 + 4.2 * 0.22, 9 + 17.64], abs=1e-6), machine
    assert wear.loc["T1 mouth 2 #1", "last_age"] == pytest.approx(70 * 5)
    assert wear.loc["M1 table 2 #1", "last_age"] == pytest.approx(70 * 1800.5)


def test_nothing_is_spread_over_days_on_which_the_machine_stood(store):
    asked = store._connection.execute
    stood = asked(
        "SELECT count(*), sum(hours)::DOUBLE FROM meter"
        " WHERE run_date IN ('2026-08-08', '2026-08-09')"
    ).fetchone()
    assert stood[0] > 0 and stood[1] == 0
    by_day = asked(
        "SELECT run_date::VARCHAR, hours::DOUBLE FROM meter WHERE machine = 'C1'"
        " AND clock = 'cycles' AND hours > 0 ORDER BY 1"
    ).fetchall()
    days = [3, 4, 5, 6, 7, 10, 11, 12]
    assert by_day == [(f"2026-08-{day:02d}", pytest.approx(600)) for day in days]


def test_what_a_clock_counts_in_an_hour_and_the_oldest_piece(snapshot):
    pace = snapshot.pace.set_index("machine")
    assert pace["per_hour"].drop(["C7", "H3"]).to_dict() == pytest.approx(PER_HOUR)
    assert math.isnan(pace.loc["C7", "per_hour"])
    metered = set(pace.index[pace["metered"].astype(bool)])
    assert metered == {"C1", "C2", "C3", "C4", "C5", "T1"}, "H1 counts hours themselves"
    oldest = snapshot.duty_limits.set_index("part_type")
    assert oldest.loc["SEAL", ["oldest_age", "max_age"]].tolist() == [5800, 5000]


def test_every_age_carries_how_it_was_got(snapshot):
    """H3: 20 h by its meter, 20 h at that rate while it was changed, 20 h, then 80 h by running."""
    ages = snapshot.ages.set_index("piece")
    meter, pace = "meter", "running hours at the pace of the meter"
    expected = {
        "C1 head 2 #1": (0, 4800, 0, 0, meter),
        "C2 head 2 #1": (0, 4800, 0, 0, meter),
        "C3 head 2 #1": (0, 3000, 1800, 0, f"{meter}, {pace}"),
        "C4 head 2 #1": (0, 4800, 0, 0, meter),
        "C5 head 2 #1": (0, 4800, 0, 0, meter),
        "C6 head 2 #1": (1000, 0, 4800, 0, "start age stated, running hours x clock_per_hour"),
        "M1 table 2 #1": (0, 0, 80 * 1800.5, 0, "running hours x clock_per_hour"),
        "T1 mouth 2 #1": (0, 400, 0, 0, meter),
        "H1 rail 2 #1": (0, 80, 0, 0, meter),
        "H3 rail 2 #1": (
            0, 40, 80, 20,
            "meter, running, the rate around an unlogged change of the meter",
        ),
    }  # fmt: skip
    for piece, (*parts, words) in expected.items():
        row = ages.loc[piece]
        found = row[["stated", "metered", "told", "guessed"]].astype(float).tolist()
        assert found == pytest.approx(parts, abs=0.02), piece
        assert row["age_from"] == words, piece
    assert ages.loc["C7 head 2 #1", "age_from"] == "nothing tells how long it ran"
    parts = ages[["stated", "metered", "told", "guessed"]].sum(axis=1)
    known = snapshot.fitted[snapshot.fitted["age"].notna()]
    added = parts.loc[known["piece"]].tolist()
    assert added == pytest.approx(known["age"].tolist(), abs=0.02), "the parts are the whole"
    said = {what: value for what, value, _, _ in ages_said(snapshot)}
    # piece 1 of H3 was replaced after the change; of piece 2, 20 h are a guess
    assert said == {
        "PAD: ages across an unlogged change of the meter": "1 of 4 pieces and sets, up to 20"
    }
