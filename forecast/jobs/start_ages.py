"""Ages of what was fitted before the logs began.

In a fleet long in use the ages of pieces follow f(a) ~ S(a), the stationary law (renewal theory).
Two things tell more. Pieces of a set that were replaced since the watch began are younger than it,
and how many there were is counted. And the depths read say how worn, so how old, the others were:
the stationary law is tilted, f(a) ~ S(a) exp(tilt x a), until its mean is what the readings show,
as far as they can be trusted; of a piece read by itself the age is the middle of its own posterior.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.jobs.clocks import clock_pace
from forecast.jobs.modes import Key
from forecast.planning.draws import LifeDraws
from forecast.records.snapshot import Snapshot
from forecast.wear.rates import WearFit

Array = npt.NDArray[np.float64]

MOST_REPLACED: Final = 0.1
"""Visits count until so much of a set was replaced: later ones tell of its young pieces."""

MOST_YOUNG: Final = 0.95
"""Share of a set that can have been replaced: some pieces were replaced twice."""

STEEPEST: Final = 60.0
"""The tilt from the youngest to the oldest, as a log."""

STEPS: Final = 60
"""Halvings in which the tilt is found."""


@dataclass(frozen=True)
class Told:
    """Hours on a piece, or the mean of a set's, when the watch began, as its readings tell.

    Attributes
    ----------
    hours, error
        Mean and standard error.
    readings
        How many told it.
    """

    hours: float
    error: float
    readings: int


def told_by_readings(snapshot: Snapshot, key: Key, wear: WearFit) -> dict[str, Told]:
    """Return what readings tell of start ages, by piece or set.

    Parameters
    ----------
    snapshot
        Its frame ``unaged`` has the readings.
    key
        Part type and duty group.
    wear
        Their rates.
    """
    rows = snapshot.unaged
    group = rows["duty_group"].fillna("").astype(str)
    rows = rows[(rows["part_type"] == key[0]) & (group == key[1])]
    rows = rows[rows["replaced_share"].astype(float) <= MOST_REPLACED]
    gauge = 0.0 if np.isnan(wear.gauge_sd) else wear.gauge_sd
    found = {}
    for piece, own in rows.groupby("piece", sort=True):
        n, ran = own["n"].to_numpy(float), own["ran"].to_numpy(float)
        young = own["replaced_share"].to_numpy(float)
        depth = own["sy"].to_numpy(float) / n
        age = (depth - wear.offset) / wear.mean_rate
        # what was replaced at even times is half as old as the watch
        start = (age - young * ran / 2.0) / (1.0 - young) - ran
        hours = float(np.average(start, weights=n))
        alone = own["position"].iloc[0] != ""
        noise = np.hypot(wear.offset_sd, gauge) / wear.mean_rate
        reach = max(float(np.average(age, weights=n)), 0.0)
        common = np.hypot(wear.machine_sd, wear.season_spread) * reach
        one = wear.piece_sd * reach
        between = one if alone else one / np.sqrt(n.sum())
        if not alone and n.sum() > 2:
            within = (own["syy"].to_numpy(float) - n * depth**2).sum() / (n.sum() - len(n))
            between = np.sqrt(max(float(within), 0.0) / n.sum()) / wear.mean_rate
        error = float(np.sqrt(common**2 + between**2 + noise**2 / n.sum()))
        found[str(piece)] = Told(max(hours, 0.0), error, int(n.sum()))
    return found


def young_shares(snapshot: Snapshot) -> dict[str, float]:
    """Return which share of each set was replaced since the watch began."""
    counts = snapshot.counts.drop_duplicates(["unit", "week"])
    replaced = (counts["replaced"].astype(float) + counts["others"].astype(float)).groupby(
        counts["unit"]
    )
    positions = counts.groupby("unit")["positions"].max().astype(float)
    share = (replaced.sum() / positions.clip(lower=1.0)).clip(0.0, MOST_YOUNG)
    return {str(unit): float(value) for unit, value in share.items()}


def hours_seen(snapshot: Snapshot) -> dict[str, float]:
    """Return what pieces of unknown age were seen to run on their clock, by piece or set.

    A set runs while it is fitted, which its counts tell; a piece has stood in its place since the
    logs of its machine began.
    """
    counts = snapshot.counts.groupby(["unit", "mode"], sort=True)["hours"].sum()
    by_set = counts.groupby(level="unit").max()
    logged = snapshot.running[~snapshot.running["planned"].astype(bool)]
    by_machine = logged.groupby("machine", sort=True)["hours"].sum()
    named = ["piece", "machine", "part_type"]
    pieces = snapshot.fitted.loc[snapshot.fitted["age"].isna(), named]
    alone = pieces[~pieces["piece"].isin(by_set.index)].set_index("piece")
    paces = clock_pace(snapshot)
    pace = [paces.get(key, 1.0) for key in zip(alone["machine"], alone["part_type"], strict=True)]
    own = (alone["machine"].map(by_machine) * np.array(pace)).fillna(0.0)
    return {str(name): float(hours) for series in (by_set, own) for name, hours in series.items()}


def filled_ages(
    rows: pd.DataFrame,
    least: Array,
    law: LifeDraws,
    machines: Sequence[str],
    young: Mapping[str, float],
    told: Mapping[str, Told],
    paces: Mapping[str, float] | None = None,
) -> Array:
    """Return ages [rows], the unknown ones filled.

    Parameters
    ----------
    rows
        Of ``Snapshot.fitted``; a set stands as several rows of equal quantity.
    least
        Hours that each was seen to run [rows]: a piece has at least these, unless it was replaced.
    law
        Of lives.
    machines
        Whose indices the law knows.
    young
        Share of each set replaced since the watch began.
    told
        Start ages that readings tell.
    paces
        By machine, what a clock that does not count hours counts in a running hour.
    """
    place = {name: index for index, name in enumerate(machines)}
    age = rows["age"].to_numpy(float).copy()
    unknown = np.flatnonzero(np.isnan(age))
    names = rows["piece"].astype(str).to_numpy()
    for machine, on_it in pd.Series(unknown).groupby(
        rows["machine"].to_numpy()[unknown], sort=True
    ):
        members = on_it.to_numpy()
        pace = (paces or {}).get(str(machine), 1.0)
        grid = _age_grid(law, place[str(machine)], pace)
        survival = np.exp(-law.hazard(place[str(machine)], grid)).mean(1)
        of = names[members]
        apart = np.array([name in young or name in told for name in of], dtype=bool)
        parts = [("", members[~apart])] if not apart.all() else []
        parts += [(name, members[of == name]) for name in sorted(set(of[apart]))]
        for name, part in parts:
            age[part] = _ages(
                grid, survival, least[part], young.get(name, 0.0), told.get(name), pace
            )
    return age


def _ages(
    grid: Array, survival: Array, least: Array, young: float, told: Told | None, pace: float
) -> Array:
    """Return even quantiles of the ages of pieces that are alike in what is known of them."""
    count = least.size
    ages = np.empty(count)
    few = round(young * count)
    ages[:few] = least[:few] * (np.arange(few) + 0.5) / max(few, 1)
    seen = least[few:]
    if not seen.size:
        return ages
    density = survival
    if told is not None and count == 1:
        start = grid - seen[0]
        density = survival * np.exp(-0.5 * ((start - told.hours) / max(told.error, pace)) ** 2)
    elif told is not None:
        density = survival * _tilt(grid, survival, told)
    mass = np.concatenate([[0.0], np.cumsum((density[:-1] + density[1:]) * np.diff(grid) / 2.0)])
    chances = (np.arange(seen.size) + 0.5) / seen.size
    begin = np.interp(seen, grid, mass)
    ages[few:] = np.interp(begin + chances * (mass[-1] - begin), mass, grid)
    ages[few:] = np.maximum(ages[few:], seen)
    return ages


def _tilt(grid: Array, survival: Array, told: Told) -> Array:
    """Return exp(tilt x age) on the grid: the stationary law's mean becomes the readings'.

    The mean is trusted as far as its error allows beside the sd of the stationary law: so far
    could the mean of a set be off that has one age.
    """
    age = (grid[:-1] + grid[1:]) / 2.0
    share = survival[:-1] + survival[1:]
    share = share / share.sum()
    middle = float(share @ age)
    variance = float(share @ (age - middle) ** 2)
    wanted = middle + variance / (variance + told.error**2) * (told.hours - middle)
    wanted = float(np.clip(wanted, 0.05 * middle, age[-1] - 0.05 * (age[-1] - middle)))

    def tilted(by: float, ages: Array) -> Array:
        return np.asarray(np.exp(by * (ages / grid[-1] - (by > 0))), dtype=np.float64)

    low, high = -STEEPEST, STEEPEST
    for _ in range(STEPS):
        tilt = (low + high) / 2.0
        weight = share * tilted(tilt, age)
        low, high = (tilt, high) if weight @ age < wanted * weight.sum() else (low, tilt)
    return tilted((low + high) / 2.0, grid)


def _age_grid(law: LifeDraws, machine: int, pace: float) -> Array:
    """Ages up to where hardly any piece is left."""
    longest = 1000.0 * pace
    while longest < 1e7 * pace and np.exp(-law.hazard(machine, np.array([longest]))).mean() > 1e-3:
        longest *= 2
    return np.linspace(0.0, longest, 129)
