"""Taking an import out whole, and back: a decision beside the logs, never a deletion."""

from __future__ import annotations

from datetime import date

from forecast.errors import LogError, NotInStore
from forecast.store.opening import open_store
from forecast.store.store import Store, Value


def withdraw(
    address: str, number: int, *, today: date, note: str = "", back: bool = False
) -> dict[str, Value]:
    """Withdraw an import: its rows stop counting, from this day on; or take it back.

    Rows that an import which stands brought too go on counting. What was known on an earlier day
    is seen as it was then.

    Parameters
    ----------
    address
        The store.
    number
        Of the import.
    today
        The day of the decision.
    note
        Why.
    back
        Let it count again.

    Returns
    -------
    dict
        ``import, file, accepted, withdrawn``.

    Raises
    ------
    NotInStore
        If there is no store, or no such import.
    LogError
        If it is withdrawn already, or not withdrawn and should come back.
    """
    with open_store(address, write=True, make=False, views=False) as store:

        def job(store: Store) -> dict[str, Value]:
            found = store.rows("queries/an_import", import_no=number)
            if not found:
                raise NotInStore(
                    f"there is no import {number} in {address}", "wearahead imports lists them"
                )
            row = found[0]
            if bool(row["withdrawn"]) is not back:
                what = "does not need to come back: it counts" if back else "is withdrawn already"
                raise LogError(
                    f"import {number} ({row['file']}) {what}", "wearahead imports shows its state"
                )
            store.run(
                "queries/add_decision",
                decided_on=today,
                about="import",
                subject=str(number),
                settled_as="back" if back else "withdrawn",
                settled_at=None,
                note=note or None,
                what=str(row["file"]),
            )
            return {
                "import": row["import_no"],
                "file": row["file"],
                "accepted": row["accepted"],
                "withdrawn": not back,
            }

        return store.commit(job)
