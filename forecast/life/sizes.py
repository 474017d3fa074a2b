"""How many machines, for how many hours, show that parts last longer: power of three trials.

    success run     n pieces run T hours; passed if so few fail that parts of the old kind would
                    do as well with a chance of at most 1 - confidence; any law
    zero failure    n pieces run until, by the old law with its shape, so many hours without a
                    failure have that chance; passed if none fails
    wear rate       old and new pieces side by side on each machine; passed if the difference of
                    their mean log rates is over its one-sided limit

Power is the chance to pass if the new kind is better by what was stated.
Sources: binomial and exponential tests of demonstration (published checks E1, E2); the wear-rate
test is that of a paired mean with known spreads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr, ndtr, ndtri

from forecast.life.lives import Array, IntArray


@dataclass(frozen=True)
class WearSpread:
    """What a trial of wear rates has to see through.

    Attributes
    ----------
    rate
        Mean wear rate, mm/h.
    piece_sd
        Standard deviation of log rate between pieces of one machine.
    reading_sd
        Of one reading of wear, mm: gauge and bedding-in together.
    """

    rate: float
    piece_sd: float
    reading_sd: float


def success_run_power(
    pieces: IntArray, old: float, new: float, confidence: float
) -> tuple[IntArray, Array]:
    """Power of a test of pieces that may show a few failures.

    Parameters
    ----------
    pieces
        Numbers of pieces tested.
    old, new
        Share of either kind that survives the test.
    confidence
        One-sided; parts of the old kind pass with a chance of at most 1 - confidence.

    Returns
    -------
    (failures, power)
        Failures allowed, -1 where even none proves nothing (power 0 there).
    """
    _check(confidence)
    most = int(pieces.max(initial=0))
    allowed = np.full(pieces.shape, -1)
    for failures in range(most):
        # the chance of so few failures rises with the failures: a size is done when it fails
        proves = (pieces > failures) & (
            bdtr(failures, np.maximum(pieces, failures + 1), 1 - old) <= 1 - confidence + 1e-12
        )
        if not proves.any():
            break
        allowed = np.where(proves, failures, allowed)
    chance = bdtr(np.maximum(allowed, 0), np.maximum(pieces, 1), 1 - new)
    return allowed, np.where(allowed >= 0, chance, 0.0)


def zero_failure_hours(
    pieces: IntArray, shape: float, scale: float, better: float, confidence: float
) -> tuple[Array, Array]:
    """Hours that so many pieces must run without a failure, and the power of that test.

    Parameters
    ----------
    pieces
        Numbers of pieces tested.
    shape, scale
        Law of the old kind; the shape is taken to be the new kind's too.
    better
        Life of the new kind over that of the old.
    confidence
        One-sided.

    Returns
    -------
    (hours, power)
        The power is the same for every size: (1 - confidence)^(better^-shape).
    """
    _check(confidence)
    hours = scale * (-np.log1p(-confidence) / pieces) ** (1 / shape)
    power = np.full(pieces.shape, (1 - confidence) ** (better**-shape))
    return hours, power


def wear_rate_power(
    machines: IntArray,
    each: float,
    hours: float,
    spread: WearSpread,
    better: float,
    confidence: float,
) -> Array:
    """Power of reading old and new pieces, side by side on each machine, once at the end.

    Parameters
    ----------
    machines
        Numbers of machines.
    each
        Pieces of either kind on a machine.
    hours
        Hours run when they are read.
    spread
        Of rates and readings; what differs between machines cancels.
    better
        Life of the new kind over that of the old: its wear rate is lower by that factor.
    confidence
        One-sided.
    """
    _check(confidence)
    noise = spread.reading_sd / (spread.rate * hours)
    error = np.sqrt(2 * (spread.piece_sd**2 + noise**2) / (machines * each))
    return np.asarray(ndtr(np.log(better) / error - ndtri(confidence)))


def _check(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1 but is {confidence!r}")
