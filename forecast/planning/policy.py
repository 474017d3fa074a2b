"""When a planned change pays: at which age, or never."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from forecast.errors import PlanError
from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, IntArray, LifeDraws
from forecast.planning.fleet import Fleet
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.seeds import generator

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


@dataclass(frozen=True)
class ChangeRule:
    """What is done with one part type in the windows.

    Attributes
    ----------
    policy
        ``run_to_failure`` or ``at_age``.
    age
        Hours from which a piece is changed in the next window; None for run to failure.
    break_even_ratio
        How many times a planned change an unplanned one must cost for a 5 % saving; infinite
        where a planned change never pays.
    why
        One sentence for the assumptions.
    """

    policy: str
    age: float | None
    break_even_ratio: float
    why: str


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


def change_rule(
    part: PartPlan,
    unit_cost: float | None,
    lives: Array,
    window_hours: float | None,
) -> ChangeRule:
    """Return what a part type's policy comes to.

    Parameters
    ----------
    part
        The part type's plan.
    unit_cost
        Of the piece; None where nobody gave it.
    lives
        [n] drawn lives of new pieces, pooled over draws and machines.
    window_hours
        Mean running hours from window to window; None without windows.

    Raises
    ------
    PlanError
        If ``at_age`` has neither an age nor both costs.
    """
    ratio = break_even_ratio(lives)
    if part.policy == "at_age" and part.change_at_age is not None:
        return ChangeRule("at_age", part.change_at_age, ratio, "change_at_age of the plan")
    if part.policy == "run_to_failure":
        return ChangeRule("run_to_failure", None, ratio, "policy of the plan")
    planned, unplanned = change_costs(part, unit_cost)
    if planned is None or unplanned is None:
        if part.policy == "at_age":
            raise PlanError(
                "policy at_age needs change_at_age, or both costs to find the best age",
                "Give change_at_age; or planned_cost, unplanned_cost and the part's unit_cost.",
            )
        return ChangeRule(
            "run_to_failure", None, ratio, f"costs are not all known; {ratio_sentence(ratio)}"
        )
    return _cheapest(part, lives, planned, unplanned, window_hours, ratio)


def change_rules(
    fleets: Sequence[Fleet],
    calendar: Calendar,
    unit_costs: Mapping[str, float | None],
    plan: Plan,
    seed: int,
) -> dict[str, ChangeRule]:
    """Return what the policy of each part type comes to.

    Parameters
    ----------
    fleets, calendar, plan
        What is in service, the days ahead, and the plan.
    unit_costs
        By part type; None (or NaN) where nobody gave one.
    seed
        Of the forecast.

    Raises
    ------
    PlanError
        If a policy needs costs that nobody gave.
    """
    hours = _window_hours(calendar)
    rules = {}
    for name in sorted({fleet.part_type for fleet in fleets}):
        lives = type_lives([fleet for fleet in fleets if fleet.part_type == name], seed)
        part = plan.for_part_type(name)
        try:
            rules[name] = change_rule(part, unit_costs.get(name), lives, hours)
        except PlanError as error:
            raise PlanError(f"{name}: {error}", error.way_out) from None
    return rules


def type_lives(fleets: Sequence[Fleet], seed: int, count: int = 20_000) -> Array:
    """Return lives of new pieces of one part type, pooled over its groups, machines and draws.

    Parameters
    ----------
    fleets
        The fleets of the part type; each has the weight of its pieces.
    seed
        Of the forecast.
    count
        How many lives, about.
    """
    total = sum(int(fleet.quantity.sum()) for fleet in fleets)
    lives = []
    for fleet in fleets:
        rng = generator(seed, fleet.part_type, fleet.duty_group, "lives")
        machines = np.repeat(fleet.pieces.machine, fleet.quantity)
        share = max(1, round(count * len(machines) / max(total, 1)))
        lives.append(lives_of(fleet.law, machines, rng, share))
    return np.concatenate(lives)


def change_costs(part: PartPlan, unit_cost: float | None) -> tuple[float | None, float | None]:
    """Return the cost of a planned and of an unplanned change, piece included; None unknown."""
    known = unit_cost is not None and not np.isnan(unit_cost)
    planned = unplanned = None
    if known and unit_cost is not None and part.planned_cost is not None:
        planned = unit_cost + part.planned_cost
    if known and unit_cost is not None and part.unplanned_cost is not None:
        stop = part.stop_cost
        unplanned = None if stop is None else unit_cost + part.unplanned_cost + stop
    return planned, unplanned


def ratio_sentence(ratio: float) -> str:
    """Return the sentence that a break-even ratio makes."""
    if np.isinf(ratio):
        return "a planned change by age never saves 5 %"
    return f"planned change pays (5 %) from an unplanned cost {ratio:.2g} times a planned one"


def lives_of(law: LifeDraws, machines: IntArray, rng: np.random.Generator, count: int) -> Array:
    """Return lives of new pieces, pooled over all draws and the machines given.

    Parameters
    ----------
    law
        Lives still to come.
    machines
        The machines on which the part type runs, one a piece.
    rng
        Stream of the part type.
    count
        How many lives.
    """
    draw = np.arange(count, dtype=np.int64) % law.draws
    return law.new(rng.choice(machines, count), draw, rng)


def _cheapest(
    part: PartPlan,
    lives: Array,
    planned: float,
    unplanned: float,
    window_hours: float | None,
    ratio: float,
) -> ChangeRule:
    if window_hours is None:
        return ChangeRule("run_to_failure", None, ratio, "there are no windows to change in")
    best = age_from_draws(lives, planned, unplanned)
    if np.isinf(best.age) or best.age > np.quantile(lives, 0.995):
        why = f"a change by age saves less than {NO_GAIN:.0%}; {ratio_sentence(ratio)}"
        return ChangeRule("run_to_failure", None, ratio, why)
    age = max(best.age - window_hours / 2, window_hours / 2)
    why = f"best age {best.age:.0f} h saves {best.saving:.0%} of running to failure"
    return ChangeRule("at_age", age, ratio, why)


def _window_hours(calendar: Calendar) -> float | None:
    """Return the mean running hours from window to window; None without two windows."""
    days = sorted({window.day for window in calendar.windows})
    if len(days) < 2:
        return None
    between = calendar.hours[:, days[0] + 1 : days[-1] + 1].sum(axis=1).mean()
    return float(between) / (len(days) - 1)


def _failed_and_cycle(ages: Array) -> tuple[Array, Array]:
    """Return F(T) and I(T), the mean cycle, of changing at each of the sorted ages."""
    size = len(ages)
    number = np.arange(1, size + 1)
    return number / size, (np.cumsum(ages) + ages * (size - number)) / size
