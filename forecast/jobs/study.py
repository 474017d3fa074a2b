"""The questions asked between seasons: how fast does it wear, how long does it last."""

from __future__ import annotations

import pandas as pd

from forecast.jobs.duty import specific_wear
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.names import known_part_type
from forecast.jobs.rate_law import rate_law
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot


def wear(address: str, part_type: str | None = None) -> pd.DataFrame:
    """Return the wear rates of every part type and duty group, or of one part type.

    Parameters
    ----------
    address
        The store.
    part_type
        None: all of them.

    Returns
    -------
    pandas.DataFrame
        Columns of ``RESULTS["wear"]``; rates in the unit of ``rate_unit``, 90 % intervals.

    Raises
    ------
    NotInStore
        If there is no such part type; the nearest name is told.
    """
    snapshot, fits = _fitted(address)
    return _of(snapshot, fits.wear, part_type)


def wear_laws(address: str, part_type: str) -> dict[str, pd.DataFrame]:
    """Return what the wear rate of a part type depends on, and its specific wear rate.

    Parameters
    ----------
    address
        The store.
    part_type
        Its form decides which part types are read together.

    Returns
    -------
    dict
        ``rate_law``: exponents and ratios with 90 % intervals, the least-squares check beside
        them and their meaning, empty where nothing varies; ``specific_wear``: k by duty group.

    Raises
    ------
    NotInStore
        If there is no such part type.
    """
    with open_store(address) as store:
        snapshot = take_snapshot(store)
    known_part_type(snapshot, part_type)
    law = rate_law(snapshot, part_type)
    columns = list(STUDIES["rate_law"])
    return {
        "rate_law": pd.DataFrame(columns=columns) if law is None else law.table()[columns],
        "specific_wear": specific_wear(snapshot, part_type),
    }


def life(address: str, part_type: str | None = None) -> pd.DataFrame:
    """Return the life of every part type, duty group and failure mode, or of one part type.

    Parameters
    ----------
    address
        The store.
    part_type
        None: all of them.

    Returns
    -------
    pandas.DataFrame
        Columns of ``RESULTS["life"]``; hours, 90 % intervals, state and prior beside each.

    Raises
    ------
    NotInStore
        If there is no such part type; the nearest name is told.
    """
    snapshot, fits = _fitted(address)
    return _of(snapshot, fits.life, part_type)


def _fitted(address: str) -> tuple[Snapshot, Fits]:
    with open_store(address) as store:
        snapshot = take_snapshot(store)
    return snapshot, fit_all(snapshot)


def _of(snapshot: Snapshot, table: pd.DataFrame, part_type: str | None) -> pd.DataFrame:
    if part_type is None:
        return table
    known_part_type(snapshot, part_type)
    return table[table["part_type"] == part_type].reset_index(drop=True)
