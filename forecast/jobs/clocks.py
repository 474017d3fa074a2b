<<<<<<< HEAD
"""Clocks that do not count hours: how far cycles, metres and tonnes go in a running hour.

The plan and the running log tell hours ahead; ages, limits of age and laws of a part type stand on
its own clock. The two meet here, and nowhere else.
"""
=======
"""Clocks that count no hours: what cycles, metres or tonnes come to in the running hours ahead."""
>>>>>>> integrate

from __future__ import annotations

import numpy as np
<<<<<<< HEAD

from forecast.planning.fleet import Paces
from forecast.records.snapshot import Snapshot


def paces_of(snapshot: Snapshot) -> Paces:
    """Return what each part type's clock counts in a running hour of each machine.

    Only clocks that do not count hours are there; NaN where neither a meter nor the fleet tells.
=======
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


def is_counted(snapshot: Snapshot, fitted: pd.DataFrame) -> np.ndarray:
    """Return whether it is known how fast the clock of each row of ``fitted`` will run."""
    others = _others(snapshot)
    unknown = others[~(others["per_hour"] > 0)]
    lost = set(zip(unknown["machine"].astype(str), unknown["part_type"].astype(str), strict=True))
    names = zip(fitted["machine"].astype(str), fitted["part_type"].astype(str), strict=True)
    return np.array([name not in lost for name in names], dtype=bool)


def clocks_said(snapshot: Snapshot) -> list[Row]:
    """Return rows of ``assumed``: how the hours ahead count on other clocks, and what is left out.
>>>>>>> integrate

    Parameters
    ----------
    snapshot
        What is known.
    """
<<<<<<< HEAD
    told = snapshot.pace[snapshot.pace["clock"] != "hours"]
    columns = (told["machine"], told["part_type"], told["per_hour"])
    return {
        (str(machine), str(name)): float(pace) if pace == pace and pace is not None else np.nan
        for machine, name, pace in zip(*columns, strict=True)
    }


def clocks_of(snapshot: Snapshot) -> dict[str, str]:
    """Return the name of each part type's clock.

    Parameters
    ----------
    snapshot
        What is known.
    """
    named = zip(snapshot.part_types["part_type"], snapshot.part_types["clock"], strict=True)
    return {str(name): str(clock) for name, clock in named if isinstance(clock, str)}


def clocks_said(snapshot: Snapshot) -> list[tuple[str, str, str, str]]:
    """Return what is assumed about such clocks ahead, one row a part type, and what is left out.

    Parameters
    ----------
    snapshot
        What is known.
    """
    paces = paces_of(snapshot)
    in_service = set(zip(snapshot.fitted["machine"], snapshot.fitted["part_type"], strict=True))
    clock_of = clocks_of(snapshot)
    rows = []
    for name in sorted({part for _, part in paces}):
        mine = {
            at: pace
            for (at, part), pace in paces.items()
            if (at, part) in in_service and part == name
        }
        known = [pace for pace in mine.values() if pace == pace]
        lacking = sorted(at for at, pace in mine.items() if pace != pace)
        clock = clock_of.get(name, "its clock")
        if known:
            low, high = min(known), max(known)
            many = f"{low:.4g}" if high - low < 0.005 * high else f"{low:.4g}-{high:.4g}"
            rows.append(
                (
                    f"{name}: {clock} in a running hour",
                    many,
                    "as counted or stated so far",
                    "turns the hours ahead into its clock",
                )
            )
        if lacking:
            rows.append(
                (
                    f"{name}: left out",
                    ", ".join(lacking),
                    f"nothing tells its {clock} in an hour",
                    "adds nothing to demand",
                )
            )
=======
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
>>>>>>> integrate
    return rows
