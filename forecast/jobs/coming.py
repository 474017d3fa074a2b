"""The coming window of a kept forecast: what to change in it, and what to measure.

Eyes choose the worst: of a set whose positions nobody tells apart, positions drawn by lot are to be
measured on the machines that are opened anyway, so that the sample shows the whole set.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore
from forecast.planning.seeds import generator
from forecast.records.season import STUDIES, SeasonForecast
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.seasons import load_season
from forecast.store.snapshots import take_snapshot

LOTS: Final = 5
"""Positions drawn by lot in one set; ten machines give fifty readings of a part type."""


@dataclass(frozen=True, eq=False)
class Coming:
    """The coming window.

    Attributes
    ----------
    forecast
        The whole forecast it is taken from.
    window
        Its day.
    to_change
        The rows of the change-out list of that day.
    to_measure
        The result ``to_measure``: positions drawn by lot.
    to_log
        ``to_change`` as the change-out log asks for it: with ``kit`` and ``action``, a size change
        as two rows, the kit that comes off and the one that goes on.
    """

    forecast: SeasonForecast
    window: date
    to_change: pd.DataFrame
    to_measure: pd.DataFrame
    to_log: pd.DataFrame


def coming_window(address: str, number: int | None = None) -> Coming:
    """Return the first window of a kept forecast with work in it.

    Parameters
    ----------
    address
        The store.
    number
        The forecast's; None: the latest.

    Raises
    ------
    NotInStore
        If there is no such forecast, or no window of it has work.
    """
    with open_store(address) as store:
        forecast = load_season(store, number)
        snapshot = take_snapshot(store, forecast.stamp.as_of)
    listed = forecast.results["to_change"]
    if not len(listed):
        raise NotInStore(
            f"no window of forecast {forecast.number} has work: nothing comes due in it",
            "Forecast from a later day, or give the plan [windows] with weekly and crew_hours.",
        )
    window = listed["window"].min()
    rows = listed[listed["window"] == window].reset_index(drop=True)
    day = pd.Timestamp(window).date()
    seed = forecast.stamp.seed
    drawn = to_measure(snapshot, sorted(set(rows["machine"])), day, seed)
    return Coming(forecast, day, rows, drawn, _to_log(snapshot, rows))


def _to_log(snapshot: Snapshot, rows: pd.DataFrame) -> pd.DataFrame:
    kits = snapshot.fitted[snapshot.fitted["kit"].notna() & (snapshot.fitted["kit"] != "")]
    found: list[dict[Hashable, object]] = []
    for row in rows.to_dict("records"):
        if row["because"] != "size":
            found.append({**row, "kit": None, "action": "replaced"})
            continue
        here = kits[(kits["machine"] == row["machine"]) & (kits["place"] == row["place"])]
        on = here[here["in_place"].astype(bool)].drop_duplicates("kit")
        shelf = here[~here["in_place"].astype(bool) & (here["part_type"] == row["part_type"])]
        found += [
            {**row, "part_type": part, "kit": kit, "action": "removed"}
            for part, kit in zip(on["part_type"], on["kit"], strict=True)
        ]
        kit = min(map(str, shelf["kit"]), default=None)
        found.append({**row, "kit": kit, "action": "fitted"})
    return pd.DataFrame(found)


def to_measure(
    snapshot: Snapshot, machines: list[str], day: date, seed: int, lots: int = LOTS
) -> pd.DataFrame:
    """Draw by lot which positions to measure in sets whose positions nobody tells apart.

    Parameters
    ----------
    snapshot
        What is in service.
    machines
        Those that are opened in the window.
    day
        The window's; another one draws other positions.
    seed
        Of the forecast.
    lots
        Positions of one set.

    Returns
    -------
    pandas.DataFrame
        machine, place, position, part_type: in the order of the walk.
    """
    limits = snapshot.part_types.set_index("part_type")["wear_limit_mm"]
    here = snapshot.fitted[
        snapshot.fitted["machine"].isin(machines) & snapshot.fitted["in_place"].astype(bool)
    ]
    loose = here[here["position"].isna() | (here["position"] == "")]
    rows: list[dict[Hashable, object]] = []
    for (machine, place, part_type), own in loose.fillna({"place": ""}).groupby(
        ["machine", "place", "part_type"], sort=True
    ):
        pieces = int(own["quantity"].sum())
        if pieces < 1 or pd.isna(limits.get(part_type, np.nan)):
            continue
        rng = generator(seed, "lots", str(machine), str(place), str(part_type), day.isoformat())
        drawn = np.sort(rng.choice(pieces, min(lots, pieces), replace=False)) + 1
        rows += [
            {"machine": machine, "place": place, "position": str(at), "part_type": part_type}
            for at in drawn
        ]
    return pd.DataFrame(rows, columns=list(STUDIES["to_measure"]))
