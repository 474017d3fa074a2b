"""Wear depth beside the end of a life: what policies need that look at a reading.

Depth grows in a straight line, so the hours to any depth follow from the hours to the limit and
the rate: left to depth w = left to the limit - (limit - w) / rate. For a piece without readings
the rate is the depth from bedded in to the limit over its whole life.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri

from forecast.planning.draws import (
    Array,
    Earliest,
    IntArray,
    LifeDraws,
    Pieces,
    WearDraws,
    WeibullDraws,
)

FAST = 1.645
"""Normal score of a fast piece (the fastest in twenty), and of a reading that misses as much."""

_POINTS = 8_000
_STEPS = (0.7548776662466927, 0.5698402909980532)  # 1 / p and 1 / p^2 of the plastic number p
_LONG_OVERDUE = 36.0  # normal score beyond which ndtr underflows


@dataclass(frozen=True, eq=False)
class Lives:
    """Lives drawn to their end, one a piece and path.

    Attributes
    ----------
    worn
        Hours left to the wear limit; infinite where nothing wears.
    rate
        Wear rate until then (mm/h); NaN where nothing wears.
    other
        Hours left to any other end.
    """

    worn: Array
    rate: Array
    other: Array


def ways(law: LifeDraws) -> tuple[WearDraws | None, tuple[LifeDraws, ...]]:
    """Return the way a piece wears to its limit, if there is one, and the other ways to end."""
    laws = law.laws if isinstance(law, Earliest) else (law,)
    worn = [one for one in laws if isinstance(one, WearDraws)]
    others = tuple(one for one in laws if not isinstance(one, WearDraws))
    return (worn[0] if worn else None), others


def lives_left(law: LifeDraws, pieces: Pieces, rng: np.random.Generator) -> Lives:
    """Draw the lives [pieces, draws] of pieces in service.

    Parameters
    ----------
    law
        Lives still to come.
    pieces
        Whether one is due counts for nothing here: its worn hours are those of its readings.
    rng
        Stream of the set.
    """
    worn, others = ways(law)
    shape = (len(pieces), law.draws)
    left, rate = np.full(shape, np.inf), np.full(shape, np.nan)
    if worn is not None:
        waiting = Pieces(
            pieces.machine, pieces.age, pieces.ran, pieces.own, np.zeros(len(pieces), dtype=bool)
        )
        left = worn.left(waiting, rng)
        run = pieces.ran @ np.exp(worn.season_levels - worn.level)
        rate = worn.gap / np.maximum(run + left, 1e-9)
        own = pieces.own >= 0
        if worn.own_rate is not None and own.any():
            rate[own] = worn.own_rate[pieces.own[own]]
    other = np.full(shape, np.inf)
    for one in others:
        other = np.minimum(other, one.left(pieces, rng))
    return Lives(left, rate, other)


def new_lives(law: LifeDraws, machine: IntArray, draw: IntArray, rng: np.random.Generator) -> Lives:
    """Draw the lives of new pieces, one a (machine, draw) pair."""
    worn, others = ways(law)
    left, rate = np.full(len(draw), np.inf), np.full(len(draw), np.nan)
    if worn is not None:
        left = worn.new(machine, draw, rng)
        rate = worn.gap[draw] / left
    other = np.full(len(draw), np.inf)
    for one in others:
        other = np.minimum(other, one.new(machine, draw, rng))
    return Lives(left, rate, other)


def safe_level(law: WearDraws, machine: int, window_hours: float) -> float:
    """Return the depth (mm) from which a piece is changed so that few reach the limit.

    The limit less what a fast piece wears until the following window, less what a reading may
    miss (both at 95 %).

    Parameters
    ----------
    law
        How the part type wears.
    machine
        Index of the machine, which has a rate of its own.
    window_hours
        Running hours from window to window.
    """
    level = law.level + law.machine_effect[machine]
    spread = np.sqrt(float(np.var(level)) + law.piece_sd**2 + law.future_sd**2)
    fast = float(np.exp(np.mean(level) + FAST * spread))
    return float(np.median(law.limit_mm)) - fast * window_hours - FAST * law.gauge_sd


def depth_at_risk(law: WearDraws, machine: int, hours: float, risk: float) -> float:
    """Return the depth (mm) from which a piece reaches its limit within some hours with a chance.

    Rate, limit and reading are drawn at even points of their distributions, so that the same law
    gives the same depth without a stream of its own.

    Parameters
    ----------
    law
        How the part type wears.
    machine
        Index of the machine.
    hours
        Running hours ahead.
    risk
        Chance to reach the limit, from which the piece is changed.
    """
    return float(np.quantile(_limit_then(law, machine, hours), np.clip(risk, 0.0, 1.0)))


def chance_from_depth(law: WearDraws, machine: int, hours: float, depth: float) -> float:
    """Return the chance that a piece read at a depth does not reach its limit within some hours."""
    return float((_limit_then(law, machine, hours) > depth).mean())


def _limit_then(law: WearDraws, machine: int, hours: float) -> Array:
    """Return readings [points] from which pieces just reach their limit after some hours."""
    at = np.arange(_POINTS)
    draw = at % law.draws
    piece, gauge = (ndtri(((at + 0.5) * step) % 1.0) for step in _STEPS)
    spread = float(np.hypot(law.piece_sd, law.future_sd))
    rate = np.exp(law.level[draw] + law.machine_effect[machine, draw] + spread * piece)
    depth: Array = law.limit_mm[draw] - rate * hours + law.gauge_sd * gauge
    return depth


def chance_over(law: LifeDraws, pieces: Pieces, ahead: Array, level_mm: Array) -> Array:
    """Return the chance [pieces] to be in place and over a depth after `ahead` [pieces] hours.

    Parameters
    ----------
    law
        Lives still to come; without a way to wear the chance is 0.
    pieces, ahead
        Pieces in service, and the hours each runs.
    level_mm
        [pieces] the depth.
    """
    worn, others = ways(law)
    if worn is None:
        return np.zeros(len(pieces))
    there = law.survival(pieces, ahead)
    under = np.empty(there.shape)
    own = pieces.own >= 0
    if worn.own_left is not None and own.any():
        left = worn.own_left[pieces.own[own]]
        run = pieces.ran[own] @ np.exp(worn.season_levels - worn.level)
        rate = worn.gap / np.maximum(run + left, 1e-9)
        if worn.own_rate is not None:
            rate = worn.own_rate[pieces.own[own]]
        under[own] = left - (worn.limit_mm - level_mm[own, None]) / rate > ahead[own, None]
    rest = ~own if worn.own_left is not None else np.ones(len(pieces), dtype=bool)
    under[rest] = _under(worn, pieces.take(rest), ahead[rest], level_mm[rest])
    for one in others:
        under *= one.survival(pieces, ahead)
    over: Array = np.clip(there - under, 0.0, 1.0).mean(axis=1)
    over[pieces.due] = 1.0
    return over


def _under(law: WearDraws, pieces: Pieces, ahead: Array, level_mm: Array) -> Array:
    """Return the chance [pieces, draws] not to be over a depth, of pieces without readings.

    Hours to the depth are a share of the whole life: the piece is under it while its life is
    longer than its hours over that share.
    """
    share = np.maximum(1.0 - (law.limit_mm - level_mm[:, None]) / law.gap, 1e-3)
    run = pieces.ran @ np.exp(law.season_levels - law.level)
    center = np.log(law.gap) - law.level - law.machine_effect[pieces.machine]
    with np.errstate(divide="ignore"):
        then = (np.log((run + ahead[:, None]) / share) - center) / law.spread
        now = (np.log(run) - center) / law.spread
    under = ndtr(-np.minimum(then, _LONG_OVERDUE)) / ndtr(-np.minimum(now, _LONG_OVERDUE))
    return np.minimum(under, 1.0)


def season_after(law: LifeDraws, pieces: Pieces, ahead: Array) -> tuple[LifeDraws, Pieces]:
    """Return law and pieces at the end of the coming season: the next has an effect of its own.

    Parameters
    ----------
    law
        Lives still to come.
    pieces, ahead
        Pieces in service, and the hours [pieces] each runs in the coming season.
    """
    worn, others = ways(law)
    ran = np.column_stack([pieces.ran, ahead])
    aged = replace(pieces, age=pieces.age + ahead, ran=ran)
    if worn is None:
        return law, aged
    level = worn.level if worn.next_level is None else worn.next_level
    own, left = pieces.own, worn.own_left
    if left is not None:
        has = own >= 0
        rest = np.maximum(left[own[has]] - ahead[has, None], 0.0)
        own = np.where(has, np.cumsum(has) - 1, -1)
        left = rest * np.exp(worn.level - level)
    later = replace(
        worn,
        level=level,
        season_levels=np.vstack([worn.season_levels, worn.level]),
        own_left=left,
        own_rate=None,
    )
    law = Earliest((later, *others)) if others else later
    return law, replace(aged, own=own.astype(np.int64))


def chance_of_flip(law: LifeDraws, pieces: Pieces, ahead: Array, keep: float) -> Array:
    """Return the chance [pieces] that one more reading now would turn a decision to keep a piece.

    The log of the hours left is taken as normal; a reading narrows the depth now, and with it the
    hours: their mean moves by cov / sqrt(var depth + gauge^2). The decision turns where it passes
    the point at which the chance to last `ahead` hours is `keep` (METHODS: flip of a decision).

    Parameters
    ----------
    law
        Lives still to come.
    pieces, ahead
        Pieces in service, and the hours each is to last.
    keep
        Chance to last from which a piece is kept.

    Returns
    -------
    numpy.ndarray
        0 for pieces without readings of their own, and for those known to be at their limit.
    """
    worn, _ = ways(law)
    flips = np.zeros(len(pieces))
    some = np.flatnonzero((pieces.own >= 0) & ~pieces.due & (ahead > 0))
    if worn is None or worn.own_left is None or worn.own_rate is None or not len(some):
        return flips
    left, rate = worn.own_left[pieces.own[some]], worn.own_rate[pieces.own[some]]
    depth = worn.limit_mm - rate * left
    margin = np.log(np.maximum(left, 1.0)) - np.log(ahead[some, None])
    mean, spread = margin.mean(axis=1), margin.std(axis=1)
    off = depth - depth.mean(axis=1, keepdims=True)
    shared = ((margin - mean[:, None]) * off).mean(axis=1)
    moves = np.abs(shared) / np.sqrt((off**2).mean(axis=1) + worn.gauge_sd**2 + 1e-12)
    kept = np.sqrt(np.maximum(spread**2 - moves**2, 1e-12))
    cut = float(ndtri(np.clip(keep, 1e-6, 1 - 1e-6))) * kept
    flips[some] = ndtr(-np.abs(mean - cut) / np.maximum(moves, 1e-9))
    return flips


def thin(law: LifeDraws, draws: int = 400) -> LifeDraws:
    """Return a law with the first draws only: enough for a mean chance, at a tenth of the cost."""
    if law.draws <= draws:
        return law
    if isinstance(law, Earliest):
        return Earliest(tuple(thin(one, draws) for one in law.laws))
    if isinstance(law, WeibullDraws):
        return WeibullDraws(law.shape[:draws], law.scale[:draws])
    if isinstance(law, WearDraws):
        return replace(
            law,
            level=law.level[:draws],
            season_levels=law.season_levels[:, :draws],
            machine_effect=law.machine_effect[:, :draws],
            limit_mm=law.limit_mm[:draws],
            own_left=None if law.own_left is None else law.own_left[:, :draws],
            own_rate=None if law.own_rate is None else law.own_rate[:, :draws],
            next_level=None if law.next_level is None else law.next_level[:draws],
        )
    return law
