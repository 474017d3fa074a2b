"""Wear rates against duty and grade, over part types of one form: what the regression reads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from forecast.records.snapshot import Snapshot
from forecast.wear.rates import fit_wear_sums
from forecast.wear.regression import RateRegression, fit_log_rate
from forecast.wear.sums import cell_sums

TERMS: Final = ("log_pressure", "log_speed", "temperature", "medium", "grade", "size")
"""In this order: of two that can't be told apart, the earlier one is kept."""


def like_part_types(snapshot: Snapshot, part_type: str) -> tuple[str, ...]:
    """Return the part types of the same form and clock as one, itself included."""
    parts = snapshot.part_types
    own = parts[parts["part_type"] == part_type].iloc[0]
    if not own["form"]:
        return (part_type,)
    same = parts[(parts["form"] == own["form"]) & (parts["clock"] == own["clock"])]
    return tuple(same["part_type"].astype(str))


def rate_pieces(snapshot: Snapshot, part_types: Sequence[str]) -> pd.DataFrame:
    """Return one row a piece with readings: its sums, duty, grade and size.

    Season levels are taken out first: hours count as those of an average season.

    Parameters
    ----------
    snapshot
        What is known.
    part_types
        Whose pieces.

    Returns
    -------
    pandas.DataFrame
        ``piece``, ``machine``, ``position``, ``part_type``, ``grade``, ``size``, ``place``,
        ``medium``, ``pressure_mpa``, ``speed_m_s``, ``temperature_c``, ``gauge_sd_mm``, and the
        sums ``n``, ``sx``, ``sy``, ``syy``, ``sxx``, ``sxy`` (hours in thousands): what
        :func:`forecast.wear.regression.fit_log_rate` and ``rate_ratio`` take.
    """
    phases = snapshot.wear_seasons()
    seasons = list(phases)
    parts = snapshot.part_types
    gauges = dict(zip(parts["part_type"], parts["gauge_sd_mm"].astype(float), strict=True))
    sizes = dict(zip(parts["part_type"], parts["size"], strict=True))
    frames = []
    wanted = snapshot.wear[snapshot.wear["part_type"].isin(list(part_types))]
    for (name, _), rows in wanted.groupby(["part_type", "duty_group"], sort=True):
        own = snapshot.wear_cells[snapshot.wear_cells["piece"].isin(rows["piece"])]
        gauge = gauges[name]
        stated = None if np.isnan(gauge) else gauge
        fit = fit_wear_sums(rows, own, seasons, gauge_sd=stated, phases=phases)
        sums = cell_sums(rows, own, seasons)
        if not sums.seasons:
            continue
        lines = sums.along(fit.season_pace(sums.seasons))
        frames.append(
            pd.DataFrame(
                {
                    "piece": list(sums.pieces),
                    "n": lines.n,
                    "sx": lines.x,
                    "sy": lines.y,
                    "syy": lines.yy,
                    "sxx": lines.xx,
                    "sxy": lines.xy,
                }
            ).assign(size=str(sizes[name]), gauge_sd_mm=gauge)
        )
    columns = ["piece", "machine", "position", "part_type", "grade"]
    if not frames:
        return pd.DataFrame(columns=[*columns, "n", "sx", "sy", "syy", "sxx", "sxy"])
    told = wanted[columns].merge(pd.concat(frames), on="piece", sort=False)
    return told.merge(snapshot.wear_duties, on="piece", how="left", sort=False)


def rate_law(snapshot: Snapshot, part_type: str) -> RateRegression | None:
    """Fit the log wear rate of a part type's form to duty and grade.

    Returns
    -------
    RateRegression or None
        None where nothing varies that the readings could tell, or there are too few of them.
    """
    pieces = rate_pieces(snapshot, like_part_types(snapshot, part_type))
    terms = [name for name in TERMS if _varies(pieces, name)]
    if not terms or len(pieces) < 10:
        return None
    gauges = pieces["gauge_sd_mm"].astype(float).dropna()
    gauge = float(np.sqrt((gauges**2).mean())) if len(gauges) else None
    try:
        return fit_log_rate(pieces, " + ".join(terms), gauge_sd=gauge)
    except ValueError:
        return None


def _varies(pieces: pd.DataFrame, name: str) -> bool:
    column = {
        "log_pressure": "pressure_mpa",
        "log_speed": "speed_m_s",
        "temperature": "temperature_c",
    }.get(name, name)
    if column not in pieces.columns:
        return False
    return bool(pieces[column].notna().all()) and len(set(pieces[column])) > 1
