"""Median ranks, adjusted ranks, and the line on Weibull paper.

For the eye and for comparison with hand methods: the law that forecasts use is fitted by
likelihood (`forecast.life.weibull`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv

from forecast.life.lives import Array, BoolArray, Lives

if TYPE_CHECKING:
    import pandas as pd

Ranks = Literal["benard", "exact"]


def median_ranks(n: int, method: Ranks = "exact") -> Array:
    """Median share failed at each of n failures in order.

    Parameters
    ----------
    n
        Number of pieces, all failed.
    method
        ``exact``: median of the beta law (i, n - i + 1); ``benard``: (i - 0.3) / (n + 0.4), off by
        0.0012 at most for n = 10.

    Returns
    -------
    Array
        [n] shares, rising.
    """
    if n < 1:
        raise ValueError(f"n must be 1 or more but is {n!r}")
    return _share(np.arange(1.0, n + 1), n, method)


def adjusted_ranks(time: npt.ArrayLike, failed: npt.ArrayLike) -> Array:
    """Ranks of the failures among failures and suspensions (Johnson).

    Parameters
    ----------
    time
        Age of each piece.
    failed
        Whether it failed there; else it is a suspension.

    Returns
    -------
    Array
        Rank of each failure, in order of age: each step is (n + 1 - rank before) / (1 + pieces
        not yet failed or taken out). At equal ages failures come first.
    """
    age, event = _times(time, failed)
    order = np.lexsort((~event, age))
    waiting = age.size - np.flatnonzero(event[order])
    return np.asarray((age.size + 1) * (1 - np.cumprod(waiting / (waiting + 1.0))))


def rank_regression(
    time: npt.ArrayLike,
    failed: npt.ArrayLike,
    on: Literal["rank", "time"] = "rank",
    ranks: Ranks = "benard",
) -> tuple[float, float]:
    """Line through the points on Weibull paper.

    Parameters
    ----------
    time, failed
        As for `adjusted_ranks`; at least two failures at different ages.
    on
        ``rank``: log age regressed on y = log(-log(1 - share)), the trade's usual choice;
        ``time``: y regressed on log age.
    ranks
        How shares come from adjusted ranks.

    Returns
    -------
    (shape, scale)
        Of the line.

    Raises
    ------
    ValueError
        For fewer than two failures at different ages, or an age of 0.
    """
    age, event = _times(time, failed)
    at = np.sort(age[event])
    if at.size < 2 or at[0] == at[-1]:
        raise ValueError(f"a line needs two failures at different ages but has {at.tolist()}")
    if at[0] <= 0:
        raise ValueError("a failure at age 0 has no place on Weibull paper")
    if on not in ("rank", "time"):
        raise ValueError(f"on must be 'rank' or 'time' but is {on!r}")
    x = np.log(at)
    y = np.log(-np.log1p(-_share(adjusted_ranks(age, event), age.size, ranks)))
    dx, dy = x - x.mean(), y - y.mean()
    shape = float((dy @ dy) / (dx @ dy) if on == "rank" else (dx @ dy) / (dx @ dx))
    return shape, float(np.exp(x.mean() - y.mean() / shape))


def plot_points(lives: Lives) -> pd.DataFrame:
    """Points of Weibull paper: failures at their adjusted ranks.

    Parameters
    ----------
    lives
        The lives. A failure found between inspections stands half-way between them, a late entry
        counts only from its entry on, a weight as so many pieces.

    Returns
    -------
    DataFrame
        One row an age at which pieces failed, in order: age, share (Benard), adjusted_rank (the
        middle rank of pieces that failed at one age).
    """
    import pandas as pd

    age = np.where(lives.between, (lives.lower + lives.upper) / 2, lives.lower)
    failed = ~lives.suspended
    at, where = np.unique(age[failed], return_inverse=True)
    dead = np.bincount(where, lives.weight[failed], at.size)
    waiting = _from(age, lives.weight, at) - _from(lives.entry, lives.weight, at)
    left = (lives.count + 1) * np.cumprod((waiting + 1 - dead) / (waiting + 1))
    before = np.concatenate([[lives.count + 1], left[:-1]])
    rank = lives.count + 1 - before + (before - left) * np.minimum((dead + 1) / (2 * dead), 1)
    return pd.DataFrame(
        {"age": at, "share": _share(rank, lives.count, "benard"), "adjusted_rank": rank}
    )


def rank_line(lives: Lives) -> tuple[float, float] | None:
    """Line through the points of Weibull paper, log age regressed on y.

    Parameters
    ----------
    lives
        The lives; as `plot_points` places them.

    Returns
    -------
    (shape, scale) or None
        None with fewer than two failures at different ages.
    """
    points = plot_points(lives)
    if len(points) < 2:
        return None
    x = np.log(points["age"].to_numpy(float))
    y = np.log(-np.log1p(-np.clip(points["share"].to_numpy(float), 1e-9, 1 - 1e-9)))
    dx, dy = x - x.mean(), y - y.mean()
    shape = float((dy @ dy) / (dx @ dy))
    return (shape, float(np.exp(x.mean() - y.mean() / shape))) if shape > 0 else None


def _share(rank: Array, n: float, method: Ranks) -> Array:
    if method == "benard":
        return np.asarray((rank - 0.3) / (n + 0.4))
    if method == "exact":
        return np.asarray(betaincinv(rank, n - rank + 1, 0.5))
    raise ValueError(f"ranks are 'exact' or 'benard' but {method!r} was asked for")


def _times(time: npt.ArrayLike, failed: npt.ArrayLike) -> tuple[Array, BoolArray]:
    age, event = np.asarray(time, np.float64), np.asarray(failed).astype(np.bool_)
    if age.ndim != 1 or age.shape != event.shape:
        raise ValueError(f"time has shape {age.shape} but failed has {event.shape}")
    if not np.isfinite(age).all():
        raise ValueError(f"row {int(np.argmin(np.isfinite(age)))} of time is {time!r}")
    return age, event


def _from(value: Array, weight: Array, at: Array) -> Array:
    """Weight of the values that are at or above each of ``at``."""
    order = np.argsort(value, kind="stable")
    total = np.concatenate([[0.0], np.cumsum(weight[order])])
    return np.asarray(total[-1] - total[np.searchsorted(value[order], at, side="left")])
