"""The wear fit a person meets: mean rate, spreads, offset, gauge error, machines and pieces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.wear.bend import Bend
from forecast.wear.offsets import Assumption, Offsets
from forecast.wear.paths import OwnReadings, depths_ahead, hours_left, left_and_rate
from forecast.wear.seasons import (
    LOG_HOURS,
    FleetModel,
    PieceLaw,
    RateDraws,
    draw_rates,
    levels_read,
    middle_level,
    spreads_in_turn,
)
from forecast.wear.sums import HOURS_IN_KH

Array = npt.NDArray[np.float64]

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
        or offset); ``by_moments`` (samples without positions); ``no_fit`` (the
        readings show no wear: every number is NaN).
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
    bend
        The power of hours that wear follows, where the readings chose one; None: a straight line.
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
    bend: Bend | None = field(default=None, repr=False)
    _model: FleetModel | None = field(default=None, repr=False)
    _own: OwnReadings | None = field(default=None, repr=False)
    _faster: Array | None = field(default=None, repr=False)

    @property
    def usable(self) -> bool:
        """Whether there are rates to forecast with."""
        return self.state != "no_fit"

    @property
    def phases(self) -> pd.DataFrame:
        """Each phase against the one read most: ``phase``, ``ratio``, 90 % ``low``, ``high``."""
        columns = ["phase", "against", "ratio", "low", "high"]
        if self._model is None or not self._model.phases.names:
            return pd.DataFrame(columns=columns)
        of = self._model.phases
        whole = of.covariance + of.slope @ self._model.covariance @ of.slope.T
        half = NORMAL_90 * np.sqrt(np.diag(whole))
        values = [np.exp(of.contrast + sign * half) for sign in (0.0, -1.0, 1.0)]
        named = {"phase": list(of.names), "against": of.reference}
        return pd.DataFrame(named | dict(zip(columns[2:], values, strict=True)))

    @property
    def seasons(self) -> tuple[str, ...]:
        """The seasons (or seasons in a phase) whose readings the fit used, oldest first."""
        return () if self._model is None else self._model.phases.read or self._model.seasons

    @property
    def own_pieces(self) -> frozenset[str]:
        """The pieces that the fit has readings of, measured or found ok or over."""
        return frozenset(() if self._own is None else self._own.sums.pieces)

    def season_pace(self, seasons: Sequence[str]) -> Array:
        """Return how fast each season (or cell) wears beside the mean of all read."""
        if self._model is None:
            return np.ones(len(seasons))
        level = levels_read(self._model)[0]
        phases = self._model.phases
        read = dict(zip(self._model.seasons, level - level.mean(), strict=True))
        known = dict(zip(phases.names, phases.contrast, strict=True))
        middle = float(phases.share @ phases.contrast)
        cells = [phases.of(name) for name in seasons]
        return np.exp([read.get(s, 0.0) + known.get(p, 0.0) - middle for s, p in cells])

    def with_season_spreads(self, spreads: Sequence[float]) -> WearFit:
        """Return the same fit as if seasons were known to differ by spreads (sd of log rate).

        Path i of its draws is of spread i modulo their number.
        """
        if self._model is None:
            return self
        return replace(self, _model=replace(self._model, spread=spreads_in_turn(spreads)))

    def faster(self, ratio: Array) -> WearFit:
        """Return the same fit as if parts wore ``ratio`` times as fast from now on, one a path."""
        return replace(self, _faster=np.asarray(ratio, dtype=np.float64))

    def draws(
        self,
        n: int,
        rng: np.random.Generator,
        *,
        machines: Sequence[str],
        seasons: Sequence[str],
        running: str | None,
        ahead: Mapping[str, float] | None = None,
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
        ahead
            Days or hours to come in each phase; None: the mix of phases read.

        Raises
        ------
        ValueError
            If the state is ``no_fit``.
        """
        if self._model is None:
            raise ValueError("the readings show no wear: there is nothing to draw from")
        rates = draw_rates(
            self._model,
            n,
            rng,
            machines=machines,
            seasons=seasons,
            running=running,
            of_pieces=PieceLaw(self.offset, self.offset_sd, self.future_sd),
            ahead=ahead,
        )
        if self.bend is not None:
            rates = replace(rates, bent=self.bend.deal(n, rng))
        if self._faster is None:
            return rates
        return replace(rates, level=rates.level + np.log(np.resize(self._faster, n)))

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
            From :meth:`draws`.
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
        return self.own_left_and_rate(rates, pieces, ran, limit_mm, rng)[0]

    def own_left_and_rate(
        self,
        rates: RateDraws,
        pieces: pd.DataFrame,
        ran: Array,
        limit_mm: Array,
        rng: np.random.Generator,
    ) -> tuple[Array, Array]:
        """Draw what :meth:`own_left` draws, and the wear rate until then (mm/h) [pieces, draws]."""
        own = self._readings()
        rows = own.sums.rows([str(name) for name in pieces["piece"]])
        return left_and_rate(own, rates, rows, ran, limit_mm, rng)

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
        assert self._model is not None  # noqa: S101  (a fit with readings has one)
        running = self._model.phases.of(seasons[-1])[0]
        rates = self.draws(
            TABLE_DRAWS, rng, machines=own.sums.machines, seasons=seasons, running=running
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
    middle, slope, own_variance = middle_level(model, level)
    centre = middle - LOG_HOURS + spread_over_pieces
    half = NORMAL_90 * float(np.sqrt(slope @ covariance @ slope + own_variance))
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


def _machine_table(
    model: FleetModel, level: Array, covariance: Array, on_machine: npt.NDArray[np.int64]
) -> pd.DataFrame:
    """Return the rate of each machine as a ratio to the fleet's middle, with 90 % bounds."""
    seasons = len(model.seasons)
    phases = model.phases
    by_phase = model.machine_slope[:, seasons:]
    slope = model.machine_slope[:, :seasons]
    if phases.names:
        slope = slope + by_phase @ phases.slope
    centre = model.machine_mean + slope @ (level - model.level)
    variance = model.machine_variance + np.einsum("ma,ab,mb->m", slope, covariance, slope)
    variance = variance + np.einsum("ma,ab,mb->m", by_phase, phases.covariance, by_phase)
    half = NORMAL_90 * np.sqrt(variance)
    values = (
        list(model.machines),
        np.exp(centre),
        np.exp(centre - half),
        np.exp(centre + half),
        on_machine,
    )
    return pd.DataFrame(dict(zip(MACHINE_COLUMNS, values, strict=True)))
