"""Every rule of doubt planted exactly once in one small fleet of files, and found exactly once.

Machines A1 to A8 have ten sleeves each, read in five visits, and run 20 h a day; the others stand
for one rule each. Ids stay the same when the files come again, and when another import is added.
"""

import math
import re
from datetime import date
from pathlib import Path

import pytest

import sql
from forecast.intake.doubts import doubts, settle
from forecast.intake.importing import import_logs
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

TODAY = date(2026, 9, 6)
VISITS = ("2026-08-05", "2026-08-10", "2026-08-15", "2026-08-20", "2026-08-25")

AS_PROPOSED, AS_LOGGED = "as_proposed", "as_logged"
PLANTED = {
    "amended row": ("A8", "", AS_PROPOSED),
    "clock disagrees": ("M5", "", AS_LOGGED),
    "doubled sheet": ("A4", "", AS_PROPOSED),
    "flipped strip": ("F1", "1", AS_LOGGED),
    "impossible rate": ("A7", "5", AS_LOGGED),
    "machine in two plants": ("P1", "", AS_LOGGED),
    "meter backwards": ("M1", "", AS_PROPOSED),
    "meter over 24 h a day": ("M2", "", AS_PROPOSED),
    "meter reset": ("M4", "", AS_PROPOSED),
    "meter rollover": ("M3", "", AS_PROPOSED),
    "no hours": ("N1", "", AS_LOGGED),
    "no piece in place": ("A8", "2", AS_PROPOSED),
    "not in the fleet": ("AX", "", AS_LOGGED),
    "one piece in two places": ("A5", "2", AS_LOGGED),
    "rate jump": ("A7", "6", AS_LOGGED),
    "reading after removal": ("A5", "1", AS_PROPOSED),
    "silent machine": ("S1", "", AS_PROPOSED),
    "stock used": ("", "", AS_LOGGED),
    "swapped positions": ("A3", "8", AS_LOGGED),
    "two parts in one position": ("A6", "1", AS_LOGGED),
    "unit slip": ("A1", "3", AS_PROPOSED),
    "unlogged change-out": ("A2", "2", AS_PROPOSED),
    "value against result": ("A8", "1", AS_PROPOSED),
    "worst first": ("", "", AS_LOGGED),
}
"""Where each rule was planted, and its default."""


def depth(machine: int, position: int, visit: int) -> float:
    return round(0.2 + 0.11 * visit + 0.017 * position + 0.009 * machine * (position % 3), 2)


SPECIAL: dict[tuple[int, int, int], float | None] = {
    (1, 3, 2): round(depth(1, 3, 2) / 25.4, 4),
    (2, 2, 3): 0.05,
    (2, 2, 4): 0.13,
    (3, 1, 0): 0.10, (3, 1, 1): 0.15, (3, 1, 2): depth(3, 8, 2), (3, 1, 3): 0.25, (3, 1, 4): 0.30,
    (3, 8, 2): 0.20,
    (5, 1, 2): None, (5, 1, 3): 0.15, (5, 1, 4): 0.26,
    (5, 2, 2): 0.04, (5, 2, 3): 0.15, (5, 2, 4): 0.26,
    (6, 1, 2): 0.04, (6, 1, 3): 0.15, (6, 1, 4): 0.26,
    (6, 2, 3): 0.04, (6, 2, 4): 0.15,
    (7, 5, 1): 3.2, (7, 5, 2): None, (7, 5, 3): None, (7, 5, 4): None,
    (7, 6, 0): 0.20, (7, 6, 1): 0.23, (7, 6, 2): 0.26, (7, 6, 3): 0.60, (7, 6, 4): 0.95,
}  # fmt: skip
"""Cells of the sleeves' visits that are not as clean as the others; None: not read."""


def sheet(*rows: str) -> str:
    return "\n".join(rows) + "\n"


def logs() -> dict[str, str]:
    """The folder, file by file."""
    readings = ["machine,at,part_type,place,position,value,result,found_left,chosen,clock_shows"]

    def read(machine, at, position, value, part="SLEEVE", place="rollers", more=",,,"):
        readings.append(f"{machine},{at},{part},{place},{position},{value},{more}")

    for visit, at in enumerate(VISITS):
        for machine in range(1, 9):
            for position in range(1, 11):
                key = (machine, position, visit)
                value = SPECIAL.get(key, depth(*key))
                if value is not None:
                    over = "over,,," if key == (8, 1, 3) else ",,,"
                    read(f"A{machine}", at, position, value, more=over)
    for position in range(1, 10):
        read("A4", "2026-08-28", position, depth(1, position, 0))
    read("A5", "2026-08-16", 1, 0.47, more=",removed,,")
    read("A8", "2026-08-01", 2, 0.1)
    read("AX", "2026-08-05", 1, 0.2)
    for number in range(1, 6):
        read(f"M{number}", "2026-08-14", 1, 0.4, more=",,,1500" if number == 5 else ",,,")
    for at, value in (("2026-08-05", 0.5), ("2026-08-12", 0.9), ("2026-08-19", 0.2)):
        read("F1", at, 1, value, "STRIP", "guides")
    for number in range(1, 5):
        read(f"W{number}", "2026-08-20", 1, 0.30, "PAD", "pads", ",,random,")
        for position in range(2, 7):
            told = position < 4
            value = (0.30 if told else 0.45) + 0.01 * (position % 3) + 0.004 * number
            read(f"W{number}", "2026-08-20", position, f"{value:.3f}", "PAD", "pads",
                 ",,random," if told else ",,,")  # fmt: skip
    read("P1", "2026-08-14", 1, 0.4)
    fleet = ["machine,part_type,place,positions,from,start_state,line,plant"]
    for number in range(1, 9):
        fleet.append(f"A{number},SLEEVE,rollers,10,2026-08-03,new,L,")
    fleet += [f"M{number},SLEEVE,rollers,1,2026-08-03,new,L," for number in range(1, 6)]
    fleet += [f"W{number},PAD,pads,6,2026-08-03,new,L," for number in range(1, 5)]
    fleet += [
        "F1,STRIP,guides,1,2026-08-03,new,L,",
        "N1,SLEEVE,rollers,1,2026-08-03,new,,",
        "P1,SLEEVE,rollers,1,2026-08-03,new,L,north",
        "P1,PAD,pads,1,2026-08-03,new,L,south",
        "S1,SLEEVE,rollers,1,2026-08-03,new,L,",
    ]
    clocks = ["machine,at,shows"]
    shown = {
        "M1": (1000, 1200, 500, 1400),
        "M2": (1000, 1200, 3000, 1400),
        "M3": (9900, 100, 200, 300),
        "M4": (5000, 5200, 50, 150),
        "M5": (1000, 1200, 1300, 1400),
    }
    for machine, figures in shown.items():
        for day, figure in zip((4, 14, 19, 24), figures, strict=True):
            clocks.append(f"{machine},2026-08-{day:02d} 12:00,{figure}")
    return {
        "part_types.csv": sheet(
            "part_type,wear_limit_mm,gauge_sd_mm,sides",
            "SLEEVE,1.0,0.03,1", "PAD,1.0,0.03,1", "STRIP,3.0,0.03,2",
        ),
        "fleet.csv": sheet(*fleet),
        "clocks.csv": sheet(*clocks),
        "readings.csv": sheet(*readings),
        "running.csv": sheet(
            "date,running_hours,line",
            *(f"2026-08-{day:02d},20,L" for day in range(3, 32)),
        ),
        "stock.csv": sheet(
            "part_type,at,state,quantity",
            "STRIP,2026-08-04,on_hand,10", "STRIP,2026-08-30,on_hand,10",
            "PAD,2026-08-04,on_hand,140", "PAD,2026-08-30,on_hand,44",
        ),
        "change_outs.csv": sheet(
            "machine,at,action,part_type,place,position,reason,piece",
            "A5,2026-08-13,replaced,SLEEVE,rollers,1,planned,",
            "A5,2026-08-13,replaced,SLEEVE,rollers,2,planned,X1",
            "A6,2026-08-13,fitted,SLEEVE,rollers,1,,",
            "A6,2026-08-18,replaced,SLEEVE,rollers,2,planned,X1",
        ),
    }  # fmt: skip


AMENDED = "machine,at,part_type,place,position,value\nA8,2026-08-25,SLEEVE,rollers,9,0.85\n"
LATER = "machine,at,part_type,place,position,value\nA1,2026-08-30,SLEEVE,rollers,10,0.92\n"


def found(address: str) -> dict[str, list[dict]]:
    by_rule: dict[str, list[dict]] = {}
    for row in doubts(address):
        by_rule.setdefault(str(row["rule"]), []).append(row)
    return by_rule


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A store of the folder: its address, its files, and its doubts by rule."""
    folder = tmp_path_factory.mktemp("all")
    files = []
    for name, text in {**logs(), "amended.csv": AMENDED}.items():
        files.append(folder / name)
        files[-1].write_text(text)
    address = str(folder / "s.duckdb")
    report = import_logs(address, files, today=TODAY)
    assert sum(file.set_aside for file in report.files) == 0
    return address, files, found(address)


def test_every_rule_is_found_once_where_it_was_planted_and_nothing_else(store):
    _, _, by_rule = store
    rows = [row for same in by_rule.values() for row in same]
    shown = {(row["rule"], row["machine"], row["position"], row["default"]) for row in rows}
    assert shown == {(rule, *where) for rule, where in PLANTED.items()}
    assert len(rows) == len(PLANTED)
    assert {row["state"] for row in rows} == {"open"}
    assert all(row["what"] and row["proposal"] for row in rows)


def test_every_rule_states_its_default_in_its_header(store):
    """The planted rules are all there are; each file says the sentence and the default it gives."""
    _, _, by_rule = store
    stated = {}
    for file in sorted((Path(sql.__file__).parent / "checks").glob("*.sql")):
        text = file.read_text()
        rules = set(re.findall(r"'([^'\n]+)' AS rule", text))
        (rule,) = rules
        header = re.search(r"^-- Default: (as proposed|as logged)", text, re.MULTILINE)
        assert header, file.name
        stated[rule] = header[1].replace(" ", "_")
    assert stated == {rule: rows[0]["default"] for rule, rows in by_rule.items()}


def test_stock_used_is_set_against_the_change_outs_logged_of_its_type(store):
    _, _, by_rule = store
    (stock,) = by_rule["stock used"]
    assert stock["part_type"] == "PAD"
    assert "stock used 96, change-outs logged 0" in stock["what"]


def test_ids_stay_and_what_people_settle_changes_lives(store):
    """The same files come again, and one more. Taken back: test_doubts; by day: test_known_then."""
    address, files, before = store
    ids = {rule: rows[0]["id"] for rule, rows in before.items()}
    later = files[0].with_name("later.csv")
    later.write_text(LATER)
    again = import_logs(address, [*reversed(files), later], today=TODAY)
    assert [file.accepted for file in again.files] == [0] * len(files) + [1]
    settle(address, ids["flipped strip"], as_="proposed", today=date(2026, 9, 8), note="asked")
    with open_store(address) as opened:
        now = take_snapshot(opened, date(2026, 9, 9))
        kept = opened._connection.execute("SELECT decided_on, settled_as, note FROM decisions")
        assert kept.fetchall() == [(date(2026, 9, 8), "as_proposed", "asked")]
    rows = now.doubts.set_index("rule")
    assert rows["id"].to_dict() == ids
    assert rows["state"].drop("flipped strip").eq("open").all()
    assert rows.loc["flipped strip", "state"] == "as_proposed"
    lives = now.lives.set_index("piece")
    # A2, position 2: read at noon of the 15th (12.5 days of 20 h), found new at noon of the 20th
    # (17.5 days): it left in between
    first = lives.loc["A2 rollers 2 #1"]
    assert first["lower"] == pytest.approx(12.5 * 20, abs=0.1)
    assert 15 * 20 - 0.1 <= first["upper"] <= 17.5 * 20 + 0.1
    assert "A2 rollers 2 #2" in lives.index
    # F1: the first side was still in use at noon of the 12th, and the other one came midway to the
    # 19th, on the 16th at midnight: 15 days before the end of the 30th
    sides = [lives.loc[f"F1 guides 1 #1{side}"] for side in ("", " side 2")]
    assert [side["lower"] for side in sides] == pytest.approx([9.5 * 20, 15 * 20], abs=0.1)
    assert all(math.isinf(side["upper"]) and side["mode"] == "" for side in sides)
    assert not now.lives["machine"].isin(["S1", "N1"]).any(), "silent, or without hours"
