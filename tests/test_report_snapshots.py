"""What each section says and what the terminal prints, kept word by word beside the tests.

After a change that is meant: ``pytest tests/test_report_snapshots.py --snapshot-update``, and read
the difference.
"""

from __future__ import annotations

import runpy
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from syrupy.assertion import SnapshotAssertion

from cli import show
from cli.seasons import summary
from forecast.records.season import EXHIBITS, SeasonForecast
from reports.figures.windows import Grid
from reports.parts import Figures, Folded, Section
from reports.sections import sections
from reports.tables import Table

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]
ROWS = 2
MOST_PARTS = 4
IDS = [
    "what-to-buy",
    "what-to-change",
    "what-the-season-asks-for",
    "what-may-stop-us",
    "before-the-season",
    "how-it-wears",
    "how-long-it-lasts",
    "side-by-side",
    "assumed-and-doubted",
    "in-hindsight",
    "before-you-act",
]


def whole() -> SeasonForecast:
    """The example with a comparison of grades, a record, and a season under way."""
    versus = [
        ("grade", "standard", "trial", "life", 1.27, 0.62, 3.3, 4, "machine", True, None, None)
    ]
    past = [
        (date(2025, 8, 4), "SLEEVE-30", 410, 388.0, 340, 440, True, 9.1, 15.2, -22.0, "plan", 1),
        (date(2025, 8, 4), "STRIP-12", 150, 118.0, 101, 139, False, 8.0, 20.1, -32.0, "plan", 1),
    ]
    running = [
        ("SLEEVE-30", date(2026, 8, 30), 101, 96.0, 80, 115, "", 5),
        ("STRIP-12", date(2026, 8, 30), 33, 22.0, 15, 29, "above", 5),
    ]
    over = (date(2026, 7, 6), date(2026, 7, 17))
    overhaul = [
        ("G01", "rollers", "3", "SLEEVE-30", 1, "change", 0.41, 0.1, True, 0.5, *over),
        ("G02", "rollers", "9", "SLEEVE-30", 1, "measure_again", 0.86, 0.2, False, 0.5, *over),
        ("G02", "chain", "2", "STRIP-12", 1, "leave", 0.97, 0.5, True, 0.0, None, None),
    ]
    rows = {"versus": versus, "hindsight": past, "so_far": running}
    frames = {name: pd.DataFrame(own, columns=list(EXHIBITS[name])) for name, own in rows.items()}
    columns = list(EXAMPLE().results["overhaul"].columns)
    return EXAMPLE(**frames, overhaul=pd.DataFrame(overhaul, columns=columns))


FOUND = {section.id: section for section in sections(whole())}


def test_all_sections_stand_in_their_order() -> None:
    assert list(FOUND) == IDS


@pytest.mark.parametrize("id", IDS)
def test_a_section_says(id: str, snapshot: SnapshotAssertion) -> None:
    assert "\n".join(_said(FOUND[id])) == snapshot


def test_the_terminal_prints_a_season(
    snapshot: SnapshotAssertion, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert summary(EXAMPLE()) == snapshot


@pytest.mark.parametrize("name", ["wear", "life", "doubts"])
def test_the_terminal_prints_a_table(
    name: str, snapshot: SnapshotAssertion, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    frame = EXAMPLE().results[name].head(3)
    shown = show.cards(show.records(frame)) if name == "doubts" else show.text_table(name, frame)
    assert shown == snapshot


def _said(section: Section) -> Iterator[str]:
    yield f"# {section.title}"
    yield from section.text
    for n, part in enumerate(section.parts):
        if n > MOST_PARTS:
            break
        yield ""
        if isinstance(part, Figures):
            yield f"{len(part.drawings)} figures. {part.read}"
            yield from (f"  {own.title} | {own.alternative}" for own in part.drawings[:ROWS])
            for own in part.data:
                yield from _rows(own)
        elif isinstance(part, Folded):
            yield f"folded: {part.summary}"
            yield from _rows(part.table)
        elif isinstance(part, Grid):
            yield f"grid: {', '.join(words for _, words in part.reasons)}"
            yield " | ".join(part.windows)
            yield from (f"{machine}: {cells[0]}" for machine, cells in part.machines[:ROWS])
            yield " | ".join(crew.said for crew in part.crew)
        else:
            yield from _rows(part)
    yield from section.notes


def _rows(table: Table) -> Iterator[str]:
    yield f"table {table.id}: {table.caption}, {len(table.rows)} rows"
    yield "  " + " | ".join(column.label for column in table.columns)
    yield from ("  " + " | ".join(row) for row in table.rows[:ROWS])
