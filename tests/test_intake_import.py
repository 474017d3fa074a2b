"""Importing: every row accounted for, the same file twice, all or nothing, every kind."""

import random
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from forecast.errors import LogError, NotInStore
from forecast.intake.importing import FileReport, import_logs, imports
from forecast.intake.kinds import KINDS, kind_named, recognise
from forecast.intake.set_aside import RULES, set_aside
from forecast.store.opening import open_store
from forecast.work import Work

TODAY = date(2026, 8, 31)

LOGS = {
    "part_types": "part_type,wear_limit_mm,gauge_sd_mm,constraint,carries_people,sides,unit_cost\n"
    "SLEEVE-30,0.4,0.03,pressed,no,1,6.20\nSTRIP-12,3.0,,free,,2,\n",
    "fleet": "machine,part_type,positions,line,place,from,until,start_state,serialised\n"
    "G01,SLEEVE-30,01-24,A,rollers,2024-08-05,,new,yes\nG02,STRIP-12,8,A,chain,,,1500,yes\n",
    "change_outs": "machine,at,action,part_type,place,position,quantity,reason,at_from\n"
    "G01,2026-08-03 14:30,replaced,SLEEVE-30,rollers,03,,worn,2026-08-02\n"
    "G01,2026-08-04,removed,SLEEVE-30,rollers,4,1,broken,\n",
    "readings": "machine,at,place,position,value,result,found_left\n"
    "G01,2026-08-03,rollers,1,0.10,,as_found\nG01,2026-08-03,rollers,2,,ok,as_found\n",
    "clocks": "machine,at,shows,event,start_shows\n"
    "G01,2026-08-03,1204.5,,\nG01,2026-08-10,1300,replaced,0\n",
    "stock": "part_type,at,state,quantity,due,order_no,condition\n"
    "SLEEVE-30,2026-08-30,on_hand,120,,,new\nSLEEVE-30,2026-08-30,on_order,50,2026-09-20,PO1,\n",
    "running": "date,running_hours,machine,line,phase\n"
    "2026-08-03,22.5,*,,washed\n2026-10-03,20,,B,\n",
}


def write(folder: Path, name: str, text: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def bring(folder: Path, *files: Path, **options) -> list[FileReport]:
    options.setdefault("today", TODAY)
    return list(import_logs(str(folder / "s.duckdb"), files, **options).files)


def stored(folder: Path, text: str) -> list[tuple]:
    with open_store(str(folder / "s.duckdb"), views=False) as store:
        return store._connection.execute(text).fetchall()


def aside(folder: Path) -> list[dict]:
    return set_aside(str(folder / "s.duckdb"))


@pytest.fixture
def seven(tmp_path):
    return [write(tmp_path, f"{kind}.csv", text) for kind, text in LOGS.items()]


def test_all_seven_kinds_by_their_headers(tmp_path, seven):
    reports = bring(tmp_path, *seven)
    assert [(r.kind, r.rows, r.accepted) for r in reports] == [(kind, 2, 2) for kind in KINDS]
    assert stored(
        tmp_path,
        "SELECT part_type, held, carries_people, sides FROM log_part_types ORDER BY file_line",
    ) == [
        ("SLEEVE-30", "pressed", False, 1),
        ("STRIP-12", "free", None, 2),
    ]
    assert stored(
        tmp_path, "SELECT positions, start_state, from_day FROM log_fleet ORDER BY file_line"
    ) == [
        ("01-24", "new", date(2024, 8, 5)),
        ("8", "1500.0", None),
    ]
    assert stored(
        tmp_path,
        "SELECT taken_at, whole_day, position, quantity, taken_from FROM log_change_outs"
        " ORDER BY file_line",
    ) == [
        (datetime(2026, 8, 3, 14, 30), False, "3", 1, datetime(2026, 8, 2)),
        (datetime(2026, 8, 4), True, "4", 1, None),
    ]
    assert stored(tmp_path, "SELECT run_date, machine, plant_line FROM log_running ORDER BY 1") == [
        (date(2026, 8, 3), "*", None),
        (date(2026, 10, 3), None, "B"),
    ]


def test_the_same_files_twice_add_nothing(tmp_path, seven):
    bring(tmp_path, *seven)
    again = bring(tmp_path, *reversed(seven))
    assert [(r.rows, r.accepted, r.known, r.set_aside) for r in again] == [(2, 0, 2, 0)] * 7
    listed = imports(str(tmp_path / "s.duckdb"))
    assert [row["import"] for row in listed] == list(range(1, 15))
    assert list(listed[0]) == [
        "import", "at", "file", "kind", "rows", "accepted", "known", "set_aside", "withdrawn",
        "backfill", "sha256", "mapping", "version",
    ]  # fmt: skip


def test_a_file_twice_in_one_command(tmp_path, seven):
    reports = bring(tmp_path, seven[3], seven[3])
    assert [(r.number, r.accepted, r.known) for r in reports] == [(1, 2, 0), (2, 0, 2)]


def test_equal_rows_in_one_file_are_repeats_and_counted(tmp_path):
    head = "machine,at,value\n"
    twice = write(tmp_path, "a.csv", head + "G01,2026-08-03,0.5\nG01,2026-08-03,0.50\n")
    assert bring(tmp_path, twice)[0].accepted == 2
    once = write(tmp_path, "b.csv", head + "G01,2026-08-03,.5\n")
    assert bring(tmp_path, once)[0].known == 1
    thrice = write(tmp_path, "c.csv", head + "G01,2026-08-03,0.5\n" * 3)
    report = bring(tmp_path, thrice)[0]
    assert (report.accepted, report.known) == (1, 2)
    assert stored(tmp_path, "SELECT copy_no FROM log_readings ORDER BY 1") == [(1,), (2,), (3,)]


def test_rows_of_a_withdrawn_import_are_not_known(tmp_path, seven):
    bring(tmp_path, seven[3])
    with open_store(str(tmp_path / "s.duckdb"), write=True, views=False) as store:
        store._connection.execute(
            "INSERT INTO decisions VALUES"
            " (1, '2026-08-31', 'import', '1', 'withdrawn', NULL, '', '')"
        )
    assert bring(tmp_path, seven[3])[0].accepted == 2
    assert [row["withdrawn"] for row in imports(str(tmp_path / "s.duckdb"))] == [True, False]


def test_a_version_that_comes_back_is_a_new_version(tmp_path):
    head = "part_type,wear_limit_mm,unit_cost\n"
    five = write(tmp_path, "a.csv", head + "X,1,5\n")
    six = write(tmp_path, "b.csv", head + "X,1,6\n")
    accepted = [bring(tmp_path, file)[0].accepted for file in (five, six, five, five)]
    assert accepted == [1, 1, 1, 0]


def test_every_faulty_row_says_where_what_and_what_to_do(tmp_path):
    log = write(
        tmp_path,
        "sheet.csv",
        "Machine,at,position,value,unit,found_left,reading_kind,remark\n"
        "G01,2026-08-03,1,0.10,mm,as_found,,\n"
        ',2026-13-04,1,"0,5",furlong,as_fund,,hm\n'
        "G01,2026-09-01,1,0.10,mm,,,\n"
        "\n"
        "G01,1969-12-31,1,0.10,mm,,,\n"
        "G01,2026-08-03,1,,mm,,,\n"
        "G01,2026-08-03,1,0,mm,,bore,\n"
        "G01,2026-08-03,1,-5,mm,,,\n"
        "G01,2026-08-03,1,-0.02,mm,,,\n"
        "G01,2026-08-03T10:00:00Z,1,1,mm,,,\n"
        "G01,03/04/2026,1,1,mm,,,\n"
        "G01,2026-08-03,1,1,mm,,,,,beyond\n",
    )
    report = import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY)
    counts = report.files[0]
    assert (counts.rows, counts.accepted, counts.known, counts.set_aside) == (11, 2, 0, 9)
    rows = aside(tmp_path)
    assert [(row["line"], row["column"], row["value"], row["rule"]) for row in rows] == [
        (3, "Machine", None, "required missing"),
        (4, "at", "2026-09-01", "after the import's day"),
        (6, "at", "1969-12-31", "before 1970"),
        (7, "value", None, "required missing"),
        (8, "value", "0", "not above zero"),
        (9, "value", "-5", "below zero"),
        (11, "at", "2026-08-03T10:00:00Z", "time zone not stated"),
        (12, "at", "03/04/2026", "ambiguous date"),
        (13, "", "beyond", "too many cells"),
    ]
    assert list(rows[0]) == ["import", "file", "line", "column", "value", "rule", "hint"]
    assert "at: not a date (2026-13-04)" in rows[0]["hint"]
    assert "value: not a number (0,5)" in rows[0]["hint"]
    assert "unit: unknown unit (furlong)" in rows[0]["hint"]
    assert "found_left: unknown word (as_fund)" in rows[0]["hint"]
    assert "sheet.csv: kept but not used: remark" in report.said
    raw = stored(tmp_path, "SELECT raw_row FROM set_aside WHERE file_line = 3")[0][0]
    assert '"read_value":"0,5"' in raw
    assert "hm" in raw


def test_a_row_still_refused_is_counted_but_kept_once_and_closes_when_mended(tmp_path):
    head = "machine,at,value\n"
    log = write(tmp_path, "sheet.csv", head + "G01,2026-08-03,x\nG02,2026-08-03,0.1\n")
    bring(tmp_path, log)
    assert bring(tmp_path, log)[0].set_aside == 1
    assert len(aside(tmp_path)) == 1
    write(tmp_path, "sheet.csv", head + "G01,2026-08-03,0.2\nG02,2026-08-03,0.1\n")
    mended = bring(tmp_path, log)[0]
    assert (mended.accepted, mended.known, mended.set_aside) == (1, 1, 0)
    assert aside(tmp_path) == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_row_of_dirty_files_is_accounted_for(tmp_path, kind):
    """Random cells in every column: rows = accepted + known + set_aside, each with its rule."""
    rng = random.Random(f"dirt of {kind}")  # noqa: S311
    cells = ["", "", "1", "0.5", "1/8", "-3", "0,5", "x", "2026-08-03", "2026-08-03 07:30", "new",
             "yes", "mm", "worn", "ok", "1e9", "99999999999", "1_000", "NaN",
             "*", '"a\nb"', "'"]  # fmt: skip
    columns = [column.name for column in KINDS[kind].columns]
    good = {column.name: _sound(column) for column in KINDS[kind].columns if column.required}
    lines = [",".join(columns)]
    for _ in range(200):
        row = [
            good[name] if name in good and rng.random() < 0.9
            else rng.choice(cells) if rng.random() < 0.15
            else ""
            for name in columns
        ]  # fmt: skip
        lines.append(",".join(row))
    log = write(tmp_path, "dirt.csv", "\n".join(lines) + "\n")
    first, again = bring(tmp_path, log)[0], bring(tmp_path, log)[0]
    for report in (first, again):
        assert report.rows == report.accepted + report.known + report.set_aside
    assert first.known == 0 and first.set_aside > 0 and first.accepted > 0
    assert (again.accepted, again.known, again.set_aside) == (0, first.accepted, first.set_aside)
    rows = aside(tmp_path)
    assert len(rows) == first.set_aside
    shown = {rule.rule for rule in RULES.values()}
    assert {row["rule"] for row in rows} <= shown, "no row is refused without a rule"


def _sound(column) -> str:
    if column.words:
        return column.words[0]
    return "2026-08-03" if column.type in ("time", "date") else "1"


def test_known_at(tmp_path):
    text = (
        "machine,at,value,reported_at\nG01,2026-08-03,1,\n"
        "G01,2026-08-03,2,2026-08-20 06:00\nG01,2026-08-31,3,\n"
    )
    fleet = write(tmp_path, "fleet.csv", "machine,part_type,positions\nG01,X,8\n")
    log = write(tmp_path, "r.csv", text)
    report = import_logs(str(tmp_path / "s.duckdb"), [log, fleet], today=TODAY)
    assert report.backfill
    assert "first import into an empty store" in report.said[0]
    assert "1 day" in report.said[0]
    assert stored(tmp_path, "SELECT known_at FROM log_readings ORDER BY read_value") == [
        (datetime(2026, 8, 4),),
        (datetime(2026, 8, 20, 6),),
        (datetime(2026, 8, 31),),
    ]
    assert stored(tmp_path, "SELECT known_at FROM log_fleet") == [(datetime(1970, 1, 1),)]
    later = write(tmp_path, "later.csv", "machine,at,value\nG02,2026-08-03,1\n")
    report = import_logs(str(tmp_path / "s.duckdb"), [later], today=TODAY)
    assert not report.backfill
    assert stored(tmp_path, "SELECT known_at FROM log_readings WHERE machine = 'G02'") == [
        (datetime(2026, 8, 31),)
    ]


def test_a_later_import_can_be_a_backfill_too(tmp_path, seven):
    """Rows without a report were known a day after they happened; a fleet row always."""
    bring(tmp_path, seven[0])
    old = write(
        tmp_path,
        "old.csv",
        "machine,at,value,reported_at\nG07,2026-08-03 14:30,1,\nG07,2026-08-03,2,2026-08-20\n",
    )
    fleet = write(tmp_path, "fleet.csv", "machine,part_type,positions\nG07,X,8\n")
    report = import_logs(str(tmp_path / "s.duckdb"), [old, fleet], today=TODAY, backfill=True)
    assert report.backfill
    assert any("1 day" in said for said in report.said)
    assert stored(tmp_path, "SELECT known_at FROM log_readings ORDER BY read_value") == [
        (datetime(2026, 8, 4, 14, 30),),
        (datetime(2026, 8, 20),),
    ]
    assert stored(tmp_path, "SELECT known_at FROM log_fleet") == [(datetime(1970, 1, 1),)]


def test_a_first_import_that_is_no_backfill(tmp_path, seven):
    report = import_logs(str(tmp_path / "s.duckdb"), seven, backfill=False, today=TODAY)
    assert not report.backfill
    assert not any("backfill" in said for said in report.said)
    assert stored(tmp_path, "SELECT DISTINCT known_at FROM log_readings") == [
        (datetime(2026, 8, 31),)
    ]


def test_a_dry_run_keeps_nothing(tmp_path, seven):
    reports = bring(tmp_path, *seven, dry_run=True)
    assert sum(r.accepted for r in reports) == 14
    assert not (tmp_path / "s.duckdb").exists()
    with pytest.raises(NotInStore, match="no store"):
        imports(str(tmp_path / "s.duckdb"))
    bring(tmp_path, seven[0])
    assert bring(tmp_path, *seven, dry_run=True)[0].known == 2
    assert len(imports(str(tmp_path / "s.duckdb"))) == 1


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.csv", b"", "the file is empty"),
        ("blank.csv", b"\n\n", "line 1 holds no header"),
        ("cows.csv", b"cow,milk\n1,2\n", "its header is no log's"),
        ("near.csv", b"machine,att,value\nG01,2026-08-03,1\n",
         "Nearest is readings, which lacks at"),
        ("torn.xlsx", b"PK\x03\x04torn", "the workbook cannot be read"),
        ("empty.xlsx", b"", "the file is empty"),
        ("torn.parquet", b"PAR1torn", "cannot be read as Parquet"),
        ("empty.parquet", b"", "the file is empty"),
        ("zeros.csv", b"GIF89a\0\0machine,at,value\n", "the file is no text"),
        ("quote.csv", b'machine,at,value,note\nG01,2026-08-03,1,"open\n',
         "line 2: the row cannot be read"),
        ("twice.csv", b"machine,at,value,Machine\nG01,2026-08-03,1,G02\n",
         "both 'machine' and 'Machine'"),
        ("both.csv", b"machine,at,value\nG01,03/04/2026,1\n", "day 03 month 04"),
        ("proofs.csv", b"machine,at,value\nG01,27/03/2026,1\nG01,03/27/2026,1\n",
         "some dates are day first"),
    ],
)  # fmt: skip
def test_a_file_of_which_nothing_can_be_read_fails_the_whole_command(
    tmp_path, seven, name, content, said
):
    bad = write(tmp_path, name, content)
    with pytest.raises(LogError, match=said) as caught:
        bring(tmp_path, seven[0], bad, seven[1])
    assert caught.value.way_out
    assert name in str(caught.value)
    assert not (tmp_path / "s.duckdb").exists()
    bring(tmp_path, seven[0])
    with pytest.raises(LogError):
        bring(tmp_path, seven[1], bad)
    assert len(imports(str(tmp_path / "s.duckdb"))) == 1


def test_files_that_are_not_there(tmp_path):
    with pytest.raises(LogError, match="there is no file"):
        bring(tmp_path, tmp_path / "no.csv")
    with pytest.raises(LogError, match="is a folder"):
        bring(tmp_path, tmp_path)
    with pytest.raises(LogError, match="no files"):
        bring(tmp_path)


def test_mappings_named_with_their_logs_are_no_logs(tmp_path):
    """As a shell's ``import *`` names them."""
    log, mapping = tmp_path / "a.csv", tmp_path / "a.toml"
    log.write_text("machine;at;value\nG01;2026-08-03;1\n")
    mapping.write_text('[file]\ndelimiter = ";"\n')
    (report,) = bring(tmp_path, log, mapping)
    assert (report.file, report.accepted) == ("a.csv", 1)
    other = tmp_path / "other.toml"
    other.write_text("")
    with pytest.raises(LogError, match=r"other\.toml is a mapping, not a log") as refused:
        bring(tmp_path, log, other)
    assert f"--mapping {other}" in refused.value.way_out


def test_a_header_without_rows_is_no_rows(tmp_path):
    for name, text in (("a.csv", "machine,at,value\n"), ("b.csv", "machine,at,value")):
        assert bring(tmp_path, write(tmp_path, name, text))[0].rows == 0


def test_kinds_by_name(tmp_path):
    assert recognise(["machine", "at", "shows", "note"]).name == "clocks"
    assert recognise(["machine", "at", "value", "result"]).name == "readings"
    with pytest.raises(LogError, match="could be readings or clocks"):
        recognise(["machine", "at", "shows", "value"])
    with pytest.raises(LogError, match="did you mean 'readings'"):
        kind_named("reading")
    both = write(tmp_path, "b.csv", "machine,at,shows,value\nG01,2026-08-03,5,0.1\n")
    assert bring(tmp_path, both, kind="clocks")[0].kind == "clocks"
    with pytest.raises(LogError, match="as stock, its header lacks part_type, state, quantity"):
        bring(tmp_path, both, kind="stock")


def test_values_are_data(tmp_path):
    nasty = "x'); DROP TABLE log_readings; --"
    log = write(
        tmp_path, "it's [1]*?.csv", f'machine,at,value,"a""b\'c"\n{nasty},2026-08-03,1,$x\n'
    )
    assert bring(tmp_path, log)[0].accepted == 1
    assert stored(tmp_path, "SELECT machine, extra FROM log_readings") == [
        (nasty, '{"a\\"b\'c":"$x"}')
    ]


def test_lines_are_those_of_the_file(tmp_path):
    notes = (
        'machine,at,value,note\nG01,2026-08-03,1,"two\nlines"\n\n'
        ',2026-08-03,2,"a""b"\r\nG03,2026-08-03,x,\n'
    )
    bring(tmp_path, write(tmp_path, "notes.csv", notes))
    assert [(row["line"], row["column"]) for row in aside(tmp_path)] == [
        (5, "machine"),
        (6, "value"),
    ]
    assert stored(tmp_path, "SELECT file_line, note FROM log_readings") == [(2, "two\nlines")]


def test_many_rows_keep_their_lines(tmp_path):
    count = 150_000
    text = "machine,at,value\n" + "".join(f"G{i % 44},2026-08-03,{i}.5\n" for i in range(count))
    assert bring(tmp_path, write(tmp_path, "big.csv", text))[0].accepted == count
    wrong = stored(
        tmp_path, "SELECT count(*) FROM log_readings WHERE read_value <> file_line - 1.5"
    )
    assert wrong == [(0,)]


def test_lengths_in_every_unit_are_exact(tmp_path):
    cells = {"1/8,in": "3.175", "1 1/2,Inch": "38.1", '0.5,""""': "12.7", "5,mil": "0.127",
             "0.02,cm": "0.2", "250,µm": "0.25", "0.001,m": "1", "0.4,": "0.4",
             "1/64,IN": "0.396875"}  # fmt: skip
    text = "machine,at,value,unit\n" + "".join(f"G01,2026-08-03,{cell}\n" for cell in cells)
    assert bring(tmp_path, write(tmp_path, "u.csv", text))[0].accepted == len(cells)
    found = stored(tmp_path, "SELECT value_mm, unit FROM log_readings ORDER BY file_line")
    assert [value for value, _ in found] == [Decimal(value) for value in cells.values()]
    assert [unit for _, unit in found] == ["in", "in", "in", "mil", "cm", "um", "m", None, "in"]


def test_progress_is_told_between_statements(tmp_path, seven):
    told: list[tuple[str, int, int]] = []
    bring(tmp_path, *seven, work=Work(tell=lambda *what: told.append(what)))
    assert ("readings.csv: adding", 0, 2) in told
    assert told[-1][0] == "keeping"


def test_stopping_at_a_tell_leaves_the_store_as_it_was(tmp_path, seven):
    bring(tmp_path, seven[0])

    def stop(what: str, done: int, of: int) -> None:
        if what == "fleet.csv: counting":
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        bring(tmp_path, seven[3], seven[1], work=Work(tell=stop))
    assert len(imports(str(tmp_path / "s.duckdb"))) == 1
    assert stored(tmp_path, "SELECT count(*) FROM log_readings") == [(0,)]


def test_outer_blanks_of_every_sort_are_not_part_of_a_cell(tmp_path):
    text = "machine, at ,value\n G01 ,2026-08-03, 1\nG02\u00a0,\t2026-08-03,2\n"
    assert bring(tmp_path, write(tmp_path, "b.csv", text))[0].accepted == 2
    assert stored(tmp_path, "SELECT machine FROM log_readings ORDER BY 1") == [("G01",), ("G02",)]


def test_blank_lines_are_counted_apart(tmp_path):
    text = "machine,at,value\n\nG01,2026-08-03,1\n,,\n\n"
    report = import_logs(str(tmp_path / "s.duckdb"), [write(tmp_path, "b.csv", text)], today=TODAY)
    assert report.files[0].rows == 1
    assert "b.csv: 3 blank lines" in report.said


def test_a_sound_cell_beside_a_refused_one_does_not_close_it(tmp_path):
    mapping = write(tmp_path, "m.toml", '[wide]\ncolumns = "1..3"')
    sheet = write(tmp_path, "w.csv", "machine,at,1,2,3\nG01,2026-08-03,0.1,?,0.3\n")
    for _ in range(2):
        assert bring(tmp_path, sheet, mapping=mapping)[0].set_aside == 1
    (row,) = aside(tmp_path)
    assert (row["import"], row["column"], row["value"]) == (1, "2", "?")


def test_cells_far_beyond_the_header_never_land_in_a_column_the_file_lacks(tmp_path):
    text = "machine,at,value\nG01,2026-08-03,1,,,,,,,,ok\nG02,2026-08-03,2,,,,,,,,\n"
    report = bring(tmp_path, write(tmp_path, "b.csv", text))[0]
    assert (report.accepted, report.set_aside) == (1, 1)
    (row,) = aside(tmp_path)
    assert (row["line"], row["value"], row["rule"]) == (2, "ok", "too many cells")
