"""The survival curve that assumes no law, and laws of other families beside the Weibull law.

The one user of lifelines, which takes most of a second to import: so only inside the functions
that need it (failures between inspections, other families).
"""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from forecast.life.lives import Lives

if TYPE_CHECKING:
    import pandas as pd

Array = npt.NDArray[np.float64]

_COLUMNS = ["time", "survival", "low", "high"]
MANY_FOUND: Final = 0.1
"""Share of failures found between inspections from which a curve has to allow for it."""

_FAMILIES = ("weibull", "exponential", "lognormal", "gamma")


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
        time, survival, low, high; one row an age at which the curve may step, from age 0 on (a
        step to nothing has no band: NaN).
        Kaplan-Meier for seen failures, suspensions and late entries. Where more than one failure
        in ten was found between inspections, Turnbull's estimate, without a band (NaN); where it
        is fewer, or lives entered late as well, which that estimate cannot take, Kaplan-Meier
        with each such failure half-way.
    """
    if not len(lives):
        import pandas as pd

        return pd.DataFrame({name: np.empty(0) for name in _COLUMNS})
    return _turnbull(lives) if takes_turnbull(lives) else _kaplan_meier(lives, level)


def takes_turnbull(lives: Lives) -> bool:
    """Say whether the curve is Turnbull's: failures found between inspections, no late entries."""
    found = float(lives.weight[lives.between].sum())
    return found > MANY_FOUND * lives.failures and not bool((lives.entry > 0).any())


def _kaplan_meier(lives: Lives, level: float) -> pd.DataFrame:
    """Multiply, failure by failure, the share of those at risk that outlives it.

    At risk at an age is who had entered before it and had not left before it; the band is
    Greenwood's variance carried to log(-log survival), so that it stays between 0 and 1.
    """
    import pandas as pd

    left = np.where(lives.between, (lives.lower + lives.upper) / 2, lives.lower)
    failed = ~lives.suspended
    ages, at = np.unique(left[failed], return_inverse=True)
    gone = np.bincount(at, weights=lives.weight[failed], minlength=len(ages))
    # entered before the age, less left before the age: both by a running sum over sorted ages
    risk = _below(lives.entry, lives.weight, ages) - _below(left, lives.weight, ages)
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(1 - gone / risk)
        spread = np.sqrt(np.cumsum(gone / (risk * (risk - gone)))) / np.abs(np.log(survival))
        width = np.exp(ndtri((1 + level) / 2) * spread)
        low, high = survival**width, survival ** (1 / width)
    start = {"time": [0.0], "survival": [1.0], "low": [1.0], "high": [1.0]}
    steps = {"time": ages, "survival": survival, "low": low, "high": high}
    frame = pd.concat([pd.DataFrame(start), pd.DataFrame(steps)], ignore_index=True)
    return frame.drop_duplicates("time", keep="last", ignore_index=True)


def _below(values: Array, weight: Array, ages: Array) -> Array:
    """Weight of all values below each age."""
    order = np.argsort(values, kind="stable")
    sums = np.concatenate([[0.0], np.cumsum(weight[order])])
    return sums[np.searchsorted(values[order], ages, side="left")]


def _turnbull(lives: Lives) -> pd.DataFrame:
    import pandas as pd
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
    upper = fitter.survival_function_.filter(like="upper").to_numpy(float)[:, 0]
    columns = {"time": ages, "survival": upper, "low": np.nan, "high": np.nan}
    return pd.DataFrame(columns)


def families(lives: Lives) -> pd.DataFrame:
    """Fit laws of several families by greatest likelihood, for comparison.

    A smaller AIC (2 parameters - 2 log-likelihood) fits better; a difference under 2 says nothing.
    Few failures can't tell families apart, and far beyond the oldest piece they differ by a lot.

    Parameters
    ----------
    lives
        The lives: with failures enough for a Weibull law to have a greatest likelihood.

    Returns
    -------
    DataFrame
        family, parameters (how many), log_likelihood, aic, b10 (age by which 10 % have failed),
        the least AIC first; a family that finds no fit has NaN.
    """
    import pandas as pd

    unit = lives.oldest
    rows = [{"family": name, **_fitted(name, lives, unit)} for name in _FAMILIES]
    table = pd.DataFrame(rows)
    return table.sort_values("aic", kind="stable", ignore_index=True, na_position="last")


def _fitted(family: str, lives: Lives, unit: float) -> dict[str, float]:
    """One family on ages over ``unit``: what lifelines reports, in the unit of the lives."""
    fitter = _fitter(family)
    parameters = len(fitter._fitted_parameter_names)
    nothing = {"parameters": parameters, "log_likelihood": np.nan, "aic": np.nan, "b10": np.nan}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fitter.fit_interval_censoring(
                lives.lower / unit,
                lives.upper / unit,
                entry=lives.entry / unit,
                weights=lives.weight,
                timeline=[1.0],
            )
        except Exception:  # lifelines raises several kinds where it does not converge
            return nothing
    seen = float(lives.weight[lives.exact].sum())
    value = float(fitter.log_likelihood_) - seen * np.log(unit)
    if not np.isfinite(value):
        return nothing
    b10 = unit * _age_at(fitter, 0.1)
    return nothing | {"log_likelihood": value, "aic": 2 * parameters - 2 * value, "b10": b10}


def _age_at(fitter: Any, share: float) -> float:
    """Age by which a share has failed, by halving on the cumulative hazard."""
    goal, low, high = -np.log1p(-share), -20.0, 20.0
    for _ in range(80):
        middle = (low + high) / 2
        hazard = fitter._cumulative_hazard(fitter._fitted_parameters_, np.exp([middle]))[0]
        low, high = (middle, high) if hazard < goal else (low, middle)
    return float(np.exp((low + high) / 2))


def _fitter(family: str) -> Any:
    import lifelines

    if family == "gamma":
        return _gamma()
    return {
        "weibull": lifelines.WeibullFitter,
        "exponential": lifelines.ExponentialFitter,
        "lognormal": lifelines.LogNormalFitter,
    }[family]()


def _gamma() -> Any:
    """Return a gamma law in lifelines' own form: number alpha, rate lambda."""
    from autograd_gamma import gammaincc
    from lifelines.fitters import ParametricUnivariateFitter

    class Gamma(ParametricUnivariateFitter):  # type: ignore[misc]
        _fitted_parameter_names = ["alpha_", "lambda_"]  # noqa: RUF012

        def _cumulative_hazard(self, params: Any, times: Any) -> Any:
            from autograd import numpy as anp

            return -anp.log(anp.clip(gammaincc(params[0], times * params[1]), 1e-300, 1.0))

    return Gamma()
