"""An open store: runs a named statement, commits all or nothing."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Final, TypeAlias, TypeVar, Union

import duckdb

from forecast.errors import StoreError, StoreFull
from sql import statement

if TYPE_CHECKING:
    import pandas as pd

T = TypeVar("T")
Value: TypeAlias = Union[  # noqa: UP007
    str,
    int,
    float,
    bool,
    Decimal,
    date,
    datetime,
    Sequence["Value"],
    Mapping[str, "Value"],
    None,
]
"""What can be bound to a statement, and what a row can hold."""

TRIES: Final = 20
"""How often a commit is tried that loses the race for the gate."""


class LostRace(StoreError):
    """Another writer committed first; :meth:`Store.commit` runs the job again."""


class Store:
    """An open store.

    Statements are named by folder and file (``"queries/lives"``); their values are bound. Every
    error of the database leaves as a :class:`~forecast.errors.StoreError` that carries the
    statement's name and text.

    Parameters
    ----------
    connection
        To a database in memory, to which the store is attached as ``store``.
    address
        Where the store is, for messages.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, address: str) -> None:
        self._connection = connection
        self._committing = False
        self.address = address
        self.views_missing: dict[str, StoreError] = {}
        """Views and macros that could not be made at opening, and why."""

    def rows(self, name: str, /, **values: Value) -> list[dict[str, Value]]:
        """Return the rows of a statement as dictionaries, without loading pandas."""
        result = self._execute(name, values)
        try:
            columns = [column[0] for column in result.description or ()]
            return [dict(zip(columns, row, strict=True)) for row in result.fetchall()]
        except duckdb.Error as error:
            raise self._failed(name, error) from error

    def frame(self, name: str, /, **values: Value) -> pd.DataFrame:
        """Return the rows of a statement as a frame."""
        result = self._execute(name, values)
        try:
            return result.df()
        except duckdb.Error as error:
            raise self._failed(name, error) from error

    def run(self, name: str, /, **values: Value) -> int:
        """Run a statement and return the number of rows it changed."""
        result = self._execute(name, values)
        try:
            first = result.fetchone() if result.description else None
        except duckdb.Error as error:
            raise self._failed(name, error) from error
        return first[0] if first and isinstance(first[0], int) else 0

    @contextmanager
    def watched(self, tell: Callable[[float], None], every_s: float = 0.5) -> Iterator[None]:
        """Tell, while statements run, how much of the one at hand is done.

        Parameters
        ----------
        tell
            Called from another thread with the share done, 0 to 1; it must not raise.
        every_s
            How often; what is over sooner is not told of.
        """
        for setting in ("enable_progress_bar = true", "enable_progress_bar_print = false"):
            self._connection.execute(f"SET {setting}")
        over = threading.Event()

        def watch() -> None:
            while not over.wait(every_s):
                percent = self._connection.query_progress()
                if percent >= 0:
                    tell(percent / 100)

        watching = threading.Thread(target=watch, daemon=True)
        watching.start()
        try:
            yield
        finally:
            over.set()
            watching.join()

    def put(self, table: str, frame: pd.DataFrame) -> None:
        """Add the rows of a frame to a table, by column name; columns it lacks stay empty."""
        if frame.empty:
            return
        try:
            self._connection.append(table, frame, by_name=True)
        except duckdb.Error as error:
            raise self._failed(f"put into {table}", error) from error

    def commit(self, job: Callable[[Store], T]) -> T:
        """Run a job in one transaction, whose first statement is the gate's.

        Parameters
        ----------
        job
            Called with this store; called again if another writer was faster, so it must leave
            nothing behind outside the store.

        Returns
        -------
        object
            What the job returned.

        Raises
        ------
        StoreError
            If the database refused a statement; the store is as it was before.
        """
        if self._committing:
            raise RuntimeError("a commit inside a commit")
        for _ in range(TRIES - 1):
            with suppress(LostRace):
                return self._try(job)
        return self._try(job)

    def first_commit(self, job: Callable[[Store], T]) -> T:
        """Run a job in one transaction, in a store that has no gate yet."""
        return self._try(job, gate=False)

    def _try(self, job: Callable[[Store], T], *, gate: bool = True) -> T:
        self._committing = True
        try:
            self._control("begin")
            if gate:
                self.run("queries/pass_gate")
            result = job(self)
            self._control("commit")
            return result
        except BaseException:
            with suppress(duckdb.Error):
                self._connection.rollback()
            raise
        finally:
            self._committing = False

    def _control(self, what: str) -> None:
        try:
            self._connection.begin() if what == "begin" else self._connection.commit()
        except duckdb.Error as error:
            raise self._failed(what, error) from error

    def _execute(self, name: str, values: Mapping[str, Value]) -> duckdb.DuckDBPyConnection:
        try:
            if values:
                return self._connection.execute(statement(name), dict(values))
            return self._connection.execute(statement(name))
        except duckdb.Error as error:
            raise self._failed(name, error) from error

    def _failed(self, name: str, error: duckdb.Error) -> StoreError:
        """Turn the database's error into ours, with the statement's name and text."""
        said = str(error).strip()
        if "No space left on device" in said or "max_temp_directory_size" in said:
            return StoreFull(
                f"the disk is full: {self.address} could not be written ({name})",
                "free some space and run the command again; the store is as it was before",
            )
        if isinstance(error, duckdb.TransactionException) and "onflict" in said:
            return LostRace(f"{self.address}: another writer was faster ({said})", "try again")
        text = statement(name) if "/" in name else ""
        missing = "".join(
            f"\nview {view} could not be made: {why}" for view, why in self.views_missing.items()
        )
        return StoreError(
            f"the store could not run {name}: {said}\n{text}{missing}".rstrip(),
            "the store is as it was before; if this repeats, report it with this message",
        )
