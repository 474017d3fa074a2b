"""A small plant's logs, written straight into the log tables, for the tests of the views.

Not a test: ``runpy.run_path(...)["Logbook"]`` gives the class.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from forecast.records.snapshot import Snapshot
from forecast.store.look import look
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.store.store import Store


def moment(text: str) -> tuple[datetime, bool]:
    """Return the time a text means, and whether it is a whole day."""
    return datetime.fromisoformat(text), len(text) == 10


class Logbook:
    """Rows by table; :meth:`write` puts them into a store.

    Parameters
    ----------
    address
        Of the store.
    imported
        The day of every import, and when rows without an event became known.
    """

    def __init__(self, address: Path, imported: str = "2024-01-01") -> None:
        self.address = str(address)
        self.imported = datetime.fromisoformat(imported)
        self.rows: dict[str, list[dict[str, Any]]] = {}
        self.import_no = 1
        self.file = "log.csv"

    def add(self, kind: str, known_at: str | None = None, **values: Any) -> None:
        """Add a row to a log."""
        rows = self.rows.setdefault(f"log_{kind}", [])
        happened = values.get("taken_at", self.imported)
        same = [row for row in rows if row["import_no"] == self.import_no]
        rows.append(
            {
                "import_no": self.import_no,
                "file": self.file,
                "file_line": len(same) + 2,
                "copy_no": 1,
                "known_at": datetime.fromisoformat(known_at) if known_at else happened,
                **values,
            }
        )

    def next_import(self, number: int | None = None, file: str = "log.csv") -> None:
        """Let the rows that follow come in another import."""
        self.import_no = number or self.import_no + 1
        self.file = file

    def part_type(self, name: str = "SLEEVE", limit: float = 1.0, **more: Any) -> None:
        self.add("part_types", part_type=name, wear_limit_mm=limit, **{"gauge_sd_mm": 0.03, **more})

    def fleet(
        self, machine: str, part_type: str = "SLEEVE", positions: str = "2", **more: Any
    ) -> None:
        usual = {"place": "rollers", "from_day": date(2026, 8, 3), "start_state": "new"}
        self.add(
            "fleet", machine=machine, part_type=part_type, positions=positions, **{**usual, **more}
        )

    def run(self, machine: str, first: str, days: int, hours: float = 20.0) -> None:
        """Let a machine run so many hours a day."""
        for number in range(days):
            self.add(
                "running",
                run_date=date.fromisoformat(first) + timedelta(days=number),
                running_hours=hours,
                machine=machine,
            )

    def change(self, machine: str, when: str, action: str = "replaced", **more: Any) -> None:
        taken_at, whole_day = moment(when)
        if isinstance(more.get("taken_from"), str):
            more["taken_from"] = moment(more["taken_from"])[0]
        usual = {"place": "rollers", "part_type": "SLEEVE", "quantity": 1}
        self.add(
            "change_outs",
            machine=machine,
            taken_at=taken_at,
            whole_day=whole_day,
            action=action,
            **{**usual, **more},
        )

    def reading(self, machine: str, when: str, value: float | None, **more: Any) -> None:
        taken_at, whole_day = moment(when)
        usual = {"place": "rollers", "part_type": "SLEEVE", "read_value": value, "value_mm": value}
        self.add(
            "readings", machine=machine, taken_at=taken_at, whole_day=whole_day, **{**usual, **more}
        )

    def clock(self, machine: str, when: str, shows: float, **more: Any) -> None:
        taken_at, whole_day = moment(when)
        self.add(
            "clocks", machine=machine, taken_at=taken_at, whole_day=whole_day, shows=shows, **more
        )

    def stock(self, part_type: str, when: str, state: str, quantity: int, **more: Any) -> None:
        taken_at, whole_day = moment(when)
        self.add(
            "stock",
            part_type=part_type,
            taken_at=taken_at,
            whole_day=whole_day,
            stock_state=state,
            quantity=quantity,
            **more,
        )

    def decide(self, subject: str, settled_as: str, day: str, about: str = "doubt") -> None:
        rows = self.rows.setdefault("decisions", [])
        rows.append(
            {
                "decision_no": len(rows) + 1,
                "decided_on": date.fromisoformat(day),
                "about": about,
                "subject": subject,
                "settled_as": settled_as,
            }
        )

    def _imports(self) -> pd.DataFrame:
        numbers = sorted(
            {row["import_no"] for rows in self.rows.values() for row in rows if "import_no" in row}
        )
        usual = {
            "imported_at": self.imported,
            "file": "log.csv",
            "kind": "readings",
            "sha256": "",
            "version": "0",
            "backfill": True,
            "rows_total": 0,
            "accepted": 0,
            "known": 0,
            "set_aside": 0,
        }
        return pd.DataFrame([{"import_no": number, **usual} for number in numbers])

    def write(self) -> None:
        """Put every row into the store."""

        def job(store: Store) -> None:
            store.put("imports", self._imports())
            for table, rows in self.rows.items():
                store.put(table, pd.DataFrame(rows))

        with open_store(self.address, write=True) as store:
            store.commit(job)
        self.rows = {}

    @contextmanager
    def looked(self, day: str | None = None) -> Iterator[Store]:
        """Give the store with every view made."""
        if self.rows:
            self.write()
        with open_store(self.address) as store:
            look(store, date.fromisoformat(day) if day else None)
            yield store

    def table(self, name: str, day: str | None = None) -> pd.DataFrame:
        """Return a view above the logs."""
        with self.looked(day) as store:
            return store._connection.execute(f"SELECT * FROM {name}").df()  # noqa: S608

    def snapshot(self, day: str | None = None, upto: tuple[int, int] | None = None) -> Snapshot:
        """Take the snapshot of a day."""
        if self.rows:
            self.write()
        with open_store(self.address) as store:
            return take_snapshot(store, date.fromisoformat(day) if day else None, upto)
