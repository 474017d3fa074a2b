"""The bytes of a text file: its digest, encoding, lines and delimiter."""

from __future__ import annotations

import codecs
import csv
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from forecast.errors import LogError

CHUNK: Final = 1 << 20
DELIMITERS: Final = (",", ";", "\t", "|")
MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
"""Byte order marks and what they say; UTF-32 before UTF-16, whose mark it begins with."""

LONGEST_CELL: Final = 1 << 24

ZERO_SHOWN: Final = "\u2400"
"""What stands for a zero byte of a text: no log, no terminal and no sheet takes one as it is."""

Numbered = tuple[int, list[str]]
"""The line on which a row begins, and its cells."""


@dataclass
class Tally:
    """Lines that are no rows: blank ones, and those a mapping skips."""

    blank: int = 0
    skipped: int = 0


@dataclass(frozen=True)
class Scan:
    """What the bytes of a file show.

    Attributes
    ----------
    sha256
        Of the file as it is.
    encoding
        To read it with: stated, marked, ``utf-8``, or ``cp1252`` where it cannot be UTF-8.
    lines
        How many lines it has.
    plain
        It is UTF-8 and every line ends alike, so that lines can be told apart by counting.
    quoted
        It holds a double quote.
    odd_blanks
        It holds tabs or hard spaces.
    zeros
        How many zero bytes it holds, where its encoding has none in a text.
    newline
        What every line of a plain file ends with.
    """

    sha256: str
    encoding: str
    lines: int
    plain: bool
    quoted: bool
    odd_blanks: bool
    zeros: int = 0
    newline: str = "\n"


def scan(path: Path, stated: str | None = None) -> Scan:
    """Read a file once and say what its bytes show.

    Parameters
    ----------
    path
        The file.
    stated
        The encoding, where a mapping states it.

    Raises
    ------
    LogError
        If it is empty, cannot be read, or is no text.
    """
    digest = hashlib.sha256()
    decoder = codecs.getincrementaldecoder("utf-8")()
    utf8, quoted, odd = True, False, False
    feeds = returns = pairs = zeros = 0
    first = last = b""
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            if chunk.endswith(b"\r"):
                chunk += file.read(1)
            digest.update(chunk)
            first = first or chunk
            last = chunk[-1:]
            zeros += chunk.count(b"\0")
            quoted = quoted or b'"' in chunk
            odd = odd or b"\t" in chunk or b"\xa0" in chunk
            feeds += chunk.count(b"\n")
            returns += chunk.count(b"\r")
            pairs += chunk.count(b"\r\n") if returns else 0
            utf8 = utf8 and _decodes(decoder, chunk)
    if not last:
        raise LogError(f"{path}: the file is empty", "export it again, or leave it out")
    utf8 = utf8 and _decodes(decoder, b"", final=True)
    encoding = stated or _marked(first) or _wide(first) or ("utf-8" if utf8 else "cp1252")
    if encoding.lower().replace("_", "-").startswith(("utf-16", "utf-32", "utf16", "utf32")):
        zeros = 0
    if zeros and b"\0" in first.split(b"\n", 1)[0]:
        raise LogError(
            f"{path}: the file is no text (its first line holds zero bytes)",
            'save it as CSV in UTF-8, or say in a mapping: [file] encoding = "utf-16-le"',
        )
    alike = returns == 0 or returns == pairs == feeds
    ends = feeds if feeds else returns
    return Scan(
        sha256=digest.hexdigest(),
        encoding=encoding,
        lines=ends + (last not in (b"\n", b"\r")),
        plain=alike and utf8 and encoding in ("utf-8", "utf-8-sig"),
        quoted=quoted,
        odd_blanks=odd,
        zeros=zeros,
        newline="\r\n" if returns else "\n",
    )


def as_utf8(path: Path, encoding: str, folder: Path) -> Path:
    """Return a UTF-8 copy of a file in ``folder``: its lines as they are, zero bytes shown."""
    copy = folder / "text.csv"
    try:
        with (
            path.open(encoding=encoding, newline="") as old,
            copy.open("w", encoding="utf-8", newline="") as new,
        ):
            while chunk := old.read(CHUNK):
                new.write(chunk.replace("\0", ZERO_SHOWN))
    except LookupError as error:
        raise LogError(
            f"{path}: unknown encoding {encoding!r}", 'for example: encoding = "cp1252"'
        ) from error
    except UnicodeError as error:
        raise LogError(
            f"{path}: cannot be read as {encoding} ({error})",
            'say in a mapping what it is: [file] encoding = "..."',
        ) from error
    return copy


def lines_before(path: Path, count: int) -> tuple[list[str], int]:
    """Return the first ``count`` lines of a UTF-8 file, and how many there were."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            lines = [line for _, line in zip(range(count), file, strict=False)]
    except UnicodeError as error:
        raise LogError(
            f"{path}: cannot be read as UTF-8 ({error})",
            'say in a mapping what it is: [file] encoding = "cp1252"',
        ) from error
    return lines, len(lines)


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line."""
    try:
        return next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter), [])
    except csv.Error:
        return [line]


def rows(
    path: Path, delimiter: str, shown: str, *, after: int = 0, tally: Tally | None = None
) -> Iterator[Numbered]:
    """Yield every row of a UTF-8 file that is not blank, with the line on which it begins.

    Parameters
    ----------
    path
        The file.
    delimiter
        Between cells.
    shown
        The name for messages.
    after
        Rows that begin on a later line.
    tally
        Where blank lines are counted.
    """
    csv.field_size_limit(LONGEST_CELL)
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.reader(file, delimiter=delimiter, strict=True)
        line = 1
        try:
            for cells in reader:
                if line > after and any(cell.strip() for cell in cells):
                    yield line, cells
                elif line > after and tally is not None:
                    tally.blank += 1
                line = reader.line_num + 1
        except (csv.Error, UnicodeError) as error:
            raise LogError(
                f"{shown}, line {line}: the row cannot be read ({error})",
                "look for a quote that is opened and never closed, or write it twice",
            ) from error


def _decodes(decoder: codecs.IncrementalDecoder, chunk: bytes, *, final: bool = False) -> bool:
    if chunk.isascii() and not decoder.getstate()[0]:
        return True
    try:
        decoder.decode(chunk, final)
    except UnicodeDecodeError:
        return False
    return True


def _marked(first: bytes) -> str | None:
    return next((encoding for mark, encoding in MARKS if first.startswith(mark)), None)


def _wide(first: bytes) -> str | None:
    """Tell UTF-16 without a mark by its header: every other byte of it is zero."""
    begin = first[:64]
    even, odd = begin[::2], begin[1::2]
    if len(odd) < 4:
        return None
    if odd.count(0) * 10 >= len(odd) * 9 and 0 not in even:
        return "utf-16-le"
    return "utf-16-be" if even.count(0) * 10 >= len(even) * 9 and 0 not in odd else None
