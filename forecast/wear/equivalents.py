"""Two rules of thumb made exact: how sure a rate is, and which shape a spread of rates implies."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt


def rate_sd(gauge_sd: float, hours: npt.ArrayLike) -> float:
    """Return the sd of a least-squares wear rate, mm/h: gauge sd / sqrt(sum (t - mean)2).

    Parameters
    ----------
    gauge_sd
        Of one reading, mm.
    hours
        When the readings are taken; at least two different times.

    Raises
    ------
    ValueError
        If all readings are at one time.
    """
    times = np.asarray(hours, dtype=np.float64)
    about = float(((times - times.mean()) ** 2).sum())
    if not about > 0:
        raise ValueError("a rate needs readings at two different times")
    return gauge_sd / math.sqrt(about)


def equivalent_shape(rate_cv: float) -> float:
    """Return the Weibull shape whose log lives spread like those of lognormal wear rates.

    A life is (limit - offset) / rate; with sd s of the log rate the shape is pi / (sqrt(6) s). A
    shape fitted to change-outs that is far below it says that the causes are mixed, or that
    planned change-outs were counted as failures.

    Parameters
    ----------
    rate_cv
        Coefficient of variation of the wear rate; above 0.
    """
    if not rate_cv > 0:
        raise ValueError(f"the coefficient of variation should be above 0, got {rate_cv}")
    return math.pi / math.sqrt(6.0 * math.log1p(rate_cv**2))
