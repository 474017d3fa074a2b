"""Clocks that do not count hours: how far cycles, metres and tonnes go in a running hour.

The plan and the running log tell hours ahead; ages, limits of age and laws of a part type stand on
its own clock. The two meet here, and nowhere else.
"""

from __future__ import annotations

import numpy as np

from forecast.planning.fleet import Paces
from forecast.records.snapshot import Snapshot


def paces_of(snapshot: Snapshot) -> Paces:
    """Return what each part type's clock counts in a running hour of each machine.

    Only clocks that do not count hours are there; NaN where neither a meter nor the fleet tells.

    Parameters
    ----------
    snapshot
        What is known.
    """
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
    return rows
