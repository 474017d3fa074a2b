"""Opens the store at an address: its file, lock, limits, version and views."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Final

import duckdb

from forecast.errors import NotInStore, StoreBusy, StoreError, StoreTooNew
from forecast.store.migrate import begin, migrate, standing
from forecast.store.store import Store
from sql import names

MEMORY_LIMIT: Final = "1500MB"
"""Of the database; beyond it, it works through the disk."""

WRITING: Final = "(STORAGE_VERSION 'v1.5.0')"
"""The storage that both DuckDB 1.5 and 2 read. ATTACH takes no parameters in 1.5."""

READING: Final = "(READ_ONLY)"

LAST_DAY: Final = date(9999, 12, 31)
"""The day the views see up to unless a snapshot says otherwise."""

DERIVED: Final = 20
"""Views and checks from this number on follow from the logs: :mod:`forecast.store.look`."""

_held = threading.Lock()
_writing: set[str] = set()
"""Files this process writes: a file lock does not keep a process from itself."""


@contextmanager
def open_store(
    address: str,
    *,
    write: bool = False,
    make: bool = True,
    wait_s: float = 5.0,
    views: bool = True,
) -> Iterator[Store]:
    """Open the store at an address.

    Inside, the tables and this program's views are plain names, and see everything that is known.

    Parameters
    ----------
    address
        The store's file.
    write
        Keep everybody else out, and make the file if it is missing.
    make
        False: a decision about what a store holds makes no store where there is none.
    wait_s
        How many seconds to wait for another process to let go.
    views
        Make the log views; intake works on the tables and needs only the macros.

    Raises
    ------
    NotInStore
        If there is no store, and none is to be made.
    StoreBusy
        If another process still holds it after ``wait_s``.
    StoreTooNew
        If it was written by a newer version.
    StoreError
        If the file is no store, or cannot be opened.
    """
    path = _checked(address, write and make)
    if not write and _needs_migration(path, wait_s):
        with _session(path, write=True, wait_s=wait_s):
            pass
    with _session(path, write=write, wait_s=wait_s) as store:
        _look(store, views=views)
        yield store


def _checked(address: str, make: bool) -> Path:
    """Return the store's path, or say why there can be no store."""
    path = Path(address)
    if path.is_dir():
        raise StoreError(f"{address} is a folder, not a store", "name a file with --store")
    if make:
        if not path.absolute().parent.is_dir():
            raise StoreError(
                f"the folder of {address} does not exist", "make it, or name another with --store"
            )
    elif not path.exists() or path.stat().st_size == 0:
        raise NotInStore(
            f"there is no store at {address}",
            "import first: wearahead import FILE..., or name the store with --store",
        )
    return path


def _needs_migration(path: Path, wait_s: float) -> bool:
    with _attached(path, write=False, wait_s=wait_s) as store:
        return standing(store) != "current"


@contextmanager
def _session(path: Path, *, write: bool, wait_s: float) -> Iterator[Store]:
    """Attach the store; when writing, bring it up to this program first."""
    with _attached(path, write=write, wait_s=wait_s) as store:
        if write:
            if standing(store) == "empty":
                store.first_commit(begin)
            if standing(store) == "older":
                migrate(store)
        yield store


@contextmanager
def _attached(path: Path, *, write: bool, wait_s: float) -> Iterator[Store]:
    """Attach the store's file to a database in memory; closing that lets go of it."""
    with _alone(path, write), _connected(path) as connection:
        _attach(connection, path, write=write, wait_s=wait_s)
        store = Store(connection, str(path))
        store.run("queries/use_store")
        yield store


@contextmanager
def _connected(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    connection = duckdb.connect(
        ":memory:",
        config={"memory_limit": MEMORY_LIMIT, "temp_directory": f"{path.absolute()}.tmp"},
    )
    try:
        yield connection
    finally:
        connection.close()


@contextmanager
def _alone(path: Path, write: bool) -> Iterator[None]:
    """Keep a second writer of this process out."""
    file = str(path.resolve())
    with _held:
        if file in _writing:
            raise StoreBusy(
                f"{path} is being written by this very process",
                "let that command end first",
            )
        if write:
            _writing.add(file)
    try:
        yield
    finally:
        if write:
            with _held:
                _writing.discard(file)


def _attach(
    connection: duckdb.DuckDBPyConnection, path: Path, *, write: bool, wait_s: float
) -> None:
    """Attach the file, waiting for whoever holds it."""
    quoted = "'" + str(path).replace("'", "''") + "'"
    attach = f"ATTACH {quoted} AS store {WRITING if write else READING}"
    deadline = time.monotonic() + wait_s
    while True:
        try:
            connection.execute(attach)
            return
        except duckdb.Error as error:
            said = str(error)
            if "lock" not in said.lower():
                raise _unreadable(path, said) from error
            if time.monotonic() >= deadline:
                raise _busy(path, said, wait_s) from error
        time.sleep(0.1)


def _busy(path: Path, said: str, wait_s: float) -> StoreBusy:
    holder = re.search(r"held in (.+?) \(PID (\d+)\)", said)
    who = f"{Path(holder[1]).name} (PID {holder[2]})" if holder else "another process"
    return StoreBusy(
        f"{path} is in use by {who}; waited {wait_s:g} s",
        "try again when it has ended",
    )


def _unreadable(path: Path, said: str) -> StoreError:
    if "newer version" in said:
        return StoreTooNew(
            f"{path} was written by a newer version of the database: {said}",
            "update wearahead, or name another store with --store",
        )
    return StoreError(
        f"{path} cannot be opened as a store: {said}", "name another file with --store"
    )


def _look(store: Store, *, views: bool) -> None:
    """Let the views see everything, and make this program's macros and views."""
    last = store.rows("queries/last_numbers")[0]
    store.run("queries/set_day", day=LAST_DAY)
    store.run("queries/set_upto", **last)
    for name in (*macro_names(), *(log_names() if views else ())):
        try:
            store.run(name)
        except StoreError as error:
            store.views_missing[name] = error


def view_names() -> list[str]:
    """Return the names of macros, then of views and checks, in the order they are made in."""
    return macro_names() + sorted([*names("views"), *names("checks")], key=_number)


def log_names() -> list[str]:
    """Return the names of the log views: cheap, and made at opening."""
    return [name for name in view_names() if _number(name)[0] < DERIVED and "macros/" not in name]


def derived_names() -> list[str]:
    """Return the names of the views and checks that follow from the logs, made by a look."""
    return [name for name in view_names() if _number(name)[0] >= DERIVED and "macros/" not in name]


def macro_names() -> list[str]:
    """Return the names of the macros in the order they are made in."""
    return sorted(names("macros"), key=_number)


def _number(name: str) -> tuple[int, str]:
    file = name.partition("/")[2]
    return int(file.partition("_")[0]), file
