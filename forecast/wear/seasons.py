"""Seasons differ: the spread of their levels, and draws of the levels and of machines.

The two-level fit gives a level of the log rate for each season read, with a covariance. Levels
are N(mu, spread2) over seasons. The spread has the prior half-normal(0.15) at *any* number of
seasons: from one season nothing is known of it and the coming season's band is wide because of
that; from three equal seasons on the band collapses by itself. Only differences between seasons
inform the spread: what all levels share (the machines) cancels and stays in mu.

Everything is drawn jointly: a path that has a high level last season has lower machine effects,
and the coming season's level about the mu that belongs to it.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from forecast.wear.bend import Bent

Array = npt.NDArray[np.float64]

PRIOR_SCALE: Final = 0.15
"""Scale of the half-normal prior of the season spread (median .10, 95 % under .29)."""

HALF_UNDER: Final = 0.6745
"""Median of the half-normal law of scale 1."""

SURELY_MACHINES: Final = 15
"""From so many machines on their sd counts as known; with fewer it is drawn."""

LOG_HOURS: Final = float(np.log(1000.0))
"""Log rates are per 1000 h inside and per hour outside."""


@dataclass(frozen=True, eq=False)
class Phases:
    """Contrasts of phases (raw material, cleaning regime), shared by all seasons.

    A cell is a season in one phase: its level is that of the season plus the phase's contrast.

    Attributes
    ----------
    names
        Phases with a contrast; the reference phase (and a season without phases) has 0.
    reference
        The phase most hours were read in.
    contrast
        In log rate against the reference [names].
    slope, covariance
        Change of the contrasts with the season levels [names, seasons], and their covariance given
        the levels [names, names].
    share
        Of the hours read in each of ``names``.
    cells
        Season and phase of each cell by name, read or not.
    read
        The cells read, in the fit's order; empty: the seasons themselves.
    """

    names: tuple[str, ...]
    reference: str
    contrast: Array
    slope: Array
    covariance: Array
    share: Array
    cells: Mapping[str, tuple[str, str]]
    read: tuple[str, ...] = ()

    def of(self, cell: str) -> tuple[str, str]:
        """Return season and phase of a cell; a name that is none is a season."""
        return self.cells.get(cell, (cell, self.reference))

    @property
    def unseen_sd(self) -> float:
        """Sd of the contrast of a phase that nobody has read: the spread of those read."""
        return float(np.std([0.0, *self.contrast])) if len(self.names) else 0.0

    def draws(self, moved: Array, rng: np.random.Generator) -> dict[str, Array]:
        """Draw each phase's contrast, given how far the seasons' levels were moved [seasons, n]."""
        n = moved.shape[1]
        known = {self.reference: np.zeros(n), "": np.zeros(n)}
        if not self.names:
            return known
        root = np.linalg.cholesky(self.covariance + 1e-14 * np.eye(len(self.names)))
        noise = root @ rng.standard_normal((len(self.names), n))
        drawn = self.contrast[:, None] + self.slope @ moved + noise
        return known | dict(zip(self.names, drawn, strict=True))

    def mixed(
        self, ahead: Mapping[str, float] | None, contrast_of: Callable[[str], Array]
    ) -> Array | float:
        """Return the contrast of a mix of phases: the log of the mean rate over its hours.

        What is ahead in no named phase (``""``) runs in them as it did so far.
        """
        if not self.names:
            return 0.0
        weights = dict(ahead or {})
        unnamed = weights.pop("", 0.0)
        if unnamed > 0 or not sum(weights.values()) > 0:
            share = dict(zip(self.names, map(float, self.share), strict=True))
            share[self.reference] = 1.0 - float(self.share.sum())
            for name, usual in share.items():
                weights[name] = weights.get(name, 0.0) + (unnamed or 1.0) * usual
        total = sum(weights.values())
        mean = sum(
            (weight / total) * np.exp(contrast_of(phase)) for phase, weight in weights.items()
        )
        return np.log(mean)


NO_PHASES: Final = Phases((), "", np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)), np.zeros(0), {})
"""Seasons in one phase."""


@dataclass(frozen=True, eq=False)
class FleetModel:
    """What is known of levels and machines, however it was estimated; log(mm per 1000 h).

    Attributes
    ----------
    seasons
        The seasons read, oldest first.
    level, covariance
        Their levels [seasons], [seasons, seasons].
    machines
        The machines read.
    machine_mean, machine_variance
        Given the levels [machines].
    machine_slope
        Change of a machine's mean with a level, then with a contrast [machines, coefficients].
    machine_sd, piece_sd
        Of the log rate.
    spread
        Posterior of the season spread.
    phases
        What the levels' phases do to the log rate; see :class:`Phases`.
    """

    seasons: tuple[str, ...]
    level: Array
    covariance: Array
    machines: tuple[str, ...]
    machine_mean: Array
    machine_variance: Array
    machine_slope: Array
    machine_sd: float
    piece_sd: float
    spread: SpreadPosterior
    phases: Phases = field(default_factory=lambda: NO_PHASES)


@dataclass(frozen=True, eq=False)
class SpreadPosterior:
    """Posterior of the season spread on a grid.

    Attributes
    ----------
    grid, weight
        Spreads, and their chances (they sum to 1).
    prior
        In words, to be printed beside it.
    in_turn
        Whether each path has the next spread of the grid in turn, not one drawn by its chance.
    """

    grid: Array
    weight: Array
    prior: str
    in_turn: bool = False

    def quantile(self, share: float) -> float:
        """Return the spread below which `share` of the posterior lies."""
        return float(np.interp(share, np.cumsum(self.weight), self.grid))


@dataclass(frozen=True, eq=False)
class RateDraws:
    """Joint draws of everything that moves wear rates; log rates in log(mm/h).

    Attributes
    ----------
    level
        Of the season to forecast [draws].
    season_levels
        Of the seasons named in ``seasons`` [seasons, draws].
    machine_effect
        Log rate of the machines named in ``machines`` less the level [machines, draws].
    piece_sd
        Of a piece's log rate about its machine's.
    offset, offset_sd
        Bedding-in of new pieces, mm.
    future_sd
        Change of a piece's rate still to come, sd of its log.
    seasons, machines
        What the rows are.
    read_theta, read_cells, read_effects
        What pieces with readings are drawn from, whether asked for or not: the fit's coefficients
        (per 1000 h) [coefficients, draws], the levels of every cell that the fit read
        [cells read, draws], and the effects of every machine that it read [machines read, draws].
    bent
        The power law of each path where the readings chose one; None: straight.
    """

    level: Array
    season_levels: Array
    machine_effect: Array
    piece_sd: float
    offset: float
    offset_sd: float
    future_sd: float
    seasons: tuple[str, ...]
    machines: tuple[str, ...]
    read_theta: Array = field(repr=False)
    read_cells: Array = field(repr=False)
    read_effects: Array = field(repr=False)
    bent: Bent | None = field(default=None, repr=False)

    @property
    def draws(self) -> int:
        """How many paths there are."""
        return int(self.level.size)


@dataclass(frozen=True)
class PieceLaw:
    """What is the same in every draw: bedding-in of new pieces (mm) and change of rate to come."""

    offset: float
    offset_sd: float
    future_sd: float


def spread_posterior(
    level: Array, covariance: Array, stated: float | None = None, scale: float = PRIOR_SCALE
) -> SpreadPosterior:
    """Return the posterior of the season spread, mu integrated out with a flat prior.

    Parameters
    ----------
    level, covariance
        Of the seasons read.
    stated
        A spread the plan states; the posterior is then that number.
    scale
        Of the half-normal prior.
    """
    if stated is not None:
        if not (np.isfinite(stated) and stated >= 0):
            raise ValueError(f"season_spread should be 0 or more, got {stated}")
        one = np.array([max(float(stated), 1e-6)])
        return SpreadPosterior(one, np.ones(1), f"{stated:g} (stated)")
    grid = np.concatenate([[1e-6], np.geomspace(0.004, 1.0, 80)])
    log_weight = np.array([_log_likelihood(level, covariance, spread) for spread in grid])
    log_weight -= 0.5 * (grid / scale) ** 2
    # The grid is uneven: without its step as a weight it would be a prior of its own.
    edges = np.concatenate([[0.0], (grid[1:] + grid[:-1]) / 2.0, grid[-1:]])
    weight = np.exp(log_weight - log_weight.max()) * np.diff(edges)
    prior = (
        "the seasons read; a convention before any is: half of all spreads under "
        f"{HALF_UNDER * scale:.2f} (half-normal, {scale:g})"
    )
    return SpreadPosterior(grid, weight / weight.sum(), prior)


def spreads_in_turn(spreads: Sequence[float]) -> SpreadPosterior:
    """Return what deals spreads to the paths in turn: path i has number i modulo their count.

    So that one simulation tells what each of them would make of the season.
    """
    grid = np.maximum(np.asarray(spreads, dtype=np.float64), 1e-6)
    said = "in turn " + ", ".join(f"{spread:g}" for spread in spreads)
    return SpreadPosterior(grid, np.full(grid.size, 1.0 / grid.size), said, in_turn=True)


def _log_likelihood(level: Array, covariance: Array, spread: float) -> float:
    """Return the restricted log likelihood of one spread."""
    root = np.linalg.cholesky(covariance + spread**2 * np.eye(level.size))
    ones = np.linalg.solve(root, np.ones(level.size))
    scaled = np.linalg.solve(root, level)
    known = float(ones @ ones)
    left = scaled - (ones @ scaled) / known * ones
    return float(-np.log(np.diag(root)).sum() - 0.5 * np.log(known) - 0.5 * left @ left)


def levels_read(model: FleetModel) -> tuple[Array, Array]:
    """Return the levels of the seasons read [seasons] and their covariance [seasons, seasons].

    They are shrunk to each other as far as the posterior of the spread says; the covariance
    includes that the spread is uncertain.
    """
    count = model.level.size
    centre, second = np.zeros(count), np.zeros((count, count))
    for spread, weight in zip(model.spread.grid, model.spread.weight, strict=True):
        mean, covariance = _levels_given(model, float(spread))
        centre += weight * mean
        second += weight * (covariance + np.outer(mean, mean))
    return centre, second - np.outer(centre, centre)


def middle_level(model: FleetModel, level: Array) -> tuple[float, Array, float]:
    """Return the mean level of seasons and phases read, its slope and own variance.

    Parameters
    ----------
    model
        The fleet.
    level
        Of the seasons read [seasons].

    Returns
    -------
    tuple
        The level; by how much it moves with each season's level [seasons]; and its variance given
        these levels, from the phases' contrasts.
    """
    phases = model.phases
    even = np.full(level.size, 1.0 / level.size)
    if not phases.names:
        return float(level.mean()), even, 0.0
    contrast = phases.contrast + phases.slope @ (level - model.level)
    slope = even + phases.share @ phases.slope
    own = float(phases.share @ phases.covariance @ phases.share)
    return float(level.mean() + phases.share @ contrast), slope, own


def _levels_given(model: FleetModel, spread: float) -> tuple[Array, Array]:
    """Return mean and covariance of the levels at one spread, mu integrated out."""
    inverse = np.linalg.inv(model.covariance + spread**2 * np.eye(model.level.size))
    known = inverse.sum()
    mu = inverse.sum(axis=0) @ model.level / known
    mean = mu + spread**2 * inverse @ (model.level - mu)
    from_mu = 1.0 - spread**2 * inverse.sum(axis=1)
    covariance = spread**2 * np.eye(mean.size) - spread**4 * inverse
    return mean, covariance + np.outer(from_mu, from_mu) / known


def draw_levels(model: FleetModel, n: int, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Draw (spread [n], mu [n], levels of the seasons read [seasons, n]) jointly."""
    count = model.level.size
    cumulated = np.cumsum(model.spread.weight)
    even = (np.arange(n) + rng.random(n)) / n
    picked = np.minimum(np.searchsorted(cumulated, even), cumulated.size - 1)
    picked = np.arange(n) % cumulated.size if model.spread.in_turn else rng.permutation(picked)
    for_mu, for_levels = rng.standard_normal(n), rng.standard_normal((n, count))
    mu, levels = np.empty(n), np.empty((count, n))
    for at in np.unique(picked):
        rows = np.flatnonzero(picked == at)
        variance = float(model.spread.grid[at]) ** 2
        inverse = np.linalg.inv(model.covariance + variance * np.eye(count))
        known = inverse.sum()
        mu[rows] = inverse.sum(axis=0) @ model.level / known + for_mu[rows] / np.sqrt(known)
        off = model.level[:, None] - mu[rows]
        covariance = variance * np.eye(count) - variance**2 * inverse
        root = np.linalg.cholesky(covariance + 1e-14 * np.eye(count))
        levels[:, rows] = mu[rows] + variance * inverse @ off + root @ for_levels[rows].T
    return model.spread.grid[picked], mu, levels


def draw_rates(
    model: FleetModel,
    n: int,
    rng: np.random.Generator,
    *,
    machines: Sequence[str],
    seasons: Sequence[str],
    running: str | None,
    of_pieces: PieceLaw,
    ahead: Mapping[str, float] | None = None,
) -> RateDraws:
    """Draw levels of seasons and effects of machines jointly.

    Parameters
    ----------
    machines, seasons
        Whose effects and levels are wanted; those without readings are drawn from the population.
    running
        The season whose level is the one to forecast; None: the coming season has a new one.
    of_pieces
        What is the same in every draw.
    ahead
        Days or hours to come in each phase: the level to forecast is that of their mix. None: the
        mix of phases read.

    Raises
    ------
    ValueError
        If ``running`` is not among ``seasons``.
    """
    phases = model.phases
    if running is not None and running not in {phases.of(name)[0] for name in seasons}:
        raise ValueError(f"the running season {running!r} is not among {', '.join(seasons)}")
    base = int(rng.integers(2**63))
    spread, mu, levels = draw_levels(model, n, rng)
    read = dict(zip(model.seasons, levels, strict=True))
    contrasts = phases.draws(levels - model.level[:, None], rng)

    def level_of(name: str) -> Array:
        if name in read:
            return np.asarray(read[name], dtype=np.float64)
        fresh = _stream(base, "season", name).standard_normal(n)
        return np.asarray(mu + spread * fresh, dtype=np.float64)

    def contrast_of(phase: str) -> Array:
        if phase in contrasts:
            return contrasts[phase]
        fresh = _stream(base, "phase", phase).standard_normal(n)
        return np.asarray(phases.unseen_sd * fresh, dtype=np.float64)

    def cell(name: str) -> Array:
        season, phase = phases.of(name)
        return level_of(season) + contrast_of(phase)

    past = np.stack([cell(name) for name in seasons]) if len(seasons) else np.empty((0, n))
    coming = level_of(running) if running is not None else level_of("")
    coming = coming + phases.mixed(ahead, contrast_of)
    cells = [cell(name) for name in phases.read] or list(levels)
    theta = np.concatenate([levels, *(contrasts[name][None] for name in phases.names)])
    return RateDraws(
        level=coming - LOG_HOURS,
        season_levels=past - LOG_HOURS,
        machine_effect=_machine_draws(model, theta, machines, base),
        piece_sd=model.piece_sd,
        offset=of_pieces.offset,
        offset_sd=of_pieces.offset_sd,
        future_sd=of_pieces.future_sd,
        seasons=tuple(seasons),
        machines=tuple(machines),
        read_theta=theta,
        read_cells=np.stack(cells) - LOG_HOURS,
        read_effects=_machine_draws(model, theta, model.machines, base),
    )


def _machine_draws(model: FleetModel, theta: Array, machines: Sequence[str], base: int) -> Array:
    """Draw machine effects [machines, n] that belong to the drawn coefficients [.., n]."""
    n = theta.shape[1]
    sd = _machine_sds(model, n, base)
    moved = theta - np.concatenate([model.level, model.phases.contrast])[:, None]
    row = {name: at for at, name in enumerate(model.machines)}
    effects = np.empty((len(machines), n))
    for at, name in enumerate(machines):
        noise = _stream(base, "machine", name).standard_normal(n)
        if name not in row:
            effects[at] = sd * noise
            continue
        known = row[name]
        variance = model.machine_variance[known]
        information = max(1.0 / variance - 1.0 / model.machine_sd**2, 0.0)
        own_sd = 1.0 / np.sqrt(information + 1.0 / sd**2)
        mean = model.machine_mean[known] + model.machine_slope[known] @ moved
        effects[at] = mean + own_sd * noise
    return effects


def _machine_sds(model: FleetModel, n: int, base: int) -> Array:
    """Draw the sd between machines [n]: it counts as known from 15 machines on."""
    free = len(model.machines) - 1
    if len(model.machines) >= SURELY_MACHINES or free < 2:
        return np.full(n, model.machine_sd)
    draws = _stream(base, "machine sd", "").chisquare(free, n)
    return np.asarray(model.machine_sd * np.sqrt(free / draws))


def _stream(base: int, kind: str, name: str) -> np.random.Generator:
    """Return random numbers of its own for a name, so that one more name shifts no other's."""
    return np.random.default_rng([base, zlib.crc32(f"{kind}/{name}".encode())])
