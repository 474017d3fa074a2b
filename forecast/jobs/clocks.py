"""Clocks that count no hours: what cycles, metres or tonnes come to in the running hours ahead."""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.records.snapshot import Snapshot

Row = tuple[str, str, str, str]
"""What, value, why, effect."""


def _others(snapshot: Snapshot) -> pd.DataFrame:
    """Return the rows of ``Snapshot.pace`` whose clock counts no hours."""
    pace = snapshot.pace
    return pace[pace["clock"].ne("hours")].assign(per_hour=pace["per_hour"].astype(float))


def clock_pace(snapshot: Snapshot) -> dict[tuple[str, str], float]:
    """Return what a part type's clock counts in a running hour, by machine and part type.

    Parameters
    ----------
    snapshot
        What is known.

    Returns
    -------
    dict
        Only of clocks other than hours of which it is known.
    """
    known = _others(snapshot)
    known = known[known["per_hour"] > 0]
    names = zip(known["machine"].astype(str), known["part_type"].astype(str), strict=True)
    return dict(zip(names, known["per_hour"].tolist(), strict=True))


def clock_unit(snapshot: Snapshot, part_type: str) -> str:
    """Return how a sentence names what a part type's clock counts: 'h', 'cycles', ..."""
    parts = snapshot.part_types
    clock = parts.loc[parts["part_type"].eq(part_type), "clock"].dropna()
    return "h" if clock.empty or clock.iloc[0] == "hours" else str(clock.iloc[0])


def is_counted(snapshot: Snapshot, fitted: pd.DataFrame) -> np.ndarray:
    """Return whether it is known how fast the clock of each row of ``fitted`` will run."""
    others = _others(snapshot)
    unknown = others[~(others["per_hour"] > 0)]
    lost = set(zip(unknown["machine"].astype(str), unknown["part_type"].astype(str), strict=True))
    names = zip(fitted["machine"].astype(str), fitted["part_type"].astype(str), strict=True)
    return np.array([name not in lost for name in names], dtype=bool)


def clocks_said(snapshot: Snapshot) -> list[Row]:
    """Return rows of ``assumed``: how the hours ahead count on other clocks, and what is left out.

    Parameters
    ----------
    snapshot
        What is known.
    """
    rows: list[Row] = []
    for name, own in _others(snapshot).groupby("part_type", sort=True):
        known, clock = own[own["per_hour"] > 0], str(own["clock"].iloc[0])
        if len(known):
            low, high = known["per_hour"].min(), known["per_hour"].max()
            span = f"{low:,.4g}" if high - low < 1e-6 * high else f"{low:,.4g} to {high:,.4g}"
            metered = int(known["metered"].astype(bool).sum())
            stated = len(known) - metered
            told = [f"meters of {metered} machines"] if metered else []
            told += [f"clock_per_hour of {stated} machines"] if stated else []
            value, effect = f"{span} {clock}", "turns the hours ahead into its clock"
            rows.append(
                (f"{name}: its clock counts in a running hour", value, "; ".join(told), effect)
            )
        lost = sorted(set(own["machine"].astype(str)) - set(known["machine"].astype(str)))
        if lost:
            some = ", ".join(lost[:5]) + (f" and {len(lost) - 5} more" if len(lost) > 5 else "")
            why = f"no meter counts its {clock} there, and the fleet states no clock_per_hour"
            rows.append((f"{name}: left out of the forecast", some, why, "no demand is counted"))
    return rows
