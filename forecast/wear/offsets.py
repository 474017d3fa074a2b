"""Gauge error and bedding-in offset, from the straight lines through single pieces.

Wear of a piece is d + rate x hours + error. d (bedding-in, settling, size scatter of new pieces)
differs from piece to piece with mean ``offset`` and sd ``offset_sd``; the error is the gauge's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from forecast.wear.sums import LineSums

Array = npt.NDArray[np.float64]

GAUGE_SD: Final = 0.03
"""Assumed where neither the log nor repeated readings tell the gauge error, mm."""

LEAST_GAUGE_SD: Final = 1e-4
"""No gauge is better than this, mm: readings that lie exactly on lines are rounded ones."""

OFFSET_SD: Final = 0.04
"""Assumed sd of the offset where too few pieces are read twice, mm."""

OFFSET_ERROR: Final = 0.05
"""Standard error of an offset that had to be assumed, mm."""

LEAST_LINES: Final = 5
"""Pieces with two readings that an estimate of the offset needs."""

LEAST_RESIDUALS: Final = 5
"""Degrees of freedom that an estimate of the gauge error needs."""

AGE_RATIO: Final = 2.0
"""Single readings tell an offset only if their hours differ by this factor (10 % to 90 %)."""


@dataclass(frozen=True)
class Assumption:
    """Something the fit had to assume because the readings do not tell it.

    Attributes
    ----------
    what
        The quantity.
    value
        The value taken, with its unit.
    why
        What is missing.
    """

    what: str
    value: str
    why: str


@dataclass(frozen=True)
class Offsets:
    """The bedding-in offset of a population of pieces, mm.

    Attributes
    ----------
    mean, sd
        Over pieces whose size was measured when they were fitted.
    standard_error
        Of the mean; a stated one where the mean was assumed.
    assumed
        What the readings do not tell.
    sd_unknown
        Over pieces read against the nominal size, where it differs; None: the same.
    """

    mean: float
    sd: float
    standard_error: float
    assumed: tuple[Assumption, ...] = ()
    sd_unknown: float | None = None

    def sds(self, fitted_known: npt.NDArray[np.bool_]) -> Array:
        """Return the sd of each piece's offset: of pieces whose fitted size is known, or not."""
        other = self.sd if self.sd_unknown is None else self.sd_unknown
        return np.where(fitted_known, self.sd, other)

    @property
    def mean_assumed(self) -> bool:
        """Whether the readings do not even tell the mean."""
        return any(note.what == "offset" for note in self.assumed)


def residual_sd(lines: LineSums) -> tuple[float, float] | None:
    """Return the sd of readings about each piece's own line, and its degrees of freedom.

    Needs pieces with at least three readings at different ages; None if there are not enough.
    """
    about_x, about_xy, about_y = lines.spread()
    usable = (lines.n >= 3) & (about_x > 0)
    freedom = float((lines.n[usable] - 2).sum())
    if freedom < LEAST_RESIDUALS:
        return None
    left = np.maximum(about_y[usable] - about_xy[usable] ** 2 / about_x[usable], 0.0)
    return float(np.sqrt(left.sum() / freedom)), freedom


def gauge_error(lines: LineSums, stated: float | None) -> tuple[float, tuple[Assumption, ...]]:
    """Return the gauge sd: as stated, else from repeats on one piece, else the assumed one, mm."""
    if stated is not None and np.isfinite(stated):
        if stated < 0:
            raise ValueError(f"gauge_sd should not be negative, got {stated}")
        return max(float(stated), LEAST_GAUGE_SD), ()
    found = residual_sd(lines)
    if found is not None:
        return max(found[0], LEAST_GAUGE_SD), ()
    why = "no gauge_sd_mm in the part type and too few pieces with three readings"
    return GAUGE_SD, (Assumption("gauge sd", f"{GAUGE_SD} mm", why),)


def offsets(
    lines: LineSums, gauge_sd: float, fitted_known: npt.NDArray[np.bool_] | None = None
) -> Offsets:
    """Estimate mean and sd of the offset from the intercepts of pieces read at least twice.

    Paule and Mandel's moment equation: the weighted squares of the intercepts about their mean
    are what gauge error and offset sd together let expect. With too few such pieces the mean
    comes from a line through single readings of different ages and the sd is assumed.

    Parameters
    ----------
    lines
        Sums on the clock of equivalent hours.
    gauge_sd
        Of one reading, mm.
    fitted_known
        Pieces whose fitted size is known and others have an sd of their own each, where there are
        enough of both; their mean is one.
    """
    about_x, about_xy, _ = lines.spread()
    usable = (lines.n >= 2) & (about_x > 0)
    if usable.sum() < LEAST_LINES:
        return _from_single_readings(lines, gauge_sd)
    n, about = lines.n[usable], about_x[usable]
    mean_x = lines.x[usable] / n
    intercept = lines.y[usable] / n - about_xy[usable] / about * mean_x
    variance = gauge_sd**2 * (1.0 / n + mean_x**2 / about)
    sides = _sides(usable, fitted_known)
    between = np.full(n.size, _paule_mandel(intercept, variance))
    for side in sides:
        between[side] = _paule_mandel(intercept[side], variance[side])
    weight = 1.0 / (variance + between)
    mean = float((weight * intercept).sum() / weight.sum())
    error = float(1.0 / np.sqrt(weight.sum()))
    sds = [float(np.sqrt(between[side][0])) for side in sides]
    if not sds:
        return Offsets(mean, float(np.sqrt(between[0])), error)
    return Offsets(mean, sds[0], error, sd_unknown=sds[1])


def _sides(
    usable: npt.NDArray[np.bool_], fitted_known: npt.NDArray[np.bool_] | None
) -> tuple[npt.NDArray[np.bool_], ...]:
    """Return which usable lines have a known fitted size, and which not, if enough are of each."""
    if fitted_known is None:
        return ()
    known = fitted_known[usable]
    if min(known.sum(), (~known).sum()) < LEAST_LINES:
        return ()
    return known, ~known


def _paule_mandel(estimate: Array, variance: Array) -> float:
    """Return the variance between estimates beyond their own, by Newton steps from below."""
    between = 0.0
    for _ in range(60):
        weight = 1.0 / (variance + between)
        mean = (weight * estimate).sum() / weight.sum()
        squares = weight * (estimate - mean) ** 2
        excess = squares.sum() - (estimate.size - 1)
        if excess <= 0 and between == 0.0:
            return 0.0
        step = excess / (weight * squares).sum()
        between = max(between + step, 0.0)
        if abs(step) < 1e-10 * (between + float(variance.min())):
            break
    return float(between)


def _from_single_readings(lines: LineSums, gauge_sd: float) -> Offsets:
    """Return the offset from a line through pieces of different ages, if their ages differ."""
    spread = Assumption("offset sd", f"{OFFSET_SD} mm", "too few pieces are read twice")
    age = lines.x / lines.n
    run = age > 0
    if run.sum() >= 2 * LEAST_LINES:
        low, high = np.quantile(age[run], [0.1, 0.9])
        if high >= AGE_RATIO * low:
            mean, error = _line_through_means(age[run], (lines.y / lines.n)[run])
            return Offsets(mean, OFFSET_SD, error, (spread,))
    nothing = Assumption(
        "offset", f"0 mm, give or take {OFFSET_ERROR}", "the readings are too few or all of one age"
    )
    return Offsets(0.0, OFFSET_SD, OFFSET_ERROR, (nothing, spread))


def _line_through_means(age: Array, wear: Array) -> tuple[float, float]:
    """Return the intercept of wear on age and its error; the scatter grows with age.

    Pieces wear at different rates, so the residuals spread like the age: weights 1/age2 of a
    second pass come from the residuals of the first.
    """
    design = np.column_stack([np.ones(age.size), age])
    line = np.linalg.lstsq(design, wear, rcond=None)[0]
    squares = (wear - design @ line) ** 2
    shape = np.column_stack([np.ones(age.size), age**2])
    constant, growing = np.maximum(np.linalg.lstsq(shape, squares, rcond=None)[0], 0.0)
    variance = np.maximum(constant + growing * age**2, max(float(squares.mean()), 1e-12) / 10)
    weighted = design / variance[:, None]
    covariance = np.linalg.inv(weighted.T @ design)
    mean = covariance @ (weighted.T @ wear)
    return float(mean[0]), float(np.sqrt(covariance[0, 0]))
