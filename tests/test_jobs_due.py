"""A piece whose last reading found it over the limit is due now, measured or not."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from forecast.jobs.fits import fit_all
from forecast.jobs.laws import in_service
from forecast.records.snapshot import Snapshot

TESTS = Path(__file__).parent
FLEETS: dict[str, Any] = runpy.run_path(str(TESTS / "fleets.py"))
Logbook = runpy.run_path(str(TESTS / "logbook.py"))["Logbook"]


def found(snapshot: Snapshot, rows: list[tuple[str, float, str]]) -> pd.DataFrame:
    """Return bounds of pieces: name, age and 'ok' or 'over'."""
    limit = float(snapshot.part_types["wear_limit_mm"].iloc[0])
    fitted = snapshot.fitted.set_index("piece")
    table = [
        {"bound": f"b{n}", "piece": piece, "visit": "", "machine": fitted.loc[piece, "machine"],
         "position": "1", "part_type": FLEETS["PART"], "duty_group": "",
         "day": pd.Timestamp("2026-08-01") + pd.Timedelta(n, "h"), "age": age,
         "low_mm": limit if what == "over" else -np.inf,
         "high_mm": np.inf if what == "over" else limit,
         "suspect": False, "replaced_share": 0.0, "culled_share": 0.0}
        for n, (piece, age, what) in enumerate(rows)
    ]  # fmt: skip
    return pd.DataFrame(table)


def due(snapshot: Snapshot) -> set[str]:
    fits = fit_all(snapshot)
    service = in_service(snapshot, fits, draws=50, seed=1, running=None, until=snapshot.day)
    return set(service.fitted.loc[service.due, "piece"])


def test_over_in_the_last_reading_is_due_now() -> None:
    snapshot, _, _ = FLEETS["fleet"]("mixed", 3)
    before = due(snapshot)
    in_place = set(snapshot.fitted["piece"]) - before
    read = snapshot.wear[snapshot.wear["piece"].isin(in_place)].set_index("piece")["last_age"]
    unread = sorted(in_place - set(read.index))
    after, again, ok = sorted(read.index)[:3]
    rows = [
        (after, float(read[after]) + 20, "over"),
        (again, float(read[again]) - 20, "over"),  # measured later: under the limit
        (ok, float(read[ok]) + 10, "over"),
        (ok, float(read[ok]) + 20, "ok"),
        *((piece, 500.0, "over") for piece in unread[:1]),
    ]
    told = replace(snapshot, bounds=found(snapshot, rows))
    assert due(told) - before == {after, *unread[:1]}


def test_a_sets_bounds_know_what_was_replaced(tmp_path: Path) -> None:
    """Twelve of 20 pieces replaced before the visit, two of them by plan."""
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type("PIN", limit=1.0)
    book.fleet("G1", "PIN", "20", serialised="no")
    book.run("G1", "2026-08-03", 60)
    book.change("G1", "2026-08-20", part_type="PIN", quantity=10, reason="broken")
    book.change("G1", "2026-08-21", part_type="PIN", quantity=2, reason="planned")
    book.reading("G1", "2026-09-10", None, part_type="PIN", result="over")
    book.write()
    (row,) = book.snapshot().bounds.itertuples()
    assert (row.replaced_share, row.culled_share) == (0.6, 0.1)
    assert row.visit.startswith("G1 ")
