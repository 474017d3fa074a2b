"""What the life plot shows, from the same source as the row of the life table beside it."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.life.curves import survival_curve
from forecast.life.intervals import likelihood_interval, wald_interval
from forecast.life.likelihood import maximise
from forecast.life.lives import Lives
from forecast.life.ranks import plot_points
from forecast.life.weibull import WALD_FROM, WeibullFit
from forecast.records.season import EXHIBITS

Array = npt.NDArray[np.float64]

CURVE_POINTS: Final = 60
TICKS: Final = 40
MOST_STEPS: Final = 120
TENTH: Final = 0.1


def failed_and_running(label: str, mode: str, lives: Lives, rows: pd.DataFrame) -> pd.DataFrame:
    """Return failures at their adjusted ranks, and the ages of who still runs.

    Parameters
    ----------
    label, mode
        Of the plot.
    lives
        Of the mode: other ends are suspensions.
    rows
        The rows of ``Snapshot.lives`` behind them.
    """
    frames = []
    if lives.failures > 0:
        failed = plot_points(lives)
        at = failed["age"].to_numpy(), failed["share"].to_numpy()
        frames.append(_rows(label, mode, "failed", *at))
    running = rows.loc[(rows["mode"] == "") & np.isinf(rows["upper"]), "lower"].to_numpy(float)
    if len(running):
        running = np.quantile(running, np.linspace(0, 1, min(len(running), TICKS)))
    frames.append(_rows(label, mode, "running", running))
    return pd.concat(frames, ignore_index=True)


def bare_curve(label: str, mode: str, lives: Lives) -> pd.DataFrame:
    """Return the share gone at each failure without any law: kind ``curve``, with a 90 % band.

    Long curves are thinned evenly in the number of steps; a step at which nobody is left tells
    nothing and is left out, as are curves of lives without a failure.
    """
    curve = survival_curve(lives)
    steps = curve[(curve["survival"] < 1) & (curve["survival"] > 0)]
    if len(steps) > MOST_STEPS:
        kept = np.unique(np.linspace(0, len(steps) - 1, MOST_STEPS).round().astype(int))
        steps = steps.iloc[kept]
    share = (1 - steps[["survival", "high", "low"]]).to_numpy(float)
    return _rows(label, mode, "curve", steps["time"].to_numpy(float), *share.T)


def fitted_curve(label: str, mode: str, fit: WeibullFit) -> pd.DataFrame:
    """Return the line of greatest likelihood; its band is where the table's intervals end.

    At each share that has failed stands the interval of the age by which it has (as ``b10`` in
    the table, likelihood ratio below 30 failures, curvature from there on); the band at an age is
    read from them.
    """
    age = _ages(fit.lives.oldest, [fit.b_life(10), *fit.interval("b10")])
    share = 1 - fit.survival(age)
    share[np.isclose(age, fit.b_life(10), rtol=1e-12)] = TENTH
    first, last = np.log(-np.log1p(-np.clip(share[[0, -1]], 1e-9, 1 - 1e-9)))
    height = np.linspace(first, last, 41)
    height = np.unique(np.append(height, np.log(-np.log1p(-TENTH))))
    maxima = maximise(fit.lives)
    ends = []
    for own in height:
        of = f"b{float(-100 * np.expm1(-np.exp(own)))!r}"
        if fit.failures >= WALD_FROM:
            low, high = wald_interval(maxima, of)
        else:
            low, high = likelihood_interval(fit.lives, None, maxima, of)
        ends.append((np.log(low[0]), np.log(high[0])))
    # early age, high share: the low ends of the ages are the band's upper edge
    upper, lower = (
        -np.expm1(-np.exp(_through(np.log(age), edge, height))) for edge in np.array(ends).T
    )
    return _rows(label, mode, "fit", age, share, lower, upper)


def posterior_curve(
    label: str, mode: str, draws: tuple[Array, Array], longest: float, failures: float
) -> pd.DataFrame:
    """Return median and 90 % band of the share gone, from posterior draws.

    Without a failure only the highest share that the lives allow: kind ``bound``.
    """
    shape, scale = draws
    tenth = np.quantile(scale * (-np.log1p(-TENTH)) ** (1 / shape), [0.05, 0.5, 0.95])
    age = _ages(longest, tenth.tolist())
    share = -np.expm1(-((age[:, None] / scale) ** shape))
    low, middle, high = np.quantile(share, [0.05, 0.5, 0.95], axis=1)
    if failures == 0:
        return _rows(label, mode, "bound", age, high)
    return _rows(label, mode, "fit", age, middle, low, high)


def _ages(longest: float, corners: list[float]) -> Array:
    """Even steps on the log scale, from below to beyond the corners of B10 and its interval."""
    first, last = max(longest / 50, 1.0), max(longest * 1.5, 2.0)
    inside = [at for at in corners if first / 3 < at < last * 3]
    ends = min([first, *inside]) / 1.02, max([last, *inside]) * 1.02
    return np.unique(np.append(np.geomspace(*ends, CURVE_POINTS), inside))


def _through(x: Array, at: Array, height: Array) -> Array:
    """Heights at x of a line through (at, height), straight beyond its ends."""
    rise = np.diff(height) / np.maximum(np.diff(at), 1e-12)
    inside = np.interp(x, at, height)
    below = height[0] + rise[0] * (x - at[0])
    above = height[-1] + rise[-1] * (x - at[-1])
    return np.where(x < at[0], below, np.where(x > at[-1], above, inside))


def _rows(
    label: str,
    mode: str,
    kind: str,
    age: Array,
    share: Array | float = np.nan,
    low: Array | float = np.nan,
    high: Array | float = np.nan,
) -> pd.DataFrame:
    frame = pd.DataFrame({"age": age, "share": share, "low": low, "high": high})
    frame = frame.assign(part_type=label, mode=mode, kind=kind)
    return frame[list(EXHIBITS["life_points"])]
