"""A day is seen from the full store as from one that never held later rows: every frame of it.

All seven kinds of log come in files, on three days; people settle, withdraw, amend and mend before
the day looked at, and after it.
"""

import hashlib
import shutil
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest

from forecast.intake.doubts import settle
from forecast.intake.importing import import_logs
from forecast.intake.withdrawing import withdraw
from forecast.records.snapshot import COLUMNS, Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

DAY = date(2026, 8, 20)
FIRST, SECOND, LATE = date(2026, 8, 15), date(2026, 8, 18), date(2026, 8, 25)

RULE, PLACE, DAYS = "unlogged change-out", "G1|rollers|3", "2026-08-09|2026-08-14"
FALL = hashlib.md5(f"{RULE}|{PLACE}|{DAYS}".encode(), usedforsecurity=False).hexdigest()[:8]
"""Of the only change-out that nobody logged: the first 8 digits of a hash of rule, place, dates."""

HEAD = "machine,at,part_type,place,position,value,result,kit\n"
PARTS = "part_type,wear_limit_mm,clock,sides,nominal_mm,limit_measure\n"
FLEET = "machine,part_type,place,positions,from,start_state,serialised,kit,clock_per_hour\n"


def rows(first: int, last: int) -> str:
    """Readings of sleeves, seals and liners on every fifth day."""
    lines = []
    for day in range(first, last + 1, 5):
        for machine in ("G1", "G2"):
            at = f"{machine},2026-08-{day:02d}"
            for position in (1, 2, 3):
                depth = 0.02 * day + 0.02 * position
                lines.append(f"{at},SLEEVE,rollers,{position},{depth:.2f},,")
            lines.append(f"{at},SLEEVE,rollers,4,,ok,")
            lines.append(f"{at},SEAL,head,1,{0.02 * day:.2f},,")
            lines += [
                f"{at},LINER,pockets,,{0.01 * day + 0.01 * n:.2f},,K-{machine}" for n in (1, 2)
            ]
    return "\n".join(lines) + "\n"


EARLY = {
    "part_types.csv": PARTS + "SLEEVE,1.0,,2,,\nSEAL,2.0,cycles,,,\nLINER,1.0,,,,\n"
    "WALL,8.0,,,10,remaining\n",
    "fleet.csv": FLEET
    + "".join(
        f"{machine},SLEEVE,rollers,4,2026-08-01,new,yes,,\n"
        f"{machine},SEAL,head,2,2026-08-01,{state},yes,,60\n"
        f"{machine},LINER,pockets,12,2026-08-01,new,no,K-{machine},\n"
        for machine, state in (("G1", "new"), ("G2", "unknown"))
    )
    + "G2,WALL,chute,2,2026-08-01,new,yes,,\n",
    "clocks.csv": "machine,at,shows\nG1,2026-08-01 06:00,100\nG1,2026-08-14 06:00,360\n",
    "running.csv": "date,running_hours,machine,phase\n"
    + "".join(f"2026-08-{day:02d},20,*,{'dip' if day > 9 else 'fresh'}\n" for day in range(1, 32)),
    "stock.csv": "part_type,at,state,quantity,due,order_no\nSLEEVE,2026-08-01,on_hand,30,,\n"
    "SLEEVE,2026-08-14,on_hand,20,,\nSLEEVE,2026-08-02,on_order,40,2026-08-30,P1\n",
    "change_outs.csv": "machine,at,action,part_type,place,position,quantity,reason,fitted_mm\n"
    "G1,2026-08-08,replaced,SLEEVE,rollers,1,,broken,\n"
    "G1,2026-08-09,replaced,LINER,pockets,,2,broken,\n"
    "G2,2026-08-10,turned,SLEEVE,rollers,2,,worn,\n",
    # on the 14th position 3 of G1 falls, and nobody logged a change-out; one row is no number
    "readings.csv": HEAD + rows(4, 14).replace("G1,2026-08-14,SLEEVE,rollers,3,0.34",
                                               "G1,2026-08-14,SLEEVE,rollers,3,0.02")
    + "G2,2026-08-14,SEAL,head,2,o.3,,\nG9,2026-08-14,SLEEVE,rollers,1,0.1,,\n"
    "G2,2026-08-14,WALL,chute,1,9.8,,\n",
}  # fmt: skip

SOON = {
    "amended.csv": HEAD + "G2,2026-08-14,SLEEVE,rollers,1,0.17,,\n",
    "other_plant.csv": HEAD + "G1,2026-08-16,SLEEVE,rollers,2,0.9,,\n",
}

AFTER = {
    "part_types_2.csv": PARTS + "SLEEVE,0.5,,1,,\nSEAL,1.5,cycles,,,\nNEW,1.0,,,,\n",
    "fleet_2.csv": FLEET + "G3,SLEEVE,rollers,4,2026-08-02,new,yes,,\n"
    "G1,SLEEVE,rollers,4,2026-08-22,new,no,KX,\n",
    "clocks_2.csv": "machine,at,shows\nG1,2026-08-14 06:00,300\nG2,2026-08-12 06:00,9\n",
    "running_2.csv": "date,running_hours,machine,phase\n2026-08-05,2,*,dip\n"
    "2026-08-22,20,*,late\n2026-08-28,3,G1,dip\n",
    "stock_2.csv": "part_type,at,state,quantity,due,order_no\nSLEEVE,2026-08-14,on_hand,9,,\n"
    "SLEEVE,2026-08-16,cancelled,40,,P1\n",
    "change_outs_2.csv": "machine,at,action,part_type,place,position,quantity,reason,fitted_mm\n"
    "G1,2026-08-12,replaced,SLEEVE,rollers,2,,seized,10\n"
    "G1,2026-08-08,replaced,SLEEVE,rollers,1,,planned,\n"
    "G2,2026-08-05,replaced,WALL,chute,1,,planned,9.9\n",
    # the mended sheet, under its old name; a row of before, only now known; and a new day
    "readings.csv": EARLY["readings.csv"].replace("o.3", "0.3")
    + "G2,2026-08-12,SLEEVE,rollers,3,0.9,,\n" + rows(19, 24),
}  # fmt: skip


def write(folder: Path, texts: dict[str, str]) -> list[Path]:
    folder.mkdir(exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text)
    return [folder / name for name in texts]


def day_seen(address: str, day: date) -> Snapshot:
    with open_store(address) as store:
        return take_snapshot(store, day)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """The day's snapshot from a store of what came until then, and from one of all that came."""
    folder = tmp_path_factory.mktemp("then")
    early, full = str(folder / "early.duckdb"), str(folder / "full.duckdb")
    import_logs(early, write(folder / "first", EARLY), today=FIRST)
    soon = import_logs(early, write(folder / "second", SOON), today=SECOND)
    withdraw(early, soon.files[1].number, today=DAY, note="not ours")
    settle(early, FALL, as_="logged", today=DAY)
    shutil.copy(early, full)
    settle(full, FALL, as_="proposed", today=DAY + timedelta(days=1))
    withdraw(full, soon.files[0].number, today=DAY + timedelta(days=1))
    import_logs(full, write(folder / "third", AFTER), today=LATE)
    withdraw(full, soon.files[1].number, today=LATE, back=True)
    return day_seen(full, DAY), day_seen(early, DAY), day_seen(full, LATE)


@pytest.mark.slow
@pytest.mark.parametrize("name", COLUMNS)
def test_no_frame_knows_what_came_later(both, name):
    full, early, _ = both
    pd.testing.assert_frame_equal(getattr(full, name), getattr(early, name), obj=name)


@pytest.mark.slow
def test_nothing_else_of_the_day_differs_and_what_came_later_does_matter(both):
    full, early, now = both
    assert full.digest == early.digest
    assert early.doubts.set_index("id").loc[FALL, "state"] == "as_logged", "settled by the day"
    same = [name for name in COLUMNS if getattr(now, name).equals(getattr(full, name))]
    assert set(same) <= {"gauge", "turned", "duties"}, "a frame that nothing here moves is no test"
    assert not full.set_aside.empty and now.set_aside.empty, "mended, but not yet on the day"
