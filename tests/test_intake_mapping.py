"""Foreign files: mappings, delimiters, encodings, dates, workbooks, Parquet."""

import hashlib
import random
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import duckdb
import pytest
import xlsxwriter

from forecast.errors import LogError
from forecast.intake.importing import ImportReport, import_logs, imports
from forecast.intake.mapping import Wide, mapping_beside, read_mapping
from forecast.intake.set_aside import set_aside
from forecast.store.opening import open_store

TODAY = date(2026, 8, 31)


def write(folder: Path, name: str, text: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def bring(folder: Path, *files: Path, **options) -> ImportReport:
    return import_logs(str(folder / "s.duckdb"), files, today=TODAY, **options)


def stored(folder: Path, text: str) -> list[tuple]:
    with open_store(str(folder / "s.duckdb"), views=False) as store:
        return store._connection.execute(text).fetchall()


def workbook(path: Path, sheets: dict[str, list[list[object]]]) -> Path:
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            for column, cell in enumerate(row):
                sheet.write(number, column, cell)
    book.close()
    return path


FULL = """
kind = "readings"
decimal = ","
dates = "day-month"
[file]
header_row = 3
fill_down = ["machine"]
skip = ["Total"]
[columns]
"Maschine" = "machine"
"Gemessen am" = "at"
"Verschleiß" = "value"
"Zustand" = "result"
[units]
value = "um"
[constant]
place = "rollers"
inspector = "cell B1"
plant = "sheet name"
[values.result]
"i.O." = "ok"
[prefix]
machine = "A-"
"""
SHEET = (
    "Pruefer;Meyer\n\n"
    "MASCHINE ;Gemessen am;Verschleiß;Zustand\n"
    "G01;27.08.2026;250,5;\n"
    ";28.8.26 07:30;300;i.O.\n"
    "Total;;550;\n"
    "G02;29/08/2026;1.250;\n"
)


def test_a_mapping_states_everything(tmp_path):
    log = write(tmp_path, "blatt.csv", SHEET)
    report = bring(tmp_path, log, mapping=write(tmp_path, "m.toml", FULL))
    assert (report.files[0].rows, report.files[0].accepted) == (3, 2)
    assert "blatt.csv: 1 line skipped, as the mapping says" in report.said
    assert stored(
        tmp_path,
        "SELECT file_line, machine, taken_at, whole_day, value_mm, result, place, inspector, plant"
        " FROM log_readings ORDER BY file_line",
    ) == [
        (4, "A-G01", datetime(2026, 8, 27), True, Decimal("0.2505"), None,
         "rollers", "Meyer", "blatt"),
        (5, "A-G01", datetime(2026, 8, 28, 7, 30), False, Decimal("0.3"), "ok",
         "rollers", "Meyer", "blatt"),
    ]  # fmt: skip
    (refused,) = set_aside(str(tmp_path / "s.duckdb"))
    assert (refused["line"], refused["column"], refused["value"]) == (7, "Verschleiß", "1.250")
    assert "our name: value" in refused["hint"]


def test_a_mapping_beside_the_file_is_used_and_said(tmp_path):
    log = write(tmp_path, "blatt.csv", SHEET)
    write(tmp_path, "blatt.toml", FULL)
    report = bring(tmp_path, log)
    assert "blatt.csv: read with blatt.toml, which stands beside it" in report.said
    assert report.files[0].accepted == 2
    assert mapping_beside(tmp_path / "other.csv") is None
    kept = stored(tmp_path, "SELECT mapping FROM imports")
    assert kept == [(FULL,)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('knd = "readings"', "unknown key 'knd'; did you mean 'kind'"),
        ("[file]\nheaderrow = 2", "unknown key 'file.headerrow'; did you mean 'header_row'"),
        ('[wide]\ncolumn = "a"\ncolumns = "a"',
         "unknown key 'wide.column'; did you mean 'columns'"),
        ('kind = "reading"', "did you mean 'readings'"),
        ('[columns]\n"X" = "machin"', r"\[columns\]: no log has 'machin'; did you mean 'machine'"),
        ('[units]\nvalue = "inches"', "unknown unit 'inches'; known: mm, cm, m, um, in, mil"),
        ('dates = "dd/mm"', "dates"),
        ("kind = ", "Invalid value"),
        ("[file]\nheader_row = 0", "header_row"),
        ("[file]\nheader_row = '2'", "header_row"),
    ],
)  # fmt: skip
def test_faults_of_a_mapping(tmp_path, text, said):
    path = write(tmp_path, "m.toml", text)
    with pytest.raises(LogError, match=said) as caught:
        read_mapping(path)
    assert str(path) in str(caught.value)
    assert caught.value.way_out


def test_a_mapping_that_is_not_there(tmp_path):
    with pytest.raises(LogError, match="cannot be read"):
        read_mapping(tmp_path / "no.toml")


def test_a_mapping_whose_columns_the_file_lacks(tmp_path):
    log = write(tmp_path, "a.csv", "machine,at,value\n")
    mapping = write(tmp_path, "m.toml", '[columns]\n"Maschine" = "machine"')
    with pytest.raises(LogError, match="its header lacks 'Maschine', which the mapping names"):
        bring(tmp_path, log, mapping=mapping)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_are_told_by_the_header(tmp_path, delimiter):
    text = "machine,at,value,note\nG01,2026-08-03,1.5,x\n".replace(",", delimiter)
    assert bring(tmp_path, write(tmp_path, "a.txt", text)).files[0].accepted == 1
    assert stored(tmp_path, "SELECT machine, value_mm, note FROM log_readings") == [
        ("G01", Decimal("1.5"), "x")
    ]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_byte_order_marks_are_obeyed_and_cp1252_is_said(tmp_path, encoding, end):
    text = f"machine,at,value,note{end}G01,2026-08-03,1.5,Fußweite{end}"
    report = bring(tmp_path, write(tmp_path, "a.csv", text.encode(encoding)))
    assert stored(tmp_path, "SELECT file_line, note FROM log_readings") == [(2, "Fußweite")]
    assert ("a.csv: not UTF-8, read as cp1252" in report.said) == (encoding == "cp1252")


def test_a_stated_encoding(tmp_path):
    log = write(
        tmp_path, "a.csv", "machine,at,value,note\nG01,2026-08-03,1,Łódź\n".encode("cp1250")
    )
    mapping = write(tmp_path, "m.toml", '[file]\nencoding = "cp1250"')
    bring(tmp_path, log, mapping=mapping)
    assert stored(tmp_path, "SELECT note FROM log_readings") == [("Łódź",)]
    for wrong, said in (("utf-8", "cannot be read as UTF-8"), ("klingon", "unknown encoding")):
        write(tmp_path, "m.toml", f'[file]\nencoding = "{wrong}"')
        with pytest.raises(LogError, match=said):
            bring(tmp_path, log, mapping=mapping)


@pytest.mark.parametrize(
    ("cells", "days", "said"),
    [
        (["27/03/2026", "03/04/2026"], [date(2026, 3, 27), date(2026, 4, 3)], "27/03/2026 proves"),
        (["03/27/2026", "03/04/2026"], [date(2026, 3, 27), date(2026, 3, 4)], "03/27/2026 proves"),
        (["4.4.2026", "05-05-26"], [date(2026, 4, 4), date(2026, 5, 5)], ""),
        (["2026-04-03", "2026/4/5"], [date(2026, 4, 3), date(2026, 4, 5)], ""),
    ],
)
def test_dates_proven_by_the_file(tmp_path, cells, days, said):
    text = "machine,at,value\n" + "".join(f"G01,{cell},1\n" for cell in cells)
    report = bring(tmp_path, write(tmp_path, "a.csv", text))
    found = stored(tmp_path, "SELECT taken_at::DATE FROM log_readings ORDER BY file_line")
    assert [row[0] for row in found] == days
    assert any(said in sentence for sentence in report.said)


@pytest.mark.parametrize(
    ("dates", "day"), [("day-month", date(2026, 4, 3)), ("month-day", date(2026, 3, 4))]
)
def test_dates_as_the_mapping_says(tmp_path, dates, day):
    log = write(tmp_path, "a.csv", "machine,at,value\nG01,03/04/2026,1\n")
    bring(tmp_path, log, mapping=write(tmp_path, "m.toml", f'dates = "{dates}"'))
    assert stored(tmp_path, "SELECT taken_at::DATE FROM log_readings") == [(day,)]


@pytest.mark.parametrize(
    ("encoding", "delimiter"),
    [("utf-8", ";"), ("utf-16", "\t"), ("latin-1", ";"), ("cp1252", "\t"), ("utf-8", ",")],
)
def test_a_sheet_as_ten_people_type_it(tmp_path, encoding, delimiter):
    """Title rows, quotes with the delimiter and a line break in them, blank and total lines."""
    cells = [
        ["Pr\u00fcfblatt", "Halle 2"],
        [],
        ["Maschine", "am", "Wert", "note"],
        ["G01", "27.03.2026", '"3,25"', f'"sagt ""gut""{delimiter} und\nmehr"'],
        ["", "03.04.2026", "1/8", "\u00fcber"],
        [],
        ["Summe", "", '"3,4"', ""],
    ]
    text = "\r\n".join(delimiter.join(row) for row in cells) + "\r\n"
    log = tmp_path / "blatt.csv"
    log.write_bytes(text.encode(encoding))
    stated = '[file]\nencoding = "latin-1"\n' if encoding == "latin-1" else "[file]\n"
    log.with_suffix(".toml").write_text(
        'kind = "readings"\ndecimal = ","\n' + stated + 'header_row = 3\nskip = ["Summe"]\n'
        'fill_down = ["machine"]\n[columns]\n"Maschine" = "machine"\n"am" = "at"\n'
        '"Wert" = "value"\n[units]\nvalue = "cm"\n'
    )
    report = bring(tmp_path, log)
    assert [(file.rows, file.accepted) for file in report.files] == [(2, 2)]
    found = stored(
        tmp_path,
        "SELECT machine, taken_at::DATE, value_mm, note FROM log_readings ORDER BY file_line",
    )
    assert found == [
        ("G01", date(2026, 3, 27), Decimal("32.5"), f'sagt "gut"{delimiter} und\nmehr'),
        ("G01", date(2026, 4, 3), Decimal("1.25"), "\u00fcber"),
    ]
    said = "\n".join(report.said)
    assert "27.03.2026 proves" in said
    assert "1 blank line" in said
    assert "1 line skipped" in said


def test_merged_cells_and_date_numbers_of_a_workbook(tmp_path):
    path = tmp_path / "merged.xlsx"
    with xlsxwriter.Workbook(path) as book:
        tab, day = book.add_worksheet("A"), book.add_format({"num_format": "d-mmm-yy"})
        tab.write_row(0, 0, ["machine", "at", "value"])
        tab.merge_range("A2:A3", "G01")
        tab.write_number(1, 1, 46108, day)
        tab.write_number(2, 1, 46108.4375, day)
        tab.write_column(1, 2, [0.25, 0.3])
    path.with_suffix(".toml").write_text('[file]\nfill_down = ["machine"]\n')
    bring(tmp_path, path)
    found = stored(tmp_path, "SELECT machine, taken_at, whole_day FROM log_readings ORDER BY 2")
    assert found == [
        ("G01", datetime(2026, 3, 27), True),
        ("G01", datetime(2026, 3, 27, 10, 30), False),
    ]


def test_an_import_keeps_what_it_was_read_from_and_with(tmp_path):
    log = write(tmp_path, "a.csv", "machine,am,value\nG01,2026-08-03,1\n")
    text = '[columns]\n"am" = "at"\n'
    write(tmp_path, "a.toml", text)
    bring(tmp_path, log)
    (row,) = imports(str(tmp_path / "s.duckdb"))
    assert row["sha256"] == hashlib.sha256(log.read_bytes()).hexdigest()
    assert (row["mapping"], row["backfill"]) == (text, True)
    assert row["version"]


def test_files_in_utc(tmp_path):
    text = (
        "machine,at,value\nG01,2026-07-01T10:00:00Z,1\nG01,2026-01-01 23:30,2\nG01,2026-07-01,3\n"
    )
    log = write(tmp_path, "a.csv", text)
    mapping = write(tmp_path, "m.toml", 'time_zone = "Europe/Paris"')
    bring(tmp_path, log, mapping=mapping)
    found = stored(tmp_path, "SELECT taken_at FROM log_readings ORDER BY file_line")
    assert [row[0] for row in found] == [
        datetime(2026, 7, 1, 12),
        datetime(2026, 1, 2, 0, 30),
        datetime(2026, 7, 1),
    ]
    write(tmp_path, "m.toml", 'time_zone = "Europe/Atlantis"')
    with pytest.raises(LogError, match="no time zone 'Europe/Atlantis'"):
        bring(tmp_path, log, mapping=mapping)


WIDE = """
kind = "readings"
[file]
header_row = 3
sheet = "*"
[columns]
"Date" = "at"
[constant]
machine = "sheet name"
part_type = "cell B1"
unit = "in"
[wide]
columns = "P01..P03"
to = "position"
values = "value"
"""


def test_a_wide_workbook_with_a_title_row(tmp_path):
    rows = [
        ["Sheet for", "LINER-35"],
        [],
        ["Date", "P01", "P02", "P03", "remark"],
        [date(2026, 8, 3), "1/8", None, 0.25, "ok"],
        [datetime(2026, 8, 4, 6, 30), 1, "?", None, None],
    ]
    tabs = {"G01": rows, "Notes": [["nothing"]], "G02": rows[:3], "Void": []}
    book = workbook(tmp_path / "wide.xlsx", tabs)
    report = bring(tmp_path, book, mapping=write(tmp_path, "m.toml", WIDE))
    assert [(r.file, r.rows, r.accepted, r.set_aside) for r in report.files] == [
        ("wide.xlsx [G01]", 4, 3, 1),
        ("wide.xlsx [G02]", 0, 0, 0),
    ]
    assert "wide.xlsx: passed over Notes (no such header)" in report.said
    assert stored(
        tmp_path,
        "SELECT file_line, machine, part_type, taken_at, whole_day, position, value_mm, extra"
        " FROM log_readings ORDER BY file_line, position",
    ) == [
        (4, "G01", "LINER-35", datetime(2026, 8, 3), True, "P01", Decimal("3.175"),
         '{"remark":"ok"}'),
        (4, "G01", "LINER-35", datetime(2026, 8, 3), True, "P03", Decimal("6.35"),
         '{"remark":"ok"}'),
        (5, "G01", "LINER-35", datetime(2026, 8, 4, 6, 30), False, "P01", Decimal("25.4"), None),
    ]  # fmt: skip
    (refused,) = set_aside(str(tmp_path / "s.duckdb"))
    assert (refused["file"], refused["line"], refused["column"], refused["value"]) == (
        "wide.xlsx [G01]",
        5,
        "P02",
        "?",
    )


def test_wide_columns_by_span_and_by_name():
    assert Wide(columns="P08..P11").names() == ["P08", "P09", "P10", "P11"]
    assert Wide(columns="1..3, A").names() == ["1", "2", "3", "A"]


def test_a_workbook_without_a_mapping_each_sheet_by_its_own_header(tmp_path):
    book = workbook(
        tmp_path / "book.xlsx",
        {
            "read": [["machine", "at", "position", "value"], [7, date(2026, 8, 3), 1, 0.5]],
            "meters": [["machine", "at", "shows"], ["G01", date(2026, 8, 3), 12]],
        },
    )
    report = bring(tmp_path, book)
    assert [(r.number, r.file, r.kind, r.accepted) for r in report.files] == [
        (1, "book.xlsx [read]", "readings", 1),
        (2, "book.xlsx [meters]", "clocks", 1),
    ]
    assert stored(tmp_path, "SELECT machine, position, file_line FROM log_readings") == [
        ("7", "1", 2)
    ]
    write(tmp_path, "m.toml", '[file]\nsheet = "metres"')
    with pytest.raises(LogError, match="there is no tab 'metres'") as caught:
        bring(tmp_path, book, mapping=tmp_path / "m.toml")
    assert "'meters'" in caught.value.way_out


def test_csv_workbook_and_parquet_twins_are_the_same_rows(tmp_path):
    rng = random.Random(30)  # noqa: S311
    rows = [
        [f"G{rng.randint(1, 44):02d}", date(2026, 8, rng.randint(1, 30)), rng.randint(1, 24),
         rng.randint(0, 500) / 1000, rng.choice(["as_found", "removed", None])]
        for _ in range(300)
    ]  # fmt: skip
    names = ["machine", "at", "position", "value", "found_left"]
    lines = [",".join(names)] + [",".join("" if c is None else str(c) for c in row) for row in rows]
    text = write(tmp_path, "a.csv", "\n".join(lines) + "\n")
    book = workbook(tmp_path / "b.xlsx", {"t": [list(names), *rows]})
    parquet = tmp_path / "c.parquet"
    twin = duckdb.read_csv(str(text))
    twin.project(
        'machine, "at"::TIMESTAMP AS "at", position, value::DOUBLE AS value, found_left'
    ).write_parquet(str(parquet))
    assert bring(tmp_path, text).files[0].accepted == 300
    for twin in (book, parquet):
        report = bring(tmp_path, twin).files[0]
        assert (report.rows, report.known, report.accepted) == (300, 300, 0)


def test_units_of_columns_in_mm(tmp_path):
    log = write(tmp_path, "a.csv", "part_type,Limit,nominal_mm\nX,1/8,30\nY,0,30\n")
    mapping = write(
        tmp_path, "m.toml", '[columns]\nLimit = "wear_limit_mm"\n[units]\nwear_limit_mm = "in"'
    )
    assert bring(tmp_path, log, mapping=mapping).files[0].accepted == 1
    assert stored(tmp_path, "SELECT wear_limit_mm, nominal_mm FROM log_part_types") == [
        (Decimal("3.175"), Decimal(30))
    ]
    (refused,) = set_aside(str(tmp_path / "s.duckdb"))
    assert (refused["column"], refused["rule"]) == ("Limit", "not above zero")
