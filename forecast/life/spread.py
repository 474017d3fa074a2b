"""How far machines differ, and how two kinds of parts compare on them.

The law is Weibull with one shape. Lives of one machine share their hazard: it is multiplied by a
number of the machine's own, gamma with mean 1, which is integrated out (`forecast.life.shared`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincinv, ndtri, polygamma

from forecast.life.likelihood import maximise
from forecast.life.lives import Array, BoolArray, IntArray, Lives
from forecast.life.priors import ShapePrior
from forecast.life.shared import SharedHazard

if TYPE_CHECKING:
    import pandas as pd

ONE_SIDED_95: Final = 2.706
"""Likelihood ratio that a spread of 0 reaches once in 20: half a chi-square of one degree."""


@dataclass(frozen=True, eq=False)
class MachineSpread:
    """A Weibull law whose hazard every machine multiplies by a number of its own.

    Attributes
    ----------
    shape, scale
        The law of a machine with multiplier 1; scale in the unit of the lives.
    pooled_shape
        Shape of all lives thrown together: lower than ``shape`` where machines differ.
    weight
        The gamma law's number (its variance is 1 / weight), at most 10,000.
    spread
        Standard deviation of log life between machines that the multipliers amount to.
    ratio
        Twice the log-likelihood gained over one law for all machines.
    differ
        Whether the gain is more than chance gives once in 20.
    state
        ``fitted``; ``no_fit`` where all lives together have no greatest likelihood.
    """

    shape: float
    scale: float
    pooled_shape: float
    weight: float
    spread: float
    ratio: float
    differ: bool
    state: str
    _machines: tuple[str, ...] = field(repr=False, default=())
    _posterior: tuple[Array, Array] = field(repr=False, default=(np.zeros(0), np.zeros(0)))
    _counts: tuple[Array, Array] = field(repr=False, default=(np.zeros(0), np.zeros(0)))

    def machines(self, level: float = 0.90) -> pd.DataFrame:
        """Life on each machine against a machine with multiplier 1.

        Parameters
        ----------
        level
            Of the interval: quantiles of the multiplier's posterior.

        Returns
        -------
        DataFrame
            machine, lives, failures, life_ratio, ratio_low, ratio_high; shrunk towards 1 where a
            machine tells little.
        """
        import pandas as pd

        number, rate = self._posterior
        tail = (1 - level) / 2
        ends = {
            name: (gammaincinv(number, share) / rate) ** (-1 / self.shape)
            for name, share in (("life_ratio", 0.5), ("ratio_low", 1 - tail), ("ratio_high", tail))
        }
        lives, failures = self._counts
        return pd.DataFrame(
            {"machine": list(self._machines), "lives": lives, "failures": failures, **ends}
        )


def shared_by_machine(lives: Lives, machine: npt.ArrayLike) -> MachineSpread:
    """Fit a Weibull law whose hazard each machine multiplies by a number of its own.

    Parameters
    ----------
    lives
        Lives of all machines. Late entries are taken as independent of the multiplier: right where
        the age at entry says when the log began, not where it was reached by outliving others.
    machine
        Name of the machine of each life.

    Returns
    -------
    MachineSpread
        Where machines don't differ, the weight stands at its cap and the law is the pooled one.
    """
    number, names = numbered(machine, len(lives))
    maxima = maximise(lives)
    if not maxima.found[0]:
        none = (np.nan,) * 6
        return MachineSpread(*none, differ=False, state="no_fit")
    model = SharedHazard(lives, number, np.ones((len(lives), 1)))
    at, value = model.fit(np.array([maxima.log_shape[0], maxima.log_scale[0]]))
    shape, weight = float(np.exp(at[0])), float(np.exp(at[-1]))
    ratio = max(0.0, 2 * (value - float(maxima.log_likelihood[0])))
    return MachineSpread(
        shape=shape,
        scale=float(np.exp(at[1])),
        pooled_shape=float(np.exp(maxima.log_shape[0])),
        weight=weight,
        spread=float(np.sqrt(polygamma(1, weight)) / shape),
        ratio=ratio,
        differ=ratio > ONE_SIDED_95,
        state="fitted",
        _machines=names,
        _posterior=model.multipliers(at),
        _counts=(
            np.bincount(number, lives.weight, len(names)).astype(float),
            np.bincount(number, lives.weight * ~lives.suspended, len(names)).astype(float),
        ),
    )


@dataclass(frozen=True, eq=False)
class LifeRatio:
    """How much longer some lives are than others.

    Attributes
    ----------
    ratio, low, high
        Of the scales, with a likelihood-ratio interval; ``ratio`` is NaN and one end has no number
        (0 or infinite) where one side has no failure.
    shape
        Common shape of both.
    spread
        Standard deviation of log life between machines.
    state
        ``fitted``; ``leans_on_prior`` with fewer than 20 failures; ``lower_bound_only`` or
        ``upper_bound_only`` where one side has none; ``no_fit`` where neither has one.
    """

    ratio: float
    low: float
    high: float
    shape: float
    spread: float
    state: str


def life_ratio(
    lives: Lives,
    second: BoolArray,
    machine: npt.ArrayLike,
    prior: ShapePrior,
    apart: BoolArray | None = None,
    level: float = 0.90,
) -> LifeRatio:
    """Compare two kinds of parts that ran on machines of which some had both.

    Parameters
    ----------
    lives
        Lives of both kinds.
    second
        Which are of the second kind: the ratio is second over first.
    machine
        Name of the machine of each life; its multiplier is shared by both kinds, so that a hard
        machine does not count against the kind that sat on it.
    prior
        Of the common shape.
    apart
        Lives on machines that had one kind only: they tell of the shape, with a scale of their
        own, and nothing of the ratio. None: none.
    level
        Of the interval.

    Returns
    -------
    LifeRatio
        Its ``state`` says what it is worth.
    """
    number, _ = numbered(machine, len(lives))
    failed = [
        float((lives.weight * (~lives.suspended & kind)).sum())
        for kind in (_told(~second, apart), _told(second, apart))
    ]
    columns = [np.ones(len(lives)), second.astype(float)]
    if apart is not None and apart.any():
        columns[1] = (second & ~apart).astype(float)
        columns += [(apart & ~second).astype(float), (apart & second).astype(float)]
    design = np.column_stack([column for column in columns if column.any()])
    if not any(failed) or not second.any() or second.all() or lives.exposure <= 0:
        return LifeRatio(np.nan, np.nan, np.nan, np.nan, np.nan, "no_fit")
    model = SharedHazard(lives, number, design, prior)
    start = np.zeros(1 + design.shape[1])
    start[0], start[1] = prior.log_centre, np.log(max(lives.exposure / max(sum(failed), 0.5), 1.0))
    held, _ = model.fit(start, fixed=2)
    cut = float(ndtri(0.5 + level / 2)) ** 2
    if not all(failed):
        # the likelihood only rises towards a ratio without end: it tells one bound
        towards = 1.0 if failed[0] else -1.0
        bound = model.edge(held, 2, -towards, cut)
        ends = (bound, np.inf) if towards > 0 else (0.0, bound)
        state = "lower_bound_only" if towards > 0 else "upper_bound_only"
        return LifeRatio(np.nan, *ends, *_law(held), state=state)
    at, _ = model.fit(held[:-1])
    low, high = (model.edge(at, 2, side, cut) for side in (-1.0, 1.0))
    state = "fitted" if min(failed) >= 20 else "leans_on_prior"
    return LifeRatio(float(np.exp(at[2])), low, high, *_law(at), state=state)


def _told(kind: BoolArray, apart: BoolArray | None) -> BoolArray:
    return kind if apart is None else kind & ~apart


def _law(at: Array) -> tuple[float, float]:
    """Shape, and standard deviation of log life between machines."""
    shape = float(np.exp(at[0]))
    return shape, float(np.sqrt(polygamma(1, np.exp(at[-1]))) / shape)


def numbered(machine: npt.ArrayLike, rows: int) -> tuple[IntArray, tuple[str, ...]]:
    """Give machines numbers by name: the number of each life, and the names in order."""
    names, number = np.unique(np.asarray(machine).astype(str), return_inverse=True)
    if number.size != rows:
        raise ValueError(f"there are {rows} lives but {number.size} machines")
    return number.astype(np.int64), tuple(names.tolist())
