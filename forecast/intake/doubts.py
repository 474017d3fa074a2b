"""Doubts about accepted rows, and the decisions of people on them.

Doubts are worked out from the logs at every look, by the rules in ``sql/checks``; only what was
decided is stored. An open doubt acts by its rule's default.
"""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Final, Literal

from forecast.errors import NotInStore, WearaheadError
from forecast.store.look import look
from forecast.store.opening import open_store
from forecast.store.store import Store, Value

SETTLED: Final = {"proposed": "as_proposed", "logged": "as_logged", "open": "open"}
"""What a person says, and the state it gives."""


def doubts(address: str) -> list[dict[str, Value]]:
    """Return every doubt about the rows of a store, settled ones too.

    Parameters
    ----------
    address
        The store.

    Returns
    -------
    list of dict
        With the columns id, rule, machine, position, part_type, at, what, proposal, default,
        state (open, as_proposed, as_logged) and note; none where no event is known yet.

    Raises
    ------
    NotInStore
        If there is no store.
    """
    with open_store(address) as store:
        return _doubts(store)


def settle(
    address: str,
    id: str,
    *,
    as_: Literal["proposed", "logged", "open"],
    today: date,
    at: date | datetime | None = None,
    note: str = "",
) -> dict[str, Value]:
    """Settle a doubt: it acts as proposed, as logged, or stays open by its default.

    Parameters
    ----------
    address
        The store.
    id
        Of the doubt; a unique beginning will do.
    as_
        What holds. ``open`` takes an earlier decision back.
    today
        The day of the decision: what was known earlier is seen without it.
    at
        When the change-out was, for one that was not logged; None: midway.
    note
        Why.

    Returns
    -------
    dict
        The doubt in its new state.

    Raises
    ------
    NotInStore
        If there is no store, or no doubt, or more than one, begins so.
    WearaheadError
        If ``at`` is not between the two readings, or the doubt has no use for it.
    """
    if as_ not in SETTLED:
        raise ValueError(f"a doubt is settled as proposed, logged or open, not {as_!r}")
    with open_store(address, write=True, make=False) as store:
        found = _one(store, id)
        moment = _moment(found, at)

        def job(store: Store) -> int:
            return store.run(
                "queries/add_decision",
                decided_on=today,
                about="doubt",
                subject=str(found["id"]),
                settled_as=SETTLED[as_],
                settled_at=moment,
                note=note or None,
                what=f"{found['rule']}: {found['what']}",
            )

        store.commit(job)
        state: dict[str, Value] = {"state": SETTLED[as_], "note": note}
        return {**_row(store, str(found["id"])), **state}


def _doubts(store: Store) -> list[dict[str, Value]]:
    """Return every doubt of a store; none where no event is known."""
    try:
        look(store)
    except NotInStore:
        return []
    return store.rows("queries/snapshot_doubts")


def _row(store: Store, id: str) -> dict[str, Value]:
    """Return a doubt as the last look saw it."""
    return next(row for row in store.rows("queries/snapshot_doubts") if row["id"] == id)


def _one(store: Store, beginning: str) -> dict[str, Value]:
    """Return the only doubt whose id begins so."""
    found = store.rows("queries/doubt", beginning=beginning) if _doubts(store) else []
    ids = sorted({str(row["id"]) for row in found})
    if len(ids) == 1:
        return found[0]
    if ids:
        raise NotInStore(
            f"{len(ids)} doubts begin with {beginning!r}: {', '.join(ids[:5])}",
            "give more of the id",
        )
    raise NotInStore(
        f"there is no doubt {beginning!r} in {store.address}",
        "wearahead doubts lists them; what is no longer doubtful is not in the list",
    )


def _moment(doubt: dict[str, Value], at: date | datetime | None) -> datetime | None:
    """Return the moment that was given, if the doubt can use it."""
    if at is None:
        return None
    first, last = doubt["not_before"], doubt["not_after"]
    if not isinstance(first, datetime) or not isinstance(last, datetime):
        raise WearaheadError(
            f"the doubt {doubt['id']} ({doubt['rule']}) has no moment to be given",
            "settle it without --at",
        )
    moment = at if isinstance(at, datetime) else datetime.combine(at, time(12))
    if not first < moment < last:
        raise WearaheadError(
            f"{at} is not between the readings of {first:%Y-%m-%d} and {last:%Y-%m-%d}",
            "give a day between them with --at",
        )
    return moment
