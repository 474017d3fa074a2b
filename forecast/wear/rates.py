"""From readings, or the sums of them, to wear rates: gauge, offset, then the two-level fit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.wear.fit import NORMAL_90, PIECE_COLUMNS, WearFit, no_fit, wear_fit
from forecast.wear.offsets import Assumption, Offsets, gauge_error, offsets
from forecast.wear.paths import OwnReadings, future_change
from forecast.wear.phases import PhaseLayout, phase_layout
from forecast.wear.reml import (
    MACHINE_SD,
    PIECE_SD,
    Prepared,
    TwoLevel,
    common_log_rate,
    prepare,
    two_level,
)
from forecast.wear.seasons import (
    LOG_HOURS,
    FleetModel,
    levels_read,
    middle_level,
    spread_posterior,
)
from forecast.wear.sums import ONE_SEASON, CellSums, cell_sums, wear_sums

__all__ = ["WearFit", "fit_wear", "fit_wear_sums", "sds_assumed"]

Array = npt.NDArray[np.float64]

FEW_PIECES: Final = 10
FEW_MACHINES: Final = 3
"""Below these numbers of pieces or machines the state is ``few_readings``."""


def fit_wear(readings: pd.DataFrame, gauge_sd: float | None = None) -> WearFit:
    """Fit wear rates to readings of identified pieces.

    Parameters
    ----------
    readings
        Columns ``machine``, ``piece``, ``hours`` (since new), ``wear_mm``; one row a reading.
        Single readings of a piece count.
    gauge_sd
        Sd of one reading, mm; None: from pieces with three readings and more.

    Raises
    ------
    ValueError
        If a column is missing or a number is not finite.
    """
    wear, cells = wear_sums(readings)
    return fit_wear_sums(wear, cells, (ONE_SEASON,), gauge_sd=gauge_sd)


def fit_wear_sums(
    wear: pd.DataFrame,
    cells: pd.DataFrame,
    seasons: Sequence[str],
    *,
    gauge_sd: float | None = None,
    season_spread: float | None = None,
    phases: Mapping[str, tuple[str, str]] | None = None,
) -> WearFit:
    """Fit wear rates of one part type and duty group to the sums of its readings.

    Parameters
    ----------
    wear, cells
        As Snapshot's ``wear`` and ``wear_cells``.
    seasons
        All seasons' names, oldest first.
    gauge_sd
        Sd of one reading as the log states it, mm.
    season_spread
        Sd of the log rate between seasons as the plan states it; None: prior half-normal(0.15)
        and the seasons read.
    phases
        Season and phase of each cell, where ``seasons`` names seasons x phases; None: seasons.
    """
    sums = cell_sums(wear, cells, seasons)
    if not len(sums.pieces) or not sums.seasons:
        return no_fit(len(sums.pieces), int(sums.n.sum()))
    layout = phase_layout(sums, phases or {})
    gauge, offset, gauge_assumed = _settle(sums, gauge_sd, layout)
    data = _prepared(sums, gauge, offset, layout)
    if not np.isfinite(common_log_rate(data)):
        return no_fit(len(sums.pieces), int(sums.n.sum()))
    offset, fit = _with_all_readings(sums, gauge, offset, two_level(data), layout)
    whole = fit.covariance + _from_offset(sums, gauge, offset, fit, layout)
    own = OwnReadings(sums, fit, gauge, offset.mean, offset.sds(sums.fitted_known))
    future_sd, future_assumed = future_change(own, gauge_known=not gauge_assumed)
    count = len(layout.seasons)
    level, covariance = fit.theta[:count], whole[:count, :count]
    model = FleetModel(
        seasons=layout.seasons,
        level=level,
        covariance=covariance,
        machines=sums.machines,
        machine_mean=fit.machine_mean,
        machine_variance=fit.machine_variance,
        machine_slope=fit.machine_slope,
        machine_sd=fit.machine_sd,
        piece_sd=fit.piece_sd,
        spread=spread_posterior(level, covariance, season_spread),
        phases=layout.phases(fit.theta, whole),
    )
    few = len(sums.pieces) < FEW_PIECES or len(sums.machines) < FEW_MACHINES
    few = few or bool(gauge_assumed) or offset.mean_assumed
    assumed = gauge_assumed + offset.assumed + sds_assumed(fit.sds_told) + future_assumed
    assumed += layout.notes
    on_machine = np.bincount(sums.machine, minlength=len(sums.machines))
    return wear_fit(
        model,
        state="few_readings" if few else "fitted",
        gauge_sd=gauge,
        offset=offset,
        future_sd=future_sd,
        pieces=_piece_table(sums, fit, model),
        on_machine=on_machine,
        counts=(len(sums.pieces), int(sums.n.sum())),
        assumed=assumed,
        own=own,
    )


def sds_assumed(told: tuple[bool, bool]) -> tuple[Assumption, ...]:
    """Say which of the sds between machines and pieces had to be assumed."""
    machine = Assumption("machine sd", f"{MACHINE_SD:g}", "fewer than three machines are read")
    piece = Assumption("piece sd", f"{PIECE_SD:g}", "hardly any machine has two pieces read")
    return tuple(note for note, known in ((machine, told[0]), (piece, told[1])) if not known)


def _settle(
    sums: CellSums, stated: float | None, layout: PhaseLayout
) -> tuple[float, Offsets, tuple[Assumption, ...]]:
    """Find gauge error and offset; where pieces span seasons, on their equivalent hours.

    Within one season a line does not care how fast the season wears. A piece that spans seasons
    lies on a line only on the clock of equivalent hours, so the seasons' levels are needed first:
    a rough fit gives them, twice.
    """
    levels = np.ones(len(sums.seasons))
    spanning = bool(((sums.x > 0).sum(axis=1) > 1).any())
    for rough in (True, True, False) if spanning else (False,):
        lines = sums.along(levels)
        gauge, assumed = gauge_error(lines, stated)
        offset = offsets(lines, gauge, sums.fitted_known)
        if rough:
            data = _prepared(sums, gauge, offset, layout)
            if not np.isfinite(common_log_rate(data)):
                break
            level = two_level(data, sweeps=3, search=False).level
            levels = np.exp(level - level.mean())
    return gauge, offset, assumed


def _prepared(sums: CellSums, gauge_sd: float, offset: Offsets, layout: PhaseLayout) -> Prepared:
    sds = offset.sds(sums.fitted_known)
    return prepare(sums, gauge_sd, offset.mean, sds, (layout.design, len(layout.seasons)))


def _with_all_readings(
    sums: CellSums, gauge_sd: float, offset: Offsets, fit: TwoLevel, layout: PhaseLayout
) -> tuple[Offsets, TwoLevel]:
    """Move the mean offset to where the whole model has it, and fit again.

    A piece leaves when a reading passes its limit, so its last reading is more often too high
    than too low, its own line too steep and that line's intercept too low. The likelihood of all
    readings does not mind when a piece is stopped, as long as readings decide it; its equation is
    offset = mean of the offsets expected given readings and rates. Two fits and a chord solve it.
    """
    if offset.mean_assumed or offset.sd <= 0:
        return offset, fit
    step = 0.1 * offset.sd
    moved = _refit(sums, gauge_sd, replace(offset, mean=offset.mean + step), fit, layout)
    here = _expected_offset(sums, gauge_sd, offset, fit) - offset.mean
    there = _expected_offset(sums, gauge_sd, replace(offset, mean=offset.mean + step), moved)
    slope = (there - offset.mean - step - here) / step
    if not -1.5 < slope < -0.02:
        return offset, fit  # the readings say next to nothing of the offset
    correction = float(np.clip(-here / slope, -offset.sd, offset.sd))
    better = replace(offset, mean=offset.mean + correction)
    return better, _refit(sums, gauge_sd, better, fit, layout)


def _refit(
    sums: CellSums, gauge_sd: float, offset: Offsets, fit: TwoLevel, layout: PhaseLayout
) -> TwoLevel:
    data = _prepared(sums, gauge_sd, offset, layout)
    return two_level(data, fit.start(), sweeps=2, search=False)


def _expected_offset(sums: CellSums, gauge_sd: float, offset: Offsets, fit: TwoLevel) -> float:
    """Return the mean over pieces of the offset expected given readings and rate, mm."""
    worn = sums.along(np.exp(fit.level)).x * np.exp(fit.piece_mean + fit.piece_variance / 2)
    between = offset.sds(sums.fitted_known) ** 2
    weight = sums.n * between / (gauge_sd**2 + sums.n * between)
    each = offset.mean + weight * ((sums.y - worn) / sums.n - offset.mean)
    return float(each.mean())


def _from_offset(
    sums: CellSums, gauge_sd: float, offset: Offsets, fit: TwoLevel, layout: PhaseLayout
) -> Array:
    """Return what the offset's standard error adds to the levels' covariance.

    Early readings are mostly offset: an offset that is off moves their season's level.
    """
    if offset.standard_error <= 0:
        return np.zeros_like(fit.covariance)
    off = replace(offset, mean=offset.mean + offset.standard_error)
    moved = _refit(sums, gauge_sd, off, fit, layout).theta - fit.theta
    return np.outer(moved, moved)


def _piece_table(sums: CellSums, fit: TwoLevel, model: FleetModel) -> pd.DataFrame:
    """Return the rate of each piece at the mean level of the seasons read, with 90 % bounds."""
    level, covariance = levels_read(model)
    told = fit.piece_sd**2 * fit.site_precision
    weight = (told / (1.0 + told))[:, None]
    middle, through_levels, _ = middle_level(model, level)
    slope = (1.0 - weight) * fit.machine_slope[sums.machine] - weight * fit.share
    slope, by_phase = slope[:, : level.size], slope[:, level.size :]
    if by_phase.size:
        slope = slope + by_phase @ model.phases.slope
    centre = middle - LOG_HOURS + fit.piece_mean + slope @ (level - model.level)
    through, by_phase = slope + through_levels, by_phase + model.phases.share
    variance = fit.piece_variance + np.einsum("pa,ab,pb->p", through, covariance, through)
    variance += np.einsum("pa,ab,pb->p", by_phase, model.phases.covariance, by_phase)
    half = NORMAL_90 * np.sqrt(variance)
    machines = np.array(sums.machines, dtype=object)[sums.machine]
    values = (
        list(sums.pieces),
        machines,
        np.exp(centre),
        np.exp(centre - half),
        np.exp(centre + half),
    )
    return pd.DataFrame(dict(zip(PIECE_COLUMNS, values, strict=True)))
