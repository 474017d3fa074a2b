"""Brings an older store up to this program, in one commit."""

from __future__ import annotations

import hashlib
from typing import Literal

from forecast.errors import StoreError, StoreTooNew
from forecast.store.store import Store
from sql import names, statement


def standing(store: Store) -> Literal["empty", "older", "current"]:
    """Say how the store's schema stands to this program's.

    Returns
    -------
    str
        ``"empty"`` if the file holds no table, ``"older"`` if steps are to be made.

    Raises
    ------
    StoreTooNew
        If the store has had steps that this program does not know.
    StoreError
        If the file is somebody else's database, or the text of a step was changed since.
    """
    tables = [str(row["table_name"]) for row in store.rows("queries/tables")]
    if not tables:
        return "empty"
    if "schema_step" not in tables:
        raise StoreError(
            f"{store.address} is a database, but not a wearahead store: "
            f"it holds {', '.join(tables[:5])}",
            "name another file with --store",
        )
    steps = _steps()
    had = {str(row["name"]): str(row["sha256"]) for row in store.rows("queries/schema_steps")}
    unknown = sorted(set(had) - set(steps))
    if unknown:
        raise StoreTooNew(
            f"{store.address} was written by a newer version of wearahead "
            f"(its schema has the step {unknown[-1]})",
            "update wearahead, or name another store with --store",
        )
    for name, sha256 in had.items():
        if steps[name] != sha256:
            raise StoreError(
                f"{store.address}: step {name} of its schema is not the one this program has",
                "the store was made by a different build of wearahead; import the logs into a "
                "new store",
            )
    return "current" if len(had) == len(steps) else "older"


def begin(store: Store) -> None:
    """Make the table of steps and the gate in an empty store; needs a transaction around it."""
    for name in names("schema")[:2]:
        _make(store, name)
    store.run("queries/make_gate")


def migrate(store: Store) -> int:
    """Make every step that the store has not had, in one commit.

    Returns
    -------
    int
        How many steps were made.
    """

    def job(store: Store) -> int:
        had = {str(row["name"]) for row in store.rows("queries/schema_steps")}
        pending = [name for name in names("schema") if name.partition("/")[2] not in had]
        for name in pending:
            _make(store, name)
        return len(pending)

    return store.commit(job)


def _make(store: Store, name: str) -> None:
    store.run(name)
    step = name.partition("/")[2]
    store.run("queries/add_schema_step", number=int(step[:3]), name=step, sha256=_steps()[step])


def _steps() -> dict[str, str]:
    """Return the sha256 of each step of this program's schema, by name, in order."""
    return {
        name.partition("/")[2]: hashlib.sha256(statement(name).encode()).hexdigest()
        for name in names("schema")
    }
