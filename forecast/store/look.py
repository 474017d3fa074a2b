"""Looks at the logs as they were known on a day: makes the views above them, floor by floor.

Opening a store makes the macros and the log views. Everything that follows from the logs is made
here, in the order of its number: each file of ``sql/views`` and ``sql/checks`` reads only what
stands before it, and what many read is held in a temporary table, so that nothing is worked out
twice and nothing derived is stored.
"""

from __future__ import annotations

from datetime import date
from typing import Final

from forecast.errors import NotInStore
from forecast.store.opening import LAST_DAY, derived_names
from forecast.store.store import Store

BACKFILL: Final = (
    "rows count from the day they became known: import with --backfill to date them by their "
    "events, or give a later day"
)


def look(store: Store, day: date | None = None, upto: tuple[int, int] | None = None) -> date:
    """Make every view for what was known on a day.

    Parameters
    ----------
    store
        Open, for reading or writing.
    day
        Nothing that became known later is seen. None: everything known is.
    upto
        Last import and last decision to be seen; None: all.

    Returns
    -------
    date
        The last day of which anything is known: ``day``, or the day of the last known event if
        that comes first.

    Raises
    ------
    NotInStore
        If nothing was known on that day.
    """
    last = store.rows("queries/last_numbers")[0]
    if upto is not None:
        last = {"last_import": upto[0], "last_decision": upto[1]}
    store.run("queries/set_day", day=day or LAST_DAY)
    store.run("queries/set_upto", **last)
    names = derived_names()
    store.run(names[0])
    until = _until(store, day)
    for name in names[1:]:
        store.run(name)
    return until


def last_day(store: Store) -> date:
    """Return the day of the last event that is known.

    Raises
    ------
    NotInStore
        If the store holds no event.
    """
    store.run("queries/set_day", day=LAST_DAY)
    store.run(derived_names()[0])
    return _until(store, None)


def _until(store: Store, day: date | None) -> date:
    rows = store.rows("queries/known_until")
    if rows and isinstance(rows[0]["last_day"], date):
        return rows[0]["last_day"]
    if day is None:
        raise NotInStore(
            f"{store.address} holds no event yet",
            "import logs first: wearahead import FILE...",
        )
    last_day(store)  # an empty store says so: another day would not help
    raise NotInStore(f"nothing was known on {day}", BACKFILL)
