"""The workbook, the forms and the calendar, read back by libraries that did not write them."""

from __future__ import annotations

import dataclasses
import io
import math
import re
import runpy
import zipfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from icalendar import Calendar, Event
from python_calamine import CalamineWorkbook

from forecast.intake.importing import import_logs
from forecast.records.season import RESULTS
from reports.agenda import agenda
from reports.forms import LOCK_OUT, go_no_go_sheet, inspection_sheet, instruction
from reports.sheets import pick_lists, write_dicts, write_xlsx
from reports.workbook import Sheet, workbook_bytes

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]
HOSTILE = ["=1+1", "+cmd|' /C calc'!A0", "@SUM(A1)", "-2+3", "http://x.y", "<script>&\"'", "a\x01b"]


def same(written: Any, read: Any) -> bool:
    """Say whether a cell reads back as what was written: calamine knows no int and no None."""
    if written is None or written != written:
        return bool(read == "")
    if isinstance(written, str):
        return bool(read == written)
    if isinstance(written, (bool, np.bool_)):
        return read is bool(written)
    if isinstance(written, date):
        whole = datetime.combine(written, datetime.min.time()) if type(written) is date else written
        found = datetime.combine(read, datetime.min.time()) if type(read) is date else read
        return bool(whole == found)
    if math.isinf(written):
        return bool(read == "inf")
    return isinstance(read, float) and math.isclose(read, written, rel_tol=1e-12)


def test_every_sheet_reads_back_equal(tmp_path: Path) -> None:
    forecast = EXAMPLE()
    book = CalamineWorkbook.from_path(write_xlsx(forecast, tmp_path / "season.xlsx"))
    first = ["about", "purchases", "to_change", "pick_lists", "overhaul", "season_totals", "demand"]
    assert book.sheet_names[:7] == first
    assert set(RESULTS) <= set(book.sheet_names)
    for name, columns in RESULTS.items():
        read = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        assert tuple(read[0]) == columns
        frame = forecast.results[name]
        assert len(read) == 1 + len(frame)
        for row, found in zip(frame.itertuples(index=False), read[1:], strict=True):
            assert all(same(a, b) for a, b in zip(row, found, strict=True)), (name, row, found)


def test_the_workbook_is_typed_frozen_and_the_same_twice(tmp_path: Path) -> None:
    path = write_xlsx(EXAMPLE(), tmp_path / "a.xlsx")
    assert path.read_bytes() == write_xlsx(EXAMPLE(), tmp_path / "b.xlsx").read_bytes()
    with zipfile.ZipFile(path) as book:
        sheets = [book.read(name).decode() for name in book.namelist() if "/worksheets/" in name]
        styles = book.read("xl/styles.xml").decode()
    assert all('<pane ySplit="1"' in text and 'state="frozen"' in text for text in sheets)
    assert all("<cols>" in text for text in sheets)
    assert not any("<f>" in text or "<hyperlink" in text for text in sheets)
    for pattern in ("d mmm yyyy", "0.0 %", "#,##0.00"):
        assert pattern in styles


def test_texts_never_run_and_come_back_whole() -> None:
    data = workbook_bytes([Sheet("a/b[c]", ["what", "n"], [(text, 1) for text in HOSTILE])])
    book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    assert book.sheet_names == ["a_b_c_"]
    read = book.get_sheet_by_index(0).to_python()
    assert [row[0] for row in read[1:]] == HOSTILE
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        page = archive.read("xl/worksheets/sheet1.xml").decode()
        assert "<f>" not in page
        assert archive.read("xl/styles.xml").decode().count('quotePrefix="1"') == 1
        assert not any("hyperlink" in name for name in archive.namelist())


def test_a_text_too_long_for_a_cell_is_cut_and_marked() -> None:
    data = workbook_bytes([Sheet("x", ["a"], [("y" * 40_000,), (math.inf,), (None,)])])
    rows = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0)
    read = rows.to_python()
    assert len(str(read[1][0])) == 32_767
    assert str(read[1][0]).endswith("y…")
    assert read[2] == ["inf"]


def change(**given: Any) -> dict[str, Any]:
    row = dict.fromkeys(RESULTS["to_change"], None) | {
        "window": date(2026, 9, 6), "machine": "G05", "place": "rollers",
        "part_type": "SLEEVE-30", "positions": "9, 16", "quantity": 2.0, "quantity_low": 2.0,
        "quantity_high": 2.0, "change_over_mm": math.nan, "because": "risk", "crew_hours": 0.2,
        "on_shelf": 158, "chance_if_left": 0.91,
    }  # fmt: skip
    return row | given


def test_pick_lists_take_more_than_expected_but_not_every_margin() -> None:
    loose = {"part_type": "LINER-45", "positions": "", "quantity": 20.0, "on_shelf": 90}
    rows = [
        change(machine=f"G{n:02}", quantity_low=14.0, quantity_high=26.0, **{**loose})
        for n in range(4)
    ]
    rows.append(change(because="size", quantity=180.0, on_shelf=180, part_type="LINER-45"))
    frame = pd.DataFrame(rows, columns=list(RESULTS["to_change"]))
    listed = pick_lists(EXAMPLE(to_change=frame)).to_dict(orient="records")
    assert [row["what"] for row in listed] == ["piece", "set, size change"]
    assert (listed[0]["machines"], listed[0]["quantity"], listed[0]["on_shelf"]) == (4, 80.0, 90)
    assert listed[0]["take"] == 92  # 80 + sqrt(4 x 6 x 6)
    assert listed[1]["take"] == 180


def test_instructions_say_what_to_do() -> None:
    loose = {"part_type": "LINER-45", "positions": "", "change_over_mm": 0.62, "quantity": 23.0}
    said = instruction(change(**loose, quantity_low=15.0, quantity_high=31.0))
    assert said == "change every LINER-45 over 0.62 mm; expect 23 (15 to 31); take 31"
    assert instruction(change(), "9") == "change SLEEVE-30, whatever it shows"
    sized = change(because="size", quantity=180.0, part_type="LINER-55")
    assert instruction(sized) == "change the whole set to LINER-55, 180 pieces"


def test_forms_name_each_position_and_leave_the_day_open() -> None:
    rows = go_no_go_sheet([change(), change(positions="", quantity=5.0)])
    assert [row["position"] for row in rows] == ["9", "16", ""]
    assert [row["quantity"] for row in rows] == [1, 1, None]
    assert {row["at"] for row in rows} == {None}


@pytest.mark.parametrize("name", ["sheet.csv", "sheet.xlsx"])
def test_filled_forms_import_as_logs(tmp_path: Path, name: str) -> None:
    """What is filled in comes in; what is not is set aside, and taken for nothing."""
    day = date(2026, 9, 6)
    places = [change(position=str(n)) for n in (1, 2, 3)]
    measured = inspection_sheet(places, day)
    measured[0]["value"] = 0.42
    measured[1]["value"] = 0.5
    done = go_no_go_sheet([change()])
    done[0]["at"] = day
    for rows, kind, accepted in ((measured, "readings", 2), (done, "change_outs", 1)):
        folder = tmp_path / kind
        path = write_dicts(rows, folder / name, foot=LOCK_OUT)
        report = import_logs(str(folder / "s.duckdb"), [path], today=date(2026, 9, 7))
        found = report.files[0]
        assert (found.kind, found.accepted) == (kind, accepted)
        assert found.set_aside == len(rows) - accepted


def found(data: bytes) -> dict[str, Event]:
    """Return the events by UID; the library checks the file while it reads."""
    calendar = Calendar.from_ical(data)
    events = [event for event in calendar.walk("VEVENT") if isinstance(event, Event)]
    assert not calendar.errors
    assert len({str(event["uid"]) for event in events}) == len(events)
    return {str(event["uid"]): event for event in events}


def test_orders_stand_in_the_calendar_with_reminders() -> None:
    forecast = EXAMPLE()
    events = [event for event in found(agenda(forecast)).values() if event.alarms.times]
    bought = forecast.results["purchases"]
    bought = bought[bought["quantity"] > 0]
    assert len(events) == len(bought)
    for event, (_, row) in zip(events, bought.iterrows(), strict=True):
        assert event["dtstart"].dt == max(row["order_by"], forecast.stamp.as_of)
        assert str(row["part_type"]) in event["summary"]
        first = event.subcomponents[0]["trigger"].dt
        assert first == timedelta(days=-7, hours=9)
        assert event["dtstamp"].dt == datetime(2026, 8, 30, tzinfo=UTC)


def test_a_later_forecast_moves_the_same_events() -> None:
    forecast = EXAMPLE()
    bought = forecast.results["purchases"].copy()
    bought.loc[0, "order_by"] = bought.loc[0, "order_by"] + timedelta(days=9)
    bought.loc[1, "quantity"] = 0
    changed = forecast.results["to_change"]
    changed = changed[changed["window"] != date(2026, 9, 6)].reset_index(drop=True)
    later = dataclasses.replace(EXAMPLE(purchases=bought, to_change=changed), number=8)
    before, after = found(agenda(forecast)), found(agenda(later))
    assert set(before) == set(after)
    assert {int(event["sequence"]) for event in after.values()} == {8}
    moved = [uid for uid in before if before[uid]["dtstart"].dt != after[uid]["dtstart"].dt]
    assert [str(after[uid]["summary"])[-8:] for uid in moved] == ["LINER-35", "s needed"]
    ended = [uid for uid in before if after[uid]["status"] == "CANCELLED" != before[uid]["status"]]
    assert sorted(str(after[uid]["summary"]) for uid in ended) == [
        "No order of LINER-45 is needed",
        "Nothing to change in this window",
    ]


def test_the_calendar_keeps_the_rules_of_the_format() -> None:
    """RFC 5545: CRLF, lines of at most 75 octets, texts escaped (3.1, 3.3.11)."""
    frame = EXAMPLE().results["purchases"].replace({"LINER-35": "A;B,C\\D\nBEGIN:VEVENT"})
    data = agenda(EXAMPLE(purchases=frame))
    assert data == agenda(EXAMPLE(purchases=frame))
    lines = data.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(map(len, lines)) <= 75
    assert data.count(b"\r\nBEGIN:VEVENT\r\n") == len(found(data))
    assert any("A;B,C\\D\nBEGIN:VEVENT" in str(event["summary"]) for event in found(data).values())


def test_another_reader_finds_the_same_calendar() -> None:
    """A reader of our own from RFC 5545 3.1 (unfolding), 3.6 (nesting) and 3.3.11 (texts)."""
    name = "A;B,C\\D with a name so long that its lines have to be folded, ä"
    forecast = EXAMPLE()
    frame = forecast.results["purchases"].replace({"LINER-35": name})
    data = agenda(EXAMPLE(purchases=frame))
    events: list[dict[str, str]] = []
    open_now: list[str] = []
    for line in data.decode().replace("\r\n ", "").split("\r\n")[:-1]:
        head, _, value = line.partition(":")
        if head == "BEGIN":
            open_now.append(value)
            events += [{}] if value == "VEVENT" else []
        elif head == "END":
            assert open_now.pop() == value
        elif open_now[-1] == "VEVENT":
            plain = re.sub(r"\\(.)", lambda own: "\n" if own[1] in "nN" else own[1], value)
            events[-1][head] = plain
    assert open_now == []
    days = [row.order_by for row in frame.itertuples() if row.quantity > 0]
    orders = [own for own in events if own["CATEGORIES"] == "order" and "VALUE=DATE" in str(own)]
    told = [own for own in orders if own["STATUS"] == "CONFIRMED"]
    late = forecast.stamp.as_of
    assert [own["DTSTART;VALUE=DATE"] for own in told] == [
        f"{max(day, late):%Y%m%d}" for day in days
    ]
    assert any(name in own["SUMMARY"] for own in told)
    assert all({"UID", "DTSTAMP", "SEQUENCE"} <= set(own) for own in events)


def test_the_overhaul_stands_on_the_days_of_the_plan() -> None:
    row = ("G01", "rollers", "3", "SLEEVE-30", 1.0, "change", 0.4, 0.1, True, 0.5, None, None)
    frame = pd.DataFrame([row], columns=list(RESULTS["overhaul"]))
    forecast = EXAMPLE(overhaul=frame)
    text = "[overhaul]\nfrom = 2026-06-15\nuntil = 2026-07-30\n"
    stamp = dataclasses.replace(forecast.stamp, plan_text=text)
    events = found(agenda(dataclasses.replace(forecast, stamp=stamp)))
    (event,) = [e for e in events.values() if str(e["summary"]).startswith("Overhaul")]
    assert (event["dtstart"].dt, event["dtend"].dt) == (date(2026, 6, 15), date(2026, 7, 31))
