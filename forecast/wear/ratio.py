"""Two grades or batches side by side: the ratio of their wear rates at equal duty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.wear.design import covariates
from forecast.wear.regression import fit_log_rate


@dataclass(frozen=True)
class RateRatio:
    """How fast one grade (or batch) wears against another, adjusted for duty.

    Attributes
    ----------
    ratio, low, high
        Rate of b over rate of a, with 90 % bounds; NaN where it can't be told.
    pairs
        Machines that have pieces of both: what one machine does to both cancels there.
    adjusted_for
        Terms of the duty that differ within the logs and were held equal.
    extrapolated
        Whether the two ran under duties that do not overlap.
    """

    ratio: float
    low: float
    high: float
    pairs: int
    adjusted_for: tuple[str, ...]
    extrapolated: bool


def rate_ratio(
    pieces: pd.DataFrame,
    a: str,
    b: str,
    *,
    by: str = "grade",
    adjust: Sequence[str] = ("log_pressure", "log_speed", "temperature", "medium", "size"),
    gauge_sd: float | None = None,
) -> RateRatio:
    """Compare two grades (or batches) at equal duty.

    Parameters
    ----------
    pieces
        As in :func:`fit_log_rate`, with the column ``by``; rows of other values are left out.
    a, b
        The two values; the ratio is b over a.
    by
        The column that tells them apart.
    adjust
        Duty to be held equal; what has no column or does not vary is passed over.
    gauge_sd
        As in :func:`fit_log_rate`.
    """
    nan = float("nan")
    own = pieces[pieces[by].astype(str).isin([a, b])]
    sides = [own[own[by].astype(str) == side] for side in (a, b)]
    if any(side.empty for side in sides):
        return RateRatio(nan, nan, nan, 0, (), False)
    pairs = len(set(sides[0]["machine"]) & set(sides[1]["machine"]))
    there = [name for name in adjust if _has(own, name)]
    apart = _apart(sides, there)
    marked = own.assign(**{by: np.where(own[by].astype(str) == a, f"0 {a}", f"1 {b}")})
    try:
        fit = fit_log_rate(marked, " + ".join([by, *there]), gauge_sd=gauge_sd)
    except ValueError:
        return RateRatio(nan, nan, nan, pairs, (), apart)
    told = fit.terms[fit.terms["term"].str.startswith(f"{by} ")]
    if len(told) != 1:
        return RateRatio(nan, nan, nan, pairs, (), True)
    ratio, low, high = np.exp(told[["value", "value_low", "value_high"]].to_numpy(float)[0])
    held = tuple(name for name in there if any(_of(name, t) for t in fit.terms["term"]))
    return RateRatio(float(ratio), float(low), float(high), pairs, held, apart)


def _has(pieces: pd.DataFrame, name: str) -> bool:
    try:
        column = covariates(pieces, (name,))[name]
    except ValueError:
        return False
    return len(set(column)) > 1


def _of(name: str, label: str) -> bool:
    return label == name or label.startswith(f"{name} ")


def _apart(sides: Sequence[pd.DataFrame], names: Sequence[str]) -> bool:
    """Say whether the two ran under duties that do not overlap in some respect."""
    for name in names:
        one, other = (covariates(side, (name,))[name] for side in sides)
        if one.dtype == object:
            if not set(one) & set(other):
                return True
        elif one.min() > other.max() or other.min() > one.max():
            return True
    return False
