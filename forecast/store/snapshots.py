"""Takes a Snapshot: the only reader of what follows from the logs."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from typing import Any, Final

import pandas as pd

from forecast.records.snapshot import COLUMNS, Snapshot
from forecast.store import look
from forecast.store.store import Store

QUERIES: Final[Mapping[str, str]] = {
    "part_types": "queries/snapshot_part_types",
    "seasons": "queries/snapshot_seasons",
    "fitted": "queries/snapshot_fitted",
    "lives": "queries/snapshot_lives",
    "wear": "queries/snapshot_wear",
    "fitted_cells": "queries/snapshot_fitted_cells",
    "wear_cells": "queries/snapshot_wear_cells",
    "samples": "queries/snapshot_samples",
    "sample_cells": "queries/snapshot_sample_cells",
    "bounds": "queries/snapshot_bounds",
    "bound_cells": "queries/snapshot_bound_cells",
    "unaged": "queries/snapshot_unaged",
    "unaged_cells": "queries/snapshot_unaged_cells",
    "growth": "queries/snapshot_growth",
    "gauge": "queries/snapshot_gauge",
    "new_sizes": "queries/snapshot_new_sizes",
    "pace": "queries/snapshot_pace",
    "ages": "queries/snapshot_ages",
    "corrections": "queries/snapshot_corrections",
    "counts": "queries/snapshot_counts",
    "paths": "queries/snapshot_paths",
    "running": "queries/snapshot_running",
    "stock": "queries/snapshot_stock",
    "used": "queries/snapshot_used",
    "turned": "queries/snapshot_turned",
    "doubts": "queries/snapshot_doubts",
    "set_aside": "queries/snapshot_set_aside",
    "piece_duties": "queries/snapshot_piece_duties",
    "cells": "queries/snapshot_cells",
    "phases_ahead": "queries/snapshot_phases_ahead",
    "duties": "queries/snapshot_duties",
    "duty_limits": "queries/snapshot_duty_limits",
}
"""The statement behind each frame of :data:`forecast.records.snapshot.COLUMNS`."""

LEFT_OUT: Final = {"set_aside": ("import",)}
"""What the digest leaves out: the number of an import says in which order files came."""


def take_snapshot(
    store: Store, day: date | None = None, upto: tuple[int, int] | None = None
) -> Snapshot:
    """Take all that was known on a day.

    Parameters
    ----------
    store
        Open, for reading or writing.
    day
        Nothing that became known later is in any frame. None: everything known is, and the day is
        that of the last known event.
    upto
        Last import and last decision to be seen, so that a kept forecast can be taken again;
        None: all.

    Returns
    -------
    Snapshot
        Every frame in a fixed order: the same logs give the same bytes.

    Raises
    ------
    NotInStore
        If nothing was known on that day.
    """
    until = look.look(store, day, upto)
    seen = upto or _last_numbers(store)
    frames = {name: store.frame(query)[list(COLUMNS[name])] for name, query in QUERIES.items()}
    return Snapshot(
        day=day or until,
        last_import=seen[0],
        last_decision=seen[1],
        digest=digest(frames),
        **frames,
    )


def last_day(store: Store) -> date:
    """Return the day of the last event that is known.

    Raises
    ------
    NotInStore
        If the store holds no event.
    """
    return look.last_day(store)


def digest(frames: Mapping[str, pd.DataFrame]) -> str:
    """Return the sha256 of frames: names, columns and every value, in hexadecimal."""
    total = hashlib.sha256()
    for name, frame in frames.items():
        total.update(f"{name} {len(frame)}\n".encode())
        for column in frame.columns:
            if column not in LEFT_OUT.get(name, ()):
                total.update(f"{column}\n".encode())
                total.update(_bytes(frame[column]))
    return total.hexdigest()


def _bytes(column: pd.Series[Any]) -> bytes:
    """Return a column's values as bytes: numbers and times as they lie, the rest as text."""
    if column.dtype.kind in "biufM":
        return column.to_numpy().tobytes()
    # asked first whether it is a text: pd.isna of a single value is slow
    texts = [
        value if type(value) is str else None if pd.isna(value) else str(value) for value in column
    ]
    return json.dumps(texts).encode()


def _last_numbers(store: Store) -> tuple[int, int]:
    row = store.rows("queries/last_numbers")[0]
    return int(str(row["last_import"])), int(str(row["last_decision"]))
