"""How rows are written: one table a file, with the line of every planted fault."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Final

import xlsxwriter

from sample_logs import scene
from sample_logs.rows import Change, Reading
from sample_logs.scene import MACHINES

CTE: Final = 80e-6
"""Expansion of the sleeve's plastic, 1/K."""

READING_COLUMNS: Final = {
    "sleeves": (
        "at", "machine", "place", "position", "part_type", "reading_kind", "value", "unit",
        "found_left", "chosen", "part_temperature_c", "inspector",
    ),
    "strips": (
        "at", "machine", "place", "position", "part_type", "value", "unit", "result",
        "found_left", "chosen", "inspector",
    ),
    "pockets": ("at", "machine", "place", "part_type", "kit", "value", "chosen"),
}  # fmt: skip
CHANGE_COLUMNS: Final = (
    "at", "machine", "place", "position", "part_type", "action", "quantity", "reason",
    "fitted_mm", "kit", "at_from", "age_at_fit",
)  # fmt: skip


@dataclass
class Row:
    """One row of a file, and the fault planted in it."""

    cells: dict[str, str]
    tag: str = ""


@dataclass
class Folder:
    """Where files are written, and what was planted in them.

    Attributes
    ----------
    path
        The folder.
    planted
        Every planted fault with its file and line.
    """

    path: Path
    planted: list[dict[str, object]] = field(default_factory=list)

    def write(
        self,
        name: str,
        columns: Sequence[str],
        rows: Iterable[Row],
        *,
        headings: dict[str, str] | None = None,
        delimiter: str = ",",
        blank_after: Sequence[int] = (),
    ) -> None:
        """Write a CSV file.

        Parameters
        ----------
        name
            File name.
        columns
            Keys of the cells, in order.
        rows
            The rows.
        headings
            What the header says instead of our own column names.
        delimiter
            Between cells.
        blank_after
            Numbers of the rows (from 1) after which a line is left blank.
        """
        text = io.StringIO()
        writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
        writer.writerow([(headings or {}).get(column, column) for column in columns])
        line = 1
        for number, row in enumerate(rows, 1):
            line += 1
            writer.writerow([row.cells.get(column, "") for column in columns])
            self.note(row, name, line)
            if number in blank_after:
                text.write("\n")
                line += 1
        (self.path / name).write_text(text.getvalue(), encoding="utf-8", newline="\n")

    def note(self, row: Row, name: str, line: int) -> None:
        """Remember where a planted fault stands."""
        if not row.tag:
            return
        kept = ("at", "machine", "position", "part_type")
        self.planted.append(
            {
                "what": row.tag,
                "file": name,
                "line": line,
                **{key: row.cells[key] for key in kept if row.cells.get(key)},
            }
        )


def reading_row(reading: Reading, *, bore: bool = False, unit: str = "mm") -> Row:
    """Return a reading as cells with our own column names."""
    value = reading.depth
    if bore:
        warm = (reading.temperature or 20.0) - 20.0
        value = (reading.size + reading.depth) * (1 + CTE * warm)
    cells = {
        "at": moment(reading.day, reading.minute),
        "machine": MACHINES[reading.machine],
        "place": reading.place,
        "position": "" if reading.position is None else f"{reading.position:02d}",
        "part_type": reading.part_type,
        "kit": reading.kit,
        "reading_kind": "bore" if bore else "wear_depth",
        "value": f"{value / 25.4:.4f}" if unit == "in" else f"{value:.2f}",
        "unit": unit,
        "found_left": reading.found_left,
        "chosen": reading.chosen,
        "part_temperature_c": "" if reading.temperature is None else f"{reading.temperature:g}",
        "inspector": inspector(reading.day, reading.machine),
        "reported_at": reported(reading.day),
    }
    return Row(cells | reading.raw, reading.tag)


def change_row(change: Change) -> Row:
    """Return a change-out as cells with our own column names."""
    number = {"position": change.position, "quantity": change.quantity, "age": change.age_at_fit}
    text = {key: "" if value is None else str(value) for key, value in number.items()}
    cells = {
        "at": moment(change.day, change.minute),
        "machine": MACHINES[change.machine],
        "place": change.place,
        "position": text["position"],
        "part_type": change.part_type,
        "action": change.action,
        "quantity": text["quantity"],
        "reason": change.reason,
        "fitted_mm": "" if change.fitted_mm is None else f"{change.fitted_mm:.2f}",
        "kit": change.kit,
        "at_from": "" if change.at_from is None else change.at_from.isoformat(),
        "age_at_fit": text["age"],
        "reported_at": reported(change.day),
    }
    return Row(cells | change.raw, change.tag)


def moment(day: date, minute: int) -> str:
    """Return when: until 2025 the sheets gave the day alone."""
    if day.year < 2026 or day.month < 8:
        return day.isoformat()
    return f"{day.isoformat()} {minute // 60:02d}:{minute % 60:02d}"


def reported(day: date) -> str:
    """Return when a row became known, where it says so: since August 2026, on the day."""
    return day.isoformat() if day >= scene.SEASONS[2].start else ""


def inspector(day: date, machine: int) -> str:
    """Return the initials on a sheet."""
    return ("JV", "MK", "AO", "TR")[(day.toordinal() // 7 + machine // 11) % 4]


def write_wide_sheet(folder: Folder, name: str, readings: Sequence[Reading], title: str) -> None:
    """Write the line's own workbook: a title, then positions across and one row a machine.

    The day stands only in the first row of each visit, and a row of means ends it.

    Parameters
    ----------
    folder
        Where to.
    name
        File name.
    readings
        Of serialised positions, in order of day and machine.
    title
        First line of the sheet.
    """
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    book.set_properties({"title": title, "created": datetime(2025, 11, 12, 9, 0)})
    sheet = book.add_worksheet("Sleeves")
    day_format = book.add_format({"num_format": "dd/mm/yyyy"})
    sheet.write(0, 0, title)
    sheet.write(1, 0, "Depth gauge 3, read at the Sunday stop")
    positions = [f"{number:02d}" for number in range(1, scene.SLEEVES + 1)]
    for column, heading in enumerate(["Read on", "Grader", "By", *positions]):
        sheet.write(3, column, heading)
    line = 3
    visits = sorted({reading.day for reading in readings})
    for day in visits:
        of_day = [reading for reading in readings if reading.day == day]
        for number, machine in enumerate(sorted({reading.machine for reading in of_day})):
            line += 1
            if number == 0:
                sheet.write_datetime(
                    line, 0, datetime.combine(day, datetime.min.time()), day_format
                )
            sheet.write(line, 1, MACHINES[machine])
            sheet.write(line, 2, inspector(day, machine))
            for reading in of_day:
                if reading.machine == machine and reading.position is not None:
                    raw = reading.raw.get("value")
                    sheet.write(line, 2 + reading.position, raw or reading.depth)
                    folder.note(reading_row(reading), name, line + 1)
        line += 1
        sheet.write(line, 0, "Mean")
        mean = sum(reading.depth for reading in of_day) / len(of_day)
        sheet.write(line, 3, round(mean, 3))
        line += 1
    book.close()
    (folder.path / name).write_bytes(stored(content))


def stored(content: io.BytesIO) -> bytes:
    """Return a zip file uncompressed, so that its bytes do not depend on the compressor."""
    result = io.BytesIO()
    with zipfile.ZipFile(content) as packed, zipfile.ZipFile(result, "w") as plain:
        for name in packed.namelist():
            plain.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), packed.read(name))
    return result.getvalue()
