"""Readings that were only found ok or over: what they tell of a piece's depth.

Most plants measure with a go / no-go gauge now and then. 'Ok' says that depth and gauge error were
under the limit, 'over' that they were above it. Each is replaced by a reading of a certain value
and firmness: the one that gives the piece's depth the same mean and variance (expectation
propagation; Minka 2001). In the sums it counts as a fraction of a reading of the gauge, so the fit
itself need not know. Gauge error and offset come from measured readings alone: with nothing but
ok and over the two can't be told apart, and such readings would carry to no other limit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr

from forecast.wear.offsets import Offsets
from forecast.wear.reml import TwoLevel, matched_site
from forecast.wear.sums import CellSums

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

ROUNDS: Final = 4
"""Each round matches all bounds anew with the fit of the round before."""

SHIFTED: Final = 0.03
"""A bound that moves the mean depth by less than this share of its sd says nothing."""

FAINTEST: Final = 0.02
"""Least firmness of a bound that moves the mean, as a share of what was known before."""

STEPS: Final = np.linspace(-4.5, 4.5, 31)[:, None]


@dataclass(frozen=True, eq=False)
class Bounds:
    """Ok and over readings of pieces: thousands of hours by season, and what they leave open, mm.

    ``piece`` and ``machine`` [bounds] are names, ``x`` is [bounds, seasons].
    """

    piece: npt.NDArray[np.object_]
    machine: npt.NDArray[np.object_]
    x: Array
    low: Array
    high: Array

    def __len__(self) -> int:
        return len(self.piece)


def bounds_of(frame: pd.DataFrame, cells: pd.DataFrame, seasons: Sequence[str]) -> Bounds:
    """Return the bounds that count.

    Parameters
    ----------
    frame, cells
        As Snapshot's ``bounds`` and ``bound_cells``. Those of sets, of unknown age or ``suspect``
        are left out; of a piece the latest ok and the earliest over say all.
    seasons
        The seasons that the measured readings tell of; bounds of others are left out.
    """
    x = np.zeros((len(frame), len(seasons)))
    row = pd.Index(frame["bound"]).get_indexer(pd.Index(cells["bound"]))
    season = pd.Index(list(seasons)).get_indexer(pd.Index(cells["season"].astype(str)))
    hours = cells["x"].to_numpy(np.float64)
    here = (row >= 0) & (season >= 0)
    np.add.at(x, (row[here], season[here]), hours[here])
    foreign = np.zeros(len(frame), dtype=bool)
    foreign[row[(row >= 0) & (season < 0) & (hours > 0)]] = True
    low = frame["low_mm"].to_numpy(np.float64, na_value=-np.inf)
    high = frame["high_mm"].to_numpy(np.float64, na_value=np.inf)
    suspect = frame["suspect"].fillna(False).astype(bool).to_numpy()
    piece = frame["piece"].astype(object).where(frame["piece"].notna(), "").to_numpy()
    aged = (x.sum(axis=1) > 0) & frame["age"].notna().to_numpy()
    keep = (piece != "") & aged & ~suspect & ~foreign & (np.isfinite(low) | np.isfinite(high))
    table = pd.DataFrame({"piece": piece, "run": x.sum(axis=1), "over": np.isfinite(low)})
    table = table[keep].sort_values("run", kind="stable")
    chosen = [
        table[~table["over"]].drop_duplicates("piece", keep="last").index,
        table[table["over"]].drop_duplicates("piece", keep="first").index,
    ]
    rows = np.sort(np.concatenate([np.asarray(each, dtype=np.int64) for each in chosen]))
    machine = frame["machine"].astype(str).to_numpy(object)
    return Bounds(piece[rows].astype(object), machine[rows], x[rows], low[rows], high[rows])


def with_pieces(wear: pd.DataFrame, bounds: Bounds) -> pd.DataFrame:
    """Return the frame ``wear`` with a row of no readings for each piece that has bounds alone."""
    known = set(wear["piece"].astype(str))
    more = pd.DataFrame({"piece": bounds.piece, "machine": bounds.machine})
    more = more[~more["piece"].isin(known)].drop_duplicates("piece")
    nothing = {"n": 0, "sy": 0.0, "syy": 0.0, "fitted_known": True}
    more = more.assign(**{name: value for name, value in nothing.items() if name in wear.columns})
    return wear if more.empty else pd.concat([wear, more], ignore_index=True)


def fit_with_bounds(
    sums: CellSums,
    bounds: Bounds,
    gauge_sd: float,
    offset: Offsets,
    fit: Callable[[CellSums, bool], TwoLevel],
) -> tuple[CellSums, TwoLevel]:
    """Fit measured readings and bounds together.

    Parameters
    ----------
    sums
        Of the measured readings; pieces that have bounds alone are in it with none.
    bounds
        From :func:`bounds_of`.
    gauge_sd, offset
        As the measured readings tell them, mm.
    fit
        Fits sums; told whether to look for the sds anew.

    Returns
    -------
    tuple
        The sums with a part of a reading for each bound, and their fit.
    """
    rows = sums.rows(list(bounds.piece))
    weight, value = np.zeros(len(bounds)), np.zeros(len(bounds))
    told, found = sums, fit(sums, False)
    for number in range(ROUNDS):
        without = _without(told, rows, bounds.x, weight, value)
        fresh, firm = _matched(without, rows, bounds, gauge_sd, offset, found)
        half = 0.5 if number else 1.0
        mixed = half * firm * fresh + (1.0 - half) * weight * value
        weight = half * firm + (1.0 - half) * weight
        value = np.divide(mixed, weight, out=np.zeros_like(mixed), where=weight > 0)
        told = _added(sums, rows, bounds.x, weight, value)
        found = fit(told, number == ROUNDS - 1)
    return told, found


def _added(sums: CellSums, rows: IntArray, x: Array, weight: Array, value: Array) -> CellSums:
    """Return the sums with readings of a weight added, one a row given."""
    n, y, yy = sums.n.copy(), sums.y.copy(), sums.yy.copy()
    run, product, squares = sums.x.copy(), sums.xy.copy(), sums.xx.copy()
    np.add.at(n, rows, weight)
    np.add.at(y, rows, weight * value)
    np.add.at(yy, rows, weight * value**2)
    np.add.at(run, rows, weight[:, None] * x)
    np.add.at(product, rows, (weight * value)[:, None] * x)
    np.add.at(squares, rows, weight[:, None, None] * x[:, :, None] * x[:, None, :])
    return replace(sums, n=n, y=y, yy=yy, x=run, xy=product, xx=squares)


def _without(sums: CellSums, rows: IntArray, x: Array, weight: Array, value: Array) -> CellSums:
    """Return, one row a bound, the sums of its piece without the bound itself."""
    of_piece = replace(
        sums,
        n=sums.n[rows],
        y=sums.y[rows],
        yy=sums.yy[rows],
        x=sums.x[rows],
        xy=sums.xy[rows],
        xx=sums.xx[rows],
    )
    return _added(of_piece, np.arange(rows.size), x, -weight, value)


def _matched(
    without: CellSums,
    rows: IntArray,
    bounds: Bounds,
    gauge_sd: float,
    offset: Offsets,
    fit: TwoLevel,
) -> tuple[Array, Array]:
    """Return value (mm) and weight (in readings) of the readings that stand for bounds."""
    pace = np.exp(fit.level)
    lines = without.along(pace)
    n, ran = np.maximum(lines.n, 0.0), bounds.x @ pace
    gauge, sd = gauge_sd**2, np.maximum(offset.sds(without.fitted_known)[rows], 1e-6) ** 2
    # what machine and type say of the log rate without the piece's own readings
    prior_precision = np.maximum(
        1.0 / fit.piece_variance[rows] - fit.site_precision[rows],
        1.0 / (fit.piece_sd**2 + fit.machine_sd**2),
    )
    pulled = fit.piece_mean[rows] / fit.piece_variance[rows]
    prior = (pulled - fit.site_mean[rows] * fit.site_precision[rows]) / prior_precision
    shrink = sd / (gauge + n * sd)
    linear = (lines.xy - offset.mean * lines.x - shrink * (lines.y - n * offset.mean) * lines.x) / (
        gauge
    )
    curved = np.maximum(lines.xx - shrink * lines.x**2, 0.0) / gauge + 1e-9
    rate = np.exp(prior)
    precision, moved = matched_site(
        linear * rate, curved * rate**2, np.zeros(rate.size), 1.0 / prior_precision
    )
    variance = 1.0 / (precision + prior_precision)
    centre, spread = prior + variance * moved, np.sqrt(variance)
    log_rate = centre + STEPS * spread
    grown = np.exp(log_rate)
    log_weight = grown * (linear - 0.5 * curved * grown)
    log_weight = log_weight - 0.5 * prior_precision * (log_rate - prior) ** 2
    known = np.exp(log_weight - log_weight.max(axis=0))
    own = 1.0 / (n / gauge + 1.0 / sd)
    depth = own * ((lines.y - grown * lines.x) / gauge + offset.mean / sd) + grown * ran
    before = _moments(known, depth, np.broadcast_to(own, depth.shape))
    after = _moments(*_cut(known, depth, own, gauge, bounds))
    moved_by = np.abs(after[0] - before[0]) / np.sqrt(before[1])
    firmness = np.maximum(1.0 / after[1] - 1.0 / before[1], FAINTEST / before[1])
    value = (after[0] * (1.0 / before[1] + firmness) - before[0] / before[1]) / firmness
    return value, np.where(moved_by > SHIFTED, firmness * gauge, 0.0)


def _cut(
    known: Array, depth: Array, own: Array, gauge: float, bounds: Bounds
) -> tuple[Array, Array, Array]:
    """Return weights, means and variances of the depth given the bound, at each log rate."""
    sd = np.sqrt(own + gauge)
    low, high = (bounds.low - depth) / sd, (bounds.high - depth) / sd
    # in the upper tail differences of ndtr vanish: both ends are mirrored
    turned = low > 0
    ends = np.where(turned, -high, low), np.where(turned, -low, high)
    chance = np.maximum(ndtr(ends[1]) - ndtr(ends[0]), 1e-280)
    heights = [np.exp(-0.5 * np.clip(end, -38.0, 38.0) ** 2) / 2.5066282746 for end in (low, high)]
    heights = [
        np.where(np.isfinite(end), h, 0.0) for end, h in zip((low, high), heights, strict=True)
    ]
    ratio = (heights[0] - heights[1]) / chance
    sides = [np.where(np.isfinite(end), end, 0.0) for end in (low, high)]
    bent = (sides[0] * heights[0] - sides[1] * heights[1]) / chance
    mean = depth + own / sd * ratio
    variance = own + own**2 / sd**2 * (bent - ratio**2)
    return known * chance, mean, np.maximum(variance, 1e-12)


def _moments(weight: Array, mean: Array, variance: Array) -> tuple[Array, Array]:
    """Return mean and variance of mixtures, one a column."""
    share = weight / np.maximum(weight.sum(axis=0), 1e-300)
    centre = (share * mean).sum(axis=0)
    return centre, (share * (variance + (mean - centre) ** 2)).sum(axis=0)
