"""Snapshots: the same logs give the same bytes, in whatever order they came."""

import json
import runpy
from datetime import date, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest

from forecast.errors import NotInStore
from forecast.records.snapshot import COLUMNS
from forecast.store.opening import open_store
from forecast.store.snapshots import digest, last_day, take_snapshot

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]

START = date(2026, 8, 3)


def facts(days: int) -> list[tuple[str, str, tuple, dict]]:
    """What happens in so many days on three machines: (day, method, arguments, columns)."""
    rows: list[tuple[str, str, tuple, dict]] = []
    pockets = {"place": "pockets", "part_type": "LINER"}
    for n in range(days):
        day = (START + timedelta(days=n)).isoformat()
        for number in (1, 2, 3):
            name = f"G{number}"
            if n % 7 == 0:
                rows.append((day, "clock", (name, f"{day} 06:00", 900 + 19.5 * n), {}))
            position = str(1 + (n + number) % 4)
            value = round(0.05 + 0.013 * n + 0.01 * number, 2)
            rows.append((day, "reading", (name, day, value), {"position": position}))
            if n % 9 == number:
                more = {"position": str(number), "reason": "broken"}
                rows.append((day, "change", (name, day), more))
            if n % 7 == 3:
                rows.append((day, "reading", (name, day, 0.2 + 0.01 * n), pockets))
                rows.append((day, "change", (name, day), {**pockets, "quantity": n % 4}))
        if n % 14 == 0:
            rows.append((day, "stock", ("SLEEVE", day, "on_hand", 50 - n), {}))
    return rows


def written(tmp_path, name: str, order: int = 1):
    """A store of the facts; two imports, in either order."""
    book = Logbook(tmp_path / f"{name}.duckdb")
    numbers = {"log.csv": 1, "log2.csv": 2} if order == 1 else {"log.csv": 2, "log2.csv": 1}
    book.next_import(numbers["log.csv"], "log.csv")
    book.part_type()
    book.part_type("LINER")
    for machine in ("G1", "G2", "G3"):
        book.fleet(machine, positions="4")
        book.fleet(machine, "LINER", "20", place="pockets", serialised="no")
    for day, method, arguments, more in facts(40):
        file = "log.csv" if day < "2026-08-20" else "log2.csv"
        book.next_import(numbers[file], file)
        getattr(book, method)(*arguments, **more)
    book.write()
    return book


def equal(one, other) -> None:
    for name in COLUMNS:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), obj=name)
    assert one.digest == other.digest


def test_the_order_of_imports_does_not_matter_and_twice_gives_the_same(tmp_path):
    """What is known later than a day: tests/test_known_then.py."""
    whole = written(tmp_path, "whole")
    now = whole.snapshot()
    assert now.day == START + timedelta(days=39)
    equal(now, written(tmp_path, "turned", order=2).snapshot())
    with open_store(whole.address) as store:
        assert last_day(store) == now.day
        equal(now, take_snapshot(store)), "twice gives the same"
        for name, columns in COLUMNS.items():
            assert tuple(getattr(now, name).columns) == columns


def test_nothing_known_is_refused_with_the_way_out(tmp_path):
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    for day in ((), ("2026-08-20",)):
        with pytest.raises(NotInStore, match="no event yet"):
            book.snapshot(*day)
    book.reading("G1", "2026-08-13", 0.4, position="1", known_at="2026-09-01")
    with pytest.raises(NotInStore, match="nothing was known on 2026-08-20") as caught:
        book.snapshot("2026-08-20")
    assert "--backfill" in caught.value.way_out


def test_versions_amendments_and_withdrawals(tmp_path):
    """FORMATS rules 1 and 3."""
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type(limit=1.0)
    book.fleet("G1")
    book.run("*", "2026-08-03", 28)
    book.reading("G1", "2026-08-08", 0.2, position="1")
    book.reading("G1", "2026-08-13", 0.4, position="1")
    book.next_import()
    book.reading("G1", "2026-08-13", 0.3, position="1", known_at="2026-08-20")
    book.reading("G1", "2026-08-08", 0.2, position="1", known_at="2026-08-20", copy_no=2)
    book.part_type(limit=1.5, valid_from=date(2026, 8, 10), known_at="2026-08-20")
    book.next_import()
    book.part_type(limit=9.0, valid_from=date(2026, 12, 1), known_at="2026-08-20")
    book.decide("2", "withdrawn", "2026-08-25", about="import")
    book.write()
    first, then, last = (book.snapshot(f"2026-08-{day}") for day in ("19", "21", "26"))
    assert first.wear["last_mm"].tolist() == [0.4]
    assert then.wear["last_mm"].tolist() == [0.3], "amended from the day that was known"
    assert then.wear["n"].tolist() == [3], "an equal row of a later import amends nothing"
    assert then.doubts["rule"].tolist() == ["amended row"]
    assert last.wear["last_mm"].tolist() == [0.4], "withdrawn, its rows no longer count"
    assert last.doubts.empty
    limits = [part.part_types["wear_limit_mm"].tolist() for part in (first, then, last)]
    assert limits == [[1.0], [1.5], [1.0]], "a version holds from its day"


def test_the_digest_tells_every_value_apart():
    frame = pd.DataFrame({"name": ["a", "b"], "x": [1.0, float("nan")], "at": [datetime.min] * 2})
    frame["at"] = pd.to_datetime(["2026-08-03", None])
    same = digest({"f": frame.copy()})
    assert same == digest({"f": frame})
    changed = [
        frame.assign(name=["a\x1fb", ""]),
        frame.assign(x=[1.0000000000000002, float("nan")]),
        frame.assign(at=pd.to_datetime(["2026-08-04", None])),
        frame.iloc[:1],
        frame.rename(columns={"x": "y"}),
    ]
    assert len({digest({"f": other}) for other in changed} | {same}) == 6
    assert json.dumps(same).strip('"') == same and len(same) == 64
