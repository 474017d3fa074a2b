"""Frames as rows of JSON and back: equal columns, types and values."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final

import pandas as pd

TYPES_ROW: Final = 0
"""Row number under which a frame's columns and types are kept; its rows count from 1."""

_NAMED: Final[Mapping[str, Callable[[str], object]]] = {
    "number": float,
    "decimal": Decimal,
    "date": date.fromisoformat,
    "datetime": datetime.fromisoformat,
    "time": pd.Timestamp,
}
"""What JSON has no word for is kept as an object of one key, and read back with this."""


def to_rows(frame: pd.DataFrame) -> Iterator[tuple[int, str]]:
    """Yield the row numbers and JSON texts of a frame: its types first, then its rows.

    Raises
    ------
    TypeError
        If a cell holds something that JSON cannot keep.
    """
    yield TYPES_ROW, json.dumps({str(name): str(kind) for name, kind in frame.dtypes.items()})
    columns = [_cells(frame.iloc[:, number]) for number in range(frame.shape[1])]
    for row, cells in enumerate(zip(*columns, strict=True), TYPES_ROW + 1):
        yield row, json.dumps(cells, ensure_ascii=False)


def from_rows(contents: Sequence[str]) -> pd.DataFrame:
    """Return the frame of JSON texts in the order of their row numbers.

    Parameters
    ----------
    contents
        The types first.
    """
    types: dict[str, str] = json.loads(contents[0])
    rows = [json.loads(content) for content in contents[1:]]
    cells = list(zip(*rows, strict=True)) if rows else [() for _ in types]
    return pd.DataFrame(
        {
            name: _column(values, kind)
            for (name, kind), values in zip(types.items(), cells, strict=True)
        },
        columns=list(types),
    )


def _cells(column: pd.Series[Any]) -> list[object]:
    if column.dtype.kind == "M":
        return [None if pd.isna(value) else value.isoformat() for value in column]
    return [_cell(value) for value in column.tolist()]


def _cell(value: object) -> object:
    """Return a value as JSON knows it."""
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return value if value - value == 0 else {"number": str(value)}
    if isinstance(value, (list, tuple)):
        return [_cell(item) for item in value]
    if hasattr(value, "item"):
        return _cell(value.item())
    named = (
        ("decimal", Decimal, str),
        ("time", pd.Timestamp, str),
        ("datetime", datetime, str),
        ("date", date, str),
    )
    if value is pd.NaT:
        return {"time": "NaT"}
    for name, kind, text in named:
        if isinstance(value, kind):
            return {name: text(value)}
    raise TypeError(f"a cell of type {type(value).__name__} cannot be kept: {value!r}")


def _column(values: Sequence[object], kind: str) -> pd.Series[Any]:
    if kind.startswith("datetime64"):
        times = [None if value is None else str(value) for value in values]
        return pd.Series(pd.to_datetime(pd.Series(times), format="ISO8601"), dtype=kind)
    column: pd.Series[Any] = pd.Series([_value(value) for value in values], dtype=object)
    return column.astype(pd.api.types.pandas_dtype(kind))


def _value(cell: object) -> object:
    if isinstance(cell, dict):
        ((name, text),) = cell.items()
        return _NAMED[name](text)
    if isinstance(cell, list):
        return [_value(item) for item in cell]
    return cell
