"""The Weibull fit a person meets: shape, scale, and how far to trust them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from forecast.life.exposure import Exposure
from forecast.life.intervals import likelihood_interval, share_of, wald_interval
from forecast.life.likelihood import FEWEST_FAILURES, Maxima, log_likelihood, maximise
from forecast.life.lives import Array, IntArray, Lives
from forecast.life.posterior import fixed_shape_draws, posterior_draws
from forecast.life.priors import FLAT, ShapePrior

if TYPE_CHECKING:
    import pandas as pd

State = Literal["fitted", "leans_on_prior", "lower_bound_only", "no_fit"]
Method = Literal["likelihood", "wald", "posterior"]

WALD_FROM = 30
"""Failures from which the curvature gives intervals as good as the likelihood ratio."""

_MEDIAN_DRAWS = 20_000
_MEDIAN_SEED = 20_000


@dataclass(frozen=True, eq=False)
class WeibullFit:
    """A Weibull law of life and what it rests on.

    Attributes
    ----------
    shape, scale
        The law; scale is the age by which 63.2 % have failed, in the unit of the lives. Greatest
        likelihood in state ``fitted``, posterior medians in ``leans_on_prior``, NaN in the others
        (a shape that was given stays).
    log_likelihood
        At (shape, scale); NaN where they are.
    failures
        Number of failures.
    state
        ``fitted``; ``leans_on_prior`` (a shape prior was given and fewer than 20 failed);
        ``lower_bound_only`` (none failed: only the low ends of intervals of a life are finite);
        ``no_fit`` (no greatest likelihood exists, or nothing was watched).
    prior
        Prior of the shape; None where none was given.
    lives
        What it was fitted to.
    shape_given
        Whether the shape was given and not fitted.
    far_from_prior
        Whether lives and prior disagree: the median of log shape lies more than 1.5 standard
        deviations of the prior from its centre.
    """

    shape: float
    scale: float
    log_likelihood: float
    failures: float
    state: State
    prior: ShapePrior | None
    lives: Lives = field(repr=False)
    shape_given: bool = False
    far_from_prior: bool = False

    def survival(self, t: npt.ArrayLike) -> Array:
        """Share that lives past each age ``t``."""
        return np.exp(-((np.asarray(t, np.float64) / self.scale) ** self.shape))

    def quantile(self, p: npt.ArrayLike) -> Array:
        """Age by which a share ``p`` (between 0 and 1) has failed."""
        share = np.asarray(p, np.float64)
        if ((share < 0) | (share > 1)).any():
            raise ValueError(f"a share lies between 0 and 1 but p is {p!r}")
        with np.errstate(divide="ignore"):
            return np.asarray(self.scale * (-np.log1p(-share)) ** (1 / self.shape))

    def b_life(self, percent: float) -> float:
        """Age by which ``percent`` % have failed: ``b_life(10)`` is the B10 life."""
        if not 0 < percent < 100:
            raise ValueError(f"percent must lie between 0 and 100 but is {percent!r}")
        return float(self.quantile(percent / 100))

    def interval(
        self, of: str = "shape", level: float = 0.90, method: Method | None = None
    ) -> tuple[float, float]:
        """Give a two-sided interval.

        Parameters
        ----------
        of
            ``shape``, ``scale``, or ``b10``, ``b1``, ...
        level
            Share of such intervals that hold the truth.
        method
            ``likelihood`` (ratio) or ``wald`` (curvature, on the log scale) of the likelihood
            alone, or ``posterior``. If not given: posterior where the fit leans on its prior or
            nothing failed, else the likelihood ratio below 30 failures and the curvature from
            there on. A shape that was given has the chi-square interval of the scale.

        Returns
        -------
        (low, high)
            NaN where there is no fit. Where nothing failed the high end is infinite.
        """
        share = share_of(of)
        if not 0 < level < 1:
            raise ValueError(f"level must lie between 0 and 1 but is {level!r}")
        if method not in (None, "likelihood", "wald", "posterior"):
            raise ValueError(f"method must be 'likelihood' or 'wald' but is {method!r}")
        if self.state == "no_fit":
            return np.nan, np.nan
        if self.shape_given:
            return self._chi_square_interval(share, level)
        if self.state == "lower_bound_only":
            return self._posterior_interval(share, level)[0], np.inf
        if method is None and self.state == "leans_on_prior":
            method = "posterior"
        if method == "posterior":
            return self._posterior_interval(share, level)
        if method == "wald" or (method is None and self.failures >= WALD_FROM):
            low, high = wald_interval(self._maxima, of, level)
        else:
            low, high = likelihood_interval(self.lives, None, self._maxima, of, level)
        return float(low[0]), float(high[0])

    def draws(self, n: int, seed: int | np.random.Generator) -> tuple[Array, Array]:
        """Draw laws that the lives allow, for a forecast.

        Parameters
        ----------
        n
            Number of draws.
        seed
            Seed or generator: the same seed gives the same draws.

        Returns
        -------
        (shape, scale)
            [n] each, drawn together. From the posterior under the prior; without one, flat in log
            shape and log scale. Available where nothing failed too, if there is a prior.

        Raises
        ------
        ValueError
            In state ``no_fit``.
        """
        if self.state == "no_fit":
            raise ValueError(f"no law to draw from: state is no_fit for {self.lives}")
        rng = np.random.default_rng(seed)
        if self.shape_given:
            return fixed_shape_draws(self.lives, self.shape, n, rng)
        return posterior_draws(self.lives, self.prior or FLAT, n, rng)

    def __str__(self) -> str:
        law = f"shape {self.shape:.3g}, scale {self.scale:.5g}"
        leaning = f"; prior {self.prior}" if self.prior else ""
        return f"Weibull {law} ({self.state}, {self.lives}{leaning})"

    @cached_property
    def _maxima(self) -> Maxima:
        return maximise(self.lives)

    @cached_property
    def _posterior(self) -> tuple[Array, Array]:
        return self.draws(_MEDIAN_DRAWS, _MEDIAN_SEED)

    def _posterior_interval(self, share: float | None, level: float) -> tuple[float, float]:
        shape, scale = self._posterior
        of = shape if share is None else scale * (-np.log1p(-share)) ** (1 / shape)
        low, high = np.quantile(of, [(1 - level) / 2, (1 + level) / 2])
        return float(low), float(high)

    def _chi_square_interval(self, share: float | None, level: float) -> tuple[float, float]:
        """Known shape: twice the exposure over chi-square, at either end.

        Failures found between inspections count as so many seen ones, near the fitted scale.
        """
        if share is None:
            return self.shape, self.shape
        failures, hours = _fixed_shape_sums(self.lives, self.shape)
        tail = (1 - level) / 2
        rates = np.array([np.inf, chdtri(2 * failures + 2, tail)]) / 2 / hours
        rates[0] = chdtri(2 * failures, 1 - tail) / 2 / hours if failures > 0 else 0.0
        with np.errstate(divide="ignore"):
            high, low = self.lives.oldest * (-np.log1p(-share) / rates) ** (1 / self.shape)
        return float(low), float(high)


def fit_weibull(
    lives: Lives, shape: float | None = None, prior: ShapePrior | None = None
) -> WeibullFit:
    """Fit a Weibull law of life.

    Parameters
    ----------
    lives
        The lives: seen failures, suspensions, failures found between inspections, late entries.
    shape
        The shape, where it is taken as known: an assumption, to be reported as one.
    prior
        Prior of the shape. With it, fewer than 20 failures (none, even) give posterior medians
        and intervals; from 20 failures on it changes little. Without it the fit is that of
        greatest likelihood however few failed.

    Returns
    -------
    WeibullFit
        Its ``state`` says what it is worth. Data that allow no fit give ``no_fit`` and NaN, never
        an error.

    Raises
    ------
    ValueError
        For a shape that is not positive, or a shape and a prior together.
    """
    if shape is not None:
        if prior is not None:
            raise ValueError(f"give shape or prior, not both: {shape} and {prior}")
        if not (np.isfinite(shape) and shape > 0):
            raise ValueError(f"shape must be positive but is {shape!r}")
        return _fit_scale(lives, float(shape))
    if lives.exposure <= 0:
        return _no_fit(lives, prior)
    maxima = maximise(lives)
    if prior is None or (lives.failures >= FEWEST_FAILURES and maxima.found[0]):
        return _fit_both(lives, maxima, prior)
    return _fit_with_prior(lives, prior)


def fit_weibull_groups(lives: Lives, group: npt.ArrayLike) -> pd.DataFrame:
    """Fit a Weibull law of greatest likelihood to each group, all groups in one array pass.

    Parameters
    ----------
    lives
        Lives of all groups.
    group
        Label of the group of each life.

    Returns
    -------
    DataFrame
        One row a group, in order of the labels: group, lives, failures, shape, scale,
        log_likelihood, state (``fitted`` or ``no_fit``, then with NaN).
    """
    import pandas as pd

    number, labels = pd.factorize(np.asarray(group), sort=True)
    if number.size != len(lives):
        raise ValueError(f"there are {len(lives)} lives but {number.size} group labels")
    if (number < 0).any():
        raise ValueError(f"row {int(np.argmax(number < 0))} has no group label")
    of_life: IntArray = number.astype(np.int64)
    maxima = maximise(lives, of_life, len(labels))
    return pd.DataFrame(
        {
            "group": labels,
            "lives": np.bincount(of_life, lives.weight, len(labels)),
            "failures": maxima.failures,
            "shape": np.exp(maxima.log_shape),
            "scale": np.exp(maxima.log_scale),
            "log_likelihood": maxima.log_likelihood,
            "state": maxima.state,
        }
    )


def _fit_both(lives: Lives, maxima: Maxima, prior: ShapePrior | None) -> WeibullFit:
    if not maxima.found[0]:
        return _no_fit(lives, prior)
    return WeibullFit(
        shape=float(np.exp(maxima.log_shape[0])),
        scale=float(np.exp(maxima.log_scale[0])),
        log_likelihood=float(maxima.log_likelihood[0]),
        failures=lives.failures,
        state="fitted",
        prior=prior,
        lives=lives,
        far_from_prior=_is_far(float(maxima.log_shape[0]), prior),
    )


def _fit_with_prior(lives: Lives, prior: ShapePrior) -> WeibullFit:
    rng = np.random.default_rng(_MEDIAN_SEED)
    shape, scale = posterior_draws(lives, prior, _MEDIAN_DRAWS, rng)
    far = _is_far(float(np.median(np.log(shape))), prior)
    if not lives.failures:
        return _no_fit(lives, prior, "lower_bound_only")
    middle = float(np.median(shape)), float(np.median(scale))
    at = log_likelihood(lives, None, np.log([middle[0]]), np.log([middle[1]]))
    return WeibullFit(
        *middle, float(at[0]), lives.failures, "leans_on_prior", prior, lives, far_from_prior=far
    )


def _fit_scale(lives: Lives, shape: float) -> WeibullFit:
    """Fit the scale alone: (sum of (t^shape - e^shape) / failures)^(1/shape) for seen failures."""
    state: State = "no_fit"
    scale = value = np.nan
    if lives.exposure > 0 and not lives.failures:
        state = "lower_bound_only"
    elif lives.exposure > 0:
        failures, hours = _fixed_shape_sums(lives, shape)
        if failures > 1e-6:  # else the likelihood only rises towards a scale of 0
            state = "fitted"
            scale = lives.oldest * (hours / failures) ** (1 / shape)
            at = log_likelihood(lives, None, np.log([shape]), np.log([scale]))
            value = float(at[0])
    return WeibullFit(shape, scale, value, lives.failures, state, None, lives, shape_given=True)


def _fixed_shape_sums(lives: Lives, shape: float) -> tuple[float, float]:
    """Failures and exposure (in pieces run to the largest age) at a known shape."""
    exposure, at = Exposure(lives), np.array([shape])
    found = exposure.found(at, exposure.likeliest_rate(at, 0.0, 0.0))
    hours = exposure.sums(at)[0, 0] + found.exposure[0, 0]
    return float(exposure.seen[0] + found.failures[0, 0]), float(hours)


def _no_fit(lives: Lives, prior: ShapePrior | None, state: State = "no_fit") -> WeibullFit:
    return WeibullFit(np.nan, np.nan, np.nan, lives.failures, state, prior, lives)


def _is_far(log_shape: float, prior: ShapePrior | None) -> bool:
    return prior is not None and prior.disagrees(float(np.exp(log_shape)))
