"""The survival curve that assumes no law: Kaplan-Meier, or Turnbull with inspections.

The one user of lifelines, which takes most of a second to import: so only inside the functions.
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np

from forecast.life.lives import Lives

if TYPE_CHECKING:
    import pandas as pd

_COLUMNS = ["time", "survival", "low", "high"]


def survival_curve(lives: Lives, level: float = 0.90) -> pd.DataFrame:
    """Share that lives past each age, with no law assumed.

    Parameters
    ----------
    lives
        The lives.
    level
        Level of the pointwise band (log-log Greenwood).

    Returns
    -------
    DataFrame
        time, survival, low, high; one row an age at which the curve may step, from age 0 on.
        Kaplan-Meier for seen failures, suspensions and late entries. Where failures were found
        between inspections, Turnbull's estimate, without a band (NaN); if lives entered late as
        well, which that estimate cannot take, Kaplan-Meier with each such failure half-way.
    """
    if not len(lives):
        import pandas as pd

        return pd.DataFrame({name: np.empty(0) for name in _COLUMNS})
    if lives.between.any() and not (lives.entry > 0).any():
        return _turnbull(lives)
    return _kaplan_meier(lives, level)


def _kaplan_meier(lives: Lives, level: float) -> pd.DataFrame:
    from lifelines import KaplanMeierFitter

    ages = np.where(lives.between, (lives.lower + lives.upper) / 2, lives.lower)
    late = lives.entry if (lives.entry > 0).any() else None
    fitter = KaplanMeierFitter(alpha=1 - level)
    with warnings.catch_warnings():  # weights need not be whole numbers here
        warnings.simplefilter("ignore")
        fitter.fit(ages, ~lives.suspended, entry=late, weights=lives.weight)
    return _frame(fitter.survival_function_, fitter.confidence_interval_)


def _turnbull(lives: Lives) -> pd.DataFrame:
    from lifelines import KaplanMeierFitter

    # lifelines takes closed intervals, but what was alive at an age failed after it;
    # and its upper curve steps just after the age at which the step is certain
    instant = 1e-9 * lives.oldest
    lower = np.where(lives.exact, lives.lower, lives.lower + instant)
    ages = np.unique(np.concatenate([[0.0], lives.lower, lives.upper[~lives.suspended]]))
    fitter = KaplanMeierFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter.fit_interval_censoring(
            lower, lives.upper, timeline=ages + 10 * instant, weights=lives.weight
        )
    return _frame(fitter.survival_function_.filter(like="upper").set_axis(ages), None)


def _frame(curve: pd.DataFrame, band: pd.DataFrame | None) -> pd.DataFrame:
    out = curve.iloc[:, 0].rename("survival").rename_axis("time").reset_index()
    out["low"] = np.nan if band is None else band.iloc[:, 0].to_numpy()
    out["high"] = np.nan if band is None else band.iloc[:, 1].to_numpy()
    return out[_COLUMNS]
