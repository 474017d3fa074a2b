"""Sheets: whole files, cells that cannot act, and a mark that comes off again."""

from __future__ import annotations

import csv
import runpy
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.records.season import RESULTS
from reports import files
from reports.sheets import safe_cell, unsafe_cell, write_csv, write_dicts

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]


@given(st.text(alphabet="'=+-@\t\r 1.5eaB", max_size=8) | st.text())
def test_the_mark_comes_off_as_it_went_on(text: str) -> None:
    assert unsafe_cell(safe_cell(text)) == text


@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_what_could_act_is_defused(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-12.5", "+3", "1e-5", "G07", "'quoted", ""])
def test_numbers_and_plain_texts_stay(text: str) -> None:
    assert safe_cell(text) == text


def test_one_file_a_result_reads_back(tmp_path: Path) -> None:
    forecast = EXAMPLE()
    paths = write_csv(forecast, tmp_path / "out")
    assert [path.stem for path in paths] == list(RESULTS)
    for path in paths:
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.reader(file))
        assert tuple(rows[0]) == RESULTS[path.stem]
        assert len(rows) == 1 + len(forecast.results[path.stem])
    totals = pd.read_csv(tmp_path / "out/season_totals.csv")
    pd.testing.assert_frame_equal(
        totals, forecast.results["season_totals"], check_dtype=False, rtol=0
    )


def test_a_hostile_name_cannot_act(tmp_path: Path) -> None:
    table = EXAMPLE().results["doubts"].copy()
    table.loc[0, "what"] = '=HYPERLINK("http://x","y")'
    write_csv(EXAMPLE(doubts=table), tmp_path)
    assert "\"'=HYPERLINK(" in (tmp_path / "doubts.csv").read_text("utf-8")


def test_rows_as_mappings(tmp_path: Path) -> None:
    path = write_dicts([{"a": 1, "b": None}, {"a": True, "b": "x"}], tmp_path / "r.csv")
    assert path.read_text() == "a,b\n1,\nyes,x\n"


def test_a_line_break_in_a_cell_is_no_new_row(tmp_path: Path) -> None:
    path = write_dicts([{"a": "x\ry", "b": "x\ny"}], tmp_path / "r.csv")
    with path.open(encoding="utf-8", newline="") as text:
        assert list(csv.reader(text)) == [["a", "b"], ["x\ry", "x\ny"]]
    assert pd.read_csv(path).to_numpy().tolist() == [["x\ry", "x\ny"]]


def test_a_file_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "deep" / "a.txt"
    files.write_whole(path, b"old")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        files.write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [found.name for found in path.parent.iterdir()] == ["a.txt"]
