"""Pieces of a set that were only found ok or over: what they tell of a visit's mean.

Nobody knows which piece it was, so a bound belongs to the visit, as a reading without a position
does. Each is replaced by a reading of a weight and a value that pull the visit's mean as the bound
does: under a normal N(mean, variance) cut at the limit,

    weight = 1 - variance of the cut / variance,   value = mean + (mean of the cut - mean) / weight

(Fisher scoring for a censored normal; Tobin 1958.) A bound that says nothing has weight 0. The
value does not move with a small change of the mean, so it may stand while machines are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import log_ndtr

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FAINT: Final = 0.01
"""A bound of less weight than this says nothing."""

SHARES: Final = ("replaced_share", "culled_share")


def with_visits(
    samples: pd.DataFrame,
    cells: pd.DataFrame,
    bounds: pd.DataFrame,
    bound_cells: pd.DataFrame,
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return samples and cells with the visits that have bounds alone, and the bounds that count.

    Parameters
    ----------
    samples, cells
        As Snapshot's ``samples`` and ``sample_cells``.
    bounds, bound_cells
        As Snapshot's. Those of pieces, of unknown age or ``suspect`` are left out, and those of
        visits in seasons that no measured sample tells of.
    """
    suspect = bounds["suspect"].fillna(False).astype(bool)
    own = bounds[(bounds["visit"].fillna("") != "") & bounds["age"].notna() & ~suspect]
    told = set(cells["season"].astype(str))
    foreign = bound_cells["bound"][~bound_cells["season"].astype(str).isin(told)]
    own = own[~own["bound"].isin(foreign)].reset_index(drop=True)
    first = own[~own["visit"].isin(samples["visit"])].drop_duplicates("visit")
    if not len(first):
        return samples, cells, own
    shares = {name: first.get(name, 0.0) for name in SHARES}
    more = first[["visit", "machine", "age"]].assign(
        age_sq=first["age"] ** 2, n=0, sy=0.0, syy=0.0, **shares
    )
    run = bound_cells.merge(first[["bound", "visit"]], on="bound")[["visit", "season", "x"]]
    columns = [name for name in samples.columns if name in more.columns]
    return (
        pd.concat([samples, more[columns]], ignore_index=True),
        pd.concat([cells, run], ignore_index=True),
        own,
    )


@dataclass(frozen=True, eq=False)
class VisitBounds:
    """Bounds of visits: which visit each is of, and what it leaves open, mm [bounds]."""

    visit: IntArray
    low: Array
    high: Array


def pulled(
    read: Array, mean: Array, variance: Array, bounds: VisitBounds, prior: tuple[Array, Array]
) -> tuple[Array, Array, Array]:
    """Return readings, mean and variance of visits with their bounds counted in.

    Parameters
    ----------
    read, mean, variance
        Of the measured readings of each visit: their number, mm and mm2 [visits].
    bounds
        Of these visits.
    prior
        Mean and variance of one reading at each visit, as the fit has them now [visits].

    Returns
    -------
    tuple of arrays
        The number counts a bound by its weight. The variance is that of all pieces looked at:
        values whose top was cut off scatter too little.
    """
    centre, spread = (part[bounds.visit] for part in prior)
    weight, value, cut, left = matched(centre, spread, bounds.low, bounds.high)

    def of_visit(values: Array) -> Array:
        return np.bincount(bounds.visit, values, read.size).astype(np.float64)

    n, full = read + of_visit(weight), (weight > 0).astype(np.float64)
    total = read * mean
    both = np.divide(total + of_visit(weight * value), n, out=np.zeros_like(n), where=n > 0)
    count, sums = read + of_visit(full), total + of_visit(full * cut)
    squares = variance * np.maximum(read - 1.0, 0.0) + total * mean
    squares = squares + of_visit(full * (cut**2 + left))
    scatter = (squares - sums**2 / np.maximum(count, 1.0)) / np.maximum(count - 1.0, 1.0)
    return n, both, np.where(read >= 2, np.maximum(scatter, 0.0), prior[1])


def matched(
    mean: Array, variance: Array, low: Array, high: Array
) -> tuple[Array, Array, Array, Array]:
    """Return what stands for bounds: weight (in readings) and value (mm), mean and variance cut.

    Parameters
    ----------
    mean, variance
        Of one reading of a piece at the visit, mm and mm2 [bounds].
    low, high
        What the bound leaves open, mm; one of the two is infinite [bounds].
    """
    sd = np.sqrt(variance)
    over = np.isfinite(low)
    # an 'over' is an 'ok' seen in the mirror; beyond 30 sd the cut has no digits left
    side = np.where(over, -1.0, 1.0)
    end = np.clip(side * (np.where(over, low, high) - mean) / sd, -30.0, 30.0)
    steep = np.exp(-0.5 * end**2 - log_ndtr(end)) / np.sqrt(2.0 * np.pi)
    weight = np.clip(steep * (end + steep), 0.0, 1.0)
    left = (1.0 - weight) * variance
    weight = np.where(weight < FAINT, 0.0, weight)
    moved = -side * sd * steep
    value = mean + np.divide(moved, weight, out=np.zeros_like(weight), where=weight > 0)
    return weight, value, mean + moved, left
