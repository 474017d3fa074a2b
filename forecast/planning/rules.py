"""What each part type's policy comes to: an age to change at, or run to failure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from forecast.errors import PlanError
from forecast.planning.calendar import Calendar
from forecast.planning.draws import Array, IntArray, LifeDraws
from forecast.planning.fleet import Fleet, mean_pace, on_clock
from forecast.planning.plan import PartPlan, Plan
from forecast.planning.policy import (
    NO_GAIN,
    age_from_draws,
    age_range,
    break_even_ratio,
    cost_by_age,
    flat_range,
)
from forecast.planning.seeds import generator
from forecast.planning.wear_rules import with_wear
from forecast.records.words import percent


@dataclass(frozen=True)
class ChangeRule:
    """What is done with one part type in the windows.

    Attributes
    ----------
    policy
        ``run_to_failure``, ``at_age``, ``at_wear`` or ``every_window``.
    age
        Hours from which a piece is changed in the next window; None for run to failure and where
        the depth is looked at.
    break_even_ratio
        How many times a planned change an unplanned one must cost for a 5 % saving; infinite
        where a planned change never pays.
    why
        One sentence for the assumptions.
    risk
        Chance to end before the following window from which a piece with readings of its own is
        changed, whatever its age; None: it goes by age like the others.
    levels
        By duty group: depth [machines] in mm from which a piece is changed in the next window;
        empty where the depth is not looked at.
    every
        Every which window all pieces are changed; None: not all at once.
    """

    policy: str
    age: float | None
    break_even_ratio: float
    why: str
    risk: float | None = None
    levels: Mapping[str, Array] = field(default_factory=dict)
    every: int | None = None


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
    if part.policy == "every_window":
        every = part.every_windows or 1
        return ChangeRule(
            "every_window", 0.0, ratio, f"all pieces in every window no. {every}", every=every
        )
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
    between = window_hours(calendar)
    rules = {}
    for name in sorted({fleet.part_type for fleet in fleets}):
        mine = [fleet for fleet in fleets if fleet.part_type == name]
        lives = type_lives(mine, seed)
        pace, unit_cost = mean_pace(mine), unit_costs.get(name)
        part = on_clock(plan.for_part_type(name), pace)
        hours = None if between is None else between * pace
        costs = change_costs(part, unit_cost)
        try:
            looked = with_wear(mine, part, costs, hours, len(calendar.machines), seed)
            if looked is None:
                rule = change_rule(part, unit_cost, lives, hours)
                rules[name] = _how_sure(rule, mine, lives, costs)
            else:
                rules[name] = ChangeRule(
                    looked.policy, looked.age, break_even_ratio(lives), looked.why,
                    levels=looked.levels,
                )  # fmt: skip
            if pace != 1.0:
                own = f"what is told in h counts on its own clock, {pace:,.4g} in a running hour"
                rules[name] = replace(rules[name], why=f"{rules[name].why}; {own}")
        except PlanError as error:
            raise PlanError(f"{name}: {error}", error.way_out) from None
    return rules


def _how_sure(
    rule: ChangeRule,
    fleets: Sequence[Fleet],
    lives: Array,
    costs: tuple[float | None, float | None],
) -> ChangeRule:
    """Add to a computed age how sure it is, and from where to where it hardly matters."""
    planned, unplanned = costs
    if rule.risk is None or planned is None or unplanned is None:
        return rule
    fleet = max(fleets, key=lambda one: int(one.quantity.sum()))
    ages = np.unique(np.quantile(lives, np.linspace(0.002, 0.995, 80)))
    hazard = fleet.law.hazard(int(np.median(fleet.pieces.machine)), ages)
    low, high = age_range(ages, hazard, planned, unplanned)
    sorted_ages, rate = cost_by_age(lives, planned, unplanned)
    least, most = flat_range(sorted_ages, rate, max(10, len(lives) // 500))
    said = (
        f"{rule.why}; the best age is {low:.0f}-{high:.0f} h in 9 of 10 paths, and costs within "
        f"{percent(NO_GAIN)} of it from {least:.0f} to {most:.0f} h"
    )
    return replace(rule, why=said)


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


def keep_chance(
    planned_cost: float, unplanned_cost: float, share_used: float, new_fails: float
) -> float:
    """Return from which chance to last a span (a season, or to the next window) a part is left in.

    Changing costs c0, a new part fails with chance q, and the span uses the share u of its life;
    leaving risks a failure that costs cf, after which a part half a span old stands there.
    They are equal where the chance to fail is p* = (u c0 + q cf) / (cf - c0 (1 - u / 2)); the
    keep chance is 1 - p*.

    Parameters
    ----------
    planned_cost, unplanned_cost
        c0 and cf, the piece included.
    share_used
        u, hours of the span over mean life.
    new_fails
        q, chance that a new part fails within the span.
    """
    gain = unplanned_cost - planned_cost * (1 - share_used / 2)
    if gain <= 0:
        return 0.0
    fail = (share_used * planned_cost + new_fails * unplanned_cost) / gain
    return float(np.clip(1 - fail, 0.0, 1.0))


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
        why = (
            f"run to failure is as good: a change by age saves less than {percent(NO_GAIN)}; "
            f"{ratio_sentence(ratio)}"
        )
        return ChangeRule("run_to_failure", None, ratio, why)
    age = max(best.age - window_hours / 2, window_hours / 2)
    used, new_fails = window_hours / float(lives.mean()), float((lives < window_hours).mean())
    risk = 1.0 - keep_chance(planned, unplanned, used, new_fails)
    why = (
        f"best age {best.age:.0f} h saves {percent(best.saving)} of running to failure; a piece "
        "that is read is changed when it ends before the following window with "
        f"{percent(risk, 1)} or more"
    )
    return ChangeRule("at_age", age, ratio, why, risk)


def window_hours(calendar: Calendar) -> float | None:
    """Return the mean running hours from one window to the next; None without two windows."""
    days = sorted({window.day for window in calendar.windows})
    if len(days) < 2:
        return None
    between = calendar.hours[:, days[0] + 1 : days[-1] + 1].sum(axis=1).mean()
    return float(between) / (len(days) - 1)
