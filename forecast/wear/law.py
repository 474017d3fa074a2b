"""Does wear grow in a straight line with hours, or as a power of them.

    y = d + rate x hours^power + error

For each power of a grid the two-level fit is made on hours^power and its likelihood taken; a
parabola through the best three gives power and interval. Inside the data a straight line is hardly
ever far off; the law matters beyond the longest age read. Bedding-in that is not over at the first
readings looks like a power below 1, so readings before its end should be left out.

A machine whose rate changed on a day (a new shaft, another cleaning) is found in the pieces that it
carried over that day: offset and rate of each piece are its own and cancel.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.records.words import percent
from forecast.wear.bend import Bend
from forecast.wear.offsets import gauge_error, offsets
from forecast.wear.reml import NODES, common_log_rate, prepare, two_level
from forecast.wear.sums import HOURS_IN_KH, ONE_SEASON, CellSums, LineSums, cell_sums, wear_sums

Array = npt.NDArray[np.float64]

POWERS: Final = (0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5)
STRAIGHT: Final = POWERS.index(1.0)

SURE: Final = 6.63
"""Twice the gain in log likelihood that a power must bring: 1 in 100 by chance (chi-square, 1)."""

BENT: Final = 0.1
"""A power closer to 1 is taken as straight."""

SPAN: Final = 3.0
"""The longest age read must be so many times the shortest."""

LEAST_PIECES: Final = 10
"""Pieces with three readings that a choice needs."""

LOUD: Final = 4.0
"""Standard errors from which on a change at a day nobody named counts: there are many days."""

DEALT: Final = 5
"""Powers that stand for one known with error."""

LEAST_OVER: Final = 3
"""Pieces of a machine that must have run over the day of a change."""

NORMAL_90: Final = 1.6448536269514722


@dataclass(frozen=True)
class WearLaw:
    """How wear grows with hours.

    Attributes
    ----------
    chosen
        ``straight`` or ``power``.
    power, low, high
        The power that fits best, with 90 % bounds; NaN where it can't be told.
    gain
        Twice the log likelihood above a straight line's.
    log_slope
        Slope of log wear on log hours inside pieces, offset neglected: a plain check.
    beyond
        Straight forecast at 1.5 times the longest age read, relative to the power's, less 1.
    why
        In words.
    bend
        The power law to forecast with, where it is chosen.
    """

    chosen: str
    power: float
    low: float
    high: float
    gain: float
    log_slope: float
    beyond: float
    why: str
    bend: Bend | None = None

    @property
    def says(self) -> str:
        """What a reader should know."""
        if np.isnan(self.power):
            return f"taken as a straight line: {self.why}"
        told = f"power of hours {self.power:.2f} ({self.low:.2f} to {self.high:.2f}): {self.why}"
        if self.chosen == "straight":
            return told
        off = f"{percent(abs(self.beyond))} {'too much' if self.beyond > 0 else 'too little'}"
        return f"{told}; at 1.5 times the longest age read a straight line forecasts {off}"


def wear_law(readings: pd.DataFrame, gauge_sd: float | None = None) -> WearLaw:
    """Choose between a straight line and a power of hours.

    Parameters
    ----------
    readings
        Columns ``machine``, ``piece``, ``hours`` (since new), ``wear_mm``; one row a reading.
    gauge_sd
        Sd of one reading; None: from pieces with three readings and more, by power.
    """
    run = readings[readings["hours"] > 0]
    slope = _log_slope(run)
    counts = run.groupby("piece")["hours"].agg(["size", "min", "max"])
    if int((counts["size"] >= 3).sum()) < LEAST_PIECES:
        return _untold(f"fewer than {LEAST_PIECES} pieces have three readings", slope)
    if run["hours"].max() < SPAN * run["hours"].min():
        return _untold(f"ages read span less than a factor of {SPAN:g}", slope)
    found = _profile(run, gauge_sd)
    if np.nanmax(found) < -1e11:
        return _untold("the readings show no wear", slope)
    at = int(np.clip(np.nanargmax(found), 1, len(POWERS) - 2))
    curve = np.polyfit(POWERS[at - 1 : at + 2], found[at - 1 : at + 2], 2)
    bent = bool(curve[0] < 0)
    power = float(-curve[1] / (2 * curve[0])) if bent else POWERS[int(np.nanargmax(found))]
    power = float(np.clip(power, POWERS[0], POWERS[-1]))
    half = NORMAL_90 / np.sqrt(-2.0 * curve[0]) if bent else np.nan
    gain = float(2.0 * (max(np.polyval(curve, power), np.nanmax(found)) - found[STRAIGHT]))
    curved = gain > SURE and abs(power - 1.0) > BENT
    why = "a straight line does as well"
    if curved:
        why = "the readings bend"
    elif gain > SURE:
        why = "so near a straight line that one is taken"
    return WearLaw(
        chosen="power" if curved else "straight",
        power=power,
        low=power - float(half),
        high=power + float(half),
        gain=max(gain, 0.0),
        log_slope=slope,
        beyond=_beyond(run, power),
        why=why,
        bend=_bend(run, power, float(np.nan_to_num(half)) / NORMAL_90, gauge_sd)
        if curved
        else None,
    )


def _profile(run: pd.DataFrame, gauge_sd: float | None) -> Array:
    """Return the log likelihood of the powers from straight up to the best and one beyond it."""
    found = np.full(len(POWERS), np.nan)

    def at(number: int) -> float:
        if np.isnan(found[number]):
            value = _fitted(run, POWERS[number], gauge_sd)[0]
            found[number] = value if np.isfinite(value) else -1e12
        return float(found[number])

    best = STRAIGHT
    while True:
        near = [number for number in (best - 1, best + 1) if 0 <= number < len(POWERS)]
        better = max(near, key=at)
        if at(better) <= at(best):
            return found
        best = better


def _untold(why: str, slope: float) -> WearLaw:
    nan = float("nan")
    return WearLaw("straight", nan, nan, nan, nan, slope, nan, why)


def _log_slope(run: pd.DataFrame) -> float:
    """Return the slope of log wear on log hours, each piece at its own level."""
    worn = run[run["wear_mm"] > 0]
    logs = pd.DataFrame({"x": np.log(worn["hours"]), "y": np.log(worn["wear_mm"])})
    off = logs - logs.groupby(worn["piece"]).transform("mean")
    about = float((off["x"] ** 2).sum())
    return float((off["x"] * off["y"]).sum()) / about if about > 0 else float("nan")


def _fitted(run: pd.DataFrame, power: float, gauge_sd: float | None) -> tuple[float, float, float]:
    """Return (log likelihood, offset, rise) of the two-level fit on hours^power.

    The rise is that of a median piece to the longest age read, mm; NaN where nothing wears.
    """
    longest = float(run["hours"].max())
    bent = run.assign(hours=HOURS_IN_KH * (run["hours"] / longest) ** power)
    sums = cell_sums(*wear_sums(bent), (ONE_SEASON,))
    lines = sums.along(np.ones(1))
    gauge, _ = gauge_error(lines, gauge_sd)
    offset = offsets(lines, gauge)
    mean = offset.mean
    for _ in range(2):
        data = prepare(sums, gauge, mean, offset.sd)
        if not np.isfinite(common_log_rate(data)):
            return float("nan"), mean, float("nan")
        fit = two_level(data, sweeps=3)
        level = float(fit.level[0])
        weight = lines.n / (gauge**2 + lines.n * offset.sd**2)
        left = (lines.y - np.exp(level + fit.piece_mean) * lines.x) / lines.n
        mean = float((weight * left).sum() / weight.sum())
    spread = gauge, mean, offset.sd
    value = _marginal(sums, lines, spread, level, fit.machine_mean, fit.piece_sd)
    return value, mean, float(np.exp(level))


def _bend(run: pd.DataFrame, power: float, error: float, gauge_sd: float | None) -> Bend:
    """Return the power law, the error of its power dealt to a few of them, beside the line."""
    from scipy.special import ndtri

    told = power + error * ndtri((np.arange(DEALT) + 0.5) / DEALT)
    powers = np.clip(told, POWERS[0], POWERS[-1])
    curves = [_fitted(run, float(one), gauge_sd) for one in powers]
    _, line_offset, line_rise = _fitted(run, 1.0, gauge_sd)
    longest = float(run["hours"].max())
    return Bend(
        longest=longest,
        youngest=float(run["hours"].min()) / longest,
        line=(line_offset, line_rise),
        power=powers,
        offset=np.array([offset for _, offset, _ in curves]),
        rise=np.array([rise for _, _, rise in curves]),
    )


def _marginal(
    sums: CellSums,
    lines: LineSums,
    spread: tuple[float, float, float],
    level: float,
    machine: Array,
    piece_sd: float,
) -> float:
    """Integrate offset (closed form) and rate (nodes at its mode) out of each piece."""
    gauge, mean, sd = spread
    shrink = sd**2 / (gauge**2 + lines.n * sd**2)
    beyond = lines.y - lines.n * mean
    squares = lines.yy - 2 * mean * lines.y + lines.n * mean**2 - shrink * beyond**2
    linear = (lines.xy - mean * lines.x - shrink * beyond * lines.x) / gauge**2
    curved = (lines.xx - shrink * lines.x**2) / gauge**2
    prior, variance = level + machine[sums.machine], max(piece_sd, 1e-3) ** 2
    mode = prior.copy()
    for _ in range(12):
        grown = np.exp(mode)
        slope = linear * grown - curved * grown**2 - (mode - prior) / variance
        mode += np.clip(slope / (curved * grown**2 + 1.0 / variance), -0.5, 0.5)
    width = 1.0 / np.sqrt(curved * np.exp(2 * mode) + 1.0 / variance)
    at = mode + width * NODES[:, None]
    height = (
        linear * np.exp(at) - 0.5 * curved * np.exp(2 * at) - 0.5 * (at - prior) ** 2 / variance
    )
    height = height + 0.5 * NODES[:, None] ** 2
    top = height.max(axis=0)
    weights = np.polynomial.hermite_e.hermegauss(NODES.size)[1][:, None]
    own = top + np.log((np.exp(height - top) * weights).sum(axis=0))
    own += np.log(width) - 0.5 * np.log(2 * np.pi * variance) - 0.5 * squares / gauge**2
    own -= lines.n * np.log(gauge) + 0.5 * np.log1p(lines.n * sd**2 / gauge**2)
    return float(own.sum())


def _beyond(run: pd.DataFrame, power: float) -> float:
    """Return how far a straight line through the readings is off at 1.5 times the longest age."""
    age = run["hours"].to_numpy(np.float64) / float(run["hours"].max())
    wear = run["wear_mm"].to_numpy(np.float64)
    ends = []
    for bend in (1.0, power):
        design = np.column_stack([np.ones(age.size), age**bend])
        line = np.linalg.lstsq(design, wear, rcond=None)[0]
        ends.append(float(line @ [1.0, 1.5**bend]))
    return ends[0] / ends[1] - 1.0


def rate_changes(readings: pd.DataFrame, gauge_sd: float) -> pd.DataFrame:
    """Find the machines whose wear rate changed on a day, from pieces that ran over it.

    Parameters
    ----------
    readings
        Columns ``machine``, ``piece``, ``at``, ``hours``, ``wear_mm``. A piece counts with three
        readings and more.
    gauge_sd
        Sd of one reading, mm.

    Returns
    -------
    DataFrame
        ``machine``, ``at`` (the last visit before it), ``ratio`` of the rate after to that
        before with 90 % ``low`` and ``high``, ``pieces``: at most one a machine, the loudest;
        none below 4 standard errors.
    """
    columns = ["machine", "at", "ratio", "low", "high", "pieces"]
    rows = []
    ordered = readings.sort_values(["machine", "piece", "at"], kind="stable")
    machines, number_of = np.unique(ordered["machine"].to_numpy(str), return_inverse=True)
    piece_of = ordered["piece"].to_numpy(str)
    at, hours = ordered["at"].to_numpy(), ordered["hours"].to_numpy(np.float64)
    wear = ordered["wear_mm"].to_numpy(np.float64)
    starts = np.searchsorted(number_of, np.arange(len(machines) + 1))
    for machine, start, end in zip(machines, starts[:-1], starts[1:], strict=True):
        best: tuple[float, list[object]] | None = None
        days = np.unique(at[start:end])
        parted = 1 + np.flatnonzero(piece_of[start + 1 : end] != piece_of[start : end - 1])
        ends_at = [start, *(start + parted).tolist(), end]
        pieces = [
            (np.searchsorted(at[a:b], days, side="right"), _bends(hours[a:b], wear[a:b]))
            for a, b in pairwise(ends_at)
            if b - a >= 3
        ]
        if len(pieces) < LEAST_OVER:
            continue
        # [pieces, days, 3]: a day bends a piece where it parts the piece's readings.
        bent = np.stack([bends[parted] for parted, bends in pieces])[:, 1:-1]
        there = ~np.isnan(bent[:, :, 0])
        count = there.sum(axis=0)
        about, with_it, before = np.moveaxis(np.nan_to_num(bent).sum(axis=0), 1, 0)
        rate = before / np.maximum(count, 1)
        for number in np.flatnonzero((count >= LEAST_OVER) & (rate > 0)):
            change = float(with_it[number] / about[number] / rate[number])
            error = gauge_sd / float(np.sqrt(about[number]) * rate[number])
            loud = abs(change) / error
            if loud > LOUD and (best is None or loud > best[0]):
                ends = [max(1.0 + change + sign * NORMAL_90 * error, 0.0) for sign in (0, -1, 1)]
                day = pd.Timestamp(days[number + 1])
                best = loud, [str(machine), day, *ends, int(count[number])]
        if best is not None:
            rows.append(best[1])
    return pd.DataFrame(rows, columns=columns)


def _bends(hours: Array, wear: Array) -> Array:
    """Return what a change after each number of a piece's readings would look like, mm and h.

    One row a number of readings before the change, 0 to all: square of the hours since then, their
    product with wear, rate before; the piece's offset and straight line are taken out of the first
    two. NaN where its readings can't tell.
    """
    found = np.full((hours.size + 1, 3), np.nan)
    if np.ptp(hours) <= 0:
        return found
    centred = hours - hours.mean()
    spread = float(centred @ centred)

    def off_line(values: Array) -> Array:
        slope = np.asarray(centred @ values) / spread
        line: Array = values.mean(axis=0) + np.multiply.outer(centred, slope)
        return np.subtract(values, line)

    since = np.maximum(hours[:, None] - hours, 0.0)[:, :-1]  # [readings, last reading before]
    off = off_line(since)
    about, with_it = np.einsum("rl,rl->l", off, off), off.T @ off_line(wear)
    told = about >= 1e-6 * np.einsum("rl,rl->l", since, since)
    change = np.divide(with_it, about, out=np.zeros_like(about), where=told)
    before = (centred @ wear - change * (centred @ since)) / spread
    found[1:-1] = np.where(told[:, None], np.column_stack([about, with_it, before]), np.nan)
    return found
