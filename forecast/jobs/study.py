"""The questions asked between seasons: how fast does it wear, how long does it last."""

from __future__ import annotations

import pandas as pd

from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.names import known_part_type
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
