"""The store: opening, migrations, commits, locks, errors."""

import subprocess
import sys
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest

import sql
from forecast.errors import NotInStore, StoreBusy, StoreError, StoreFull, StoreTooNew
from forecast.store import migrate
from forecast.store.opening import open_store
from forecast.store.store import LostRace, Store

DECISION = pd.DataFrame(
    {
        "decision_no": [1],
        "decided_on": [date(2026, 1, 1)],
        "about": ["doubt"],
        "subject": ["ab12cd34"],
        "settled_as": ["open"],
        "note": [None],
    }
)


@pytest.fixture
def address(tmp_path: Path) -> str:
    return str(tmp_path / "it's a store.duckdb")


def make(address: str) -> None:
    with open_store(address, write=True):
        pass


def tables(address: str) -> list[str]:
    with duckdb.connect(address, read_only=True) as connection:
        return [row[0] for row in connection.execute("SHOW TABLES").fetchall()]


def test_reading_where_there_is_no_store(address):
    with pytest.raises(NotInStore, match="there is no store") as caught, open_store(address):
        pass
    assert "import first" in caught.value.way_out
    assert not Path(address).exists()


def test_a_new_store_has_the_whole_schema_and_sees_everything(address):
    with open_store(address, write=True) as store:
        assert migrate.standing(store) == "current"
        assert store.rows("queries/last_numbers") == [{"last_import": 0, "last_decision": 0}]
    with open_store(address) as store:
        steps = store.rows("queries/schema_steps")
        found = store._connection.execute("SELECT getvariable('day')").fetchone()
    assert [f"schema/{step['name']}" for step in steps] == list(sql.names("schema"))
    assert found == (date(9999, 12, 31),)


@pytest.mark.parametrize("write", [False, True])
@pytest.mark.parametrize("steps", [2, 3, 7])
def test_an_older_store_is_brought_up_by_whoever_opens_it(address, monkeypatch, steps, write):
    every = sql.names("schema")
    with monkeypatch.context() as older:
        older.setattr(migrate, "names", lambda folder: every[:steps])
        older.setattr("forecast.store.opening._look", lambda store, views: None)
        make(address)
    assert len(tables(address)) == steps
    with open_store(address, write=write) as store:
        assert migrate.standing(store) == "current"
    make(f"{address}.fresh")
    assert tables(address) == tables(f"{address}.fresh")


def test_a_store_of_a_newer_version_is_refused(address):
    make(address)
    with duckdb.connect(address) as connection:
        connection.execute("INSERT INTO schema_step VALUES (999, '999_later', 'x')")
    with pytest.raises(StoreTooNew, match="999_later"), open_store(address):
        pass


def test_an_edited_old_step_is_refused(address):
    make(address)
    with duckdb.connect(address) as connection:
        connection.execute("UPDATE schema_step SET sha256 = 'x' WHERE number = 3")
    with pytest.raises(StoreError, match="003_imports"), open_store(address, write=True):
        pass


def test_somebody_elses_database_is_left_alone(address):
    quoted = address.replace("'", "''")
    with duckdb.connect() as connection:
        connection.execute(f"ATTACH '{quoted}' AS farm (STORAGE_VERSION 'v1.5.0')")
        connection.execute("CREATE TABLE farm.cows (name VARCHAR)")
    with (
        pytest.raises(StoreError, match=r"not a wearahead store: it holds cows"),
        open_store(address, write=True),
    ):
        pass
    assert tables(address) == ["cows"]


@pytest.mark.parametrize("write", [False, True])
def test_a_file_that_is_no_database(address, write):
    Path(address).write_text("machine,at\n" * 1000)
    with pytest.raises(StoreError, match="cannot be opened"), open_store(address, write=write):
        pass


@pytest.mark.parametrize("write", [False, True])
def test_a_folder_is_no_store(tmp_path, write):
    with pytest.raises(StoreError, match="is a folder"), open_store(str(tmp_path), write=write):
        pass


def test_a_folder_that_is_not_there(tmp_path):
    with (
        pytest.raises(StoreError, match="does not exist"),
        open_store(str(tmp_path / "no" / "x"), write=True),
    ):
        pass


def test_a_commit_is_all_or_nothing(address):
    def job(store: Store) -> None:
        store.put("decisions", DECISION)
        raise KeyboardInterrupt

    with open_store(address, write=True) as store:
        with pytest.raises(KeyboardInterrupt):
            store.commit(job)
        assert store.rows("queries/last_numbers")[0]["last_decision"] == 0
        store.commit(lambda store: store.put("decisions", DECISION))
        assert store.rows("queries/last_numbers")[0]["last_decision"] == 1
    with open_store(address) as store:
        frame = store.frame("queries/last_numbers")
    assert frame["last_decision"].tolist() == [1]


def test_a_commit_inside_a_commit_is_a_bug(address):
    with open_store(address, write=True) as store, pytest.raises(RuntimeError, match="inside"):
        store.commit(lambda store: store.commit(lambda store: None))


def test_a_lost_race_runs_the_job_again(address):
    calls: list[int] = []

    def job(store: Store) -> int:
        calls.append(1)
        if len(calls) < 3:
            raise LostRace("conflict", "")
        return 7

    with open_store(address, write=True) as store:
        assert store.commit(job) == 7
    assert len(calls) == 3


def test_an_error_names_the_statement_and_its_text(address):
    with open_store(address, write=True) as store, pytest.raises(StoreError) as caught:
        store.run("queries/set_day", day="not a day")
    assert "queries/set_day" in str(caught.value)
    assert "SET VARIABLE day" in str(caught.value)


def test_a_reader_cannot_write(address):
    make(address)
    with open_store(address) as store, pytest.raises(StoreError, match="read-only"):
        store.run("queries/pass_gate")


def test_a_view_that_cannot_be_made_is_named_where_it_is_missed(address, monkeypatch):
    make(address)
    monkeypatch.setattr("forecast.store.opening.macro_names", lambda: ["queries/add_schema_step"])
    with open_store(address, views=False) as store, pytest.raises(StoreError) as caught:
        store.run("queries/pass_gate")
    assert "view queries/add_schema_step could not be made" in str(caught.value)


def test_a_full_disk_is_told_as_such(address):
    with open_store(address, write=True) as store:
        error = duckdb.IOException('Could not write file "x": No space left on device')
        assert isinstance(store._failed("queries/pass_gate", error), StoreFull)


def test_another_process_is_named_after_waiting(address):
    make(address)
    hold = (
        "import sys; from forecast.store.opening import open_store\n"
        "with open_store(sys.argv[1], write=True):\n"
        "    print('held', flush=True); sys.stdin.readline()"
    )
    root = Path(__file__).parent.parent
    with subprocess.Popen(
        [sys.executable, "-c", hold, address],
        cwd=root,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        with pytest.raises(StoreBusy) as caught, open_store(address, wait_s=0.2):
            pass
        child.communicate("go\n")
    assert f"PID {child.pid}" in str(caught.value)
    assert "waited 0.2 s" in str(caught.value)
    with open_store(address) as store:
        assert store.rows("queries/tables")


def test_two_writers_of_one_process_exclude_each_other(address):
    with (
        open_store(address, write=True),
        pytest.raises(StoreBusy, match="this very process"),
        open_store(address),
    ):
        pass
    make(address)
