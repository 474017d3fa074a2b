"""What is believed of a shape before the lives are looked at.

The prior is set on what people can judge: log shape is normal about a stated centre, and the
number of failures expected by the largest age t0, (t0 / scale)^shape, is Gamma(0.5, 0.05). A prior
on the scale itself would change its meaning with the unit of time; this one does not, and its
weight is that of half a failure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from forecast.life.likelihood import Maxima
from forecast.life.lives import Array

EVENTS: Final = 0.5
"""Failures the prior on expected failures is worth."""
HOURS: Final = 0.05
"""Exposure it is worth, in pieces run to the largest age."""
FAR: Final = 1.5
"""Standard deviations from which on lives and prior disagree."""


@dataclass(frozen=True)
class ShapePrior:
    """Prior of the shape: its logarithm is normal.

    Parameters
    ----------
    centre
        Median of the prior.
    log_sd
        Standard deviation of log shape.
    why
        Where it comes from, in words for the reader of the forecast; printed beside each result
        that leans on it.
    """

    centre: float
    log_sd: float
    why: str = "stated by the caller"

    def __post_init__(self) -> None:
        if not (np.isfinite(self.centre) and self.centre > 0):
            raise ValueError(f"the centre of a shape prior must be positive but is {self.centre}")
        if not self.log_sd > 0:
            raise ValueError(f"log_sd of a shape prior must be positive but is {self.log_sd}")

    @classmethod
    def from_range(
        cls, low: float, high: float, centre: float | None = None, why: str = "stated range"
    ) -> ShapePrior:
        """Prior with 5 % of its weight below ``low`` and 5 % above ``high``.

        Parameters
        ----------
        low, high
            5 % and 95 % points; log_sd = ln(high / low) / 3.29.
        centre
            Median; their geometric mean if not given.
        why
            Where the range comes from.
        """
        if not 0 < low < high < np.inf:
            raise ValueError(f"a shape range needs 0 < low < high but has {low} and {high}")
        middle = float(np.sqrt(low * high)) if centre is None else centre
        return cls(middle, float(np.log(high / low)) / 3.29, why)

    @property
    def log_centre(self) -> float:
        """Mean of log shape."""
        return float(np.log(self.centre))

    def log_density(self, log_shape: Array) -> Array:
        """Logarithm of the density of log shape, up to a constant."""
        return np.asarray(-0.5 * ((log_shape - self.log_centre) / self.log_sd) ** 2)

    def disagrees(self, shape: float) -> bool:
        """Whether a shape lies more than 1.5 standard deviations from the centre."""
        return bool(abs(np.log(shape) - self.log_centre) > FAR * self.log_sd)

    @property
    def of_rate(self) -> tuple[float, float]:
        """Gamma prior of the expected failures (number, rate); none beside a flat prior."""
        return (EVENTS, HOURS) if np.isfinite(self.log_sd) else (0.0, 0.0)

    def __str__(self) -> str:
        low, high = self.centre * np.exp(np.array([-1.645, 1.645]) * self.log_sd)
        return f"shape {self.centre:.2g} ({low:.2g}-{high:.2g}): {self.why}"


DEFAULT_PRIOR: Final = ShapePrior(
    2.0, 0.5, "the default: wear-out of an unknown kind; a convention, not from a source"
)

FLAT: Final = ShapePrior(1.0, np.inf, "none: flat in log shape and log scale")
"""No prior at all; also takes the prior off the expected failures."""


def pooled_prior(maxima: Maxima, fewest: int = 10) -> ShapePrior | None:
    """Prior of the shape from groups that have failures enough to tell their own.

    Parameters
    ----------
    maxima
        Fits of groups of like parts.
    fewest
        Failures a group must have to count.

    Returns
    -------
    ShapePrior or None
        Centre and spread of log shape over the groups by the moment estimator of Paule and Mandel,
        the spread at least 0.25; None with fewer than three such groups.
    """
    usable = maxima.found & (maxima.failures >= fewest)
    if usable.sum() < 3:
        return None
    y, v = maxima.log_shape[usable], maxima.covariance[usable, 1, 1]

    def excess(between: float) -> float:
        w = 1 / (v + between)
        return float(w @ (y - (w @ y) / w.sum()) ** 2) - (y.size - 1)

    low, high = 0.0, 1.0
    while excess(high) > 0:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle) > 0 else (low, middle)
    w = 1 / (v + low)
    centre = float(np.exp((w @ y) / w.sum()))
    why = f"pooled from {y.size} groups with {fewest} failures or more"
    return ShapePrior(centre, max(float(np.sqrt(low)), 0.25), why)
