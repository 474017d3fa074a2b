"""What the report draws beside the results: wear paths with their future, days, versions."""

from __future__ import annotations

import importlib.metadata
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.jobs.clocks import clock_pace
from forecast.jobs.fits import Fits
from forecast.jobs.laws import InService
from forecast.planning.calendar import Calendar
from forecast.planning.seeds import generator
from forecast.records.season import EXHIBITS
from forecast.records.snapshot import Snapshot

Array = npt.NDArray[np.float64]

STEPS: Final = 9
"""Points of a path ahead of its last reading."""

COMPUTING: Final = ("wearahead", "numpy", "scipy", "pandas", "duckdb")
"""Whose versions can change a number."""


def versions() -> str:
    """Return this program's version and those of the libraries that compute."""
    return " ".join(f"{name} {importlib.metadata.version(name)}" for name in COMPUTING)


def wear_paths(
    snapshot: Snapshot, fits: Fits, service: InService, calendar: Calendar, seed: int
) -> pd.DataFrame:
    """Return readings and the path ahead of the pieces nearest their limit.

    Parameters
    ----------
    snapshot, fits, service
        What is known, fitted, and in service.
    calendar
        Running hours ahead, by machine and day.
    seed
        Of the forecast.

    Returns
    -------
    pandas.DataFrame
        Columns of ``EXHIBITS["wear_paths"]``: readings, then the depth ahead (median and 90 %
        band) to the end of the season.
    """
    limits = snapshot.part_types.set_index("part_type")["wear_limit_mm"].astype(float)
    columns = list(EXHIBITS["wear_paths"])
    known = snapshot.paths.assign(kind="reading", low=np.nan, high=np.nan)
    known["limit_mm"] = known["part_type"].map(limits)
    frames = [known[columns]] if len(known) else []
    pace = clock_pace(snapshot)
    rows_of = {str(piece): row for row, piece in enumerate(service.fitted["piece"])}
    for (name, piece), part in known.groupby(["part_type", "piece"], sort=True):
        row = rows_of.get(str(piece))
        if row is None:
            continue
        found = service.fitted.iloc[row]
        key = (str(name), str(found["duty_group"]))
        if key not in service.rates or service.own[row] < 0:
            continue
        machine = str(found["machine"])
        hours = calendar.hours[calendar.machines.index(machine)] * pace.get((machine, key[0]), 1.0)
        ahead, days = _steps(hours)
        path = fits.wear_fits[key].path(
            service.rates[key],
            str(piece),
            service.ran[row],
            ahead,
            generator(seed, *key, str(piece)),
        )
        at = [pd.Timestamp(calendar.as_of if day < 0 else calendar.days[day]) for day in days]
        frames.append(
            pd.DataFrame(
                {
                    "part_type": name,
                    "piece": piece,
                    "machine": found["machine"],
                    "position": part["position"].iloc[0],
                    "kind": "ahead",
                    "at": at,
                    "age": float(found["age"]) + ahead,
                    "wear_mm": path["median"],
                    "low": path["low"],
                    "high": path["high"],
                    "limit_mm": limits[str(name)],
                }
            )[columns]
        )
    if not frames:
        return pd.DataFrame(columns=columns)
    table = pd.concat(frames, ignore_index=True)
    return table.sort_values(
        ["part_type", "piece", "kind", "at"],
        ascending=[True, True, False, True],
        kind="stable",
        ignore_index=True,
    )


def _steps(hours: Array) -> tuple[Array, list[int]]:
    """Hours ahead at some days of the season, and their index (-1: the day of the forecast)."""
    run = np.concatenate([[0.0], np.cumsum(hours)])
    at = np.unique(np.linspace(0, run.size - 1, STEPS).round().astype(int))
    return run[at], [int(day) - 1 for day in at]


def season_days(calendar: Calendar) -> pd.DataFrame:
    """Return the days of the season's figures: ``day``, and whether it lies ahead."""
    days = [calendar.as_of, *calendar.days]
    return pd.DataFrame(
        {"day": days, "ahead": [day > calendar.as_of for day in days]},
        columns=list(EXHIBITS["season_days"]),
    )


def assumed(fits: Fits, service: InService) -> pd.DataFrame:
    """Return everything that was assumed, the season's law first."""
    extra = pd.DataFrame(list(service.assumed), columns=fits.assumed.columns)
    parts = [frame for frame in (fits.assumed, extra) if len(frame)]
    return pd.concat(parts, ignore_index=True) if parts else fits.assumed
