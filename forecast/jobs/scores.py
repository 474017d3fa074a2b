"""How far forecasts were off: proper scores of quantiles, intervals and draws.

A score is proper where no forecast scores better on average than the law that the truth comes
from. All are losses: 0 is perfect, and they are in the unit of what is forecast.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Numbers = float | Sequence[float] | npt.NDArray[np.number]


def pinball_loss(actual: Numbers, predicted: Numbers, level: float) -> float:
    """Return the mean pinball loss of a quantile.

    Parameters
    ----------
    actual
        What happened.
    predicted
        The quantile that was forecast, one for each.
    level
        Of the quantile, between 0 and 1.

    Returns
    -------
    float
        Mean of level x (actual - predicted) where more happened, and of
        (1 - level) x (predicted - actual) where less did.

    Raises
    ------
    ValueError
        If the level is not between 0 and 1, or the lengths differ.
    """
    if not 0 < level < 1:
        raise ValueError(f"a quantile's level should be between 0 and 1, not {level}")
    happened, said = _pair(actual, predicted)
    over = happened - said
    return float(np.maximum(level * over, (level - 1) * over).mean())


def crps(draws: Numbers, actual: float) -> float:
    """Return the continuous ranked probability score of draws.

    The mean distance of the draws from what happened, less half their mean distance from each
    other: the integral of the squared distance of the two distribution functions. (Gneiting and
    Raftery, Journal of the American Statistical Association 102, 2007, eq. 21.)

    Parameters
    ----------
    draws
        From the forecast's law.
    actual
        What happened.
    """
    ordered = np.sort(np.asarray(draws, dtype=np.float64).ravel())
    n = len(ordered)
    if not n:
        raise ValueError("a score needs at least one draw")
    weights = 2 * np.arange(1, n + 1) - n - 1
    apart = 2.0 * float(weights @ ordered) / n**2
    return float(np.abs(ordered - actual).mean() - apart / 2)


def interval_score(low: Numbers, high: Numbers, actual: Numbers, level: float) -> float:
    """Return the mean interval score: the width, and a fine for what lies outside.

    The fine is 2 / (1 - level) times the distance from the interval. (Gneiting and Raftery 2007,
    eq. 43.)

    Parameters
    ----------
    low, high
        Ends of the intervals.
    actual
        What happened.
    level
        Of the intervals, such as 0.90.
    """
    if not 0 < level < 1:
        raise ValueError(f"an interval's level should be between 0 and 1, not {level}")
    happened, below = _pair(actual, low)
    _, above = _pair(actual, high)
    outside = np.maximum(below - happened, 0) + np.maximum(happened - above, 0)
    return float((above - below + 2 / (1 - level) * outside).mean())


def coverage(low: Numbers, high: Numbers, actual: Numbers) -> float:
    """Return the share of what happened that lies in its interval, ends included.

    Parameters
    ----------
    low, high
        Ends of the intervals.
    actual
        What happened.
    """
    happened, below = _pair(actual, low)
    _, above = _pair(actual, high)
    return float(((below <= happened) & (happened <= above)).mean())


def _pair(actual: Numbers, said: Numbers) -> tuple[Array, Array]:
    happened = np.atleast_1d(np.asarray(actual, dtype=np.float64))
    told = np.atleast_1d(np.asarray(said, dtype=np.float64))
    if happened.shape != told.shape or not happened.size:
        raise ValueError("there should be one forecast for each of one or more that happened")
    return happened, told
