"""The sheet of `measure-next`, filled in by hand, imports back as it is."""

from __future__ import annotations

import csv
import runpy
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import python_calamine
import xlsxwriter
from typer.testing import CliRunner

from cli.app import app
from forecast.intake.importing import import_logs
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

PLANT: dict[str, Any] = runpy.run_path(str(Path(__file__).with_name("small_plant.py")))


def fill_in(sheet: Path) -> int:
    """Write a value and a name into every row and save, as a person does; return how many."""
    rows: list[list[Any]]
    if sheet.suffix == ".csv":
        rows = list(csv.reader(sheet.read_text(encoding="utf-8-sig").splitlines()))
    else:
        book = python_calamine.CalamineWorkbook.from_path(str(sheet))
        rows = book.get_sheet_by_index(0).to_python(skip_empty_area=False)
    columns = next(row for row in rows if "machine" in row)
    filled = 0
    for row in rows[rows.index(columns) + 1 :]:
        if row and row[0] in PLANT["MACHINES"]:  # else the foot
            value = round(0.31 + 0.01 * filled, 2)
            row[columns.index("value")] = value if sheet.suffix == ".xlsx" else f"{value:.2f}"
            row[columns.index("inspector")] = "NN"
            filled += 1
    if sheet.suffix == ".csv":
        with sheet.open("w", newline="", encoding="utf-8-sig") as file:
            csv.writer(file).writerows(rows)
        return filled
    with xlsxwriter.Workbook(sheet, {"default_date_format": "yyyy-mm-dd"}) as book:
        page = book.add_worksheet()
        for number, row in enumerate(rows):
            page.write_row(number, 0, row)
    return filled


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_filled_sheet_imports_back_unchanged(kind: str, tmp_path: Path) -> None:
    store, plan = PLANT["plant"](tmp_path)
    sheet = tmp_path / f"sunday.{kind}"
    told = CliRunner().invoke(
        app, ["--store", store, "measure-next", str(plan), "--count", "5", "--export", str(sheet)]
    )
    assert told.exit_code == 0, told.output
    filled = fill_in(sheet)
    assert filled >= 2
    before = read_so_far(store)
    (report,) = import_logs(store, [sheet], today=date(2026, 12, 31)).files
    assert (report.kind, report.accepted, report.set_aside) == ("readings", filled, 0)
    more = read_so_far(store) - before
    assert more[0] == filled
    assert more[1] == pytest.approx(sum(0.31 + 0.01 * number for number in range(filled)))


def read_so_far(store: str) -> Any:
    """Return how many readings count, of pieces and of sets, and the sum of their wear, mm."""
    with open_store(store) as opened:
        known = take_snapshot(opened)
    return sum(frame[["n", "sy"]].to_numpy(float).sum(axis=0) for frame in
               (known.wear, known.samples))  # fmt: skip
