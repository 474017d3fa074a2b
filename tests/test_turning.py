"""Pieces with two sides: how often the crew turned one instead of taking a spare."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.turning import LEAN, turned_share, turning_said
from forecast.planning.draws import Pieces, WearDraws
from forecast.planning.follow import Looked, follow_pieces
from forecast.records.snapshot import COLUMNS

HERE = Path(__file__).parent
Logbook = runpy.run_path(str(HERE / "logbook.py"))["Logbook"]
ONE: dict[str, Any] = runpy.run_path(str(HERE / "one_snapshot.py"))


def log(*rows: tuple[str, bool, int, int]) -> pd.DataFrame:
    """Return rows of ``turned`` of one part type: line, planned, turned, ended."""
    columns = ["line", "planned", "turned", "ended"]
    return pd.DataFrame([("STRIP", *row) for row in rows], columns=["part_type", *columns])


def seen(turned: pd.DataFrame, sides: int = 2) -> Any:
    fitted = pd.DataFrame(columns=list(COLUMNS["fitted"]), index=range(3))
    fitted = fitted.assign(part_type="STRIP", line=["A", "B", "B"])
    return ONE["snapshot"]([ONE["part_type"]("STRIP", sides=sides)], turned=turned, fitted=fitted)


def test_the_logs_tell_which_first_sides_were_turned(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type("STRIP", sides=2)
    book.fleet("G1", "STRIP", positions="6", plant_line="A")
    book.run("G1", "2026-08-03", 28)
    change = {"part_type": "STRIP"}
    book.change("G1", "2026-08-13", "turned", position="1", reason="worn", **change)
    book.change("G1", "2026-08-20", "replaced", position="1", reason="worn", **change)  # side 2
    book.change("G1", "2026-08-13", "replaced", position="2", reason="worn", **change)
    book.change("G1", "2026-08-13", "replaced", position="3", reason="broken", **change)
    book.change("G1", "2026-08-13", "turned", position="4", reason="planned", **change)
    book.change("G1", "2026-08-13", "replaced", position="5", reason="planned", **change)
    found = book.snapshot()
    rows = found.turned.to_records(index=False).tolist()
    assert rows == [("STRIP", "A", False, 1, 2), ("STRIP", "A", True, 1, 2)]
    assert found.used["quantity"].sum() == 4  # what was turned took no spare


def test_a_line_has_its_habit_and_leans_on_that_of_the_part_type() -> None:
    found = turned_share(seen(log(("A", False, 0, 20), ("B", False, 18, 20), ("B", True, 0, 30))))
    whole = (18 + LEAN) / (40 + LEAN)
    assert found["STRIP", "A"][0] == pytest.approx(LEAN * whole / (20 + LEAN))
    assert found["STRIP", "B"][0] == pytest.approx((18 + LEAN * whole) / (20 + LEAN))
    assert found["STRIP", "B"][1] < 0.01


def test_before_any_first_side_ended_a_piece_with_two_sides_is_turned() -> None:
    fresh = seen(log())
    assert turned_share(fresh) == {("STRIP", "A"): (1.0, 1.0), ("STRIP", "B"): (1.0, 1.0)}
    assert turning_said(fresh)[0][1] == "always"
    assert turned_share(seen(log(), sides=1)) == {}


def test_what_is_assumed_names_the_lines_that_turn() -> None:
    ((what, value, why, _),) = turning_said(seen(log(("A", False, 0, 20), ("B", False, 18, 20))))
    assert what.startswith("STRIP: turned")
    assert value == "18 of 40"
    assert "all on B" in why


def test_so_many_worn_sides_take_no_spare() -> None:
    """Most pieces wear out once; 0.3 of the worn and none of the planned ones are turned."""
    draws, size = 400, 50
    flat, none = np.full(draws, np.log(5e-4)), np.zeros(draws)
    law = WearDraws(
        flat, flat[None], none[None], 0.1, 0.0, 0.0, none + 1.0, 0.0, None
    )  # 1,800 h to the limit
    pieces = Pieces(
        np.zeros(size, dtype=np.int64),
        np.full(size, 1010.0),
        np.full((size, 1), 1010.0),
        np.full(size, -1),
        np.zeros(size, dtype=bool),
    )

    def run(planned: int) -> Any:
        return follow_pieces(
            law, pieces, np.ones(size, dtype=np.int64), np.full(60, 20.0),
            np.full(size, planned), np.full(1, np.inf), np.array([6]),
            np.random.default_rng(1), Looked(sides=2, turned=(0.3, 0.0)),
        )  # fmt: skip

    worn = run(-1)
    assert worn.unplanned.sum() > 15_000
    se = np.sqrt(0.3 * 0.7 / worn.unplanned.sum())
    assert worn.turned.sum() / worn.unplanned.sum() == pytest.approx(0.3, abs=4 * se)
    early = run(0)
    assert early.changed.sum() == draws * size
    assert early.turned_changed.sum() == 0
