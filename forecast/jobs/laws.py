"""From fits to what planning knows: pieces in service with their ages, and laws of their lives.

The same index of machines and of seasons serves every law, so that one season path has one law.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.jobs.clocks import clock_pace
from forecast.jobs.fits import Fits
from forecast.jobs.modes import Key, ModeFit
from forecast.jobs.start_ages import filled_ages, hours_seen, told_by_readings, young_shares
from forecast.planning.draws import Earliest, LifeDraws, WearDraws, WeibullDraws
from forecast.planning.seeds import generator
from forecast.records.snapshot import Snapshot
from forecast.wear.rates import WearFit
from forecast.wear.seasons import RateDraws

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

COHORTS: Final = 30
"""Parts of equal size into which a set of unknown ages is split."""

LEVEL_90: Final = 3.29
"""Width of a normal's 5-95 % interval in standard deviations."""


@dataclass(frozen=True, eq=False)
class InService:
    """What is in service, and how long it may last.

    Attributes
    ----------
    fitted
        Rows of ``Snapshot.fitted`` whose part type can be forecast; sets are split into cohorts of
        equal age, unknown ages are filled from the stationary age law.
    ran
        Hours each row has run in each season [rows, seasons].
    own
        Row of the law's own paths, or -1 [rows].
    due
        Read at or over its limit [rows].
    laws
        By part type and duty group.
    rates
        The draws behind the worn laws.
    assumed
        Rows for the result ``assumed``.
    """

    fitted: pd.DataFrame
    ran: Array
    own: IntArray
    due: BoolArray
    laws: Mapping[Key, LifeDraws]
    rates: Mapping[Key, RateDraws]
    assumed: tuple[dict[str, str], ...]


def in_service(
    snapshot: Snapshot, fits: Fits, *, draws: int, seed: int, running: str | None, until: date
) -> InService:
    """Join what is in service with the laws of its lives.

    Parameters
    ----------
    snapshot, fits
        What is known, and what was fitted to it.
    draws
        Season paths.
    seed
        Each law has its own stream under it, by name.
    running
        The season whose own level is current; None draws a new one.
    until
        The last day forecast: days up to it whose phase no log names are like those so far.
    """
    seasons = tuple(snapshot.wear_seasons())
    phases = snapshot.phases_ahead
    ahead = {str(k): float(v) for k, v in zip(phases["phase"], phases["days"], strict=True)}
    machines = tuple(sorted(set(snapshot.fitted["machine"])))
    unnamed = (until - snapshot.day).days * len(machines) - sum(ahead.values())
    if unnamed > 0:
        ahead[""] = ahead.get("", 0.0) + unnamed
    limits = snapshot.part_types.set_index("part_type")
    laws: dict[Key, LifeDraws] = {}
    rates: dict[Key, RateDraws] = {}
    frames: list[pd.DataFrame] = []
    blocks: list[tuple[Array, IntArray, BoolArray]] = []
    assumed: list[dict[str, str]] = []
    paces = clock_pace(snapshot)
    cells, seen, young = _cells(snapshot, seasons), hours_seen(snapshot), young_shares(snapshot)
    for (name, group), rows in snapshot.fitted.groupby(["part_type", "duty_group"], sort=True):
        key = (str(name), str(group))
        modes = [_weibull(mode, key, draws, seed) for mode in _modes_of(fits, key)]
        wear = fits.wear_fits.get(key)
        wear = wear if wear is not None and wear.usable else None
        if not modes and wear is None:
            _say_left_out(assumed, key, len(rows), limits)
            continue
        ran_sets = cells.reindex(rows["piece"]).fillna(0.0).to_numpy()
        rows, ran = _split(rows.reset_index(drop=True), ran_sets, fits, key)
        worn: list[LifeDraws] = []
        own, due = np.full(len(rows), -1), np.zeros(len(rows), bool)
        if wear is not None:
            limit = _limit(limits, draws, seed, key)
            rate = wear.draws(
                draws,
                _rng(seed, key, "rate"),
                machines=machines,
                seasons=seasons,
                running=running,
                ahead=ahead,
            )
            own, due, paths = _own(snapshot, wear, rate, rows, ran, limit, _rng(seed, key, "own"))
            rates[key] = rate
            after = wear.draws(
                draws,
                _rng(seed, key, "the season after"),
                machines=(),
                seasons=(),
                running=None,
                ahead=None,
            )
            worn = [_worn(rate, limit, paths, wear.gauge_sd, after.level)]
        laws[key] = Earliest((*worn, *modes)) if len(worn) + len(modes) > 1 else (worn + modes)[0]
        unknown = rows["age"].isna()
        if unknown.any():
            least = rows["piece"].map(seen).fillna(0.0).to_numpy(float)
            told = {} if wear is None else told_by_readings(snapshot, key, wear)
            least = np.maximum(least, ran.sum(1))
            here = {at: pace for (at, part), pace in paces.items() if part == name}
            age = filled_ages(rows, least, laws[key], machines, young, told, here)
            read = told.keys() & set(rows.loc[unknown, "piece"])
            rows, ran = rows.assign(age=age), _reach(ran, age)
            assumed.append(_age_assumed(key, float(rows.loc[unknown, "quantity"].sum()), len(read)))
        frames.append(rows)
        blocks.append((ran, own, due))
    empty = (np.zeros((0, len(seasons))), np.zeros(0, int), np.zeros(0, bool))
    ran, own, due = (np.concatenate(parts) for parts in zip(*(blocks or [empty]), strict=True))
    fitted = pd.concat(frames, ignore_index=True) if frames else snapshot.fitted.iloc[:0]
    return InService(fitted, ran, own, due, laws, rates, tuple(assumed))


# --- laws ----------------------------------------------------------------------------


def _modes_of(fits: Fits, key: Key) -> list[ModeFit]:
    return [fit for fit in fits.mode_fits.get(key[0], ()) if key[1] in fit.groups]


def _weibull(mode: ModeFit, key: Key, draws: int, seed: int) -> WeibullDraws:
    """Deal the posterior draws of one mode to the season paths."""
    shape, scale = mode.of(key[1])
    deal = _rng(seed, (key[0], ""), mode.mode).permutation(np.arange(draws) % shape.size)
    return WeibullDraws(shape[deal], scale[deal])


def _worn(
    rate: RateDraws,
    limit: Array,
    paths: tuple[Array, Array] | None,
    gauge_sd: float,
    next_level: Array,
) -> WearDraws:
    """Return the law of wear to the limit; a bent one as the line that ends where it does."""
    left, own_rate = paths or (None, None)
    slower, power = np.zeros(rate.draws), np.ones(rate.draws)
    if rate.bent is not None:
        slower, power = rate.bent.slower(limit, rate.offset), rate.bent.power
    return WearDraws(
        level=rate.level - slower,
        season_levels=rate.season_levels - slower,
        machine_effect=rate.machine_effect / power,
        piece_sd=rate.piece_sd / float(power.mean()),
        offset=rate.offset,
        offset_sd=rate.offset_sd,
        limit_mm=limit,
        future_sd=rate.future_sd,
        own_left=left,
        own_rate=own_rate,
        gauge_sd=gauge_sd,
        next_level=next_level - slower,
    )


def _limit(part_types: pd.DataFrame, draws: int, seed: int, key: Key) -> Array:
    """Return the wear limit of each path: one number, or drawn once a path where uncertain."""
    named = ["wear_limit_mm", "limit_low_mm", "limit_high_mm"]
    found: Array = part_types.loc[[key[0]], named].to_numpy(float)[0]
    middle, low, high = found
    if np.isnan(low) or np.isnan(high):
        return np.full(draws, middle)
    spread = (high - low) / LEVEL_90
    drawn: Array = _rng(seed, (key[0], ""), "limit").normal(middle, spread, draws)
    return np.clip(drawn, low / 2, None)


def _own(
    snapshot: Snapshot,
    fit: WearFit,
    rate: RateDraws,
    rows: pd.DataFrame,
    ran: Array,
    limit: Array,
    rng: np.random.Generator,
) -> tuple[IntArray, BoolArray, tuple[Array, Array] | None]:
    """Rows with readings of their own: where their paths stand, who is due, hours left and rate."""
    read = snapshot.wear[snapshot.wear["in_place"].astype(bool)].set_index("piece")
    elsewhere = set(snapshot.wear["piece"]) - set(read.index)
    has = rows["piece"].isin(fit.own_pieces - elsewhere).to_numpy()
    own = np.where(has, np.cumsum(has) - 1, -1)
    due = rows["piece"].isin(_found_over(snapshot, read)).to_numpy()
    if not has.any():
        return own, due, None
    pieces = rows.loc[has, ["piece"]]
    last = pieces["piece"].map(read["last_mm"]).to_numpy(float)
    due[has] |= last >= float(np.median(limit))
    return own, due, fit.own_left_and_rate(rate, pieces, ran[has], limit, rng)


def _found_over(snapshot: Snapshot, read: pd.DataFrame) -> set[str]:
    """Name the pieces whose last reading, measured or not, found them over the limit."""
    told = snapshot.bounds[snapshot.bounds["piece"].fillna("") != ""]
    last = told.sort_values(["day", "bound"], kind="stable").drop_duplicates("piece", keep="last")
    measured = last["piece"].map(read["last_age"]).astype(float)
    later = measured.isna() | (last["age"].astype(float) >= measured)
    unaged = pd.to_datetime(last["piece"].map(snapshot.unaged.groupby("piece")["day"].max()))
    later &= unaged.isna() | (pd.to_datetime(last["day"]) >= unaged)
    return set(last.loc[np.isfinite(last["low_mm"].astype(float)) & later, "piece"].astype(str))


# --- ages ----------------------------------------------------------------------------


def _cells(snapshot: Snapshot, seasons: Sequence[str]) -> pd.DataFrame:
    """Hours by piece and season."""
    table = snapshot.fitted_cells.pivot_table(
        index="piece", columns="season", values="x", aggfunc="sum"
    )
    return table.reindex(columns=list(seasons)).fillna(0.0).astype(float) * 1000.0


def _split(rows: pd.DataFrame, ran: Array, fits: Fits, key: Key) -> tuple[pd.DataFrame, Array]:
    """Split each set into cohorts of equal age, as its counts tell: expected numbers of pieces."""
    counted = fits.count_fits.get(key)
    if counted is None:
        return rows, _reach(ran, rows["age"].to_numpy(float))
    ages = counted.ages().rename(columns={"unit": "piece", "age": "told", "quantity": "of_age"})
    parts = (ages[["piece", "told", "of_age"]], _unknown_cohorts(rows))
    ages = pd.concat([part for part in parts if len(part)])
    told = rows.reset_index(names="row").merge(ages, on="piece", how="left", sort=False)
    split = told["of_age"].notna()
    carried = told.get("carried", 0.0)  # counts know the logged hours only
    told["age"] = (told["told"] + carried).where(split, told["age"])
    share = told["of_age"] / told.groupby("row")["of_age"].transform("sum")
    told["quantity"] = (told["quantity"] * share).where(split, told["quantity"])
    told = told[told["quantity"] > 0]
    reached = _reach(ran[told["row"].to_numpy()], told["age"].to_numpy(float))
    return told[list(rows.columns)].reset_index(drop=True), reached


def _unknown_cohorts(rows: pd.DataFrame) -> pd.DataFrame:
    """Return equal parts, of ages still to be filled, for each set whose age nobody knows."""
    sets = rows.loc[rows["age"].isna(), "piece"]
    parts = pd.DataFrame({"piece": sets.repeat(COHORTS), "told": np.nan, "of_age": 1.0})
    return parts.reset_index(drop=True)


def _reach(ran: Array, age: Array) -> Array:
    """Hours by season of pieces of an age on a machine that ran so: the last hours are theirs."""
    later = np.cumsum(ran[:, ::-1], axis=1)[:, ::-1] - ran
    wanted = np.where(np.isnan(age), np.inf, age)[:, None]
    reached = np.clip(wanted - later, 0.0, ran)
    # an age from before the first logged season stands in the first
    missing = np.where(np.isnan(age), 0.0, np.maximum(age - reached.sum(1), 0.0))
    if reached.shape[1]:
        reached[:, 0] += missing
    return reached


# --- small things --------------------------------------------------------------------


def _rng(seed: int, key: Key, purpose: str) -> np.random.Generator:
    return generator(seed, key[0], key[1], purpose)


def _age_assumed(key: Key, pieces: float, read: int) -> dict[str, str]:
    own = f", moved by the readings of {read} of these pieces or sets" if read else ""
    return {
        "what": f"{key[0]}: age of {pieces:.0f} pieces",
        "value": "unknown",
        "why": "fitted before the logs began, no start age given",
        "effect": f"forecast from the stationary age law{own}",
    }


def _say_left_out(
    assumed: list[dict[str, str]], key: Key, pieces: int, limits: pd.DataFrame
) -> None:
    people = key[0] in limits.index and bool(limits.loc[key[0], "carries_people"] == True)  # noqa: E712
    if not people:
        assumed.append(
            {
                "what": f"{key[0]}: no forecast",
                "value": f"{pieces} rows in service",
                "why": "the logs have no life of known age, no change-out count and no reading",
                "effect": "its demand is not in the totals",
            }
        )
