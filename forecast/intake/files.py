"""Any file to a staged table of text, with the line of each row."""

from __future__ import annotations

import csv
import hashlib
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from forecast.errors import LogError, StoreError
from forecast.intake.books import Tab, place, tabs
from forecast.intake.kinds import COLUMN_NAMES
from forecast.intake.layout import CAME_BACK, Layout, constants, laid_out, lay_out
from forecast.intake.mapping import Mapping
from forecast.intake.raw import (
    DELIMITERS,
    ZERO_SHOWN,
    Numbered,
    Scan,
    Tally,
    as_utf8,
    lines_before,
    rows,
    scan,
    split_line,
)
from forecast.physics.units import FACTORS
from forecast.records.acting import unsafe_cell
from forecast.store.store import Store, Value

BOOKS: Final = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")
SEPARATOR: Final = "\x1f"
CRLF: Final = "\r\n"


@dataclass(frozen=True)
class Plain:
    """A text file whose rows are one a line, as far as counting lines shows."""

    path: Path
    delimiter: str
    skip: int
    rows: int
    quoted: bool = True
    odd_blanks: bool = True
    newline: str = CRLF

    @classmethod
    def seen(cls, path: Path, delimiter: str, skip: int, found: Scan) -> Plain:
        """Return a file as its scan shows it."""
        rows = found.lines - skip
        return cls(path, delimiter, skip, rows, found.quoted, found.odd_blanks, found.newline)


@dataclass(frozen=True)
class Source:
    """One table of a file, before it is staged.

    Attributes
    ----------
    file
        Its name in reports: ``log.csv`` or ``book.xlsx [tab]``.
    sha256
        Of the whole file.
    layout
        Where its columns go.
    mapping
        What is stated of it.
    rows
        Its rows below the header, with their lines, as often as they are asked for; it counts the
        blank ones.
    first_line
        The line of its first row.
    plain
        Where the database can read the file by itself.
    constant
        The constants of this sheet, by column.
    said
        What a person should know.
    """

    file: str
    sha256: str
    layout: Layout
    mapping: Mapping
    rows: Callable[[Tally], Iterator[Numbered]]
    first_line: int
    plain: Plain | None = None
    constant: dict[str, str] = field(default_factory=dict)
    said: tuple[str, ...] = ()


@dataclass(frozen=True)
class Staged:
    """What stands in the staged table: rows with something in them, blank and skipped lines."""

    rows: int
    blank: int
    skipped: int


def sources(
    store: Store, file: Path, mapping: Mapping, kind: str | None, folder: Path
) -> list[Source]:
    """Return the tables of a file; nothing is kept yet.

    Parameters
    ----------
    store
        Reads Parquet, and tries whether it can read a text file by itself.
    file
        CSV, TSV or any text with ``,`` ``;`` tab or ``|``; a workbook; Parquet.
    mapping
        What is stated of it.
    kind
        The kind asked for.
    folder
        For copies, emptied by the caller.

    Raises
    ------
    LogError
        If nothing of it can be read, or its header is no log's.
    """
    if file.is_dir():
        raise LogError(f"{file} is a folder", "name the files in it")
    try:
        if file.suffix.lower() in BOOKS:
            return _of_book(file, mapping, kind)
        if file.suffix.lower() == ".parquet":
            return [_of_parquet(store, file, mapping, kind, folder)]
        return [_of_text(store, file, mapping, kind, folder)]
    except FileNotFoundError as error:
        raise LogError(f"there is no file {file}", "check its name") from error
    except OSError as error:
        raise LogError(
            f"{file} cannot be read ({error.strerror or error})", "check the file and its rights"
        ) from error


def stage(store: Store, source: Source, folder: Path) -> Staged:
    """Fill the staged table with the rows of a source.

    The database reads plain files by itself; if it then counts other rows than the file has
    lines, or where the layout needs it, rows are laid out here first.
    """
    plain, tally = source.plain, Tally()
    counts = {"staged": -1, "blank": 0, "beyond": 0}
    if plain is not None:
        _read(store, source, plain, numbered=False)
        counts = _counts(store, source, numbered=False)
    if plain is None or counts["staged"] != plain.rows or counts["beyond"]:
        copy = folder / "rows.csv"
        written = _write(laid_out(source.rows(tally), source.layout, source.mapping, tally), copy)
        _read(store, source, Plain(copy, ",", 0, written), numbered=True)
        counts = _counts(store, source, numbered=True)
        if counts["staged"] != written or counts["beyond"]:
            raise LogError(
                f"{source.file}: {written} rows were written but {counts['staged']} read back",
                "report this file: it shows a fault of the program",
            )
    map_cells(store, source)
    blank = counts["blank"] + tally.blank
    return Staged(counts["staged"] - counts["blank"], blank, tally.skipped)


def _counts(store: Store, source: Source, *, numbered: bool) -> dict[str, int]:
    row = store.rows("queries/staged_counts", pads=source.layout.pads(numbered=numbered))[0]
    return {name: int(str(value)) for name, value in row.items()}


def _read(store: Store, source: Source, plain: Plain, *, numbered: bool) -> None:
    layout = source.layout
    store.run(
        "queries/stage_file",
        **reading(layout, plain, numbered=numbered),
        parallel=not numbered,
        odd_blanks=plain.odd_blanks,
        has_extra=bool(layout.extras),
        extra_names=_extra_names(layout, numbered=numbered),
    )


def reading(layout: Layout, plain: Plain, *, numbered: bool) -> dict[str, Value]:
    """Return how the database is to read a text file."""
    return {
        "path": str(plain.path),
        "columns": dict.fromkeys(layout.columns(numbered=numbered), "VARCHAR"),
        "delimiter": plain.delimiter,
        "newline": plain.newline.replace("\r", "\\r").replace("\n", "\\n"),
        "skip": plain.skip,
        "quote": '"' if plain.quoted else "",
    }


def _extra_names(layout: Layout, *, numbered: bool) -> list[str]:
    """Return the file's names of x0, x1, ... in the order in which they are staged."""
    order = [
        name for name in layout.columns(numbered=numbered) if name[0] == "x" and name[1:].isdigit()
    ]
    names = {f"x{number}": name for number, name in enumerate(layout.extras, 1)}
    return [names.get(name, "") for name in order]


def _write(rows_out: Iterator[list[str]], path: Path) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator=CRLF)  # with it, a bare \r is quoted too
        for count, cells in enumerate(rows_out, 1):  # noqa: B007
            writer.writerow(cells)
    return count


def map_cells(store: Store, source: Source) -> None:
    """State what the mapping says of cells, and put staged ones into our words where it does."""
    mapping, kind = source.mapping, source.layout.kind

    def stored(name: str) -> str:
        column = kind.column(name)
        return column.stored_as if column else name

    constant = {stored(name): text for name, text in source.constant.items()}
    if "value" in mapping.units and kind.column("unit"):
        constant.setdefault("unit", mapping.units["value"])
    words = {
        f"{stored(name)}{SEPARATOR}{theirs}": ours
        for name, table in mapping.values.items()
        for theirs, ours in table.items()
    }
    prefix = {stored(name): text for name, text in mapping.prefix.items()}
    factors = {stored(name): float(FACTORS["length"][unit]) for name, unit in mapping.units.items()}
    store.run(
        "queries/set_mapped",
        cells=list(words),
        words=list(words.values()),
        prefix_columns=list(prefix),
        prefixes=list(prefix.values()),
        constant_columns=list(constant),
        constants=list(constant.values()),
        length_columns=list(factors),
        factors=list(factors.values()),
    )
    if constant or words or prefix:
        store.run("queries/map_cells")


def _of_text(store: Store, file: Path, mapping: Mapping, kind: str | None, folder: Path) -> Source:
    seen = scan(file, mapping.file.encoding)
    path, said, sha256 = file, list[str](), seen.sha256
    if seen.encoding not in ("utf-8", "utf-8-sig") or seen.zeros:
        path = as_utf8(file, seen.encoding, folder)
        if mapping.file.encoding is None and seen.encoding not in ("utf-8", "utf-8-sig"):
            said.append(f"{file.name}: not UTF-8, read as {_shown(seen.encoding)}")
        said += _zeros(file.name, seen.zeros)
        seen = scan(path)
    elif any(mark in str(path) for mark in "*?[{"):
        path = Path(shutil.copyfile(path, folder / f"{len(list(folder.iterdir()))}.csv"))
    at = mapping.file.header_row
    lines, found = lines_before(path, at)
    if found < at or not lines[-1].strip():
        raise LogError(
            f"{file}: line {at} holds no header", "say where it stands: [file] header_row = 2"
        )
    delimiter = mapping.file.delimiter or _delimiter(lines[-1], mapping)
    layout = lay_out(split_line(lines[-1], delimiter), mapping, kind, file.name)

    def below(tally: Tally) -> Iterator[Numbered]:
        return rows(path, delimiter, file.name, after=at, tally=tally)

    plain = None
    simple = not (layout.wide or mapping.file.skip or mapping.file.fill_down)
    if CAME_BACK in layout.staged:
        return Source(file.name, sha256, layout, mapping, _bare(below), at + 1, said=tuple(said))
    if simple and seen.plain:
        plain = _tried(store, layout, Plain.seen(path, delimiter, at, seen))
    cell = _cells_of_text(path, delimiter)
    return Source(
        file.name,
        sha256,
        layout,
        mapping,
        below,
        at + 1,
        plain,
        constants(mapping, file.stem, cell),
        tuple(said),
    )


def _bare(below: Callable[[Tally], Iterator[Numbered]]) -> Callable[[Tally], Iterator[Numbered]]:
    """Take off, of an exported copy, the marks that keep a spreadsheet from running cells."""

    def bare(tally: Tally) -> Iterator[Numbered]:
        return ((line, [unsafe_cell(cell) for cell in cells]) for line, cells in below(tally))

    return bare


def _shown(encoding: str) -> str:
    return "-".join(encoding.upper().split("-")[:2]) if encoding.startswith("utf-") else encoding


def _zeros(file: str, count: int) -> list[str]:
    return [f"{file}: {count} zero bytes, each shown as {ZERO_SHOWN}"] if count else []


def _tried(store: Store, layout: Layout, plain: Plain) -> Plain | None:
    """Return the plain file, if the database reads as many rows as it has lines."""
    if not plain.quoted:
        return plain
    try:
        read = store.rows("queries/count_rows", **reading(layout, plain, numbered=False))
    except StoreError:
        return None
    return plain if read[0]["rows_read"] == plain.rows else None


def _delimiter(header: str, mapping: Mapping) -> str:
    """Return the delimiter under which the header names most columns, then gives most cells."""
    known = {name.strip().lower() for name in (*COLUMN_NAMES, *mapping.columns)}
    if mapping.wide:
        known |= {name.lower() for name in mapping.wide.names()}

    def fit(delimiter: str) -> tuple[int, int]:
        cells = split_line(header, delimiter)
        return sum(cell.strip().lower() in known for cell in cells), len(cells)

    return max(DELIMITERS, key=fit)


def _cells_of_text(path: Path, delimiter: str) -> Callable[[str], str]:
    def cell(reference: str) -> str:
        row, column = place(reference)
        lines, found = lines_before(path, row + 1)
        cells = split_line(lines[-1], delimiter) if found == row + 1 else []
        return cells[column].strip() if column < len(cells) else ""

    return cell


def _of_book(file: Path, mapping: Mapping, kind: str | None) -> list[Source]:
    sha256 = scan_bytes(file)
    found = tabs(file)
    wanted = mapping.file.sheet
    chosen = [tab for tab in found if wanted in (None, "*", tab.name)]
    if not chosen:
        names = ", ".join(repr(tab.name) for tab in found) or "none with anything in it"
        raise LogError(
            f"{file}: there is no tab {wanted!r}" if wanted else f"{file}: the workbook is empty",
            f"its tabs: {names}",
        )
    taken: list[Source] = []
    passed: list[str] = []
    fault: LogError | None = None
    for tab in chosen:
        try:
            taken.append(_of_tab(file, tab, mapping, kind, sha256))
        except LogError as error:
            if wanted != "*":
                raise
            passed.append(tab.name)
            fault = error
    if fault is not None and not taken:
        raise fault
    if passed:
        said = f"{file.name}: passed over {', '.join(passed)} (no such header)"
        first = taken[0]
        taken[0] = Source(**{**first.__dict__, "said": (*first.said, said)})
    return taken


def _of_tab(file: Path, tab: Tab, mapping: Mapping, kind: str | None, sha256: str) -> Source:
    name = f"{file.name} [{tab.name}]"
    at = mapping.file.header_row
    header = next((cells for line, cells in tab.rows(".") if line == at), None)
    if header is None:
        raise LogError(
            f"{name}: row {at} holds no header", "say where it stands: [file] header_row = 2"
        )

    def below(tally: Tally) -> Iterator[Numbered]:
        return tab.rows(mapping.decimal, after=at, tally=tally)

    return Source(
        name,
        sha256,
        lay_out(header, mapping, kind, name),
        mapping,
        below,
        at + 1,
        constant=constants(mapping, tab.name, tab.cell),
    )


def _of_parquet(
    store: Store, file: Path, mapping: Mapping, kind: str | None, folder: Path
) -> Source:
    sha256 = scan_bytes(file)
    copy = folder / f"{len(list(folder.iterdir()))}.csv"
    try:
        store.run("queries/parquet_to_text", path=str(file), text=str(copy))
    except StoreError as error:
        raise LogError(
            f"{file}: cannot be read as Parquet ({str(error).splitlines()[0]})", "write it again"
        ) from error
    seen, said = scan(copy), list[str]()
    if seen.zeros:
        said = _zeros(file.name, seen.zeros)
        copy = as_utf8(copy, "utf-8", folder)
        seen = scan(copy)
    header = next(rows(copy, ",", file.name), (1, list[str]()))[1]
    layout = lay_out(header, mapping, kind, file.name)

    def below(tally: Tally) -> Iterator[Numbered]:
        return enumerate(
            (cells for _, cells in rows(copy, ",", file.name, after=1, tally=tally)), 1
        )

    plain = None
    if not (layout.wide or mapping.file.skip or mapping.file.fill_down) and seen.plain:
        plain = _tried(store, layout, Plain.seen(copy, ",", 1, seen))
    constant = constants(mapping, file.stem, lambda reference: "")
    return Source(file.name, sha256, layout, mapping, below, 1, plain, constant, tuple(said))


def scan_bytes(file: Path) -> str:
    """Return the sha256 of a file that is no text; an empty one is refused."""
    with file.open("rb") as opened:
        digest = hashlib.file_digest(opened, "sha256").hexdigest()
    if file.stat().st_size == 0:
        raise LogError(f"{file}: the file is empty", "export it again, or leave it out")
    return digest
