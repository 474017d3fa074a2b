"""When a planned change pays where wear depth counts: product lost to wear, and readings.

A piece of rate r and bedding-in depth d loses ``per_mm_per_hour`` x (depth - from) in each running
hour beyond ``from``; over its life up to depth w that is p (w - f)^2 / (2 r). The cost rate is a
ratio of expectations over pieces and paths: the money of one cycle over its hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecast.planning.draws import Array, IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.plan import ProductLoss
from forecast.planning.seeds import generator
from forecast.planning.worn import new_lives, ways

FLAT = 0.02
"""Ages or depths that cost this share more than the best are as good as the best."""


@dataclass(frozen=True, eq=False)
class WornLives:
    """Lives of new pieces with what they wear, pooled over machines, groups and paths.

    Attributes
    ----------
    worn, other
        Hours to the wear limit, and to any other end.
    rate
        Wear rate (mm/h); NaN where nothing wears.
    limit_mm
        Depth at the limit.
    """

    worn: Array
    other: Array
    rate: Array
    limit_mm: Array

    @property
    def life(self) -> Array:
        """Hours to the first end."""
        return np.minimum(self.worn, self.other)

    def reached(self, depth: float) -> Array:
        """Return the hours at which each piece is worn to a depth (mm)."""
        return np.maximum(self.worn - (self.limit_mm - depth) / self.rate, 0.0)

    def lost(self, until: Array, loss: ProductLoss | None) -> Array:
        """Return the product (money) that each piece loses from new until some hours."""
        if loss is None:
            return np.zeros(len(until))
        start = self.limit_mm - self.rate * self.worn
        then = start + self.rate * until
        over = np.maximum(then - loss.from_mm, 0.0) ** 2 - np.maximum(start - loss.from_mm, 0) ** 2
        money: Array = np.nan_to_num(loss.per_mm_per_hour * over / (2.0 * self.rate))
        return money


@dataclass(frozen=True)
class Best:
    """The best age or depth, and from where to where it hardly matters.

    Attributes
    ----------
    at
        Hours or mm; infinite where running to failure is as good.
    low, high
        Between them the cost rate is within 2 % of the best.
    cost_rate, run_to_failure_cost_rate
        Money per hour and position, in the long run, product loss included.
    """

    at: float
    low: float
    high: float
    cost_rate: float
    run_to_failure_cost_rate: float

    @property
    def saving(self) -> float:
        """Share of the run-to-failure cost that it saves."""
        return 1.0 - self.cost_rate / self.run_to_failure_cost_rate


def economic_depth(
    rate: float, offset: float, change_cost: float, from_mm: float, loss_per_mm_hour: float
) -> tuple[float, float]:
    """Return the depth (mm) at which a change pays by product loss alone, and its cost rate.

    w* = d + sqrt((f - d)^2 + 2 c r / p), where the running loss has grown to the mean cost rate
    C* = p (w* - f) (METHODS: root of the derivative of r (c + p (w-f)^2 / 2r) / (w - d)).

    Parameters
    ----------
    rate, offset
        Wear rate (mm/h) and bedding-in depth (mm).
    change_cost
        Of one planned change, the piece included.
    from_mm, loss_per_mm_hour
        Depth from which product is lost, and money per mm beyond it and running hour.

    Raises
    ------
    ValueError
        If rate, cost or loss is not above 0.
    """
    if min(rate, change_cost, loss_per_mm_hour) <= 0:
        raise ValueError("rate, change cost and loss should be above 0")
    depth = offset + float(
        np.sqrt(max(from_mm - offset, 0.0) ** 2 + 2 * change_cost * rate / loss_per_mm_hour)
    )
    return depth, loss_per_mm_hour * (depth - from_mm)


def worn_lives(fleets: Sequence[Fleet], seed: int, count: int = 20_000) -> WornLives:
    """Draw lives of new pieces of one part type, each fleet with the weight of its pieces."""
    total = sum(int(fleet.quantity.sum()) for fleet in fleets)
    parts: list[tuple[Array, ...]] = []
    for fleet in fleets:
        rng = generator(seed, fleet.part_type, fleet.duty_group, "worn lives")
        machines = np.repeat(fleet.pieces.machine, fleet.quantity)
        share = max(1, round(count * len(machines) / max(total, 1)))
        draw: IntArray = np.arange(share, dtype=np.int64) % fleet.law.draws
        lives = new_lives(fleet.law, rng.choice(machines, share), draw, rng)
        worn, _ = ways(fleet.law)
        limit = np.full(share, np.nan) if worn is None else worn.limit_mm[draw]
        parts.append((lives.worn, lives.other, lives.rate, limit))
    return WornLives(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def best_age_with_loss(
    lives: WornLives,
    planned: float,
    unplanned: float,
    loss: ProductLoss | None,
    window_hours: float,
) -> Best:
    """Return the best age to change at, product loss counted, windows `window_hours` apart."""
    ages = np.unique(np.quantile(lives.life, np.linspace(0.002, 0.995, 100)))
    return _best(
        ages, [windowed(age, window_hours) for age in ages], lives, planned, unplanned, loss
    )


def best_depth(
    lives: WornLives,
    planned: float,
    unplanned: float,
    loss: ProductLoss | None,
    window_hours: float,
) -> Best:
    """Return the best depth to change at, each piece read in every window."""
    limit = float(np.median(lives.limit_mm))
    depths = np.linspace(0.3, 1.0, 57)[:-1] * limit
    reached = [windowed(lives.reached(depth), window_hours) for depth in depths]
    return _best(depths, reached, lives, planned, unplanned, loss)


def windowed(due: Array | float, window_hours: float) -> Array:
    """Return when a piece that is due (hours) is changed: in the next window of a mean distance."""
    if window_hours <= 0:
        return np.asarray(due, dtype=np.float64)
    return np.maximum(np.ceil(np.asarray(due) / window_hours), 1.0) * window_hours


def _best(
    at: Array,
    changed: Sequence[Array],
    lives: WornLives,
    planned: float,
    unplanned: float,
    loss: ProductLoss | None,
) -> Best:
    rate = np.array([_cost_rate(when, lives, planned, unplanned, loss) for when in changed])
    failing = _cost_rate(np.asarray(np.inf), lives, planned, unplanned, loss)
    best = int(np.argmin(rate))
    flat = at[rate <= (1.0 + FLAT) * rate[best]]
    return Best(float(at[best]), float(flat[0]), float(flat[-1]), float(rate[best]), failing)


def _cost_rate(
    changed: Array, lives: WornLives, planned: float, unplanned: float, loss: ProductLoss | None
) -> float:
    return rates(changed, lives, planned, unplanned, loss)[0]


def rates(
    changed: Array, lives: WornLives, planned: float, unplanned: float, loss: ProductLoss | None
) -> tuple[float, float, float]:
    """Return what a way to change comes to in the long run, an hour and position.

    Parameters
    ----------
    changed
        Hours at which each piece is changed if it has not ended; infinite: never.
    lives
        Of new pieces.
    planned, unplanned
        Cost of a change, the piece included.
    loss
        What a worn piece loses; None where the plan does not say.

    Returns
    -------
    (cost, failures, pieces)
        Each per running hour and position.
    """
    life = lives.life
    until = np.minimum(changed, life)
    failed = life < changed
    cost = np.where(failed, unplanned, planned) + lives.lost(until, loss)
    cycle = float(until.mean())
    return float(cost.mean()) / cycle, float(failed.mean()) / cycle, 1.0 / cycle
