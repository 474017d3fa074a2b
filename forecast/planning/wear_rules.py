"""Policies that look at wear depth: at which depth a part type is changed, and why there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from forecast.errors import PlanError
from forecast.planning.draws import Array
from forecast.planning.fleet import Fleet
from forecast.planning.plan import PartPlan
from forecast.planning.policy import NO_GAIN
from forecast.planning.wear_policy import (
    Best,
    best_age_with_loss,
    best_depth,
    economic_depth,
    worn_lives,
)
from forecast.planning.worn import safe_level, ways
from forecast.records.words import percent

MOSTLY = 0.5
"""Share of the pieces with readings from which ``cheapest`` may go by depth."""


@dataclass(frozen=True, eq=False)
class WearRule:
    """What a policy that counts wear depth comes to.

    Attributes
    ----------
    policy, age, why
        As in :class:`forecast.planning.rules.ChangeRule`.
    levels
        By duty group: depth [machines] in mm from which a piece is changed.
    """

    policy: str
    age: float | None
    why: str
    levels: Mapping[str, Array] = field(default_factory=dict)


def with_wear(
    fleets: Sequence[Fleet],
    part: PartPlan,
    costs: tuple[float | None, float | None],
    window_hours: float | None,
    machines: int,
    seed: int,
) -> WearRule | None:
    """Return the rule of a part type whose policy counts wear depth; None where it doesn't.

    Parameters
    ----------
    fleets
        Of the part type.
    part, costs
        Its plan; cost of a planned and of an unplanned change, None where not known.
    window_hours
        Mean running hours from window to window; None without windows.
    machines
        How many there are.
    seed
        Of the forecast.

    Raises
    ------
    PlanError
        If ``at_wear`` is planned for a part type of which no reading tells how it wears.
    """
    wears = all(ways(fleet.law)[0] is not None for fleet in fleets)
    if part.policy == "at_wear":
        if not wears:
            raise PlanError(
                "policy at_wear needs readings: no log tells how this part type wears",
                "Import readings, or give another policy.",
            )
        return _at_wear(fleets, part, costs[0], window_hours or 0.0, machines)
    planned, unplanned = costs
    known = planned is not None and unplanned is not None and window_hours is not None
    if part.policy != "cheapest" or part.product_loss is None or not wears or not known:
        return None
    assert planned is not None and unplanned is not None and window_hours is not None  # noqa: S101
    return _cheapest(fleets, part, planned, unplanned, window_hours, machines, seed)


def _at_wear(
    fleets: Sequence[Fleet],
    part: PartPlan,
    planned: float | None,
    window_hours: float,
    machines: int,
) -> WearRule:
    """Return the depth of the plan; or the safe one, or where lost product pays a change."""
    if part.change_at_percent is not None:
        share = part.change_at_percent / 100.0
        levels = {fleet.duty_group: np.full(machines, share * _limit(fleet)) for fleet in fleets}
        return WearRule("at_wear", None, f"change_at_percent = {part.change_at_percent:g}", levels)
    levels = {fleet.duty_group: _safe(fleet, window_hours, machines) for fleet in fleets}
    why = (
        f"{_shown(levels)}: the limit less what a fast piece wears in {window_hours:.0f} h, the "
        "time between windows, and what a reading may miss"
    )
    pays = _pays(fleets, part, planned)
    if pays and any((levels[group] > depth).any() for group, depth in pays.items()):
        levels = {group: np.minimum(level, pays[group]) for group, level in levels.items()}
        why = f"{_shown(levels)}: there the product lost to wear pays for the change"
    elif pays:
        why += f"; lost product would pay for a change only at {max(pays.values()):.2f} mm"
    return WearRule("at_wear", None, why, levels)


def _cheapest(
    fleets: Sequence[Fleet],
    part: PartPlan,
    planned: float,
    unplanned: float,
    window_hours: float,
    machines: int,
    seed: int,
) -> WearRule:
    """Compare running to failure, an age and a depth, product loss counted in each."""
    lives = worn_lives(fleets, seed)
    by_age = best_age_with_loss(lives, planned, unplanned, part.product_loss, window_hours)
    found: list[tuple[float, str, Best]] = [(by_age.cost_rate, "at_age", by_age)]
    if read_share(fleets) >= MOSTLY:
        by_depth = best_depth(lives, planned, unplanned, part.product_loss, window_hours)
        found.append((by_depth.cost_rate, "at_wear", by_depth))
    _, policy, best = min(found, key=lambda one: one[0])
    if best.saving < NO_GAIN:
        why = f"run to failure is as good, lost product counted: {policy} saves less than 2 %"
        return WearRule("run_to_failure", None, why)
    saves = f"saves {percent(best.saving)} of running to failure, lost product counted"
    if policy == "at_age":
        age = max(best.at - window_hours / 2, window_hours / 2)
        why = (
            f"best age {best.at:.0f} h {saves}; within {percent(NO_GAIN)} of its cost from "
            f"{best.low:.0f} to {best.high:.0f} h"
        )
        return WearRule("at_age", age, why)
    levels = {fleet.duty_group: np.full(machines, best.at) for fleet in fleets}
    pays = _pays(fleets, part, planned)
    limit = max(_limit(fleet) for fleet in fleets)
    rules = min(pays.values()) < limit if pays else False
    why = (
        f"best depth {best.at:.2f} mm {saves}; within {percent(NO_GAIN)} of its cost from "
        f"{best.low:.2f} to {best.high:.2f} mm; "
        f"{'lost product' if rules else 'the limit'} rules"
    )
    return WearRule("at_wear", None, why, levels)


def _pays(fleets: Sequence[Fleet], part: PartPlan, planned: float | None) -> dict[str, float]:
    """Return by duty group the depth at which lost product pays for a planned change."""
    loss = part.product_loss
    if loss is None or not planned or loss.per_mm_per_hour <= 0:
        return {}
    depths = {}
    for fleet in fleets:
        worn, _ = ways(fleet.law)
        if worn is not None:
            rate = float(np.exp(np.mean(worn.level)))
            depths[fleet.duty_group] = economic_depth(
                rate, worn.offset, planned, loss.from_mm, loss.per_mm_per_hour
            )[0]
    return depths


def _safe(fleet: Fleet, window_hours: float, machines: int) -> Array:
    worn, _ = ways(fleet.law)
    assert worn is not None  # noqa: S101
    levels = np.array([safe_level(worn, machine, window_hours) for machine in range(machines)])
    # where a fast piece wears through the limit within a window or two, half the limit is the least
    safe: Array = np.maximum(levels, 0.5 * _limit(fleet))
    return safe


def _limit(fleet: Fleet) -> float:
    worn, _ = ways(fleet.law)
    return np.nan if worn is None else float(np.median(worn.limit_mm))


def read_share(fleets: Sequence[Fleet]) -> float:
    """Return the share of a part type's pieces that have readings of their own."""
    read = sum(int(fleet.quantity[fleet.pieces.own >= 0].sum()) for fleet in fleets)
    return read / max(sum(int(fleet.quantity.sum()) for fleet in fleets), 1)


def _shown(levels: Mapping[str, Array]) -> str:
    every = np.concatenate(list(levels.values()))
    low, high = float(every.min()), float(every.max())
    return (
        f"from {low:.2f} mm" if high - low < 0.005 else f"from {low:.2f}-{high:.2f} mm by machine"
    )
