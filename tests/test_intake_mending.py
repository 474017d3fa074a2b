"""Rows set aside are exported, mended and imported; imports are withdrawn and come back."""

import csv
from datetime import date
from pathlib import Path

import pytest

from forecast.errors import LogError, NotInStore
from forecast.intake.doubts import settle
from forecast.intake.importing import FileReport, import_logs, imports
from forecast.intake.set_aside import set_aside, to_mend
from forecast.intake.withdrawing import withdraw
from forecast.store.opening import open_store
from reports.sheets import write_dicts

TODAY = date(2026, 8, 31)


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text)
    return path


def bring(folder: Path, *files: Path, **options) -> list[FileReport]:
    options.setdefault("today", TODAY)
    return list(import_logs(str(folder / "s.duckdb"), files, **options).files)


def stored(folder: Path, text: str) -> list[tuple]:
    with open_store(str(folder / "s.duckdb"), views=False) as store:
        return store._connection.execute(text).fetchall()


def mended(path: Path, **cells: str) -> Path:
    """Fill in an exported copy, in every row alike."""
    with path.open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row.update(cells)
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_exported_rows_are_mended_without_the_mapping_and_leave_the_list(tmp_path):
    write(
        tmp_path,
        "sheet.toml",
        'decimal = ","\ndates = "day-month"\n[columns]\n"Maschine" = "machine"\n"am" = "at"\n'
        '"Mass" = "value"\n[units]\nvalue = "cm"\n[values.found_left]\nvor = "as_found"\n',
    )
    sheet = write(
        tmp_path,
        "sheet.csv",
        "Maschine;am;Mass;found_left;Bemerkung\n=G01;03/04/2026;0,25;vor;links\n"
        "=G02;04/04/2026;viel;vor;rechts\n",
    )
    (report,) = bring(tmp_path, sheet)
    assert (report.rows, report.accepted, report.set_aside) == (2, 1, 1)
    books = to_mend(str(tmp_path / "s.duckdb"))
    (row,) = books["readings"]
    assert (row["machine"], row["at"], row["value"]) == ("=G02", "2026-04-04", "viel")
    assert (row["set_aside_rule"], row["set_aside_line"]) == ("not a number", "3")
    assert "read_value: viel" in row["set_aside_raw"]
    copy = write_dicts(books["readings"], tmp_path / "mend.csv")
    (again,) = bring(tmp_path, copy)
    assert (again.rows, again.accepted, again.set_aside) == (1, 0, 1)
    assert len(set_aside(str(tmp_path / "s.duckdb"))) == 1, "still refused: kept once"
    (again,) = bring(tmp_path, mended(copy, value="0.5"))
    assert (again.rows, again.accepted, again.set_aside) == (1, 1, 0)
    assert set_aside(str(tmp_path / "s.duckdb")) == []
    assert stored(tmp_path, "SELECT count(*) FROM set_aside") == [(1,)], "nothing is deleted"
    query = "SELECT machine, taken_at::DATE, value_mm, extra FROM log_readings ORDER BY 1"
    assert [(m, d, float(v), e) for m, d, v, e in stored(tmp_path, query)] == [
        ("=G01", date(2026, 4, 3), 2.5, '{"Bemerkung":"links"}'),
        ("=G02", date(2026, 4, 4), 5.0, '{"Bemerkung":"rechts"}'),
    ]
    withdraw(str(tmp_path / "s.duckdb"), 3, today=TODAY)
    assert len(set_aside(str(tmp_path / "s.duckdb"))) == 1, "its mending does not count"
    assert bring(tmp_path, copy)[0].accepted == 1
    assert set_aside(str(tmp_path / "s.duckdb")) == []


def test_a_mended_original_closes_the_lines_that_are_sound_now(tmp_path):
    head = "machine,at,value\n"
    sheet = write(tmp_path, "a.csv", head + "G01,2026-08-03,x\nG02,2026-08-03,y\n")
    bring(tmp_path, sheet)
    write(tmp_path, "a.csv", head + "G01,2026-08-03,1\nG02,2026-08-03,y\n")
    bring(tmp_path, sheet)
    assert [row["line"] for row in set_aside(str(tmp_path / "s.duckdb"))] == [3]


def test_rows_set_aside_are_filtered_and_each_kind_has_its_own_copy(tmp_path):
    readings = write(tmp_path, "r.csv", "machine,at,value\nG01,2026-08-03,x\nG01,no,1\n")
    clocks = write(tmp_path, "c.csv", "machine,at,shows\nG01,2026-08-03,\n")
    bring(tmp_path, readings, clocks)
    address = str(tmp_path / "s.duckdb")
    assert len(set_aside(address)) == 3
    assert [row["value"] for row in set_aside(address, rule="not a date")] == ["no"]
    assert [row["file"] for row in set_aside(address, file="c.")] == ["c.csv"]
    assert len(set_aside(address, number=1)) == 2
    books = to_mend(address)
    assert {kind: len(rows) for kind, rows in books.items()} == {"readings": 2, "clocks": 1}
    assert "shows" in books["clocks"][0], "what is to be filled in has its column"


def test_an_id_of_another_kind_closes_nothing(tmp_path):
    bring(tmp_path, write(tmp_path, "r.csv", "machine,at,value\nG01,2026-08-03,x\n"))
    clock = "machine,at,shows,set_aside_id\nG01,2026-08-03,5,1\n"
    assert bring(tmp_path, write(tmp_path, "c.csv", clock))[0].accepted == 1
    assert len(set_aside(str(tmp_path / "s.duckdb"))) == 1


def test_two_refused_cells_of_one_wide_line_each_say_their_own(tmp_path):
    mapping = write(tmp_path, "m.toml", '[wide]\ncolumns = "1..3"')
    sheet = write(tmp_path, "w.csv", "machine,at,1,2,3\nG01,2026-08-03,?,0.2,!\n")
    assert bring(tmp_path, sheet, mapping=mapping)[0].set_aside == 2
    rows = set_aside(str(tmp_path / "s.duckdb"))
    assert [(row["column"], row["value"], "also" in row["hint"]) for row in rows] == [
        ("1", "?", False),
        ("3", "!", False),
    ]
    books = to_mend(str(tmp_path / "s.duckdb"))["readings"]
    assert [(row["position"], row["value"]) for row in books] == [("1", "?"), ("3", "!")]


def test_an_import_is_withdrawn_whole_and_comes_back(tmp_path):
    address = str(tmp_path / "s.duckdb")
    both = "machine,at,value\nG01,2026-08-03,1\nG01,2026-08-03,2\n"
    bring(tmp_path, write(tmp_path, "a.csv", both))
    bring(tmp_path, write(tmp_path, "b.csv", "machine,at,value\nG01,2026-08-03,2\n"))

    def seen() -> list[float]:
        with open_store(address) as store:
            rows = store._connection.execute("SELECT read_value FROM readings ORDER BY 1")
            return [float(row[0]) for row in rows.fetchall()]

    assert seen() == [1, 2]
    assert withdraw(address, 1, today=TODAY, note="wrong plant")["withdrawn"] is True
    assert seen() == [2], "another import that stands brought this row too"
    assert [row["withdrawn"] for row in imports(address)] == [True, False]
    with pytest.raises(LogError, match="withdrawn already"):
        withdraw(address, 1, today=TODAY)
    assert withdraw(address, 1, today=TODAY, back=True)["withdrawn"] is False
    assert seen() == [1, 2]
    with pytest.raises(LogError, match="it counts"):
        withdraw(address, 1, today=TODAY, back=True)
    with pytest.raises(NotInStore, match="no import 9"):
        withdraw(address, 9, today=TODAY)
    assert stored(tmp_path, "SELECT count(*) FROM log_readings") == [(2,)]


def test_a_decision_makes_no_store_where_there_is_none(tmp_path):
    """A mistyped name leaves nothing behind."""
    store = tmp_path / "mistyped.duckdb"
    with pytest.raises(NotInStore, match="there is no store"):
        settle(str(store), "0", as_="proposed", today=TODAY)
    with pytest.raises(NotInStore, match="there is no store"):
        withdraw(str(store), 1, today=TODAY)
    assert not store.exists()
