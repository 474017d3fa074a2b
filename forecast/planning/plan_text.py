"""The plan file as text: where each key stands, and ``--set`` applied to the text."""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from typing import Any

Path = tuple[str | int, ...]
"""Keys from the top of the document, with the number of the entry in an array of tables."""


@dataclass(frozen=True)
class Span:
    """First and last line (from 1) of one assignment or table header."""

    first: int
    last: int


def find_keys(text: str) -> dict[Path, Span]:
    """Find where each table and key of a TOML text stands.

    Parameters
    ----------
    text
        A text that ``tomllib`` reads.

    Returns
    -------
    dict
        Span by path: ``("season", "end")``, ``("down", 0, "machine")``.
    """
    lines = text.splitlines()
    spans: dict[Path, Span] = {}
    table: Path = ()
    number = 0
    while number < len(lines):
        line = lines[number].strip()
        last = number
        if line.startswith("["):
            table = _table(line, spans)
            spans.setdefault(table, Span(number + 1, number + 1))
        elif line and not line.startswith("#"):
            last = _end(lines, number)
            span = Span(number + 1, last + 1)
            inner: Path = table
            for key in _keys(_before_equals(lines[number])):
                inner = (*inner, key)
                spans.setdefault(inner, span)
        number = last + 1
    return spans


def line_of(spans: dict[Path, Span], path: Path) -> int:
    """Return the line of a path, or of the nearest table around it; 1 where there is none."""
    for end in range(len(path), 0, -1):
        if path[:end] in spans:
            return spans[path[:end]].first
    return 1


def apply_setting(text: str, setting: str) -> str:
    """Apply one ``KEY=VALUE`` to the text of a plan.

    Parameters
    ----------
    text
        A text that ``tomllib`` reads.
    setting
        One line of TOML; a value that is no TOML is taken as text.

    Returns
    -------
    str
        The text with the key's line replaced, or added to its table.

    Raises
    ------
    ValueError
        If `setting` is no ``KEY=VALUE``, or names an entry of an array of tables.
    """
    key = _before_equals(setting)
    value = setting[len(key) + 1 :].strip()
    if len(key) == len(setting) or not value or "\n" in setting:
        raise ValueError(f"{setting!r} is not KEY=VALUE, such as season.end=2027-11-22")
    try:
        path = _keys(key)
    except tomllib.TOMLDecodeError:
        raise ValueError(f"{key.strip()!r} is not a key, such as season.end") from None
    spans = find_keys(text)
    for end in range(1, len(path) + 1):
        if (*path[:end], 0) in spans:
            raise ValueError(f"{key.strip()!r}: [[{path[end - 1]}]] has several entries; edit them")
    lines = text.splitlines()
    if path in spans:
        span = spans[path]
        if lines[span.first - 1].lstrip().startswith("["):
            raise ValueError(f"{key.strip()!r} is a table, not a value")
        name = _before_equals(lines[span.first - 1]).strip()
        lines[span.first - 1 : span.last] = [f"{name} = {_value(value)}"]
    else:
        _add(lines, spans, path, _value(value))
    return "\n".join(lines) + "\n"


def _add(lines: list[str], spans: dict[Path, Span], path: tuple[str, ...], value: str) -> None:
    """Add a key to its table, which is made where it is missing."""
    table, name = path[:-1], _quoted(path[-1])
    header = spans.get(table)
    if table and header and lines[header.first - 1].lstrip().startswith("["):
        lines.insert(header.last, f"{name} = {value}")
    elif table:
        lines += [f"[{'.'.join(map(_quoted, table))}]", f"{name} = {value}"]
    else:
        lines.insert(0, f"{name} = {value}")


def _value(text: str) -> str:
    """Return a value as TOML: as it stands, or as text."""
    try:
        tomllib.loads(f"value = {text}")
    except tomllib.TOMLDecodeError:
        return json.dumps(text, ensure_ascii=False)
    return text


def _quoted(key: str) -> str:
    bare = key.isascii() and key.replace("-", "a").replace("_", "a").isalnum()
    return key if bare else json.dumps(key, ensure_ascii=False)


def _before_equals(line: str) -> str:
    """Return what stands before the first ``=`` outside quotes."""
    quote = ""
    for place, letter in enumerate(line):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "=":
            return line[:place]
    return line


def _keys(key: str) -> tuple[str, ...]:
    """Return the names of a dotted key."""
    found: Any = tomllib.loads(f"{key.strip()} = 0")
    names = []
    while isinstance(found, dict):
        ((name, found),) = found.items()
        names.append(name)
    return tuple(names)


def _table(line: str, spans: dict[Path, Span]) -> Path:
    """Return the path of a header; entries of arrays of tables are numbered."""
    found: Any = tomllib.loads(line)
    path: Path = ()
    while found:
        entries = isinstance(found, list)
        found = found[0] if entries else found
        if entries:
            number = 0
            while (*path, number) in spans:
                number += 1
            path = (*path, number)
        if not found:
            break
        ((name, found),) = found.items()
        path = (*path, name)
    return path


def _end(lines: list[str], first: int) -> int:
    """Return the number of the line at which an assignment ends."""
    for last in range(first, len(lines)):
        try:
            tomllib.loads("\n".join(lines[first : last + 1]))
        except tomllib.TOMLDecodeError:
            continue
        return last
    return first
