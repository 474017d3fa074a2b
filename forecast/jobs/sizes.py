"""How large a trial must be to show that a part type's successor is better."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.modes import Key
from forecast.jobs.names import known_part_type
from forecast.life.sizes import (
    WearSpread,
    success_run_power,
    wear_rate_power,
    zero_failure_hours,
)
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

MACHINES: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128)
SEASONS: Final = (0.5, 1.0, 2.0)
"""Lengths of the trial, in seasons as logged."""

POWER: Final = 0.8
"""From which on a trial is worth its trouble: an editor's choice, common in planning trials."""


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial's sizes.

    Attributes
    ----------
    table
        Columns of ``STUDIES["sample_size"]``: machines against power, by method and hours.
    fewest
        The same columns: by method and hours the fewest machines with a power of 0.8; machines
        empty where the fleet has too few.
    said
        What it rests on, in sentences.
    """

    table: pd.DataFrame
    fewest: pd.DataFrame
    said: tuple[str, ...]


def sample_size(
    address: str, part_type: str, better_percent: float, confidence: float = 0.90
) -> Trial:
    """Return how many machines must run how long to show an improvement.

    Parameters
    ----------
    address
        The store.
    part_type
        The old part type, whose lives and wear are known.
    better_percent
        By how much the new one is said to last longer, in per cent.
    confidence
        One-sided.

    Raises
    ------
    NotInStore
        If there is no such part type, or the logs tell neither its lives nor its wear.
    ValueError
        For an improvement or confidence that cannot be.
    """
    if not better_percent > 0:
        raise ValueError(f"better must be above 0 % but is {better_percent:g}")
    with open_store(address) as store:
        snapshot = take_snapshot(store)
    known_part_type(snapshot, part_type)
    return trial(snapshot, fit_all(snapshot), part_type, better_percent, confidence)


def trial(
    snapshot: Snapshot, fits: Fits, part_type: str, better_percent: float, confidence: float
) -> Trial:
    """Return the sizes of a trial from what is known: no store, no disk.

    Parameters
    ----------
    snapshot, fits
        What is known and fitted.
    part_type, better_percent, confidence
        As for :func:`sample_size`.
    """
    mine = snapshot.fitted[snapshot.fitted["part_type"] == part_type]
    sizes = mine.groupby("machine")["quantity"].sum().astype(float)
    if not len(sizes):
        raise NotInStore(
            f"no {part_type} is in service, so nobody knows how many sit on a machine",
            "Import the fleet log.",
        )
    each = float(sizes.median())
    machines = np.array([n for n in MACHINES if n < len(sizes)] + [len(sizes)], dtype=np.int64)
    hours = season_hours(snapshot)
    better = 1 + better_percent / 100
    said = [f"{each:.0f} positions a machine on {len(sizes)} machines; a season is {hours:,.0f} h"]
    rows = [
        *_life_rows(fits, part_type, machines, each, hours, better, confidence, said),
        *_wear_rows(fits, part_type, machines, each, hours, better, confidence, said),
    ]
    if not rows:
        raise NotInStore(
            f"the logs tell neither lives nor wear of {part_type}",
            "Import its change-outs and readings.",
        )
    table = pd.DataFrame(rows, columns=["method", "machines", "hours", "power"])
    table = table.assign(better_percent=better_percent, confidence=confidence)
    table = table[list(STUDIES["sample_size"])]
    return Trial(table, _fewest(table), tuple(said))


def season_hours(snapshot: Snapshot) -> float:
    """Return the hours a machine ran in the longest logged season, in the middle of the fleet."""
    logged = snapshot.running[~snapshot.running["planned"].astype(bool)]
    day = pd.to_datetime(logged["day"])
    longest = 0.0
    spans = zip(snapshot.seasons["first_day"], snapshot.seasons["last_day"], strict=True)
    for first, last in ((pd.Timestamp(start), pd.Timestamp(end)) for start, end in spans):
        inside = logged[((day >= first) & (day <= last)).to_numpy()]
        if len(inside):
            longest = max(longest, float(inside.groupby("machine")["hours"].sum().median()))
    return longest or 1000.0


Row = tuple[str, int, float, float]


def _life_rows(
    fits: Fits,
    part_type: str,
    machines: np.ndarray[tuple[int], np.dtype[np.int64]],
    each: float,
    hours: float,
    better: float,
    confidence: float,
    said: list[str],
) -> list[Row]:
    modes = fits.mode_fits.get(part_type, ())
    table = fits.life[(fits.life["part_type"] == part_type) & (fits.life["failures"] > 0)]
    if not modes or not len(table):
        said.append("no failure seen: nothing to test lives against")
        return []
    best = table.sort_values("failures", ascending=False).iloc[0]
    key: Key = (part_type, str(best["duty_group"]))
    laws = {
        mode.mode: tuple(float(np.median(own)) for own in mode.of(key[1]))
        for mode in modes
        if key[1] in mode.groups
    }
    shape, scale = laws[str(best["mode"])]
    said.append(f"{best['mode']}: shape {shape:.2g}, 63 % gone at {scale:,.0f} h ({best['state']})")
    said.append("the runs hold if the machines of the trial are like the fleet's")
    pieces = np.maximum(np.floor(machines * each), 1).astype(np.int64)
    rows: list[Row] = []
    for share in SEASONS:
        long = share * hours
        old, new = (
            float(np.exp(-sum((long / (eta * stretch)) ** k for k, eta in laws.values())))
            for stretch in (1.0, better)
        )
        _, power = success_run_power(pieces, old, new, confidence)
        rows += [
            ("success_run", int(m), long, float(p)) for m, p in zip(machines, power, strict=True)
        ]
    needed, power = zero_failure_hours(pieces, shape, scale, better, confidence)
    rows += [
        ("zero_failure", int(m), float(h), float(p))
        for m, h, p in zip(machines, needed, power, strict=True)
    ]
    return rows


def _wear_rows(
    fits: Fits,
    part_type: str,
    machines: np.ndarray[tuple[int], np.dtype[np.int64]],
    each: float,
    hours: float,
    better: float,
    confidence: float,
    said: list[str],
) -> list[Row]:
    found = {key: fit for key, fit in fits.wear_fits.items() if key[0] == part_type and fit.usable}
    if not found:
        said.append("no readings: nothing to test wear rates against")
        return []
    fit = max(found.values(), key=lambda own: own.n_pieces)
    reading_sd = float(np.hypot(fit.gauge_sd, fit.offset_sd))
    spread = WearSpread(fit.mean_rate, fit.piece_sd, reading_sd)
    half = max(each / 2, 0.5)
    said.append(
        f"wear: half of a machine's positions of either kind, read once at the end; rates differ "
        f"by {100 * spread.piece_sd:.0f} % between pieces, a reading by {reading_sd:.3f} mm; "
        "holds if the gain is the same on every machine"
    )
    rows: list[Row] = []
    machines = machines[machines > 1]  # one machine cannot show that the gain is everywhere
    for share in SEASONS:
        power = wear_rate_power(machines, half, share * hours, spread, better, confidence)
        rows += [
            ("wear_rate", int(m), share * hours, float(p))
            for m, p in zip(machines, power, strict=True)
        ]
    return rows


def _fewest(table: pd.DataFrame) -> pd.DataFrame:
    """By method and hours the fewest machines whose power is enough; the best where none is."""
    rows = []
    for method, own in table.groupby("method", sort=False):
        if method == "zero_failure":
            rows.append(own.iloc[[len(own) - 1]])
            continue
        for _, of in own.groupby("hours", sort=True):
            enough = of[of["power"] >= POWER]
            rows.append(enough.iloc[[0]] if len(enough) else of.sort_values("power").iloc[[-1]])
    return pd.concat(rows, ignore_index=True)
