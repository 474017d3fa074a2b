"""Results as sheets: a CSV file a result, one workbook of all, and the forms people fill in."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from forecast.records.acting import ACTING, safe_cell, unsafe_cell
from forecast.records.season import SeasonForecast
from reports import words
from reports.cells import cell
from reports.files import write_whole
from reports.sections import taken_again
from reports.workbook import Sheet, workbook_bytes

__all__ = [
    "ACTING",
    "cell",
    "pick_lists",
    "safe_cell",
    "unsafe_cell",
    "write_books",
    "write_csv",
    "write_dicts",
    "write_rows",
    "write_xlsx",
]

FIRST: Final = ("purchases", "to_change", "pick_lists", "overhaul", "season_totals", "demand")
"""What a planner opens the workbook for stands first; every other result follows."""


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


def write_xlsx(forecast: SeasonForecast, path: Path) -> Path:
    """Write a forecast as one workbook: a sheet a result under its name, and the pick lists.

    Parameters
    ----------
    forecast
        A whole forecast.
    path
        An older file of that name is replaced.

    Returns
    -------
    Path
        ``path``.
    """
    frames = {**forecast.tables(), "pick_lists": pick_lists(forecast)}
    order = [*FIRST, *(name for name in frames if name not in FIRST)]
    about = _about(forecast)
    sheets = [_sheet("about", about)] + [_sheet(name, frames[name]) for name in order]
    return write_whole(path, workbook_bytes(sheets, forecast.stamp.plan_name))


def pick_lists(forecast: SeasonForecast) -> pd.DataFrame:
    """Return what to take from the store for each window.

    Returns
    -------
    pandas.DataFrame
        A row a window, part type and sort of work. ``quantity`` is what is expected, ``take`` what
        is enough in 19 of 20 windows: the machines' upper margins are added as independent ones
        (root of the sum of squares), since it is not every machine's bad day at once. ``on_shelf``
        is what the shelf is expected to hold then; sets of a size stand apart from loose pieces.
    """
    columns = ["window", "part_type", "what", "machines", "quantity", "take", "on_shelf"]
    rows = []
    listed = forecast.results["to_change"]
    sized = listed["because"] == "size"
    work = listed.assign(what=["set, size change" if size else "piece" for size in sized])
    for (window, part, what), own in work.groupby(["window", "part_type", "what"], sort=True):
        expected = own["quantity"].astype(float)
        margin = (own["quantity_high"].astype(float) - expected).clip(lower=0).fillna(0.0)
        take = math.ceil(expected.sum() + math.sqrt(float((margin**2).sum())) - 1e-9)
        shelf = own["on_shelf"].sum() if what != "piece" else own["on_shelf"].iloc[0]
        machines = own["machine"].nunique()
        rows.append((window, part, what, machines, expected.sum(), take, shelf))
    return pd.DataFrame(rows, columns=columns)


def write_rows(columns: Sequence[str], rows: Iterable[Sequence[object]], path: Path) -> Path:
    """Write rows as one CSV file: UTF-8, comma, decimal point, ISO dates, defused cells.

    Lines end as RFC 4180 has them; so a carriage return within a cell is quoted.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([safe_cell(name) for name in columns])
    writer.writerows([cell(value) for value in row] for row in rows)
    return write_whole(path, text.getvalue().encode())


def write_dicts(rows: Sequence[Mapping[str, object]], path: Path, *, foot: str = "") -> Path:
    """Write rows given as mappings with equal keys: CSV, or a workbook if ``path`` ends in .xlsx.

    Parameters
    ----------
    rows
        In order.
    path
        Its ending decides the format.
    foot
        A line under every printed page of a workbook; no cell, so that the sheet imports back.
    """
    columns = list(rows[0]) if rows else []
    values = ([row[name] for name in columns] for row in rows)
    if path.suffix.lower() == ".xlsx":
        sheet = Sheet(path.stem, columns, values, foot)
        return write_whole(path, workbook_bytes([sheet], path.stem))
    return write_rows(columns, values, path)


def write_books(
    sheets: Mapping[str, Sequence[Mapping[str, object]]], path: Path, *, foot: str = ""
) -> Path:
    """Write several forms as the tabs of one workbook, each with the columns of its log.

    Parameters
    ----------
    sheets
        Rows with equal keys, by the name of the tab.
    path
        An older file of that name is replaced.
    foot
        A line under every printed page.
    """
    tabs = []
    for name, rows in sheets.items():
        columns = list(rows[0]) if rows else []
        tabs.append(Sheet(name, columns, [[row[key] for key in columns] for row in rows], foot))
    return write_whole(path, workbook_bytes(tabs, path.stem))


def _sheet(name: str, frame: pd.DataFrame) -> Sheet:
    return Sheet(name, [str(column) for column in frame.columns], frame.itertuples(index=False))


def _about(forecast: SeasonForecast) -> pd.DataFrame:
    """Say which forecast this is, so that a sheet passed on can be traced."""
    season = [
        ("season", forecast.stamp.plan_name),
        ("from", words.day(forecast.season_from, year=True)),
        ("until", words.day(forecast.season_until, year=True)),
        ("currency", forecast.currency),
    ]
    return pd.concat(
        [pd.DataFrame(season, columns=["what", "value"]), taken_again(forecast)],
        ignore_index=True,
    )
