"""Tables that fit the terminal, and JSON that holds nothing JSON does not know."""

from __future__ import annotations

import io
import json
import math
import re
import runpy
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from cli import show
from cli.options import work
from cli.seasons import summary
from forecast.records.season import RESULTS

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]


@pytest.mark.parametrize("name", list(RESULTS))
def test_every_result_fits_80_columns(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    table = show.text_table(name, EXAMPLE().results[name].head(30), "EUR")
    if name in show.SHOWN:
        assert max(map(len, table.splitlines())) <= 80
    assert table


def test_long_texts_are_folded_and_nothing_is_lost() -> None:
    text = "the meter fell from 8,412 to 3 hours between two readings of the same week"
    shown = show.layout(["id", "what"], [["3f2a", text], ["81bb", "short"]], [False, False], 40)
    lines = shown.splitlines()
    assert max(map(len, lines)) <= 40
    assert " ".join(line[6:].strip() for line in lines[2:-1]) == text
    assert lines[1] == "────  " + "─" * 34


class Terminal(io.StringIO):
    """What a person would see, as the bytes sent to it."""

    def isatty(self) -> bool:
        return True


def test_progress_of_many_files_shows_the_last_steps_only(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    monkeypatch.setenv("TERM", "xterm")
    with work() as watched:
        for number in range(40):
            watched.tell(f"file {number}.csv: reading", 1, 2)
    up = [
        len(part) // 4
        for part in re.findall(r"(?:\x1b\[1A)+", seen.getvalue().replace("\x1b[2K", ""))
    ]
    assert max(up) <= 6, "lines that are painted anew"
    assert "file 39.csv" in seen.getvalue()


def test_a_long_message_is_folded_on_a_terminal_and_a_command_stays_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    seen = Terminal()
    monkeypatch.setattr("sys.stderr", seen)
    show.message("each row counts as known one day after it happened " * 4)
    command = (
        "settle one:  wearahead --store " + "/a/long/folder/of/stores" * 3 + ".duckdb settle 1"
    )
    show.message(command)
    *folded, last = seen.getvalue().splitlines()
    assert len(folded) == 3 and max(map(len, folded)) <= 80
    assert last == command


def test_numbers_stand_at_the_right() -> None:
    rows = [{"file": "a.csv", "rows": 5}, {"file": "b.csv", "rows": 12345}]
    assert show.text_table("files", rows).splitlines() == [
        "file     rows",
        "─────  ──────",
        "a.csv       5",
        "b.csv  12,345",
    ]


def test_a_column_of_zeros_is_shown_and_an_empty_one_is_not() -> None:
    row = {"part_type": "STRIP-12", "on_shelf": 0, "withdrawn": False, "note": "", "place": None}
    head, _, cells = show.text_table("pick_lists", [row]).splitlines()
    assert head.split() == ["part", "type", "on", "shelf"]
    assert cells.split() == ["STRIP-12", "0"]


def test_json_knows_no_nan_and_no_timestamp() -> None:
    frame = pd.DataFrame(
        {
            "a": [1.5, math.nan, math.inf],
            "at": [pd.Timestamp("2026-08-30"), pd.NaT, pd.Timestamp("2026-08-30 07:30")],
            "n": np.array([1, 2, 3], dtype=np.int64),
            "b": [True, False, None],
            "d": [date(2026, 8, 30), datetime(2026, 8, 30, 7), None],
        }
    )
    rows = json.loads(show.as_object({"x": frame}))["x"]
    assert rows == [
        {"a": 1.5, "at": "2026-08-30", "n": 1, "b": True, "d": "2026-08-30"},
        {"a": None, "at": None, "n": 2, "b": False, "d": "2026-08-30T07:00:00"},
        {"a": None, "at": "2026-08-30T07:30:00", "n": 3, "b": None, "d": None},
    ]


def test_every_result_has_its_columns_in_json() -> None:
    told = json.loads(show.as_object(EXAMPLE().tables()))
    assert list(told) == list(RESULTS)
    for name, rows in told.items():
        assert all(tuple(row) == RESULTS[name] for row in rows)


def test_doubts_are_written_one_under_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    rows = show.records(EXAMPLE().results["doubts"])
    assert show.cards(rows).splitlines() == [
        "3f2a91c0  unlogged change-out  G07  12  SLEEVE-30  2025-10-05",
        "          wear fell from 1.10 to 0.12 mm",
        "          proposed: changed 2025-10-02",
        "          open, taken as proposed until settled",
        "81bb0e55  meter replaced  G19  2025-09-12",
        "          meter fell from 8,412 to 3 h",
        "          proposed: new meter from 2025-09-12",
        "          open, taken as proposed until settled",
        "c7d40912  swapped positions  G23  4  SLEEVE-30  2024-10-13",
        "          positions 4 and 5 changed places",
        "          proposed: swap",
        "          settled as logged",
        "          asked Jo",
    ]
    assert show.cards([]) == "none"


def test_the_strip_wears_down() -> None:
    assert [show.wear_glyph(left) for left in (1.2, 1.0, 0.7, 0.5, 0.3, 0.0, -0.4)] == list(
        "▇▇▅▃▂▁▁"
    )


def test_the_summary_fits_and_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = summary(EXAMPLE())
    assert max(map(len, text.splitlines())) <= 80
    for said in (
        "Forecast 7.",
        "Buy 2,528 pieces",
        "What to buy",
        "What to change on Sun 6 Sep",
        "Nearest their limit",
        "lines more: in the report and the export",
    ):
        assert said in text
    assert "\x1b[" not in text


def test_a_forecast_of_nothing_is_told_too() -> None:
    empty = {name: pd.DataFrame(columns=list(columns)) for name, columns in RESULTS.items()}
    paths = pd.DataFrame(columns=list(EXAMPLE().exhibits["wear_paths"].columns))
    text = summary(EXAMPLE(**empty, wear_paths=paths))
    assert "Nothing has to be bought" in text
    assert "no question open" in text
