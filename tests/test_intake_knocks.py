"""Hard knocks: torn and hostile files, kills, full disks, two writers. Nothing half, no traceback.

The full counts run by hand: ``python tests/bench/knocks.py``.
"""

import functools
import os
import random
import runpy
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import duckdb
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cli.options import counted
from forecast.errors import LogError, StoreBusy, StoreError, StoreFull, StoreTooNew, WearaheadError
from forecast.intake import plain
from forecast.intake.importing import import_logs, imports
from forecast.intake.set_aside import set_aside
from forecast.store.opening import open_store
from forecast.store.store import Store
from forecast.work import Work

HERE = Path(__file__).parent
TODAY = date(2026, 8, 31)
KNOCKS = runpy.run_path(str(HERE / "knocks.py"))
mutated, knocked, tables, killed = (
    KNOCKS[name] for name in ("mutated", "knocked", "tables", "killed")
)


def write(folder: Path, name: str, text: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_mutated_files_a_few(tmp_path):
    for seed in range(2):
        knocked(tmp_path / f"{seed}", seed, files=8)


@pytest.mark.slow
def test_a_thousand_mutated_files(tmp_path):
    """Twenty stores, fifty files in each: taken or refused, every row accounted for."""
    for seed in range(20):
        knocked(tmp_path / f"{seed}", 1000 + seed, files=50)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.lists(st.text(max_size=8), max_size=5), max_size=6), st.sampled_from(",;\t|"))
def test_any_cells_are_accounted_for(tmp_path, rows, delimiter):
    text = f"machine{delimiter}at{delimiter}value\n"
    text += "\n".join(delimiter.join(row) for row in rows)
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8", errors="replace", newline="")
    try:
        report = import_logs(str(tmp_path / "s.duckdb"), [path], today=TODAY, dry_run=True)
    except LogError:
        return
    (file,) = report.files
    assert file.rows == file.accepted + file.known + file.set_aside


HOSTILE = ["'; DROP TABLE log_readings; --", "=cmd|'/C calc'!A0", "<script>alert(1)</script>",
           "../../x", "$value", "{}", "NULL", "\\", "%s", "b\u202e"]  # fmt: skip


def test_hostile_texts_are_data(tmp_path):
    quoted = [text.replace('"', '""') for text in HOSTILE]
    rows = "".join(f'"{text}",2026-08-03,1,"{text}"\n' for text in quoted)
    log = write(tmp_path, "a.csv", "machine,at,value,note\n" + rows)
    (report,) = import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY).files
    assert report.accepted == len(HOSTILE)
    with open_store(str(tmp_path / "s.duckdb"), views=False) as store:
        found = store._connection.execute(
            "SELECT machine, note FROM log_readings ORDER BY file_line"
        )
        assert found.fetchall() == [(text, text) for text in HOSTILE]


def test_a_cell_of_ten_megabytes_is_data(tmp_path):
    log = write(tmp_path, "a.csv", "machine,at,value,note\nG01,2026-08-03,1," + "x" * 10_000_000)
    assert import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY).files[0].accepted == 1


@pytest.mark.parametrize("break_", ["\r", "\n", "\r\n"])
def test_a_line_break_of_any_sort_in_a_quoted_cell_is_data(tmp_path, break_):
    note = f'"changed{break_}by hand"'
    log = write(tmp_path, "a.csv", f"machine,at,value,note\nG01,2026-08-03,1,{note}\n")
    store = str(tmp_path / "s.duckdb")
    (report,) = import_logs(store, [log], today=TODAY).files
    assert (report.rows, report.accepted) == (1, 1)
    with open_store(store, views=False) as opened:
        opened._connection.execute("SELECT note FROM log_readings")
        assert opened._connection.fetchall() == [(f"changed{break_}by hand",)]


def test_zero_bytes_in_a_cell_are_data_and_told(tmp_path):
    log = write(
        tmp_path, "a.csv", b"machine,at,value,note\nG01,2026-08-03,1,a\0b\nG01,2026-08-03,1\x002,\n"
    )
    store = str(tmp_path / "s.duckdb")
    report = import_logs(store, [log], today=TODAY)
    assert (report.files[0].accepted, report.files[0].set_aside) == (1, 1)
    assert any("2 zero bytes, each shown as \u2400" in sentence for sentence in report.said)
    (row,) = set_aside(store)
    assert (row["column"], row["value"], row["rule"]) == ("value", "1\u24002", "not a number")
    again = import_logs(store, [log], today=TODAY).files[0]
    assert (again.accepted, again.known, again.set_aside) == (0, 1, 1)


def test_zero_bytes_in_a_parquet_text_are_data_and_told(tmp_path):
    file = tmp_path / "a.parquet"
    duckdb.execute(
        "COPY (SELECT 'G01' AS machine, DATE '2026-08-03' AS at, 1 AS value, 'a' || chr(0) AS note)"
        f" TO '{file}' (FORMAT PARQUET)"
    )
    report = import_logs(str(tmp_path / "s.duckdb"), [file], today=TODAY)
    assert report.files[0].accepted == 1
    assert any("1 zero bytes" in sentence for sentence in report.said)


def test_what_is_no_text_is_refused_with_what_to_do(tmp_path):
    log = write(tmp_path, "a.csv", b"PK\3\4\0\0machine,at,value\nG01,2026-08-03,1\n")
    with pytest.raises(LogError, match="zero bytes"):
        import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_recognised(tmp_path, encoding):
    text = "machine,at,value,note\nG01,2026-08-03,1,\u00fcber \u4e00\n"
    log = write(tmp_path, "a.csv", text.encode(encoding))
    report = import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY)
    assert report.files[0].accepted == 1
    assert any("read as UTF-16" in sentence for sentence in report.said)


def test_the_straight_way_keeps_the_same_rows_as_the_staged_one(tmp_path, monkeypatch):
    rng = random.Random(3)  # noqa: S311
    cells = ["G01,2026-08-03,1", "G01,2026-08-03,1", "G02,2026-08-03 10:00,1/8", ",2026-08-03,2",
             "G03,x,1", "", "G04,2026-08-04,0.500,beyond", "G05,2027-01-01,1"]  # fmt: skip
    text = "machine,at,value\n" + "\n".join(rng.choice(cells) for _ in range(400)) + "\n"
    log = write(tmp_path, "a.csv", text)
    kept = []
    for way, least in (("staged", 10**9), ("straight", 1)):
        monkeypatch.setattr(plain, "FROM_ROWS", least)
        store = str(tmp_path / f"{way}.duckdb")
        first = import_logs(store, [log], today=TODAY).files[0]
        again = import_logs(store, [log], today=TODAY).files[0]
        assert first.rows == first.accepted + first.set_aside
        assert (again.accepted, again.set_aside) == (0, first.set_aside)
        kept.append((first, again, tables(store), set_aside(store)))
    assert kept[0] == kept[1]


def test_rows_are_told_while_a_large_file_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(plain, "FROM_ROWS", 1)
    often = functools.partialmethod(Store.watched, every_s=0.005)
    monkeypatch.setattr(Store, "watched", often)
    rows = "".join(f"G{n % 9},2026-08-03,{n % 99 / 100}\n" for n in range(60_000))
    log = write(tmp_path, "a.csv", "machine,at,value\n" + rows)
    told: list[tuple[str, int, int]] = []
    work = Work(tell=lambda what, done, of: told.append((what, done, of)))
    import_logs(str(tmp_path / "s.duckdb"), [log], today=TODAY, work=work)
    reading = [done for what, done, of in told if what == "a.csv: reading" and of == 60_000]
    assert len(reading) > 1
    assert all(0 <= done <= 60_000 for done in reading)


def test_progress_says_rows_and_rate():
    assert counted(0, 0, 1.0) == ""
    assert counted(3, 10, 1.0) == "3 of 10"
    assert counted(1_200_000, 20_000_000, 20.0) == "1,200,000 of 20,000,000, 60,000 a second"


@pytest.mark.slow
def test_the_bench_scaled_down(tmp_path):
    """300,000 readings in a process of their own: all accounted for (it says so itself), the
    memory of a few chunks. Times are for ``tests/bench/bench_import.py``."""
    bench = runpy.run_path(str(HERE / "bench" / "bench_import.py"))
    path, store = tmp_path / "readings.csv", tmp_path / "s.duckdb"
    duckdb.execute(bench["SHEET"].format(rows=300_000, path=path))
    _, peak = bench["ours"](path, store)
    assert peak <= 1024, "MiB; the bound for 20 and 100 million rows is 2 GiB"
    (row,) = imports(str(store))
    assert (row["rows"], row["accepted"]) == (300_000, 300_000)


def test_a_sound_file_added_straight_closes_what_was_set_aside_of_it(tmp_path, monkeypatch):
    monkeypatch.setattr(plain, "FROM_ROWS", 1)
    store = str(tmp_path / "s.duckdb")
    head = "machine,at,value\n"
    import_logs(store, [write(tmp_path, "a.csv", head + "G01,2026-08-03,x\n")], today=TODAY)
    import_logs(store, [write(tmp_path, "a.csv", head + "G01,2026-08-03,1\n")], today=TODAY)
    assert set_aside(store) == []


def test_killed_at_some_statements_and_instants(tmp_path):
    for fuse in (6, 9):
        assert killed(tmp_path / f"fuse{fuse}", fuse=fuse)
    assert not killed(tmp_path / "none", fuse=99), "it comes to its end"
    killed(tmp_path / "instant", after=0.2)


@pytest.mark.slow
def test_killed_thirty_times(tmp_path):
    """Every statement of two files, and random instants: all or nothing, then complete."""
    rng = random.Random(7)  # noqa: S311
    for number in range(18):
        killed(tmp_path / f"fuse{number}", fuse=number + 1)
    for number in range(12):
        killed(tmp_path / f"instant{number}", after=rng.uniform(0.01, 0.8))


def test_a_second_writer_waits_then_names_the_other(tmp_path):
    store = str(tmp_path / "s.duckdb")
    code = (
        "import sys,time\nfrom forecast.store.opening import open_store\n"
        f"with open_store({store!r}, write=True):\n    print('in', flush=True)\n    time.sleep(60)"
    )
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    holder = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env=environment
    )
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "in\n"
        began = time.monotonic()
        with pytest.raises(StoreBusy, match=f"PID {holder.pid}"), open_store(store, wait_s=0.5):
            pass
        assert time.monotonic() - began >= 0.5
    finally:
        holder.send_signal(signal.SIGKILL)
        holder.communicate()


def test_a_newer_store_is_refused_with_what_to_do(tmp_path):
    store = str(tmp_path / "s.duckdb")
    with open_store(store, write=True) as opened:
        opened._connection.execute(
            "INSERT INTO schema_step SELECT * REPLACE ('900_of_the_future' AS name)"
            " FROM schema_step LIMIT 1"
        )
    log = write(tmp_path, "a.csv", "machine,at,value\nG01,2026-08-03,1\n")
    with pytest.raises(StoreTooNew) as refused:
        import_logs(store, [log], today=TODAY)
    assert "update" in refused.value.way_out


def test_a_full_disk_leaves_the_store_as_it_was(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(disk)]
    if os.geteuid() or subprocess.run(mount, check=False, capture_output=True).returncode:
        pytest.skip("no small disk can be mounted here")
    try:
        store = str(disk / "s.duckdb")
        small = write(tmp_path, "a.csv", "machine,at,value\nG01,2026-08-03,1\n")
        import_logs(store, [small], today=TODAY)
        before = tables(store)
        rng = random.Random(1)  # noqa: S311
        rows = (
            f"G{rng.random()},2026-08-03,{rng.random():.6f},{rng.random()}" for _ in range(100_000)
        )
        large = write(tmp_path, "b.csv", "machine,at,value,note\n" + "\n".join(rows))
        with pytest.raises(StoreError) as full:
            import_logs(store, [large], today=TODAY)
        assert isinstance(full.value, StoreFull), str(full.value)
        assert "free some space" in full.value.way_out
        assert tables(store) == before
        assert isinstance(full.value, WearaheadError)
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)
