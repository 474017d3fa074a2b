"""A mapping drafted from a foreign file: guesses with their sample values, to be corrected."""

from __future__ import annotations

import csv
import json
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from forecast.errors import LogError, StoreError
from forecast.intake.books import Tab, tabs
from forecast.intake.files import BOOKS
from forecast.intake.guesses import TOTALS, guess, guess_unit, likeliest_kind
from forecast.intake.kinds import Column, LogKind
from forecast.intake.raw import DELIMITERS, ZERO_SHOWN, rows, scan
from forecast.store.opening import open_store

LOOKED_AT: Final = 200
"""Rows of the file that are looked at."""

_NUMBER: Final = re.compile(r"[-+]?\d+([.,]\d+)?")
_WIDE: Final = re.compile(r"([A-Za-z]{0,3})(\d{1,3})")
_DAY: Final = re.compile(r"(\d{1,2})[./-](\d{1,2})[./-]\d{2,4}")


@dataclass(frozen=True)
class _Sheet:
    """The beginning of a table; where it is a workbook's tab, the tabs like it and the others."""

    rows: list[list[str]]
    delimiter: str = ""
    tabs: tuple[str, ...] = ()
    others: tuple[str, ...] = ()

    def header(self) -> int:
        """Return the likeliest row of the header: the one whose cells mean most."""

        def meaning(number: int) -> tuple[int, int]:
            cells = [cell for cell in self.rows[number] if cell.strip()]
            words = sum(not _NUMBER.fullmatch(cell.strip()) for cell in cells)
            return sum(bool(guess(cell)) for cell in cells), min(words, len(cells))

        return max(range(min(20, len(self.rows))), key=lambda n: (meaning(n), -n))

    def means(self) -> int:
        """Return how many cells of its header mean something."""
        cells = self.rows[self.header()]
        return sum(bool(guess(cell) or _WIDE.fullmatch(cell.strip())) for cell in cells)


def draft_mapping(file: Path, tab: str | None = None) -> str:
    """Draft the mapping of a foreign file: valid TOML whose comments show what was seen.

    Parameters
    ----------
    file
        A text file, a workbook or a Parquet file.
    tab
        Of a workbook; without it the tab whose header means most, with those that look like it.

    Returns
    -------
    str
        To be looked over and kept as ``NAME.toml`` beside the file. What is only a guess of
        meaning is stated and commented; what cannot be guessed is commented out.

    Raises
    ------
    LogError
        If nothing of it can be read, or it has no such tab.
    """
    try:
        sheet = _sheet(file, tab)
    except OSError as error:
        raise LogError(f"{file} cannot be read ({error.strerror})", "check its name") from error
    if not sheet.rows:
        raise LogError(f"{file}: it holds no rows", "export it again")
    at = sheet.header()
    header = [cell.strip() for cell in sheet.rows[at]]
    below = [row for row in sheet.rows[at + 1 :] if any(cell.strip() for cell in row)]
    samples = [_samples(below, index) for index in range(len(header))]
    wide = _wide(header, samples)
    ours = [[] if index in wide else guess(cell) for index, cell in enumerate(header)]
    kind = likeliest_kind([*ours, ["position"], ["value"]] if wide else ours)
    named = _named(kind, ours)
    lines = [f"# Drafted from {_quoted(file.name)}: look every line over.", f'kind = "{kind.name}"']
    lines += _habits(samples, named, kind)
    lines += _file(sheet, at, named, below)
    lines += _columns(header, samples, named, wide, kind)
    lines += _units(header, named, kind)
    lines += _wide_lines(header, wide)
    lines += _missing(sheet, kind, named, bool(wide))
    lines += _words(samples, named, kind)
    return "\n".join(lines) + "\n"


def _sheet(file: Path, tab: str | None) -> _Sheet:
    if file.suffix.lower() in BOOKS:
        return _of_tabs(file, tabs(file), tab)
    if tab is not None:
        raise LogError(f"{file} has no tabs", "leave --tab out")
    if file.suffix.lower() == ".parquet":
        return _of_parquet(file)
    with file.open(encoding=scan(file).encoding, errors="replace", newline="") as text:
        lines = [line.replace("\0", ZERO_SHOWN) for _, line in zip(range(LOOKED_AT), text)]  # noqa: B905

    def cells(delimiter: str) -> list[list[str]]:
        try:
            return list(csv.reader(lines, delimiter=delimiter))
        except csv.Error:
            return [line.rstrip("\r\n").split(delimiter) for line in lines]

    def width(delimiter: str) -> int:
        return sorted(len(row) for row in cells(delimiter))[len(lines) // 2]

    best = max(DELIMITERS, key=width)
    return _Sheet(cells(best), best)


def _of_tabs(file: Path, found: Sequence[Tab], tab: str | None) -> _Sheet:
    """Return the tab asked for, or the one that means most with those that have its header."""
    sheets = {one.name: _beginning(one) for one in found}
    if tab is not None and tab not in sheets:
        raise LogError(
            f"{file}: there is no tab {tab!r} with anything in it",
            f"its tabs: {', '.join(map(repr, sheets)) or 'none'}",
        )
    if not sheets:
        return _Sheet([])
    name = tab or max(sheets, key=lambda one: sheets[one].means())
    best = sheets[name]
    header = (best.header(), [cell.strip() for cell in best.rows[best.header()]])

    def alike(sheet: _Sheet) -> bool:
        at, cells = header
        return len(sheet.rows) > at and [cell.strip() for cell in sheet.rows[at]] == cells

    same = (name,) if tab else tuple(one for one in sheets if alike(sheets[one]))
    return _Sheet(best.rows, "", same, tuple(one for one in sheets if one not in same))


def _beginning(tab: Tab) -> _Sheet:
    return _Sheet([[_text(cell) for cell in row] for row in tab.cells[:LOOKED_AT]])


def _of_parquet(file: Path) -> _Sheet:
    """Return the first rows of a Parquet file, written as an import reads them."""
    with tempfile.TemporaryDirectory() as made:
        copy = Path(made) / "rows.csv"
        with open_store(f"{made}/none.duckdb", write=True, views=False) as store:
            try:
                store.run("queries/parquet_to_text", path=str(file), text=str(copy))
            except StoreError as error:
                raise LogError(
                    f"{file}: cannot be read as Parquet ({str(error).splitlines()[0]})",
                    "write it again",
                ) from error
        first = zip(range(LOOKED_AT), rows(copy, ",", file.name), strict=False)
        return _Sheet(
            [[cell.replace("\0", ZERO_SHOWN) for cell in cells] for _, (_, cells) in first]
        )


def _text(cell: object) -> str:
    return "" if cell is None else str(cell)


def _samples(below: Sequence[Sequence[str]], index: int) -> list[str]:
    cells = (row[index].strip() for row in below if index < len(row))
    return list(dict.fromkeys(cell for cell in cells if cell))


def _wide(header: Sequence[str], samples: Sequence[Sequence[str]]) -> list[int]:
    """Return the columns that look like one position each: three or more, numbered, of numbers."""
    found = [
        index
        for index, cell in enumerate(header)
        if _WIDE.fullmatch(cell) and all(_NUMBER.fullmatch(text) for text in samples[index][:20])
    ]
    return found if len(found) >= 3 else []


def _named(kind: LogKind, ours: Sequence[Sequence[str]]) -> dict[int, Column]:
    """Return our column for each of the file's, none twice."""
    named: dict[int, Column] = {}
    for rank in range(max(map(len, ours), default=0)):
        for index, names in enumerate(ours):
            column = kind.column(names[rank]) if rank < len(names) else None
            if column is not None and index not in named and column not in named.values():
                named[index] = column
    return named


def _habits(samples: Sequence[Sequence[str]], named: dict[int, Column], kind: LogKind) -> list[str]:
    numbers = [text for column in samples for text in column if _NUMBER.fullmatch(text)]
    commas = [text for text in numbers if "," in text]
    points = [text for text in numbers if "." in text]
    lines = []
    if commas and not points:
        lines.append(f'decimal = ","            # as in {_quoted(commas[0])}')
    days = [
        (int(day[1]), int(day[2]), text)
        for index, column in named.items()
        if column.type in ("time", "date")
        for text in samples[index]
        if (day := _DAY.match(text))
    ]
    proof = {
        "day-month": next((text for first, _, text in days if first > 12), ""),
        "month-day": next((text for _, second, text in days if second > 12), ""),
    }
    stated = [order for order, text in proof.items() if text]
    if len(stated) == 1:
        lines.append(f'dates = "{stated[0]}"     # as {_quoted(proof[stated[0]])} proves')
    elif days:
        first, second, text = days[0]
        lines.append(
            f'# dates = "day-month"     # {_quoted(text)} is day {first} month {second}, or '
            f'day {second} month {first}: say which ("month-day")'
        )
    return lines


def _file(
    sheet: _Sheet, at: int, named: dict[int, Column], below: Sequence[Sequence[str]]
) -> list[str]:
    lines = []
    if len(sheet.tabs) > 1 and not sheet.others:
        lines.append(
            f'sheet = "*"   # {len(sheet.tabs)} tabs: {_quoted(", ".join(sheet.tabs[:8]))}'
        )
    elif len(sheet.tabs) > 1:
        lines.append(
            f'sheet = "*"   # those with this header: {_quoted(", ".join(sheet.tabs[:8]))}; '
            f"others: {_quoted(', '.join(sheet.others[:8]))}"
        )
    elif sheet.others:
        lines.append(
            f"sheet = {_quoted(sheet.tabs[0])}   # other tabs, each with a draft of its own "
            f"(--tab NAME): {_quoted(', '.join(sheet.others[:8]))}"
        )
    if at:
        lines.append(f"header_row = {at + 1}")
    if sheet.delimiter not in ("", ","):
        lines.append(f"delimiter = {_quoted(sheet.delimiter)}")
    firsts = [next(cell.strip() for cell in row if cell.strip()) for row in below]
    totals = sorted({text for text in firsts if text.lower().startswith(TOTALS)})
    rows = [row for row, text in zip(below, firsts, strict=True) if text not in totals]
    if totals:
        lines.append(f"skip = [{', '.join(map(_quoted, totals))}]   # lines that add others up")
    gaps = [
        column.name
        for index, column in named.items()
        if column.type in ("text", "time") and column.required and _has_gaps(rows, index)
    ]
    if gaps:
        lines.append(f"fill_down = {json.dumps(gaps)}   # blank cells repeat the one above")
    return ["", "[file]", *lines] if lines else []


def _has_gaps(below: Sequence[Sequence[str]], index: int) -> bool:
    cells = [row[index].strip() if index < len(row) else "" for row in below]
    return len(cells) > 2 and bool(cells[0]) and cells.count("") >= len(cells) // 3


def _columns(
    header: Sequence[str],
    samples: Sequence[Sequence[str]],
    named: dict[int, Column],
    wide: Sequence[int],
    kind: LogKind,
) -> list[str]:
    lines, stated = ["", "[columns]"], set[str]()
    for index, cell in enumerate(header):
        if index in wide or not cell:
            continue
        seen = "   # " + ", ".join(_quoted(text) for text in samples[index][:3])
        column = named.get(index)
        if column is None:
            lines.append(f'# {_quoted(cell)} = ""{seen}')
        elif cell.lower() in stated:
            lines.append(f'# {_quoted(cell)} = "{column.name}"   # a second column of that name')
        elif cell.lower() == column.name:
            lines.append(f"# {_quoted(cell)} is ours already{seen}")
        else:
            lines.append(f'{_quoted(cell)} = "{column.name}"{seen}')
        stated.add(cell.lower())
    free = [column.name for column in kind.columns if column not in named.values()]
    return [*lines, f"# ours that are free: {', '.join(free)}"]


def _units(header: Sequence[str], named: dict[int, Column], kind: LogKind) -> list[str]:
    lines = [
        f'{column.name} = "{guess_unit(header[index])}"   # as {_quoted(header[index])} says'
        for index, column in named.items()
        if column.type == "length" and guess_unit(header[index])
    ]
    if lines:
        return ["", "[units]", *lines]
    has_unit = kind.column("unit") and any(column.name == "unit" for column in named.values())
    if kind.name == "readings" and not has_unit:
        return ["", "[units]", '# value = "mm"   # no unit is named: say it, else mm is taken']
    return []


def _wide_lines(header: Sequence[str], wide: Sequence[int]) -> list[str]:
    if not wide:
        return []
    names = ", ".join(header[index] for index in wide)
    return ["", "[wide]", f"columns = {_quoted(names)}", 'to = "position"', 'values = "value"']


def _missing(sheet: _Sheet, kind: LogKind, named: dict[int, Column], wide: bool) -> list[str]:
    there = {column.name for column in named.values()} | ({"position", "value"} if wide else set())
    lines = []
    for name in kind.lacks(there):
        if name == "machine" and len(sheet.tabs) > 1:
            lines.append('machine = "sheet name"   # one tab a machine, it seems')
        else:
            lines.append(f'# {name} = ""   # no column seems to hold it: a value, or "cell B2"')
    return ["", "[constant]", *lines] if lines else []


def _words(samples: Sequence[Sequence[str]], named: dict[int, Column], kind: LogKind) -> list[str]:
    lines = []
    for index, column in named.items():
        foreign = [text for text in samples[index] if text not in column.words][:20]
        if column.type == "word" and foreign:
            lines += ["", f"[values.{column.name}]   # one of {', '.join(column.words)}"]
            lines += [
                f'{_quoted(text)} = "{text.lower()}"'
                if text.lower() in column.words
                else f'# {_quoted(text)} = ""'
                for text in foreign
            ]
    return lines


def _quoted(text: str) -> str:
    """Write a text as TOML writes it, on one line."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
