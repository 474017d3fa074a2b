"""One workbook of typed sheets: days are days, numbers are numbers, texts never run.

Texts are written as texts, never as formulas or links; one that could act once it is edited keeps
the spreadsheet's own mark for a quoted text. The same sheets give the same bytes.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final

from forecast.records.acting import safe_cell
from reports import words
from reports.cells import cell
from reports.tables import CHANCES, COUNTS, EXPECTED, MONEY

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST_TEXT: Final = 32_767
"""Characters that a cell of the format can hold; what is beyond is cut, and the cut is marked."""
LONGEST_NAME: Final = 31
WIDEST: Final = 48
MADE: Final = datetime(2000, 1, 1)
"""Stands where the format asks for a day of making, so that equal sheets give equal bytes."""


@dataclass(frozen=True)
class Sheet:
    """One sheet.

    Attributes
    ----------
    name
        Of its tab: a result's name.
    columns
        The first row.
    rows
        Values as they are: days, numbers, texts, None.
    foot
        A line at the foot of every printed page; no cell, so that the sheet imports back.
    """

    name: str
    columns: Sequence[str]
    rows: Iterable[Sequence[object]]
    foot: str = ""


def workbook_bytes(sheets: Sequence[Sheet], title: str = "") -> bytes:
    """Write sheets as one XLSX file.

    Parameters
    ----------
    sheets
        In the order of their tabs.
    title
        Of the document.

    Returns
    -------
    bytes
        The whole file.
    """
    from xlsxwriter import Workbook

    data = io.BytesIO()
    book = Workbook(
        data,
        {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False},
    )
    book.set_properties({"title": title, "created": MADE})
    looks = _Looks(book)
    for sheet in sheets:
        _fill(book.add_worksheet(_tab(sheet.name)), sheet, looks)
    book.close()
    return data.getvalue()


class _Looks:
    """The formats of cells, made once a workbook."""

    def __init__(self, book: Workbook) -> None:
        self._book = book
        self._made: dict[str, Format] = {}
        self.head = book.add_format(
            {"bold": True, "bottom": 1, "text_wrap": True, "valign": "bottom"}
        )
        self.text = book.add_format({"text_wrap": True, "valign": "top"})
        self.quoted = book.add_format({"text_wrap": True, "valign": "top", "quote_prefix": True})

    def number(self, pattern: str) -> Format:
        """Return the format of a number or day."""
        if pattern not in self._made:
            self._made[pattern] = self._book.add_format({"num_format": pattern, "valign": "top"})
        return self._made[pattern]


def _tab(name: str) -> str:
    """Return a name that a tab can have: short, without the signs that references are made of."""
    plain = "".join("_" if sign in "[]:*?/\\" else sign for sign in name).strip("'")
    return plain[:LONGEST_NAME] or "sheet"


def _fill(page: Worksheet, sheet: Sheet, looks: _Looks) -> None:
    widths = [_room(name, name) for name in sheet.columns]
    for at, name in enumerate(sheet.columns):
        page.write_string(0, at, name, looks.head)
    count = 0
    for count, row in enumerate(sheet.rows, 1):
        for at, (name, value) in enumerate(zip(sheet.columns, row, strict=True)):
            said = _write(page, count, at, value, looks, _pattern(sheet.name, name, value))
            widths[at] = max(widths[at], _room(said, name))
    for at, own in enumerate(widths):
        page.set_column(at, at, own)
    page.freeze_panes(1, 0)
    if count and sheet.columns:
        page.autofilter(0, 0, count, len(sheet.columns) - 1)
    page.set_landscape()
    page.set_paper(9)  # A4
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    page.set_footer(f"&L{sheet.foot.replace('&', '&&')}&R&A, &P/&N")


def _write(page: Worksheet, row: int, at: int, value: Any, looks: _Looks, pattern: str) -> str:
    """Write one value by its type; return about what is seen of it."""
    if words.missing(value):
        return ""
    if isinstance(value, bool) or type(value).__name__ == "bool":
        page.write_boolean(row, at, bool(value))
        return "FALSE"
    if isinstance(value, date):
        page.write_datetime(row, at, _bare(value), looks.number(pattern))
        return "30 Aug 2026" if pattern == "d mmm yyyy" else "30 Aug 2026 12:00"
    if isinstance(value, str):
        text = value if len(value) <= LONGEST_TEXT else value[: LONGEST_TEXT - 1] + "…"
        acts = safe_cell(text) != text
        page.write_string(row, at, text, looks.quoted if acts else looks.text)
        return text
    amount = float(value)
    if math.isinf(amount):
        page.write_string(row, at, "inf" if amount > 0 else "-inf", looks.text)
        return "inf"
    page.write_number(row, at, amount, looks.number(pattern))
    return cell(round(amount, 2))


def _bare(value: date) -> date:
    """Return a day or a time without zone, as the format knows them."""
    if isinstance(value, datetime):
        plain = datetime.fromisoformat(value.replace(tzinfo=None).isoformat())
        return plain.date() if plain.time() == datetime.min.time() else plain
    return value


def _pattern(sheet: str, column: str, value: object) -> str:
    """Choose how a cell is shown; what it holds stays whole."""
    if isinstance(value, date):
        plain = _bare(value)
        return "d mmm yyyy hh:mm" if isinstance(plain, datetime) else "d mmm yyyy"
    if column in CHANCES:
        return "0.0 %"
    if column in MONEY.get(sheet, ()) or column in ("total_low", "total_high"):
        return "#,##0.00"
    if column in COUNTS or column in EXPECTED or column.startswith("quantity"):
        return "#,##0.##"
    return "General"


def _room(text: str, column: str) -> float:
    longest = max((len(line) for line in text.splitlines()), default=0)
    return min(WIDEST, max(longest, len(column) // 2, 6)) + 2
