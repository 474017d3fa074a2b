"""How a file's columns become ours: header, constants, wide columns, what stands in between."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from forecast.errors import LogError
from forecast.intake.kinds import KINDS, LogKind, kind_named, recognise
from forecast.intake.mapping import Mapping
from forecast.intake.raw import Numbered, Tally

MORE: Final = ("more1", "more2", "more3")
"""Columns for cells beyond the header."""

CAME_BACK: Final = "set_aside_id"
"""The column of an exported copy of rows set aside; it and what begins alike are no log's."""

WIDE: Final = "wide_header"
"""The column that says which wide column a row came from."""


@dataclass(frozen=True)
class Layout:
    """How the columns of one file become a kind's.

    Attributes
    ----------
    kind
        The log kind.
    staged
        Name in the staged table of each column of the file, in its order.
    headers
        What the file calls each of our columns; ours where it has none.
    extras
        Names of columns that no log has, in the order of ``x1``, ``x2``, ...
    wide
        Index and name of each wide column.
    wide_to, wide_values
        The staged columns that take a wide column's name and its cell.
    """

    kind: LogKind
    staged: tuple[str, ...]
    headers: dict[str, str]
    extras: tuple[str, ...]
    wide: tuple[tuple[int, str], ...] = ()
    wide_to: str = ""
    wide_values: str = ""

    def columns(self, *, numbered: bool) -> list[str]:
        """Return the staged table's columns: the file's first, then what pads them."""
        first = ["file_line"] if numbered else []
        wide = (self.wide_to, self.wide_values, WIDE) if self.wide else ()
        names = [*first, *self.staged, *wide, *MORE]
        return names + self.pads(numbered=numbered)

    def pads(self, *, numbered: bool) -> list[str]:
        """Return the staged table's columns that no cell of the file belongs in."""
        taken = {*self.staged, *(["file_line"] if numbered else [])}
        if self.wide:
            taken |= {self.wide_to, self.wide_values, WIDE}
        names = [
            "x0",
            "file_line",
            WIDE,
            CAME_BACK,
            *(column.stored_as for column in self.kind.columns),
        ]
        return [name for name in names if name not in taken]


def lay_out(header: Sequence[str], mapping: Mapping, asked: str | None, file: str) -> Layout:
    """Find the kind and the place of every column.

    Parameters
    ----------
    header
        The cells of the header.
    mapping
        What is stated of the file.
    asked
        The kind asked for on the command line.
    file
        For messages.

    Raises
    ------
    LogError
        If the header is no log's, lacks a required or mapped column, or has one twice.
    """
    cells = [cell.strip() for cell in header]
    while cells and not cells[-1]:
        cells.pop()
    named = {theirs.strip().lower(): ours for theirs, ours in mapping.columns.items()}
    known = {column.name for kind in KINDS.values() for column in kind.columns}
    wide_names = {name.lower() for name in mapping.wide.names()} if mapping.wide else set()
    ours = [
        None if cell.lower() in wide_names else named.get(cell.lower(), _own(cell, known))
        for cell in cells
    ]
    _refuse_missing(mapping, cells, wide_names, file)
    there = [name for name in ours if name]
    stated = [*mapping.constant, *mapping.file.fill_down]
    if mapping.wide:
        stated += [mapping.wide.to, mapping.wide.values]
    chosen = asked or mapping.kind
    kind = _chosen(chosen, there, stated, file) if chosen else _found(there, stated, cells, file)
    return _placed(kind, cells, ours, mapping, wide_names, file)


def _own(cell: str, known: set[str]) -> str | None:
    return cell.lower() if cell.lower() in known else None


def _refuse_missing(
    mapping: Mapping, cells: Sequence[str], wide_names: set[str], file: str
) -> None:
    there = {cell.lower() for cell in cells}
    lost = [theirs for theirs in mapping.columns if theirs.strip().lower() not in there]
    if lost:
        raise LogError(
            f"{file}: its header lacks {', '.join(map(repr, lost))}, which the mapping names; "
            f"it has {', '.join(map(repr, cells[:8]))}",
            "mend the mapping, or say where the header stands: [file] header_row = 2",
        )
    if mapping.wide and not wide_names & there:
        raise LogError(
            f"{file}: its header has none of the wide columns {mapping.wide.columns!r}",
            "mend [wide] columns in the mapping",
        )


def _chosen(name: str, there: list[str], stated: list[str], file: str) -> LogKind:
    kind = kind_named(name)
    missing = kind.lacks([*there, *stated])
    if missing:
        raise LogError(
            f"{file}: as {kind.name}, its header lacks {', '.join(missing)}",
            f'say in a mapping: [columns] "NAME IN THE FILE" = "{missing[0]}"',
        )
    return kind


def _found(there: list[str], stated: list[str], cells: list[str], file: str) -> LogKind:
    if not any(not kind.lacks([*there, *stated]) for kind in KINDS.values()):
        shown = [*there, *stated, *(cell for cell in cells if cell.lower() not in there)]
        return recognise(shown, file)
    return recognise([*there, *stated], file)


def _placed(
    kind: LogKind,
    cells: list[str],
    ours: list[str | None],
    mapping: Mapping,
    wide_names: set[str],
    file: str,
) -> Layout:
    """Give every column of the file its name in the staged table."""
    staged: list[str] = []
    extras: list[str] = []
    headers: dict[str, str] = {}
    wide: list[tuple[int, str]] = []
    comes_back = [cell.lower() for cell in cells].count(CAME_BACK) == 1
    for index, (cell, name) in enumerate(zip(cells, ours, strict=True)):
        if cell.lower() in wide_names:
            wide.append((index, cell))
            continue
        if comes_back and cell.lower().startswith("set_aside_"):
            staged.append(cell.lower())
            continue
        column = kind.column(name) if name else None
        if column is None:
            extras.append(cell or f"column {index + 1}")
            staged.append(f"x{len(extras)}")
        elif column.stored_as in headers:
            raise LogError(
                f"{file}: both {headers[column.stored_as]!r} and {cell!r} are {column.name!r}",
                "name the one that counts in a mapping, or rename the other",
            )
        else:
            headers[column.stored_as] = cell
            staged.append(column.stored_as)
    if len(set(extras)) < len(extras):
        twice = next(name for name in extras if extras.count(name) > 1)
        raise LogError(f"{file}: it has two columns {twice!r}", "rename one of them")
    for column in kind.columns:
        headers.setdefault(column.stored_as, column.name)
    to, values = _wide_places(kind, staged, mapping, file)
    return Layout(kind, tuple(staged), headers, tuple(extras), tuple(wide), to, values)


def _wide_places(kind: LogKind, staged: list[str], mapping: Mapping, file: str) -> tuple[str, str]:
    """Return the staged columns that a wide column's name and its cells go to."""
    if mapping.wide is None:
        return "", ""
    places: list[str] = []
    for role, name in (("to", mapping.wide.to), ("values", mapping.wide.values)):
        column = kind.column(name)
        if column is None or column.stored_as in staged:
            raise LogError(
                f"{file}: [wide] {role} = {name!r} is no free column of {kind.name}",
                "mend [wide] in the mapping",
            )
        places.append(column.stored_as)
    return places[0], places[1]


def laid_out(
    rows: Iterator[Numbered], layout: Layout, mapping: Mapping, tally: Tally
) -> Iterator[list[str]]:
    """Yield the cells of every staged row: line, the layout's columns, cells beyond the header.

    ``skip`` and ``fill_down`` act on the file's rows; then each filled wide cell is a row. The
    lines skipped are counted.
    """
    skip = tuple(mapping.file.skip)
    fill = _filled_columns(layout, mapping)
    wide = dict(layout.wide)
    width = len(layout.staged) + len(wide)
    above: dict[int, str] = {}
    for line, cells in rows:
        first = next((cell.strip() for cell in cells if cell.strip()), "")
        if skip and first.startswith(skip):
            tally.skipped += 1
            continue
        row = (cells + [""] * width)[:width]
        beyond = [cell for cell in cells[width:] if cell.strip()]
        for index in fill:
            row[index] = above[index] = row[index].strip() or above.get(index, "")
        narrow = [cell for index, cell in enumerate(row) if index not in wide]
        more = [*beyond[: len(MORE) - 1], " | ".join(beyond[len(MORE) - 1 :])] if beyond else []
        if not wide:
            yield [str(line), *narrow, *more]
        for index, name in wide.items():
            if row[index].strip():
                yield [str(line), *narrow, name, row[index], name, *more]


def _filled_columns(layout: Layout, mapping: Mapping) -> list[int]:
    """Return the places of the columns whose blank cells repeat the one above."""
    places: list[int] = []
    wide = dict(layout.wide)
    narrow = [i for i in range(len(layout.staged) + len(wide)) if i not in wide]
    for name in mapping.file.fill_down:
        column = layout.kind.column(name)
        if column is not None and column.stored_as in layout.staged:
            places.append(narrow[layout.staged.index(column.stored_as)])
    return places


def constants(mapping: Mapping, sheet: str, cell: Callable[[str], str]) -> dict[str, str]:
    """Return the constants of one sheet: a value, the sheet's name, or a cell's text."""
    stated: dict[str, str] = {}
    for name, value in mapping.constant.items():
        text = str(value).strip()
        if text == "sheet name":
            text = sheet
        elif re.fullmatch(r"cell [A-Za-z]{1,3}[0-9]{1,7}", text):
            text = cell(text.removeprefix("cell "))
        stated[name] = text
    return stated
