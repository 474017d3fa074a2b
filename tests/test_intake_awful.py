"""A folder as three plants and ten people leave it: everything is in, set aside, or doubted."""

import json
from datetime import date
from pathlib import Path

import xlsxwriter
from typer.testing import CliRunner

from cli import show
from cli.app import app
from forecast.intake.doubts import doubts
from forecast.intake.importing import import_logs
from forecast.intake.set_aside import set_aside

TODAY = date(2026, 8, 31)

TEXTS = {
    "part_types.csv": ("utf-8-sig", "part_type,wear_limit_mm,gauge_sd_mm\nSLEEVE-30,1.0,0.03\n"),
    "fleet.tsv": (
        "utf-16",
        "machine\tpart_type\tpositions\tplace\tfrom\tstart_state\n"
        "G01\tSLEEVE-30\t1-4\trollers\t2026-06-01\tnew\n"
        "G02\tSLEEVE-30\t1-4\trollers\t2026-06-01\tnew\n",
    ),
    "stunden.csv": (
        "cp1252",
        "Z\u00e4hler;Maschine;am;Stand\nH1;G01;01.06.2026;100,0\nH1;G01;15.06.2026;500,5\n"
        "H1;G02;01.06.2026;40,0\nH1;G02;15.06.2026;2040,0\n;;;\nSumme;;;2640,5\n",
    ),
    "stunden.toml": (
        "utf-8",
        'kind = "clocks"\ndecimal = ","\n[file]\nskip = ["Summe"]\n'
        '[columns]\n"Z\u00e4hler" = "meter"\n'
        '"Maschine" = "machine"\n"am" = "at"\n"Stand" = "shows"\n',
    ),
    "readings plant B.csv": (
        "utf-8",
        "machine,at,place,position,part_type,value,unit,found_left,remark\n"
        'G01,2026-06-10,rollers,1,SLEEVE-30,1/8,mil,as_found,"said ""worn"",\nsigned"\n'
        "G01,2026-06-12,rollers,1,SLEEVE-30,0.40,mm,as_found,\n"
        "G01,2026-06-14,rollers,1,SLEEVE-30,0.02,mm,as_found,fell\n"
        "G01,2026-06-31,rollers,2,SLEEVE-30,0.2,mm,as_found,no such day\n"
        "G01,2026-06-12,rollers,2,SLEEVE-30,,mm,as_found,\n"
        "G01,2026-06-12,rollers,2,SLEEVE-30,\"0,2\",mm,as_found,\n"
        "G01,2027-06-12,rollers,2,SLEEVE-30,0.2,mm,as_found,not yet\n"
        "G99,2026-06-12,rollers,2,SLEEVE-30,0.2,mm,as_found,who?\n"
        "=cmd|'/C calc'!A0,2026-06-12,'; DROP TABLE imports; --,2,<script>,0.2,mm,,../../x\n"
        "G02,2026-06-12,rollers,2,SLEEVE-30,0.2,furlong,as_found,\n"
        ",,,,,,,,\n\n",
    ),
}  # fmt: skip


def awful(folder: Path) -> list[Path]:
    """Write the folder and return its logs."""
    for name, (encoding, text) in TEXTS.items():
        (folder / name).write_bytes(text.encode(encoding))
    with xlsxwriter.Workbook(folder / "sheets.xlsx") as book:
        day = book.add_format({"num_format": "dd.mm.yyyy"})
        for name, value in (("G01", 0.21), ("G02", "0,3?")):
            tab = book.add_worksheet(name)
            tab.merge_range("A1:D1", "Inspection, to be typed up")
            tab.write_row(2, 0, ["Datum", "P3", "P4", "by"])
            tab.write_datetime(3, 0, date(2026, 6, 14), day)
            tab.write_row(3, 1, [value, 0.25, "JM"])
            tab.write_row(4, 0, ["Total", 0.46])
        book.add_worksheet("Notes").write(0, 0, "ask the night shift")
    (folder / "sheets.toml").write_text(
        'kind = "readings"\n[file]\nsheet = "*"\nheader_row = 3\nskip = ["Total"]\n'
        '[columns]\n"Datum" = "at"\n[wide]\ncolumns = "P3..P4"\n'
        '[constant]\nmachine = "sheet name"\n'
        'place = "rollers"\npart_type = "SLEEVE-30"\nfound_left = "as_found"\n'
    )
    logs = ("part_types.csv", "fleet.tsv", "stunden.csv", "readings plant B.csv", "sheets.xlsx")
    return [folder / name for name in logs]


DOUBTS = [
    # 400.5 and 2,000 h in a fortnight of 336; so no figure tells what the machines ran
    ("meter over 24 h a day", "G01", "", "as_proposed"),
    ("meter over 24 h a day", "G02", "", "as_proposed"),
    ("no hours", "G01", "", "as_logged"),
    ("no hours", "G02", "", "as_logged"),
    ("not in the fleet", "=cmd|'/C calc'!A0", "", "as_logged"),
    ("not in the fleet", "G99", "", "as_logged"),
    ("not in the fleet", "G01", "P3", "as_logged"),
    ("not in the fleet", "G01", "P4", "as_logged"),
    ("not in the fleet", "G02", "P4", "as_logged"),
    ("unit slip", "G01", "1", "as_proposed"),
]
"""Rule, machine, position and default of every doubt about the folder."""


def test_an_awful_folder_is_accounted_for_and_its_doubts_are_shown(tmp_path, monkeypatch):
    store = str(tmp_path / "s.duckdb")
    report = import_logs(store, awful(tmp_path), today=TODAY)
    counts = [(f.file, f.rows, f.accepted, f.known, f.set_aside) for f in report.files]
    assert counts == [
        ("part_types.csv", 1, 1, 0, 0),
        ("fleet.tsv", 2, 2, 0, 0),
        ("stunden.csv", 4, 4, 0, 0),
        ("readings plant B.csv", 10, 5, 0, 5),
        ("sheets.xlsx [G01]", 2, 2, 0, 0),
        ("sheets.xlsx [G02]", 2, 1, 0, 1),
    ]
    said = "\n".join(report.said)
    for what in ("not UTF-8, read as cp1252", "dates are read day-month", "passed over Notes",
                 "kept but not used: remark", "blank lines", "line skipped"):  # fmt: skip
        assert what in said
    rules = [(row["file"], row["line"], row["rule"]) for row in set_aside(store)]
    assert rules == [
        ("readings plant B.csv", 6, "not a date"),
        ("readings plant B.csv", 7, "required missing"),
        ("readings plant B.csv", 8, "not a number"),
        ("readings plant B.csv", 9, "after the import's day"),
        ("readings plant B.csv", 12, "unknown unit"),
        ("sheets.xlsx [G02]", 4, "not a number"),
    ]
    raised = doubts(store)
    found = [(row["rule"], row["machine"], row["position"], row["default"]) for row in raised]
    assert sorted(found) == sorted(DOUBTS)
    monkeypatch.setenv("COLUMNS", "80")
    names = ("file", "kind", "rows", "accepted", "known", "set_aside")
    table = [{name: getattr(file, name) for name in names} for file in report.files]
    seen = (
        show.text_table("files", table),
        show.text_table("set_aside", set_aside(store)),
        show.cards(raised),
    )
    assert max(len(line) for text in seen for line in text.splitlines()) <= 80
    assert "readings plant B.csv  readings      10         5      0          5" in seen[0]
    assert "G01  1  SLEEVE-30  2026-06-14" in seen[2]
    near = [line for line in seen[2].splitlines() if "nearest name" in line]
    assert near == ["          proposed: the nearest name is G01"], "of G99, not of =cmd"
    again = import_logs(store, awful(tmp_path), today=TODAY)
    assert sum(file.accepted for file in again.files) == 0


def test_texts_that_steer_a_terminal_or_have_no_end_are_only_shown(tmp_path, monkeypatch):
    """An escape, a turned direction and a cell of 10 MB: data everywhere, shown short and plain."""
    monkeypatch.setenv("COLUMNS", "80")
    bad = "G\x1b[2J\x1b]0;owned\x07\u202e"
    logs = {
        "fleet.csv": "machine,part_type,positions,from,start_state\nG01,A,2,2026-06-01,new\n",
        "readings.csv": "machine,at,part_type,position,value\n"
        f"{bad},2026-06-12,A,1,0.2\n{'x' * 10_000_000},2026-06-12,A,1,0.2\n"
        f"G01,2026-06-12,A,1,{bad}\nG01,2026-06-12,A,2,{'9,' * 40}\n",
    }
    for name, text in logs.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    store = str(tmp_path / "s.duckdb")
    import_logs(store, [tmp_path / name for name in logs], today=TODAY)
    refused = CliRunner().invoke(app, ["import", str(tmp_path / f"{bad}.csv")])
    assert refused.exit_code == 1
    seen = show.text_table("set_aside", set_aside(store)), show.cards(doubts(store)), refused.stderr
    for text in seen:
        assert not set(text) & {"\x1b", "\x07", "\u202e"}
        assert len(text) < 10_000
    assert max(len(line) for text in seen[:2] for line in text.splitlines()) <= 80
    assert all(r"G\x1b[2J" in text for text in seen)
    assert r"\u202e" in seen[1] and "(10,000,000 characters)" in seen[1]
    rows = json.loads(show.as_object({"set_aside": set_aside(store)}))["set_aside"]
    assert bad in [row["value"] for row in rows], "JSON has the whole"
