"""The wear fit a person meets: mean rate, spreads, offset, gauge error, machines and pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.wear.offsets import Assumption, Offsets, gauge_error, offsets
from forecast.wear.paths import OwnReadings, depths_ahead, future_change, hours_left
from forecast.wear.reml import (
    MACHINE_SD,
    PIECE_SD,
    TwoLevel,
    common_log_rate,
    prepare,
    two_level,
)
from forecast.wear.seasons import (
    LOG_HOURS,
    FleetModel,
    RateDraws,
    draw_rates,
    levels_read,
    spread_posterior,
)
from forecast.wear.sums import HOURS_IN_KH, ONE_SEASON, CellSums, cell_sums, wear_sums

Array = npt.NDArray[np.float64]

FEW_PIECES: Final = 10
FEW_MACHINES: Final = 3
"""Below these numbers of pieces or machines the state is ``few_readings``."""

NORMAL_90: Final = 1.6448536269514722
"""Half width of a 90 % interval in standard deviations."""

TABLE_DRAWS: Final = 2000
TABLE_SEED: Final = 20240805
"""Of the draws behind :meth:`WearFit.hours_to_limit`: the same fit gives the same table."""

PIECE_COLUMNS: Final = ("piece", "machine", "rate", "low", "high")
MACHINE_COLUMNS: Final = ("machine", "rate_ratio", "ratio_low", "ratio_high", "pieces")


@dataclass(frozen=True, eq=False)
class WearFit:
    """Wear rates of one part type in one duty group.

    Attributes
    ----------
    state
        ``fitted``; ``few_readings`` (it leans on few pieces or machines, or on an assumed gauge sd
        or offset); ``by_moments`` (samples without positions); ``no_fit`` (the readings show no wear: every number is NaN).
    mean_rate, mean_rate_low, mean_rate_high
        Mean over machines and pieces at the mean level of the seasons read, mm/h, with its 90 %
        interval. (The median rate is lower: rates are lognormal.)
    machine_sd, piece_sd
        Sd of the log rate between machines, and between pieces of a machine.
    gauge_sd
        Of one reading, mm; NaN where it is not known.
    offset, offset_sd
        Bedding-in of new pieces: mean and sd, mm.
    season_spread, season_spread_low, season_spread_high
        Sd of the log rate between seasons: posterior median and 90 % interval.
    season_prior
        The prior behind it, in words.
    future_sd
        Sd of the log of a piece's change of rate that no reading shows yet.
    pieces
        ``piece``, ``machine``, ``rate`` (mm/h, at the mean level), 90 % ``low`` and ``high``.
    machines
        ``machine``, ``rate_ratio`` to the fleet's middle, 90 % ``ratio_low``, ``ratio_high``,
        ``pieces`` read.
    n_pieces, n_readings
        That the fit used.
    assumed
        What had to be assumed because the readings do not tell it.
    """

    state: str
    mean_rate: float
    mean_rate_low: float
    mean_rate_high: float
    machine_sd: float
    piece_sd: float
    gauge_sd: float
    offset: float
    offset_sd: float
    season_spread: float
    season_spread_low: float
    season_spread_high: float
    season_prior: str
    future_sd: float
    pieces: pd.DataFrame = field(repr=False)
    machines: pd.DataFrame = field(repr=False)
    n_pieces: int
    n_readings: int
    assumed: tuple[Assumption, ...] = ()
    _model: FleetModel | None = field(default=None, repr=False)
    _own: OwnReadings | None = field(default=None, repr=False)

    @property
    def seasons(self) -> tuple[str, ...]:
        """The seasons whose readings the fit used, oldest first."""
        return self._model.seasons if self._model is not None else ()

    def draws(
        self,
        n: int,
        rng: np.random.Generator,
        *,
        machines: Sequence[str],
        seasons: Sequence[str],
        running: str | None,
    ) -> RateDraws:
        """Draw levels and machine effects jointly, in log(mm/h).

        Parameters
        ----------
        n
            How many paths.
        machines, seasons
            The rows wanted; what has no readings is drawn from the population.
        running
            The season whose level goes on in the forecast; None: the coming season's is new.

        Raises
        ------
        ValueError
            If the state is ``no_fit``.
        """
        if self._model is None:
            raise ValueError("the readings show no wear: there is nothing to draw from")
        level, past, effects = draw_rates(
            self._model, n, rng, machines=machines, seasons=seasons, running=running
        )
        return RateDraws(
            level=level,
            season_levels=past,
            machine_effect=effects,
            piece_sd=self.piece_sd,
            offset=self.offset,
            offset_sd=self.offset_sd,
            future_sd=self.future_sd,
            seasons=tuple(seasons),
            machines=tuple(machines),
        )

    def own_left(
        self,
        rates: RateDraws,
        pieces: pd.DataFrame,
        ran: Array,
        limit_mm: Array,
        rng: np.random.Generator,
    ) -> Array:
        """Draw the hours left to the limit of pieces with readings, at the forecast's level.

        Parameters
        ----------
        rates
            From :meth:`draws`; must hold the pieces' machines and the seasons of the fit.
        pieces
            Column ``piece``: which, in the order wanted.
        ran
            Hours run so far in each season of ``rates`` [pieces, seasons].
        limit_mm
            Wear limit of each path [draws].

        Returns
        -------
        array
            Hours [pieces, draws], 0 where a piece is at its limit.

        Raises
        ------
        ValueError
            If a piece has no readings in the fit.
        """
        own = self._readings()
        rows = own.sums.rows([str(name) for name in pieces["piece"]])
        return hours_left(own, rates, rows, ran, limit_mm, rng)

    def path(
        self,
        rates: RateDraws,
        piece: str,
        ran: Array,
        ahead_hours: Array,
        rng: np.random.Generator,
    ) -> pd.DataFrame:
        """Return the depth of one piece ahead: ``ahead``, ``median``, ``low``, ``high``.

        Parameters
        ----------
        rates
            As in :meth:`own_left`.
        piece
            Its name.
        ran
            Hours it has run so far in each season of ``rates`` [seasons].
        ahead_hours
            Further hours at the forecast's level [k].

        Returns
        -------
        DataFrame
            Depths in mm; the band holds 90 %.
        """
        own = self._readings()
        row = int(own.sums.rows([piece])[0])
        depths = depths_ahead(own, rates, row, ran, ahead_hours, rng)
        low, median, high = np.quantile(depths, [0.05, 0.5, 0.95], axis=1)
        return pd.DataFrame({"ahead": ahead_hours, "median": median, "low": low, "high": high})

    def hours_to_limit(
        self, limit_mm: float, level: float = 0.90, ran: Array | None = None
    ) -> pd.DataFrame:
        """Return the hours each piece still runs to a limit, at the level of its last season.

        Parameters
        ----------
        limit_mm
            Wear limit, mm.
        level
            Share of the paths between ``low`` and ``high``.
        ran
            Hours run in each season of the fit [pieces, seasons]; None: up to the last reading,
            where all readings are of one season.

        Returns
        -------
        DataFrame
            ``piece``, ``median``, ``low``, ``high``: hours, 0 where a piece is at the limit.

        Raises
        ------
        ValueError
            If ``level`` is not between 0 and 1, or ``ran`` is needed and missing.
        """
        if not 0.0 < level < 1.0:
            raise ValueError(f"level should be between 0 and 1, got {level}")
        own = self._readings()
        seasons = own.sums.seasons
        if ran is None:
            if len(seasons) > 1:
                raise ValueError("with several seasons, ran should say the hours run in each")
            ran = own.sums.last_hours[:, None] * HOURS_IN_KH
        rng = np.random.default_rng(TABLE_SEED)
        rates = self.draws(
            TABLE_DRAWS, rng, machines=own.sums.machines, seasons=seasons, running=seasons[-1]
        )
        limits = np.full(TABLE_DRAWS, float(limit_mm))
        rows = np.arange(len(own.sums.pieces))
        left = hours_left(own, rates, rows, ran, limits, rng)
        tail = (1.0 - level) / 2.0
        low, median, high = np.quantile(left, [tail, 0.5, 1.0 - tail], axis=1)
        return pd.DataFrame(
            {"piece": list(own.sums.pieces), "median": median, "low": low, "high": high}
        )

    def _readings(self) -> OwnReadings:
        """Return the readings of identified pieces."""
        if self._own is None:
            raise ValueError("the fit has no pieces with readings of their own")
        return self._own


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
    """
    sums = cell_sums(wear, cells, seasons)
    if not len(sums.pieces) or not sums.seasons:
        return no_fit(len(sums.pieces), int(sums.n.sum()))
    gauge, offset, gauge_assumed = _settle(sums, gauge_sd)
    data = prepare(sums, gauge, offset.mean, offset.sd)
    if not np.isfinite(common_log_rate(data)):
        return no_fit(len(sums.pieces), int(sums.n.sum()))
    fit = two_level(data)
    covariance = fit.covariance + _from_offset(sums, gauge, offset, fit)
    own = OwnReadings(sums, fit, gauge, offset.mean, offset.sd)
    future_sd, future_assumed = future_change(own, gauge_known=not gauge_assumed)
    model = FleetModel(
        seasons=sums.seasons,
        level=fit.level,
        covariance=covariance,
        machines=sums.machines,
        machine_mean=fit.machine_mean,
        machine_variance=fit.machine_variance,
        machine_slope=fit.machine_slope,
        machine_sd=fit.machine_sd,
        piece_sd=fit.piece_sd,
        spread=spread_posterior(fit.level, covariance, season_spread),
    )
    few = len(sums.pieces) < FEW_PIECES or len(sums.machines) < FEW_MACHINES
    few = few or bool(gauge_assumed) or offset.mean_assumed
    assumed = gauge_assumed + offset.assumed + sds_assumed(fit.sds_told) + future_assumed
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


def wear_fit(
    model: FleetModel,
    *,
    state: str,
    gauge_sd: float,
    offset: Offsets,
    future_sd: float,
    pieces: pd.DataFrame,
    on_machine: npt.NDArray[np.int64],
    counts: tuple[int, int],
    assumed: tuple[Assumption, ...],
    own: OwnReadings | None = None,
) -> WearFit:
    """Put a fleet model, however estimated, into the fit a person meets."""
    level, covariance = levels_read(model)
    spread_over_pieces = (model.machine_sd**2 + model.piece_sd**2) / 2.0
    centre = float(level.mean()) - LOG_HOURS + spread_over_pieces
    half = NORMAL_90 * float(np.sqrt(covariance.mean()))
    return WearFit(
        state=state,
        mean_rate=float(np.exp(centre)),
        mean_rate_low=float(np.exp(centre - half)),
        mean_rate_high=float(np.exp(centre + half)),
        machine_sd=model.machine_sd,
        piece_sd=model.piece_sd,
        gauge_sd=gauge_sd,
        offset=offset.mean,
        offset_sd=offset.sd,
        season_spread=model.spread.quantile(0.5),
        season_spread_low=model.spread.quantile(0.05),
        season_spread_high=model.spread.quantile(0.95),
        season_prior=model.spread.prior,
        future_sd=future_sd,
        pieces=pieces,
        machines=_machine_table(model, level, covariance, on_machine),
        n_pieces=counts[0],
        n_readings=counts[1],
        assumed=assumed,
        _model=model,
        _own=own,
    )


def no_fit(n_pieces: int, n_readings: int, assumed: tuple[Assumption, ...] = ()) -> WearFit:
    """Return the state ``no_fit``: the readings show no wear, and there are no numbers."""
    nan = float("nan")
    return WearFit(
        state="no_fit",
        mean_rate=nan,
        mean_rate_low=nan,
        mean_rate_high=nan,
        machine_sd=nan,
        piece_sd=nan,
        gauge_sd=nan,
        offset=nan,
        offset_sd=nan,
        season_spread=nan,
        season_spread_low=nan,
        season_spread_high=nan,
        season_prior="",
        future_sd=nan,
        pieces=pd.DataFrame(columns=list(PIECE_COLUMNS)),
        machines=pd.DataFrame(columns=list(MACHINE_COLUMNS)),
        n_pieces=n_pieces,
        n_readings=n_readings,
        assumed=assumed,
    )


def sds_assumed(told: tuple[bool, bool]) -> tuple[Assumption, ...]:
    """Say which of the sds between machines and pieces had to be assumed."""
    machine = Assumption("machine sd", f"{MACHINE_SD:g}", "fewer than three machines are read")
    piece = Assumption("piece sd", f"{PIECE_SD:g}", "hardly any machine has two pieces read")
    return tuple(note for note, known in ((machine, told[0]), (piece, told[1])) if not known)


def _settle(sums: CellSums, stated: float | None) -> tuple[float, Offsets, tuple[Assumption, ...]]:
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
        offset = offsets(lines, gauge)
        if rough:
            data = prepare(sums, gauge, offset.mean, offset.sd)
            if not np.isfinite(common_log_rate(data)):
                break
            level = two_level(data, sweeps=3, search=False).level
            levels = np.exp(level - level.mean())
    return gauge, offset, assumed


def _from_offset(sums: CellSums, gauge_sd: float, offset: Offsets, fit: TwoLevel) -> Array:
    """Return what the offset's standard error adds to the levels' covariance.

    Early readings are mostly offset: an offset that is off moves their season's level.
    """
    if offset.standard_error <= 0:
        return np.zeros_like(fit.covariance)
    data = prepare(sums, gauge_sd, offset.mean + offset.standard_error, offset.sd)
    moved = two_level(data, fit.start(), sweeps=2, search=False).level - fit.level
    return np.outer(moved, moved)


def _piece_table(sums: CellSums, fit: TwoLevel, model: FleetModel) -> pd.DataFrame:
    """Return the rate of each piece at the mean level of the seasons read, with 90 % bounds."""
    level, covariance = levels_read(model)
    told = fit.piece_sd**2 * fit.site_precision
    weight = (told / (1.0 + told))[:, None]
    slope = (1.0 - weight) * fit.machine_slope[sums.machine] - weight * fit.share
    centre = level.mean() - LOG_HOURS + fit.piece_mean + slope @ (level - fit.level)
    through = slope + 1.0 / level.size
    variance = fit.piece_variance + np.einsum("pa,ab,pb->p", through, covariance, through)
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


def _machine_table(
    model: FleetModel, level: Array, covariance: Array, on_machine: npt.NDArray[np.int64]
) -> pd.DataFrame:
    """Return the rate of each machine as a ratio to the fleet's middle, with 90 % bounds."""
    slope = model.machine_slope
    centre = model.machine_mean + slope @ (level - model.level)
    variance = model.machine_variance + np.einsum("ma,ab,mb->m", slope, covariance, slope)
    half = NORMAL_90 * np.sqrt(variance)
    values = (
        list(model.machines),
        np.exp(centre),
        np.exp(centre - half),
        np.exp(centre + half),
        on_machine,
    )
    return pd.DataFrame(dict(zip(MACHINE_COLUMNS, values, strict=True)))
