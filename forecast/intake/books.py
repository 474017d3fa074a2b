"""The tabs of a workbook as rows of text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from forecast.errors import LogError
from forecast.intake.raw import Numbered, Tally

Cell = int | float | str | bool | time | date | datetime | timedelta


@dataclass(frozen=True)
class Tab:
    """One tab: its name, and its rows from the first on."""

    name: str
    cells: list[list[Cell]]

    def rows(
        self, decimal: str, *, after: int = 0, tally: Tally | None = None
    ) -> Iterator[Numbered]:
        """Yield every row that is not blank, with its number in the sheet.

        Parameters
        ----------
        decimal
            The mark to write numbers with, so that they read like the file's texts.
        after
            Rows below this one.
        tally
            Where blank rows are counted.
        """
        for number, row in enumerate(self.cells[after:], after + 1):
            texts = [as_text(cell, decimal) for cell in row]
            if any(text.strip() for text in texts):
                yield number, texts
            elif tally is not None:
                tally.blank += 1

    def cell(self, reference: str) -> str:
        """Return the text of a cell like ``B2``; blank where there is none."""
        row, column = place(reference)
        if row >= len(self.cells) or column >= len(self.cells[row]):
            return ""
        return as_text(self.cells[row][column], ".")


def place(reference: str) -> tuple[int, int]:
    """Return row and column, from 0, of a cell like ``B2``."""
    letters = reference.rstrip("0123456789").upper()
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(reference[len(letters) :]) - 1, column - 1


def tabs(path: Path) -> list[Tab]:
    """Return the tabs of a workbook that hold anything.

    Raises
    ------
    LogError
        If it is torn, locked with a password, or no workbook.
    """
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
        found = [
            Tab(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False))
            for name in book.sheet_names
        ]
    except Exception as error:  # every reader's error and what a torn archive raises
        raise LogError(
            f"{path}: the workbook cannot be read ({error})",
            "open it, save it again as .xlsx without a password, and import that",
        ) from error
    return [tab for tab in found if any(as_text(cell, ".") for row in tab.cells for cell in row)]


def as_text(cell: Cell, decimal: str) -> str:
    """Return a cell as a text file would hold it; midnight is a day, 7.0 is 7."""
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, datetime):
        whole = cell.time() == time()
        return cell.date().isoformat() if whole else cell.isoformat(" ", timespec="seconds")
    if isinstance(cell, float):
        text = str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
        return text.replace(".", decimal)
    return str(cell)
