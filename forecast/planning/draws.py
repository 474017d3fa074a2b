"""Lives still to come, one law a season path: all that planning knows of a model.

A *draw* is one season path: one shape and scale, one set of wear rates, one season effect and one
limit. A law is asked about pieces and draws; what lies between two draws is what is not known
about the law itself, what lies within one draw is the chance of the single piece.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_LONG_OVERDUE = 36.0  # normal score beyond which ndtr underflows


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces in service at the start of the forecast, or a selection of them.

    Attributes
    ----------
    machine
        [pieces] index into the list of machines.
    age
        [pieces] hours since new.
    ran
        [pieces, seasons] hours run in each past or running season; sums to ``age``.
    own
        [pieces] row among the pieces with readings of their own; -1 without.
    due
        [pieces] known to be at or over the limit, and waiting for the window in which it will be
        changed: wear does not end it before, breaking may.
    """

    machine: IntArray
    age: Array
    ran: Array
    own: IntArray
    due: BoolArray

    def __len__(self) -> int:
        return len(self.machine)

    def take(self, rows: IntArray | BoolArray) -> Pieces:
        """Return some of the pieces, in the order of `rows`."""
        return Pieces(**{field.name: getattr(self, field.name)[rows] for field in fields(self)})


def new_pieces(machine: IntArray, seasons: int) -> Pieces:
    """Return unused pieces, one a machine index given.

    Parameters
    ----------
    machine
        [pieces] index into the list of machines.
    seasons
        Number of seasons that the laws know.
    """
    size = len(machine)
    return Pieces(
        machine,
        np.zeros(size),
        np.zeros((size, seasons)),
        np.full(size, -1, dtype=np.int64),
        np.zeros(size, dtype=bool),
    )


class LifeDraws(Protocol):
    """Lives still to come, by draw. All times are hours on the part type's own clock."""

    @property
    def draws(self) -> int:
        """Number of season paths."""

    def left(self, pieces: Pieces, rng: np.random.Generator) -> Array:
        """Return hours left [pieces, draws], given that each piece is in service."""

    def new(self, machine: IntArray, draw: IntArray, rng: np.random.Generator) -> Array:
        """Return the life of new pieces, one a (machine, draw) pair."""

    def survival(self, pieces: Pieces, ahead: Array) -> Array:
        """Return the chance [pieces, draws] to last `ahead` [pieces] more hours."""

    def hazard(self, machine: int, age: Array) -> Array:
        """Return the cumulative hazard of a new piece [ages, draws]."""

    def chance(self, pieces: Pieces, row: IntArray, draw: IntArray, ahead: Array) -> Array:
        """Return the chance to last `ahead` more hours, one an (row of pieces, draw) pair."""

    def ending(
        self,
        pieces: Pieces,
        row: IntArray,
        draw: IntArray,
        ahead: Array,
        rng: np.random.Generator,
    ) -> Array:
        """Return hours left, one a (row, draw) pair, given that the piece ends within `ahead`."""


@dataclass(frozen=True, eq=False)
class WeibullDraws:
    """A Weibull life: chance to reach age t is exp(-(t / scale) ** shape).

    Parameters
    ----------
    shape, scale
        [draws] shape, and the hours at which 63.2 % have failed.
    """

    shape: Array
    scale: Array

    def __post_init__(self) -> None:
        if self.shape.shape != self.scale.shape or self.shape.ndim != 1:
            raise ValueError("shape and scale should be one number a draw each")
        if not (np.all(self.shape > 0) and np.all(self.scale > 0)):
            raise ValueError("shape and scale should be above 0 in every draw")
        object.__setattr__(self, "_level", self.shape * np.log(self.scale))

    @property
    def draws(self) -> int:
        """Number of season paths."""
        return len(self.shape)

    def left(self, pieces: Pieces, rng: np.random.Generator) -> Array:
        """Return hours left [pieces, draws], given that each piece is in service."""
        age = pieces.age[:, None]
        more = rng.standard_exponential((len(pieces), self.draws))
        spent: Array = (age / self.scale) ** self.shape
        whole: Array = self.scale * (spent + more) ** (1 / self.shape)
        return np.maximum(whole - age, 0.0)

    def new(self, machine: IntArray, draw: IntArray, rng: np.random.Generator) -> Array:
        """Return the life of new pieces, one a (machine, draw) pair."""
        return self._age_at(rng.standard_exponential(len(draw)), draw)

    def survival(self, pieces: Pieces, ahead: Array) -> Array:
        """Return the chance [pieces, draws] to last `ahead` [pieces] more hours."""
        age = pieces.age[:, None]
        with np.errstate(divide="ignore"):
            now, then = np.log(age), np.log(age + ahead[:, None])
        every = np.arange(self.draws)
        lasts = self._hazard(now, every)
        lasts -= self._hazard(then, every)
        return np.exp(lasts, out=lasts)

    def hazard(self, machine: int, age: Array) -> Array:
        """Return the cumulative hazard of a new piece [ages, draws]."""
        with np.errstate(divide="ignore"):
            log_age = np.log(age)[:, None]
        hazard: Array = np.exp(self.shape * (log_age - np.log(self.scale)))
        return hazard

    def chance(self, pieces: Pieces, row: IntArray, draw: IntArray, ahead: Array) -> Array:
        """Return the chance to last `ahead` more hours, one a (row, draw) pair."""
        with np.errstate(divide="ignore"):
            now, then = np.log(pieces.age)[row], np.log(pieces.age[row] + ahead)
        lasts = self._hazard(now, draw)
        lasts -= self._hazard(then, draw)
        return np.exp(lasts, out=lasts)

    def ending(
        self,
        pieces: Pieces,
        row: IntArray,
        draw: IntArray,
        ahead: Array,
        rng: np.random.Generator,
    ) -> Array:
        """Return hours left, one a (row, draw) pair, given that the piece ends within `ahead`."""
        age = pieces.age[row]
        with np.errstate(divide="ignore"):
            now, then = np.log(pieces.age)[row], np.log(age + ahead)
        spent = self._hazard(now, draw)
        ends = self._hazard(then, draw)
        np.subtract(spent, ends, out=ends)
        np.expm1(ends, out=ends)  # minus the chance to end
        ends *= rng.random(len(row))
        np.log1p(ends, out=ends)
        spent -= ends
        left = self._age_at(spent, draw)
        left -= age
        return np.clip(left, 0.0, ahead, out=left)

    def _hazard(self, log_age: Array, draw: IntArray) -> Array:
        """Return the cumulative hazard; powers by way of exp, which costs a third of a power."""
        level: Array = getattr(self, "_level")[draw]  # noqa: B009
        hazard = log_age * self.shape[draw]
        hazard -= level
        return np.exp(hazard, out=hazard)

    def _age_at(self, hazard: Array, draw: IntArray) -> Array:
        """Return the age at which the cumulative hazard is so large; overwrites the hazard."""
        level: Array = getattr(self, "_level")[draw]  # noqa: B009
        with np.errstate(divide="ignore"):
            np.log(hazard, out=hazard)
        hazard += level
        hazard /= self.shape[draw]
        return np.exp(hazard, out=hazard)


@dataclass(frozen=True, eq=False)
class WearDraws:
    """Life until the wear depth reaches the limit.

    Depth = offset + rate x hours. Log rate (mm/h) of a piece = level of the season + effect of the
    machine + the piece's own part; hours run in an earlier season count by that season's level.
    The life of a piece is (limit - offset) / rate. ``log(limit - offset)`` is close to normal
    while the offsets spread by less than a quarter of the limit; it enters with its own mean and
    variance, so that a life is lognormal in each draw and every conditional draw is exact.

    Parameters
    ----------
    level
        [draws] log rate of the coming season.
    season_levels
        [seasons, draws] log rate in each past or running season.
    machine_effect
        [machines, draws] in log rate.
    piece_sd
        Spread of log rate between pieces of one machine.
    offset, offset_sd
        Mean and spread of the bedding-in depth (mm).
    limit_mm
        [draws] depth at which the piece is used up.
    future_sd
        Spread of what the rate of a piece may still change (log).
    own_left
        [own pieces, draws] hours left of the pieces with readings; None without such pieces.
    own_rate
        [own pieces, draws] their wear rate from now on (mm/h); None: from their hours and depth.
    gauge_sd
        Error of one reading (mm).
    next_level
        [draws] log rate of the season after the coming one; None: as the coming one's.
    """

    level: Array
    season_levels: Array
    machine_effect: Array
    piece_sd: float
    offset: float
    offset_sd: float
    limit_mm: Array
    future_sd: float
    own_left: Array | None = None
    own_rate: Array | None = None
    gauge_sd: float = 0.0
    next_level: Array | None = None

    def __post_init__(self) -> None:
        draws = len(self.level)
        shapes = (self.season_levels.shape[1:], self.machine_effect.shape[1:], self.limit_mm.shape)
        if any(shape != (draws,) for shape in shapes):
            raise ValueError("levels, machine effects and limits should have one column a draw")
        if self.own_left is not None and self.own_left.shape[1:] != (draws,):
            raise ValueError("own_left should have one column a draw")
        if min(self.piece_sd, self.offset_sd, self.future_sd) < 0:
            raise ValueError("a spread cannot be negative")
        gap = self.limit_mm - (self.offset + self.offset_sd * _NODES[:, None])
        log_gap = np.log(np.maximum(gap, 0.02 * np.abs(self.limit_mm)))
        weights = _WEIGHTS / _WEIGHTS.sum()
        mean = weights @ log_gap
        spread = weights @ (log_gap - mean) ** 2 + self.piece_sd**2 + self.future_sd**2
        object.__setattr__(self, "_log_gap", mean)
        object.__setattr__(self, "_spread", np.sqrt(np.maximum(spread, 1e-12)))
        object.__setattr__(self, "_pace", np.exp(self.season_levels - self.level))

    @property
    def draws(self) -> int:
        """Number of season paths."""
        return len(self.level)

    @property
    def gap(self) -> Array:
        """[draws] depth (mm) that a new piece wears from bedded in to its limit."""
        return np.exp(self._own("_log_gap"))

    @property
    def spread(self) -> Array:
        """[draws] spread of the log of a new piece's life."""
        return self._own("_spread")

    def left(self, pieces: Pieces, rng: np.random.Generator) -> Array:
        """Return hours left [pieces, draws], given that each piece is in service."""
        row, draw = _grid(len(pieces), self.draws)
        run, center, spread = self._state(pieces, row, draw)
        reach = _lasts(run, center, spread) * (1.0 - rng.random(len(row)))
        left = np.maximum(np.exp(center - spread * ndtri(reach)) - run, 0.0)
        left = np.where(pieces.due[row], np.inf, self._with_own(left, pieces, row, draw))
        return left.reshape(len(pieces), self.draws)

    def new(self, machine: IntArray, draw: IntArray, rng: np.random.Generator) -> Array:
        """Return the life of new pieces, one a (machine, draw) pair."""
        log_life = self._center(machine, draw) + self._own("_spread")[draw] * (
            rng.standard_normal(len(draw))
        )
        return np.exp(log_life)

    def survival(self, pieces: Pieces, ahead: Array) -> Array:
        """Return the chance [pieces, draws] to last `ahead` [pieces] more hours."""
        own = pieces.own >= 0
        if self.own_left is None or not own.any():
            lasts = self._of_others(pieces, ahead)
        else:
            lasts = np.empty((len(pieces), self.draws))
            lasts[own] = self.own_left[pieces.own[own]] > ahead[own, None]
            lasts[~own] = self._of_others(pieces.take(~own), ahead[~own])
        lasts[pieces.due] = 1.0
        return np.minimum(lasts, 1.0, out=lasts)

    def _of_others(self, pieces: Pieces, ahead: Array) -> Array:
        """Return the chance [pieces, draws] of pieces without readings of their own."""
        run = pieces.ran @ self._own("_pace")
        machine = pieces.machine
        if len(machine) and (machine == machine[0]).all():
            machine = machine[:1]  # one row for all
        center = self._own("_log_gap") - self.level - self.machine_effect[machine]
        spread = self._own("_spread")
        later = _lasts(run + ahead[:, None], center, spread)
        later /= _lasts(run, center, spread)
        return later

    def hazard(self, machine: int, age: Array) -> Array:
        """Return the cumulative hazard of a new piece [ages, draws]."""
        from scipy.special import log_ndtr

        draw = np.arange(self.draws)
        center = self._center(np.full(self.draws, machine), draw)
        with np.errstate(divide="ignore"):
            hazard: Array = -log_ndtr((center - np.log(age[:, None])) / self._own("_spread"))
        return hazard

    def chance(self, pieces: Pieces, row: IntArray, draw: IntArray, ahead: Array) -> Array:
        """Return the chance to last `ahead` more hours, one a (row, draw) pair.

        For a piece with readings it is 1 or 0: its path of that draw lasts, or does not.
        """
        run, center, spread = self._state(pieces, row, draw)
        lasts = _lasts(run + ahead, center, spread)
        lasts /= _lasts(run, center, spread)
        own = pieces.own[row]
        if self.own_left is not None and np.any(own >= 0):
            lasts = np.where(own >= 0, self.own_left[own, draw] > ahead, lasts)
        np.minimum(lasts, 1.0, out=lasts)
        lasts[pieces.due[row]] = 1.0
        return lasts

    def ending(
        self,
        pieces: Pieces,
        row: IntArray,
        draw: IntArray,
        ahead: Array,
        rng: np.random.Generator,
    ) -> Array:
        """Return hours left, one a (row, draw) pair, given that the piece ends within `ahead`."""
        run, center, spread = self._state(pieces, row, draw)
        high = _lasts(run, center, spread)
        low = _lasts(run + ahead, center, spread)
        reach = low + (high - low) * (1.0 - rng.random(len(row)))
        left = np.exp(center - spread * ndtri(reach)) - run
        left = self._with_own(left, pieces, row, draw)
        return np.clip(left, 0.0, ahead)

    def _own(self, name: str) -> Array:
        value: Array = getattr(self, name)
        return value

    def _center(self, machine: IntArray, draw: IntArray) -> Array:
        """Return the mean log life at the coming season's level."""
        center: Array = (
            self._own("_log_gap")[draw] - self.level[draw] - self.machine_effect[machine, draw]
        )
        return center

    def _state(self, pieces: Pieces, row: IntArray, draw: IntArray) -> tuple[Array, Array, Array]:
        """Return hours run (at the coming season's level), mean and spread of log life."""
        run = np.zeros(len(row))
        for season, pace in enumerate(self._own("_pace")):
            run += pieces.ran[row, season] * pace[draw]
        return run, self._center(pieces.machine[row], draw), self._own("_spread")[draw]

    def _with_own(self, left: Array, pieces: Pieces, row: IntArray, draw: IntArray) -> Array:
        """Return hours left, taken from its own paths where a piece has readings."""
        own = pieces.own[row]
        if self.own_left is None or not np.any(own >= 0):
            return left
        return np.where(own >= 0, self.own_left[own, draw], left)


@dataclass(frozen=True, eq=False)
class Earliest:
    """The first of several ends: worn to the limit, broken, ...; independent in each draw.

    Parameters
    ----------
    laws
        One a way to end; all with the same draws.
    """

    laws: tuple[LifeDraws, ...]

    def __post_init__(self) -> None:
        if len({law.draws for law in self.laws}) != 1:
            raise ValueError("the laws of one part type should have the same number of draws")

    @property
    def draws(self) -> int:
        """Number of season paths."""
        return self.laws[0].draws

    def left(self, pieces: Pieces, rng: np.random.Generator) -> Array:
        """Return hours left [pieces, draws], given that each piece is in service."""
        return _over(np.minimum, [law.left(pieces, rng) for law in self.laws])

    def new(self, machine: IntArray, draw: IntArray, rng: np.random.Generator) -> Array:
        """Return the life of new pieces, one a (machine, draw) pair."""
        return _over(np.minimum, [law.new(machine, draw, rng) for law in self.laws])

    def survival(self, pieces: Pieces, ahead: Array) -> Array:
        """Return the chance [pieces, draws] to last `ahead` [pieces] more hours."""
        return _over(np.multiply, [law.survival(pieces, ahead) for law in self.laws])

    def hazard(self, machine: int, age: Array) -> Array:
        """Return the cumulative hazard of a new piece [ages, draws]."""
        return _over(np.add, [law.hazard(machine, age) for law in self.laws])

    def chance(self, pieces: Pieces, row: IntArray, draw: IntArray, ahead: Array) -> Array:
        """Return the chance to last `ahead` more hours, one a (row, draw) pair."""
        return _over(np.multiply, [law.chance(pieces, row, draw, ahead) for law in self.laws])

    def ending(
        self,
        pieces: Pieces,
        row: IntArray,
        draw: IntArray,
        ahead: Array,
        rng: np.random.Generator,
    ) -> Array:
        """Return hours left, one a (row, draw) pair, given that the piece ends within `ahead`.

        Law by law it is drawn whether this way ends the piece within `ahead`, given that some way
        does and none before it did; then when.
        """
        lasts = [law.chance(pieces, row, draw, ahead) for law in self.laws]
        left = np.full(len(row), np.inf)
        for number, law in enumerate(self.laws):
            later = _over(np.multiply, [*lasts[number + 1 :], np.ones(len(row))])
            some = 1.0 - lasts[number] * later  # chance that this or a later way ends it
            with np.errstate(divide="ignore", invalid="ignore"):
                given_some = np.nan_to_num((1.0 - lasts[number]) / some, nan=1.0)
            needed = np.isinf(left)
            ends = rng.random(len(row)) < np.where(needed, given_some, 1.0 - lasts[number])
            at = np.flatnonzero(ends)
            found = law.ending(pieces, row[at], draw[at], ahead[at], rng)
            left[at] = np.minimum(left[at], found)
        first: Array = np.minimum(left, ahead)
        return first


def _over(join: Callable[[Array, Array], Array], parts: list[Array]) -> Array:
    whole = parts[0]
    for part in parts[1:]:
        whole = join(whole, part)
    return whole


def _grid(pieces: int, draws: int) -> tuple[IntArray, IntArray]:
    """Return every (row, draw) pair, row by row."""
    return np.repeat(np.arange(pieces), draws), np.tile(np.arange(draws), pieces)


def _lasts(hours: Array, center: Array, spread: Array) -> Array:
    """Return the chance of a lognormal life to be longer than `hours`."""
    with np.errstate(divide="ignore"):
        score = np.log(hours)  # -inf at 0
    score -= center
    score /= spread
    np.minimum(score, _LONG_OVERDUE, out=score)
    np.negative(score, out=score)
    lasts: Array = ndtr(score, out=score)
    return lasts
