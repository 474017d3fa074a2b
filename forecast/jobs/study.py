"""The questions asked between seasons: how fast does it wear, how long does it last."""

from __future__ import annotations

import pandas as pd

from forecast.jobs.checks import beside, duty_terms, other_families
from forecast.jobs.duty import specific_wear
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.names import known_part_type
from forecast.jobs.rate_law import rate_law
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.records.words import percent
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


def wear_beside(address: str, part_type: str) -> tuple[dict[str, pd.DataFrame], tuple[str, ...]]:
    """Return the wear table of a part type with what stands beside it.

    Parameters
    ----------
    address
        The store.
    part_type
        The part type.

    Returns
    -------
    (tables, said)
        ``wear``; ``rate_law``: exponents and ratios with 90 % intervals, the least-squares check
        beside them and their meaning, empty where nothing varies; ``specific_wear``: k by duty
        group. Sentences: whether wear is straight, seasons and
        phases, machines whose rate changed on a day.

    Raises
    ------
    NotInStore
        If there is no such part type.
    """
    with open_store(address) as store:
        snapshot = take_snapshot(store)
        known_part_type(snapshot, part_type)
    fits = fit_all(snapshot, only=part_type)
    law = rate_law(snapshot, part_type)
    columns = list(STUDIES["rate_law"])
    tables = {
        "wear": _of(snapshot, fits.wear, part_type),
        "rate_law": pd.DataFrame(columns=columns) if law is None else law.table()[columns],
        "specific_wear": specific_wear(snapshot, part_type),
    }
    return tables, _wear_said(snapshot, fits, part_type)


def _wear_said(snapshot: Snapshot, fits: Fits, part_type: str) -> tuple[str, ...]:
    """Say in sentences what the rates alone don't."""
    said = []
    own = {key: fit for key, fit in fits.wear_fits.items() if key[0] == part_type}
    for growth in fits.growth:
        group = growth.duty_group
        fit = own[part_type, group]
        where = f"{group}: " if group else ""
        seasons = f"{fit.season_spread:.2f} ({fit.season_spread_low:.2f} to "
        seasons += f"{fit.season_spread_high:.2f}): {fit.season_prior}"
        said.append(f"{where}between seasons the log rate differs by {seasons}")
        said += [
            f"{where}in phase {row.phase} parts wear {row.ratio:.2f} times as fast as in "
            f"{row.against} ({row.low:.2f} to {row.high:.2f})"
            for row in fit.phases.itertuples()
        ]
        if fit.own_pieces:
            said.append(f"{where}a piece's rate may still change by {percent(fit.future_sd)}")
        said.append(f"{where}{growth.law.says}")
        said += [f"{machine}: {ratio} {since}" for machine, ratio, since in growth.changed()]
    return tuple(said)


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


def life_beside(address: str, part_type: str | None = None) -> dict[str, pd.DataFrame]:
    """Return the life table with what stands beside it, to judge how far to trust it.

    Parameters
    ----------
    address
        The store.
    part_type
        None: all of them, with the checks alone; a part type: also the curve that assumes no law,
        other families of laws with their AIC, and what duty, grade and size do to life.

    Returns
    -------
    dict
        ``life`` (columns of ``RESULTS``), ``life_checks``, and for a part type ``life_families``
        and ``life_terms`` (columns of ``STUDIES``).

    Raises
    ------
    NotInStore
        If there is no such part type; the nearest name is told.
    """
    snapshot, fits = _fitted(address)
    table = _of(snapshot, fits.life, part_type)
    checks = _of(snapshot, fits.life_checks, part_type)
    if part_type is None:
        return {"life": table, "life_checks": checks}
    modes = tuple(dict.fromkeys(str(mode) for mode in table["mode"] if mode))
    more = beside(snapshot, part_type, modes)
    checks = pd.concat([each for each in (checks, more) if len(each)] or [checks])
    main = str(table.sort_values("failures")["mode"].iloc[-1]) if len(table) else ""
    return {
        "life": table,
        "life_checks": checks.reset_index(drop=True),
        "life_families": other_families(snapshot, part_type, modes),
        "life_terms": duty_terms(snapshot, part_type, main),
    }


def _fitted(address: str) -> tuple[Snapshot, Fits]:
    with open_store(address) as store:
        snapshot = take_snapshot(store)
    return snapshot, fit_all(snapshot)


def _of(snapshot: Snapshot, table: pd.DataFrame, part_type: str | None) -> pd.DataFrame:
    if part_type is None:
        return table
    known_part_type(snapshot, part_type)
    return table[table["part_type"] == part_type].reset_index(drop=True)
