"""When a planned change pays: at which age, or never."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from forecast.planning.draws import Array

NO_GAIN = 0.02
"""A policy that saves less than this share of run to failure is as good as run to failure."""


@dataclass(frozen=True)
class AgePolicy:
    """Change at an age, or at failure if that comes first.

    Attributes
    ----------
    age
        Hours; infinite where running to failure is as good.
    cost_rate, run_to_failure_cost_rate
        Cost per hour and position, in the long run.
    saving
        Share of the run-to-failure cost that the age saves.
    """

    age: float
    cost_rate: float
    run_to_failure_cost_rate: float
    saving: float


def best_age(shape: float, scale: float, planned_cost: float, unplanned_cost: float) -> AgePolicy:
    """Return the age at which to change pieces of a Weibull life.

    The cost rate C(T) = (cp S(T) + cf F(T)) / I(T), I the integral of S, is least where
    h(T) I(T) - F(T) = cp / (cf - cp); that has a finite root only if shape > 1 and cf > cp
    (Barlow and Proschan 1965).

    Parameters
    ----------
    shape, scale
        Of the life; scale in hours.
    planned_cost, unplanned_cost
        cp and cf, per change.

    Returns
    -------
    AgePolicy
        With an infinite age where the saving is under 2 %, or the age over three scales.

    Raises
    ------
    ValueError
        If a parameter or cost is not above 0.
    """
    from scipy.optimize import brentq
    from scipy.special import gamma, gammainc

    if min(shape, scale, planned_cost, unplanned_cost) <= 0:
        raise ValueError("shape, scale and both costs should be above 0")
    mean = scale * gamma(1 + 1 / shape)
    failing = float(unplanned_cost / mean)
    never = AgePolicy(np.inf, failing, failing, 0.0)
    if shape <= 1 or unplanned_cost <= planned_cost:
        return never
    target = planned_cost / (unplanned_cost - planned_cost)

    def condition(log_hazard: float) -> float:
        hazard = np.exp(log_hazard)
        rate = shape / scale * hazard ** (1 - 1 / shape)
        return float(rate * mean * gammainc(1 / shape, hazard) + np.expm1(-hazard) - target)

    low, high = np.log(1e-12), np.log(3.0**shape)
    if condition(high) <= 0:
        return never
    hazard = np.exp(brentq(condition, low, high, xtol=1e-14))
    age = scale * hazard ** (1 / shape)
    cost = planned_cost * np.exp(-hazard) - unplanned_cost * np.expm1(-hazard)
    rate = float(cost / (mean * gammainc(1 / shape, hazard)))
    saving = 1 - rate / failing
    return AgePolicy(float(age), rate, failing, saving) if saving >= NO_GAIN else never


def cost_by_age(lives: Array, planned_cost: float, unplanned_cost: float) -> tuple[Array, Array]:
    """Return ages (the sorted lives) and the cost rate of changing at each.

    Parameters
    ----------
    lives
        [n] drawn lives in hours, of any law; pooled over draws they give the ratio of
        expectations.
    planned_cost, unplanned_cost
        Per change.
    """
    ages = np.sort(lives)
    failed, cycle = _failed_and_cycle(ages)
    return ages, (planned_cost * (1 - failed) + unplanned_cost * failed) / cycle


def age_from_draws(lives: Array, planned_cost: float, unplanned_cost: float) -> AgePolicy:
    """Return the best age of any life law, from drawn lives.

    Ages with fewer than max(10, n/500) failures before them are passed over: their minimum is
    one of noise.

    Parameters
    ----------
    lives
        [n] drawn lives in hours; 20,000 hold the age to about 3 % and its cost to 0.3 %.
    planned_cost, unplanned_cost
        Per change.
    """
    ages, rate = cost_by_age(lives, planned_cost, unplanned_cost)
    failing = float(unplanned_cost / ages.mean())
    first = max(10, len(ages) // 500)
    if len(ages) <= first or unplanned_cost <= planned_cost:
        return AgePolicy(np.inf, failing, failing, 0.0)
    at = first + int(np.argmin(rate[first:]))
    saving = 1 - float(rate[at]) / failing
    if saving < NO_GAIN:
        return AgePolicy(np.inf, failing, failing, 0.0)
    return AgePolicy(float(ages[at]), float(rate[at]), failing, saving)


def age_range(
    ages: Array, hazard: Array, planned_cost: float, unplanned_cost: float
) -> tuple[float, float]:
    """Return the 5 and 95 % points of the best age over the draws of a law.

    Each draw has a best age of its own: what lies between them is what the logs don't tell.

    Parameters
    ----------
    ages
        [ages] in hours, rising, the first above 0; the best age is found among them.
    hazard
        [ages, draws] cumulative hazard at each age.
    planned_cost, unplanned_cost
        Per change.
    """
    lasts = np.exp(-hazard)
    steps = np.diff(ages, prepend=0.0)[:, None]
    before = np.vstack([np.ones((1, lasts.shape[1])), lasts[:-1]])
    cycle = np.cumsum(steps * (before + lasts) / 2.0, axis=0)
    rate = (planned_cost * lasts + unplanned_cost * (1.0 - lasts)) / cycle
    low, high = np.quantile(ages[np.argmin(rate, axis=0)], [0.05, 0.95], method="inverted_cdf")
    return float(low), float(high)


def flat_range(ages: Array, rate: Array, first: int, more: float = NO_GAIN) -> tuple[float, float]:
    """Return from which to which age the cost rate is within a share of its least."""
    good = ages[first:][rate[first:] <= (1.0 + more) * rate[first:].min()]
    return float(good.min()), float(good.max())


def break_even_ratio(lives: Array, saving: float = 0.05) -> float:
    """Return from which ratio of unplanned to planned cost some age saves `saving`.

    The smallest cf / cp at which C(T) <= (1 - saving) cf / mean for some T:
    min S(T) / [(1 - saving) I(T) / mean - F(T)].

    Parameters
    ----------
    lives
        [n] drawn lives in hours.
    saving
        Share of the run-to-failure cost.

    Returns
    -------
    float
        Infinite where a planned change never saves that much.
    """
    ages = np.sort(lives)
    failed, cycle = _failed_and_cycle(ages)
    gain = (1 - saving) * cycle / ages.mean() - failed
    first = max(10, len(ages) // 500)
    ratio = np.full(len(ages), np.inf)
    some = gain > 1e-6
    some[:first] = False
    ratio[some] = (1 - failed[some]) / gain[some]
    least = float(ratio.min())
    return least if least < 1000 else np.inf


def renewal_function(shape: float, scale: float, times: Sequence[float] | Array) -> Array:
    """Return the expected number of Weibull failures of one position by each time.

    Mid-step recursion M_i = [F(ih) + sum_{j<i} (M_j - M_{j-1}) F((i-j+.5)h) - M_{i-1} F(.5h)]
    / (1 - F(.5h)) (Tijms, A First Course in Stochastic Models, 2003, p. 311).

    Parameters
    ----------
    shape, scale
        Of the life.
    times
        Hours since the first piece was new.
    """
    if min(shape, scale) <= 0:
        raise ValueError("shape and scale should be above 0")
    return renewals(lambda age: -np.expm1(-((age / scale) ** shape)), times)


def renewals(
    failed: Callable[[Array], Array], times: Sequence[float] | Array, steps: int = 4000
) -> Array:
    """Return the expected number of failures of one position by each time, for any life.

    Parameters
    ----------
    failed
        Chance to have failed by an age.
    times
        Hours since the first piece was new.
    steps
        Of the recursion, up to the latest time.
    """
    wanted = np.asarray(times, dtype=np.float64)
    latest = float(wanted.max(initial=0.0))
    if latest <= 0:
        return np.zeros(wanted.shape)
    step = latest / steps
    ages: Array = np.linspace(0.0, latest, steps + 1)
    whole, half = failed(ages), failed(ages[:-1] + 0.5 * step)
    mean = np.zeros(steps + 1)
    for i in range(1, steps + 1):
        rises = np.diff(mean[:i])  # M_j - M_(j-1) for j = 1 .. i-1
        again = rises @ half[1:i][::-1] if i > 1 else 0.0
        mean[i] = (whole[i] + again - mean[i - 1] * half[0]) / (1 - half[0])
    return np.interp(wanted, ages, mean)


def _failed_and_cycle(ages: Array) -> tuple[Array, Array]:
    """Return F(T) and I(T), the mean cycle, of changing at each of the sorted ages."""
    size = len(ages)
    number = np.arange(1, size + 1)
    return number / size, (np.cumsum(ages) + ages * (size - number)) / size
