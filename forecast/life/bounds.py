"""What can be said where nothing failed, and how many to test."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr


def zero_failure_bound(times: npt.ArrayLike, shape: float, confidence: float) -> float:
    """Lower bound of the scale from pieces of which none failed, the shape taken as known.

    Parameters
    ----------
    times
        Age each piece has reached without failing.
    shape
        The shape; an assumption, to be reported as one.
    confidence
        Confidence of the bound, one-sided, between 0 and 1.

    Returns
    -------
    float
        (sum of times^shape / -ln(1 - confidence))^(1 / shape), in the unit of the times.

    Raises
    ------
    ValueError
        For no times, a time that is negative or missing, all times 0, or a shape or confidence
        out of range.
    """
    ages = np.asarray(times, np.float64)
    _check_share(confidence, "confidence")
    if not (np.isfinite(shape) and shape > 0):
        raise ValueError(f"shape must be positive but is {shape!r}")
    if ages.size == 0 or not np.isfinite(ages).all() or (ages < 0).any():
        raise ValueError(f"times must be ages of 0 or more, at least one, but are {times!r}")
    oldest = float(ages.max())
    if oldest == 0:
        raise ValueError("times must not all be 0")
    exposure = float(((ages / oldest) ** shape).sum())
    return float(oldest * (exposure / -np.log1p(-confidence)) ** (1 / shape))


def success_run_size(reliability: float, confidence: float, failures: int = 0) -> int:
    """Pieces to test so that at most ``failures`` failures prove a reliability.

    Parameters
    ----------
    reliability
        Share that must survive the test, between 0 and 1.
    confidence
        Confidence that the test gives, between 0 and 1.
    failures
        Failures allowed.

    Returns
    -------
    int
        The smallest n for which, were the reliability just so, ``failures`` or fewer failures
        among n had a chance of at most 1 - confidence.

    Raises
    ------
    ValueError
        For a share out of range or a negative number of failures.
    """
    _check_share(reliability, "reliability")
    _check_share(confidence, "confidence")
    if failures < 0 or failures != int(failures):
        raise ValueError(f"failures must be 0, 1, 2, ... but is {failures!r}")
    allowed = (1 - confidence) * (1 + 1e-12)  # a size that meets it exactly is enough

    def proves(n: int) -> bool:
        return bool(bdtr(failures, n, 1 - reliability) <= allowed)

    enough = int(failures) + 1
    while not proves(enough):
        enough *= 2
    too_few = failures
    while enough - too_few > 1:
        middle = (enough + too_few) // 2
        too_few, enough = (too_few, middle) if proves(middle) else (middle, enough)
    return enough


def _check_share(value: float, name: str) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{name} must lie between 0 and 1 but is {value!r}")
