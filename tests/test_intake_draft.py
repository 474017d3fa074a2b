"""Mappings drafted from foreign files: guesses with samples, TOML that reads back."""

from datetime import date
from pathlib import Path

import duckdb
import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from cli.app import app
from forecast.errors import LogError
from forecast.intake.draft import draft_mapping
from forecast.intake.importing import import_logs
from forecast.intake.mapping import read_mapping

TODAY = date(2026, 8, 31)


def test_a_drafted_mapping_imports_the_sheet(tmp_path):
    sheet = tmp_path / "blatt.csv"
    sheet.write_bytes(
        "Prüfblatt Werk Süd;;;;\n;;;;\nMaschine;Gemessen am;Pos;Mass (mm);found_left;Bemerkung\n"
        "G01;27.03.2026;1;0,25;AS_FOUND;links\n;27.03.2026;2;0,31;as_found;\n"
        ";28.03.2026;3;0,30;as_found;\nSumme;;;0,86;;\n".encode("utf-16")
    )
    text = draft_mapping(sheet)
    assert 'dates = "day-month"     # as "27.03.2026" proves' in text
    assert '"Mass (mm)" = "value"   # "0,25", "0,31", "0,30"' in text
    assert '"AS_FOUND" = "as_found"' in text
    sheet.with_suffix(".toml").write_text(text, encoding="utf-8")
    mapping = read_mapping(sheet.with_suffix(".toml"))
    assert (mapping.decimal, mapping.file.header_row, mapping.file.skip) == (",", 3, ["Summe"])
    assert (mapping.file.fill_down, mapping.units) == (["machine"], {"value": "mm"})
    (report,) = import_logs(str(tmp_path / "s.duckdb"), [sheet], today=TODAY).files
    assert (report.kind, report.rows, report.accepted) == ("readings", 3, 3)


def test_one_tab_a_machine_positions_across(tmp_path):
    book = tmp_path / "wide.xlsx"
    with xlsxwriter.Workbook(book) as made:
        for name in ("G01", "G02"):
            tab = made.add_worksheet(name)
            tab.write_row(0, 0, ["Datum", "P01", "P02", "P03"])
            tab.write_row(1, 0, ["2026-03-27", 0.1, 0.2, 0.3])
    book.with_suffix(".toml").write_text(draft_mapping(book))
    report = import_logs(str(tmp_path / "s.duckdb"), [book], today=TODAY)
    assert [(f.file, f.accepted) for f in report.files] == [
        ("wide.xlsx [G01]", 3),
        ("wide.xlsx [G02]", 3),
    ]


def test_the_tab_that_means_most_is_drafted_or_the_one_asked_for(tmp_path):
    book = tmp_path / "two.xlsx"
    with xlsxwriter.Workbook(book) as made:
        made.add_worksheet("Notes").write(0, 0, "ask the night shift")
        made.add_worksheet("Mess").write_row(0, 0, ["Maschine", "Datum", "Wert"])
        made.sheetnames["Mess"].write_row(1, 0, ["G01", "2026-03-27", 0.2])
        made.add_worksheet("Stand").write_row(0, 0, ["Maschine", "Datum", "Betriebsstunden"])
        made.sheetnames["Stand"].write_row(1, 0, ["G01", "2026-03-27", 900])
    counts = []
    for tab, kind in ((None, "readings"), ("Stand", "clocks")):
        text = draft_mapping(book, tab)
        assert f'kind = "{kind}"' in text
        assert "Notes" in text, "the other tabs are named"
        book.with_suffix(".toml").write_text(text)
        report = import_logs(str(tmp_path / "s.duckdb"), [book], today=TODAY)
        counts += [(file.file, file.kind, file.accepted) for file in report.files]
    assert counts == [("two.xlsx [Mess]", "readings", 1), ("two.xlsx [Stand]", "clocks", 1)]
    with pytest.raises(LogError, match="no tab 'None of it'"):
        draft_mapping(book, "None of it")


def test_a_parquet_file_is_drafted_too(tmp_path):
    file = tmp_path / "a.parquet"
    duckdb.execute(
        "COPY (SELECT 'G01' AS Maschine, DATE '2026-03-27' AS Datum, 0.25 AS \"Mass (mm)\")"
        f" TO '{file}' (FORMAT PARQUET)"
    )
    text = draft_mapping(file)
    assert '"Mass (mm)" = "value"   # "0.25"' in text
    file.with_suffix(".toml").write_text(text, encoding="utf-8")
    (report,) = import_logs(str(tmp_path / "s.duckdb"), [file], today=TODAY).files
    assert (report.kind, report.accepted) == ("readings", 1)
    file.write_bytes(b"PAR1")
    with pytest.raises(LogError, match="Parquet"):
        draft_mapping(file)


def test_dates_read_both_ways_are_asked_for_with_both_readings(tmp_path):
    sheet = tmp_path / "a.csv"
    sheet.write_text("machine,date,value\nG01,03/04/2026,1\n")
    text = draft_mapping(sheet)
    assert '# dates = "day-month"' in text
    assert "day 3 month 4, or day 4 month 3" in text


@given(st.binary(min_size=1, max_size=200))
def test_a_draft_of_anything_reads_back(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("draft") / "a.csv"
    path.write_bytes(content)
    try:
        path.with_suffix(".toml").write_text(draft_mapping(path), encoding="utf-8")
    except LogError:
        return
    read_mapping(path.with_suffix(".toml"))


def test_the_command_prints_it_and_imports_nothing(tmp_path):
    sheet = tmp_path / "a.csv"
    sheet.write_text("machine,date,value\nG01,2026-03-04,1\n")
    store = tmp_path / "s.duckdb"
    ran = CliRunner().invoke(app, ["--store", str(store), "import", str(sheet), "--draft-mapping"])
    assert ran.exit_code == 0
    assert '"date" = "at"' in ran.stdout
    assert not store.exists()


def test_what_holds_nothing_is_said(tmp_path):
    with pytest.raises(LogError, match="cannot be read"):
        draft_mapping(Path(tmp_path / "none.csv"))
