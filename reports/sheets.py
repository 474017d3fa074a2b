"""Results as sheets: one CSV file a result, with cells that cannot act.

A spreadsheet takes a text that begins with one of ``= + - @``, a tab or a carriage return as
something to run. :func:`safe_cell` puts an apostrophe before it, :func:`unsafe_cell` takes exactly
that mark off again, so that an exported file can be imported as it was.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Final

from forecast.records.season import SeasonForecast
from reports.files import write_whole

ACTING: Final = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(text: str) -> str:
    """Defuse a text that a spreadsheet would run; numbers are left as they are.

    A text that already begins with apostrophes before such a sign gets one more, so that
    ``unsafe_cell(safe_cell(text)) == text`` for every text.
    """
    return f"'{text}" if text.lstrip("'").startswith(ACTING) and not _is_number(text) else text


def unsafe_cell(text: str) -> str:
    """Take off the mark of :func:`safe_cell`, and nothing else."""
    bare = text.removeprefix("'")
    return bare if bare != text and safe_cell(bare) == text else text


def write_csv(forecast: SeasonForecast, folder: Path) -> list[Path]:
    """Write every result of a forecast as a CSV file of its name.

    Parameters
    ----------
    forecast
        A whole forecast.
    folder
        Made if it is missing; files of the same names are replaced.

    Returns
    -------
    list of Path
        In the order of the results.
    """
    return [
        write_rows(list(table.columns), table.itertuples(index=False), folder / f"{name}.csv")
        for name, table in forecast.tables().items()
    ]


def write_rows(columns: Sequence[str], rows: Iterable[Sequence[object]], path: Path) -> Path:
    """Write rows as one CSV file: UTF-8, comma, decimal point, ISO dates, defused cells."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([safe_cell(name) for name in columns])
    writer.writerows([cell(value) for value in row] for row in rows)
    return write_whole(path, text.getvalue().encode())


def write_dicts(rows: Sequence[Mapping[str, object]], path: Path) -> Path:
    """Write rows given as mappings with equal keys."""
    columns = list(rows[0]) if rows else []
    return write_rows(columns, ([row[name] for name in columns] for row in rows), path)


def cell(value: object) -> str:
    """Write one value as the text of a CSV cell; empty for None and NaN."""
    if value is None or value != value:
        return ""
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        return value.date().isoformat()
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, str):
        return safe_cell(value)
    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else "no"
    amount = float(str(value))
    return f"{amount:.0f}" if amount.is_integer() and abs(amount) < 1e15 else repr(amount)


def _is_number(text: str) -> bool:
    """Say whether a spreadsheet reads the text as a plain finite number."""
    try:
        return math.isfinite(float(text)) and text == text.strip() and "_" not in text
    except ValueError:
        return False
