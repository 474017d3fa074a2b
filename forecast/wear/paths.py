"""Pieces with readings of their own: hours left to the limit, and the path ahead.

A piece's log rate is shrunk to its machine and type as far as its readings allow; its offset is
drawn given that rate and its readings (an offset from the population beside a rate from own
readings would be wrong). The past counts at the levels of the seasons it ran in, the future at the
forecast's level, with an allowance for a change of rate that no reading shows yet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from forecast.wear.bend import Bent
from forecast.wear.offsets import Assumption
from forecast.wear.reml import TwoLevel, matched_site
from forecast.wear.seasons import LOG_HOURS, RateDraws
from forecast.wear.sums import HOURS_IN_KH, CellSums

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

FUTURE_SD: Final = 0.10
"""Sd (log) of the change of a piece's rate yet to come, where last readings can't tell it: that of
its prior, half-t with 3 degrees of freedom. An editor's choice; few pieces say little."""

MOST_LAST_READINGS: Final = 10_000
"""More would not change the answer: of more pieces every second, third, ... counts."""

LEAST_LAST_READINGS: Final = 30
"""Pieces with an earlier reading that an estimate of the change needs."""

CHANGES: Final = np.linspace(0.0, 0.5, 101)
"""Looked at; a larger one is not a change of rate but a wrong gauge sd or a wrong log."""

WRONG: Final = 0.02
"""Share of last readings that are some other piece's: five times as far off as they should be."""


@dataclass(frozen=True, eq=False)
class OwnReadings:
    """The fit of pieces with readings: their sums, and what the fit made of them.

    Attributes
    ----------
    sums
        Of the readings, by season.
    fit
        The two-level fit of these sums.
    gauge_sd, offset
        That the fit was made with, mm.
    offset_sd
        Of each piece [pieces], mm.
    """

    sums: CellSums
    fit: TwoLevel
    gauge_sd: float
    offset: float
    offset_sd: Array


def piece_draws(
    own: OwnReadings, rates: RateDraws, rows: IntArray, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Draw (log rate of a piece less the season's level, its offset in mm) [pieces, draws each].

    Given the levels and the machine effects of each draw: the same machine is fast for all its
    pieces at once.
    """
    fit = own.fit
    moved = rates.read_theta - fit.theta[:, None]
    effect = rates.read_effects[own.sums.machine[rows]]
    piece_variance = fit.piece_sd**2
    told = piece_variance * fit.site_precision[rows]
    weight = (told / (1.0 + told))[:, None]
    said = fit.site_mean[rows][:, None] - fit.share[rows] @ moved
    noise = rng.standard_normal((rows.size, rates.draws))
    log_rate = effect + weight * (said - effect) + np.sqrt(piece_variance * (1 - weight)) * noise
    return log_rate, _offset_draws(own, rates.read_cells, rows, log_rate, rng)


def _offset_draws(
    own: OwnReadings, levels: Array, rows: IntArray, log_rate: Array, rng: np.random.Generator
) -> Array:
    """Draw the offset of each piece given its rate and its readings [pieces, draws]."""
    noise = rng.standard_normal(log_rate.shape)
    if not (own.offset_sd > 0).any():
        return np.full(log_rate.shape, own.offset)
    sums = own.sums
    worn = np.exp(log_rate) * (sums.x[rows] @ np.exp(levels + LOG_HOURS))
    gauge_variance = own.gauge_sd**2
    between = np.maximum(own.offset_sd[rows], 1e-9)[:, None] ** 2
    variance = 1.0 / (sums.n[rows][:, None] / gauge_variance + 1.0 / between)
    mean = variance * ((sums.y[rows][:, None] - worn) / gauge_variance + own.offset / between)
    return mean + np.sqrt(variance) * noise


def depth_now(log_rate: Array, offset: Array, rates: RateDraws, ran: Array) -> Array:
    """Return the wear depth after the hours run so far, mm [pieces, draws].

    Parameters
    ----------
    log_rate, offset
        From :func:`piece_draws`.
    ran
        Hours run in each season of ``rates.seasons`` [pieces, seasons].
    """
    if ran.shape != (log_rate.shape[0], len(rates.seasons)):
        raise ValueError(
            f"ran should be [{log_rate.shape[0]} pieces, {len(rates.seasons)} seasons], "
            f"got {ran.shape}"
        )
    return offset + np.exp(log_rate) * (ran @ np.exp(rates.season_levels))


def hours_left(
    own: OwnReadings,
    rates: RateDraws,
    rows: IntArray,
    ran: Array,
    limit_mm: Array,
    rng: np.random.Generator,
) -> Array:
    """Draw the hours each piece still runs to the limit at the forecast's level [pieces, draws].

    0 where it is at the limit already. ``limit_mm`` [draws].
    """
    return left_and_rate(own, rates, rows, ran, limit_mm, rng)[0]


def left_and_rate(
    own: OwnReadings,
    rates: RateDraws,
    rows: IntArray,
    ran: Array,
    limit_mm: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Draw the hours left to the limit and the wear rate (mm/h) until then [pieces, draws each].

    Hours are 0 where a piece is at the limit already. ``limit_mm`` [draws].
    """
    log_rate, offset = piece_draws(own, rates, rows, rng)
    depth = depth_now(log_rate, offset, rates, ran)
    change = rates.future_sd * rng.standard_normal(log_rate.shape)
    rate = np.exp(rates.level + log_rate + change)
    if rates.bent is None:
        return np.maximum(limit_mm - depth, 0.0) / rate, rate
    rise, age = _curve(own, rates, rates.bent, rows, log_rate, ran)
    ahead = rates.bent.ages(np.exp(rates.level + change))
    left = np.maximum(rates.bent.age_at(rise, offset, limit_mm) - age, 0.0) / ahead
    to_go = limit_mm - rates.bent.depth(rise, offset, age)
    return left, np.where(left > 0, to_go / np.maximum(left, 1e-9), rate)


def _curve(
    own: OwnReadings, rates: RateDraws, bent: Bent, rows: IntArray, log_rate: Array, ran: Array
) -> tuple[Array, Array]:
    """Return the rise of each piece's curve, and its age now [pieces, draws each]; see Bent."""
    lines = own.sums.along(np.ones(len(own.sums.seasons)))
    n, x, xx = lines.n[rows], lines.x[rows], lines.xx[rows]
    mean = x / n
    sd = np.sqrt(np.maximum(xx / n - mean**2, 0.0))
    rise = bent.curve(log_rate, mean * HOURS_IN_KH, sd * HOURS_IN_KH)
    return rise, bent.ages(ran @ np.exp(rates.season_levels))


def depths_ahead(
    own: OwnReadings,
    rates: RateDraws,
    row: int,
    ran: Array,
    ahead_hours: Array,
    rng: np.random.Generator,
) -> Array:
    """Draw the depth of one piece after further hours, mm [ahead, draws]."""
    rows = np.array([row], dtype=np.int64)
    log_rate, offset = piece_draws(own, rates, rows, rng)
    depth = depth_now(log_rate, offset, rates, ran[None, :])
    change = rates.future_sd * rng.standard_normal(log_rate.shape)
    rate = np.exp(rates.level + log_rate + change)
    if rates.bent is None:
        return depth + ahead_hours[:, None] * rate
    rise, age = _curve(own, rates, rates.bent, rows, log_rate, ran[None, :])
    ahead = rates.bent.ages(np.exp(rates.level + change))
    return rates.bent.depth(rise, offset, age + ahead_hours[:, None] * ahead)


def future_change(
    own: OwnReadings, *, gauge_known: bool = True, season_of: Sequence[str] | None = None
) -> tuple[float, tuple[Assumption, ...]]:
    """Estimate how much a piece's rate still changes from last readings one step ahead.

    Each last reading is predicted from the piece's earlier ones; what its error has beyond offset,
    gauge and the uncertain rate is (rate x step)2 times the variance sought. Root mean square of
    the posterior: few pieces leave the prior, many tell.
    Pieces that ran in one season count: only their hours at the last reading are in the sums. In
    several phases of it (``season_of`` names the season of each cell) they count at the mean pace
    of their own hours.
    The hours at the reading before it are known with two readings, else taken as evenly spaced.
    An assumed gauge sd tells nothing here: what it misses would look like a change.
    """
    steps = _last_steps(own, season_of or own.sums.seasons) if gauge_known else None
    if steps is None:
        why = "too few pieces with an earlier reading in the same season"
        return FUTURE_SD, (Assumption("future change of rate (sd)", f"{FUTURE_SD:g}", why),)
    squared_error, known_variance, worn_squared = steps
    total = known_variance + CHANGES[:, None] ** 2 * worn_squared
    # a reading of the wrong piece, or a change-out that nobody logged, is no change of rate
    off = squared_error / total
    right = (1.0 - WRONG) * np.exp(-0.5 * off) + WRONG / 5.0 * np.exp(-off / 50.0)
    log_weight = (np.log(np.maximum(right, 1e-300)) - 0.5 * np.log(total)).sum(axis=1)
    log_weight -= 2.0 * np.log1p((CHANGES / FUTURE_SD) ** 2)
    weight = np.exp(log_weight - log_weight.max())
    return float(np.sqrt((weight * CHANGES**2).sum() / weight.sum())), ()


def _last_steps(own: OwnReadings, season_of: Sequence[str]) -> tuple[Array, Array, Array] | None:
    """Return (squared error, its variance without a change, (rate x step)2) of last readings."""
    sums, fit = own.sums, own.fit
    names, season_at = np.unique(np.asarray(season_of, dtype=object), return_inverse=True)
    ran = np.stack([sums.x[:, season_at == at].sum(axis=1) for at in range(len(names))], axis=1)
    one_season = (ran > 0).sum(axis=1) == 1
    usable = one_season & (sums.n >= 2) & np.isfinite(sums.last_hours) & np.isfinite(sums.last_mm)
    rows = np.flatnonzero(usable)
    if rows.size < LEAST_LAST_READINGS:
        return None
    if rows.size > MOST_LAST_READINGS:
        rows = rows[np.linspace(0, rows.size - 1, MOST_LAST_READINGS).astype(np.int64)]
    pace = np.exp(fit.level)
    lines = sums.along(pace)
    at = np.arange(rows.size)
    # on the clock of hours at the mean pace of the piece's own hours
    mean_pace = lines.x[rows] / sums.x[rows].sum(axis=1)
    age, wear, n = sums.last_hours[rows], sums.last_mm[rows], sums.n[rows] - 1.0
    x = lines.x[rows] / mean_pace - age
    y = sums.y[rows] - wear
    xx = lines.xx[rows] / mean_pace**2 - age**2
    xy = lines.xy[rows] / mean_pace - age * wear
    step = age - _before(n, x, xx)
    worth = (
        (x > 0) & (step > 0) & _consistent(n, x, xx) & _consistent(n, y, sums.yy[rows] - wear**2)
    )
    level = np.log(mean_pace) + fit.machine_mean[sums.machine[rows]]
    offset_sd = own.offset_sd[rows]
    earlier = _Earlier(
        n[worth], x[worth], y[worth], xx[worth], xy[worth], level[worth], offset_sd[worth]
    )
    if int(worth.sum()) < LEAST_LAST_READINGS:
        return None
    machine_variance = fit.machine_variance[sums.machine[rows]][at[worth]]
    return _one_step(own, earlier, age[worth], wear[worth], step[worth], machine_variance)


@dataclass(frozen=True, eq=False)
class _Earlier:
    """Sums without the last reading; log rate of the machine in the season; sd of the offset."""

    n: Array
    x: Array
    y: Array
    xx: Array
    xy: Array
    level: Array
    offset_sd: Array


def _consistent(n: Array, total: Array, squares: Array) -> npt.NDArray[np.bool_]:
    """Say whether sums can be those of n numbers.

    The last reading may be one that was kept out of the sums (read because it looked suspect).
    """
    about = squares - total**2 / n
    scale = 1e-6 * (1.0 + squares)
    return np.where(n == 1, np.abs(about) <= scale, about >= -scale)


def _before(n: Array, x: Array, xx: Array) -> Array:
    """Return the hours at the reading before the last, evenly spaced readings supposed."""
    mean = x / n
    spread = np.sqrt(np.maximum(xx / n - mean**2, 0.0))
    reach = np.sqrt(3.0 * np.maximum(n - 1.0, 0.0) / (n + 1.0))
    return np.asarray(mean + spread * reach, dtype=np.float64)


def _one_step(
    own: OwnReadings, earlier: _Earlier, age: Array, wear: Array, step: Array, level_variance: Array
) -> tuple[Array, Array, Array]:
    """Predict last readings from earlier ones; see :func:`future_change`."""
    gauge, between = own.gauge_sd**2, earlier.offset_sd**2
    shrink = between / (gauge + earlier.n * between)
    beyond = earlier.y - earlier.n * own.offset
    linear = (earlier.xy - own.offset * earlier.x - shrink * earlier.x * beyond) / gauge
    curved = (earlier.xx - shrink * earlier.x**2) / gauge
    rate = np.exp(earlier.level)
    prior = own.fit.piece_sd**2 + float(np.mean(level_variance))
    precision, pulled = matched_site(linear * rate, curved * rate**2, np.zeros(rate.size), prior)
    variance = 1.0 / (precision + 1.0 / prior)
    rate = rate * np.exp(variance * pulled)
    offset = own.offset + shrink * (beyond - rate * earlier.x)
    offset_variance = between * gauge / (gauge + earlier.n * between)
    slope = age - shrink * earlier.x
    error = wear - offset - rate * age
    known = offset_variance + gauge + variance * (rate * slope) ** 2
    return error**2, known, (rate * step) ** 2
