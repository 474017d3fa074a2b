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
    with open_store(store) as opened:
        before = take_snapshot(opened).wear.set_index("piece")
    (report,) = import_logs(store, [sheet], today=date(2026, 12, 31)).files
    assert (report.kind, report.rows_kept, report.rows_set_aside) == ("readings", filled, 0)
    with open_store(store) as opened:
        after = take_snapshot(opened).wear.set_index("piece")
    more = after["n"] - before["n"].reindex(after.index).fillna(0)
    assert more.sum() == filled
    read = after.loc[more > 0, "last_mm"]
    wanted = [0.31 + 0.01 * number for number in range(filled)]
    assert sorted(read) == pytest.approx(wanted)
