"""The two-level fit: season levels, and how far machines and pieces differ from them.

    wear = d + exp(l) x sum over seasons of exp(level) x hours + error
    l = m(machine) + u(piece),  m ~ N(0, machine_sd2),  u ~ N(0, piece_sd2)

Rates are lognormal: log rates add up over seasons, machines and pieces. The offset d is
integrated out of each piece's readings in closed form, so that a single reading counts. What is
left is, along a shift t of a piece's log rate, exp(linear e^t - information e^2t / 2): its *site*.
A site is replaced by the normal that gives the same posterior mean and variance (expectation
propagation; Minka 2001). Plain linearisation is biased by up to 5 % for early single readings.
Machines and pieces then go out by rank-one updates, and their sds maximise the restricted
likelihood with the season levels fixed. The cost is that of the sums, not of the readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from forecast.wear.sums import CellSums

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MACHINE_SD: Final = 0.15
"""Assumed where fewer than three machines are read: sd of log rate between machines."""

PIECE_SD: Final = 0.20
"""Assumed where hardly any machine has two pieces read: sd of log rate between pieces."""

SMALLEST_SD: Final = 1e-3
LARGEST_SD: Final = 2.0

LEVEL_RIDGE: Final = 1.0
"""Prior precision of a season's level about the common one. It is nothing beside real readings
(1 against 1,000 and more) and keeps a season of a few first readings from running away."""

SWEEPS: Final = 6
MODE_STEPS: Final = 8
BLOCK: Final = 1024
"""Pieces matched at a time: their nodes fit the processor's cache."""

NEAR: Final = 1e-7
"""A mode that moves by less has been found."""

NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_POWERS: Final = _NODE_WEIGHTS * np.stack([np.ones(15), NODES, NODES**2])


@dataclass(frozen=True, eq=False)
class Prepared:
    """Readings of each piece with the offset integrated out: b' rate - rate' B rate / 2.

    Attributes
    ----------
    linear
        b [pieces, cells].
    quadratic
        B [pieces, cells, cells].
    machine
        Index of each piece's machine [pieces].
    machines
        How many there are.
    design
        Level of each cell as a sum of coefficients [cells, coefficients]: seasons, then phases.
    seasons
        How many of the coefficients are seasons.
    """

    linear: Array
    quadratic: Array
    machine: IntArray
    machines: int
    design: Array
    seasons: int

    @property
    def kinds(self) -> Array:
        """1 for the coefficient of a season, 0 for a phase contrast [coefficients]."""
        return np.asarray(np.arange(self.design.shape[1]) < self.seasons, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Start:
    """Where a fit begins: an earlier one."""

    theta: Array
    piece: Array
    machine: Array
    log_sds: Array


@dataclass(frozen=True, eq=False)
class TwoLevel:
    """The fit; log rates in log(mm per 1000 h).

    Attributes
    ----------
    theta, covariance
        Levels of the seasons, then contrasts of the phases, and their covariance.
    level
        Of each cell (season, or season x phase) [cells].
    machine_sd, piece_sd
        Of the log rate.
    machine_mean, machine_variance
        Log rate of each machine less the season's level, given the levels [machines].
    machine_slope
        By how much a machine's mean moves if a coefficient is moved [machines, coefficients].
    piece_mean, piece_variance
        The same for pieces (machine and piece together), given the levels [pieces].
    site_mean, site_precision
        What the piece's own readings say of its log rate, and how firmly [pieces].
    share
        Share of each piece's wear that each coefficient acted on [pieces, coefficients].
    information
        Curvature of the readings at the estimate; near ``site_precision`` [pieces].
    sds_told
        Whether the readings tell the machine sd and the piece sd (else they are assumed).
    """

    theta: Array
    covariance: Array
    level: Array
    machine_sd: float
    piece_sd: float
    machine_mean: Array
    machine_variance: Array
    machine_slope: Array
    piece_mean: Array
    piece_variance: Array
    site_mean: Array
    site_precision: Array
    share: Array
    information: Array
    sds_told: tuple[bool, bool]

    def start(self) -> Start:
        """Return the state from which a neighbouring fit can begin."""
        sds = np.log([self.machine_sd, self.piece_sd])
        return Start(self.theta, self.piece_mean, self.machine_mean, sds)


@dataclass(frozen=True, eq=False)
class _Sites:
    """Gaussian form of all pieces' readings about the present estimate.

    ``gram`` and ``pull`` are summed over pieces; ``cross`` is [pieces, coefficients], ``precision``
    and ``score`` are along the piece's own log rate.
    """

    gram: Array
    pull: Array
    cross: Array
    precision: Array
    score: Array
    information: Array


@dataclass(frozen=True, eq=False)
class _Step:
    """Solution at given sds: step of the levels, machine means, and the likelihood."""

    value: float
    levels: Array
    normal: Array
    machine_pull: Array
    machine_cross: Array
    machine_precision: Array
    piece_pull: Array
    piece_precision: Array


def prepare(
    sums: CellSums,
    gauge_sd: float,
    offset: float,
    offset_sd: float | Array,
    design: tuple[Array, int] | None = None,
) -> Prepared:
    """Integrate the offset out of each piece's readings (Sherman and Morrison).

    Parameters
    ----------
    sums
        Of the readings.
    gauge_sd, offset, offset_sd
        In mm; the offset's sd may differ from piece to piece.
    design
        Level of each cell as a sum of coefficients, and how many of them are seasons; None: each
        cell has a level of its own.
    """
    cells = len(sums.seasons)
    matrix, seasons = (np.eye(cells), cells) if design is None else design
    variance = gauge_sd**2
    shrink = offset_sd**2 / (variance + sums.n * offset_sd**2)
    beyond = sums.y - sums.n * offset
    linear = (sums.xy - offset * sums.x - (shrink * beyond)[:, None] * sums.x) / variance
    products = sums.x[:, :, None] * sums.x[:, None, :]
    quadratic = (sums.xx - shrink[:, None, None] * products) / variance
    return Prepared(linear, quadratic, sums.machine, len(sums.machines), matrix, seasons)


def common_log_rate(data: Prepared) -> float:
    """Return the log of one rate for all readings, log(mm/kh); nan if they show no wear."""
    rate = float(data.linear.sum()) / float(data.quadratic.sum())
    return float(np.log(rate)) if rate > 0 else float("nan")


def first_guess(data: Prepared) -> Start:
    """Return the start of a fit: one rate for all."""
    pieces = len(data.linear)
    theta = data.kinds * common_log_rate(data)
    sds = np.log([MACHINE_SD, PIECE_SD])
    return Start(theta, np.zeros(pieces), np.zeros(data.machines), sds)


def two_level(
    data: Prepared, start: Start | None = None, *, sweeps: int = SWEEPS, search: bool = True
) -> TwoLevel:
    """Fit season levels and the sds between machines and between pieces.

    Parameters
    ----------
    data
        From :func:`prepare`.
    start
        Where to begin; None: one rate for all.
    sweeps
        Passes: matched sites, then the levels and effects that follow from them.
    search
        Whether to look for the sds, or to keep those of ``start``.
    """
    now = first_guess(data) if start is None else start
    common = float(now.theta[: data.seasons].mean())
    told = _told(data)
    for sweep in range(sweeps):
        plain = start is None and sweep == 0
        sites = _sites(data, now, matched=not plain)
        if search and sweep in (0, 2, sweeps - 1):
            now = _with_sds(sites, data, now, common, told, coarse=sweep < sweeps - 1)
        step = _solve(sites, data, now, now.log_sds, common)
        last, now = now, _advance(step, sites, data, now)
    return _result(step, sites, data, last, now, told)


def matched_site(
    linear: Array, information: Array, prior_mean: Array, prior_variance: float | Array
) -> tuple[Array, Array]:
    """Replace a piece's site by the normal that gives the same posterior mean and variance.

    The site of a shift t is exp(linear e^t - information e^2t / 2); t ~ N(prior_mean,
    prior_variance). The nodes stand at the piece's own mode: nodes that miss it put all weight on
    one of them and give variance 0.

    Returns
    -------
    tuple of arrays
        Precision of the site, and precision times mean [pieces each].
    """
    precision, moved = np.empty(information.size), np.empty(information.size)
    of_each = np.broadcast_to(np.asarray(prior_variance, dtype=np.float64), information.shape)
    for first in range(0, information.size, BLOCK):
        rows = slice(first, first + BLOCK)
        precision[rows], moved[rows] = _matched_block(
            linear[rows], information[rows], prior_mean[rows], of_each[rows]
        )
    return precision, moved


def _matched_block(
    linear: Array, information: Array, prior_mean: Array, prior_variance: float | Array
) -> tuple[Array, Array]:
    """Match a block of sites; arrays inside are [nodes, pieces]."""
    mode = np.zeros(information.size)
    for _ in range(MODE_STEPS):
        grown = np.exp(mode)
        slope = linear * grown - information * grown**2 - (mode - prior_mean) / prior_variance
        step = np.clip(slope / (information * grown**2 + 1.0 / prior_variance), -0.5, 0.5)
        mode += step
        if np.abs(step).max() < NEAR:
            break
    sd = 1.0 / np.sqrt(information * np.exp(2.0 * mode) + 1.0 / prior_variance)
    shift = mode + NODES[:, None] * sd
    grown = np.exp(shift)
    # in place: these arrays are what the time goes into
    log_weight = grown * (-0.5 * information)
    log_weight += linear
    log_weight *= grown
    shift -= prior_mean
    shift *= shift
    shift *= 0.5 / prior_variance
    log_weight -= shift
    log_weight += 0.5 * NODES[:, None] ** 2
    log_weight -= log_weight.max(axis=0)
    total, first, second = _POWERS @ np.exp(log_weight, out=log_weight)
    first, second = first / total, second / total
    mean, variance = mode + sd * first, sd**2 * (second - first**2)
    precision = np.maximum(1.0 / variance - 1.0 / prior_variance, 1e-3 * information + 1e-9)
    return precision, mean / variance - prior_mean / prior_variance


def _told(data: Prepared) -> tuple[bool, bool]:
    """Say whether the readings can tell the sd between machines, and between pieces."""
    pieces_on = np.bincount(data.machine, minlength=data.machines)
    return int((pieces_on > 0).sum()) >= 3, int((pieces_on - 1).clip(min=0).sum()) >= 3


def _sites(data: Prepared, now: Start, *, matched: bool) -> _Sites:
    """Return the Gaussian form of the readings about the present levels and log rates."""
    rate = np.exp(data.design @ now.theta + now.piece[:, None])
    cells = rate.shape[1]
    curved = data.quadratic * (rate[:, :, None] * rate[:, None, :])
    flat = curved.reshape(len(rate), cells * cells)
    cross = np.einsum("pab->pa", curved)
    information = np.maximum(cross.sum(axis=1), 1e-12)
    pull = rate * data.linear - cross
    score = pull.sum(axis=1)
    design = data.design
    if not matched:
        gram, cross = design.T @ curved.sum(axis=0) @ design, cross @ design
        return _Sites(gram, pull.sum(axis=0) @ design, cross, information, score, information)
    prior_mean = now.machine[data.machine] - now.piece
    prior_variance = float(np.exp(2.0 * now.log_sds[1]))
    precision, moved = matched_site(score + information, information, prior_mean, prior_variance)
    scale = precision / information
    pull = pull + cross * ((moved - score) / information)[:, None]
    gram = design.T @ (scale @ flat).reshape(cells, cells) @ design
    pulled = pull.sum(axis=0) @ design
    cross = (cross * scale[:, None]) @ design
    return _Sites(gram, pulled, cross, precision, moved, information)


def _solve(sites: _Sites, data: Prepared, now: Start, log_sds: Array, common: float) -> _Step:
    """Integrate pieces and machines out at given sds; return the step and -log likelihood."""
    machine_variance, piece_variance = np.exp(2.0 * log_sds)
    seasons = sites.pull.size
    kept = 1.0 + sites.precision * piece_variance
    precision = kept / piece_variance
    pull = sites.score - now.piece / piece_variance
    cross = sites.cross / kept[:, None]
    moved = pull / precision
    normal = sites.gram - piece_variance * (cross.T @ sites.cross)
    right = sites.pull - sites.cross.T @ moved

    def by_machine(weight: Array) -> Array:
        return np.bincount(data.machine, weight, data.machines).astype(np.float64)

    crossed = np.stack([by_machine(cross[:, k]) for k in range(seasons)], axis=1)
    known = by_machine(sites.precision / kept)
    pulled = by_machine((now.piece + moved) / piece_variance)
    held = known + 1.0 / machine_variance
    normal = normal - (crossed / held[:, None]).T @ crossed + LEVEL_RIDGE * np.eye(seasons)
    right = right - crossed.T @ (pulled / held) - LEVEL_RIDGE * (now.theta - common * data.kinds)
    levels = np.linalg.solve(normal, right)
    value = 0.5 * (
        np.log(kept).sum()
        + np.log1p(machine_variance * known).sum()
        + np.linalg.slogdet(normal)[1]
        + now.piece @ now.piece / piece_variance
        - pull @ moved
        - (pulled**2 / held).sum()
        - right @ levels
    )
    return _Step(float(value), levels, normal, pulled, crossed, held, pull, precision)


def _with_sds(
    sites: _Sites,
    data: Prepared,
    now: Start,
    common: float,
    told: tuple[bool, bool],
    *,
    coarse: bool,
) -> Start:
    """Return the state with the sds that maximise the restricted likelihood, where told."""
    free = np.flatnonzero(told)
    if free.size == 0:
        return now

    def value(log_sd: Array) -> float:
        log_sds = now.log_sds.copy()
        log_sds[free] = log_sd
        return _solve(sites, data, now, log_sds, common).value

    # the last search starts where the others ended: its first triangle is small
    low, high = np.log(SMALLEST_SD), np.log(LARGEST_SD)
    reach = (0.1 if coarse else 0.02) * np.eye(free.size)
    first = np.vstack([now.log_sds[free], now.log_sds[free] - reach])
    found = minimize(
        value,
        now.log_sds[free],
        method="Nelder-Mead",
        bounds=[(low, high)] * free.size,
        options={
            "xatol": 2e-2 if coarse else 1e-3,
            "fatol": 1e-1 if coarse else 1e-3,
            "initial_simplex": np.clip(first, low, high),
        },
    )
    log_sds = now.log_sds.copy()
    log_sds[free] = found.x
    return Start(now.theta, now.piece, now.machine, log_sds)


def _advance(step: _Step, sites: _Sites, data: Prepared, now: Start) -> Start:
    """Return the state after one step, its length capped."""
    moved = np.clip(step.levels, -1.0, 1.0)
    piece_variance = float(np.exp(2.0 * now.log_sds[1]))
    machine = (step.machine_pull - step.machine_cross @ moved) / step.machine_precision
    pull = step.piece_pull - sites.cross @ moved + machine[data.machine] / piece_variance
    piece = now.piece + np.clip(pull / step.piece_precision, -1.0, 1.0)
    return Start(now.theta + moved, piece, machine, now.log_sds)


def _result(
    step: _Step, sites: _Sites, data: Prepared, last: Start, now: Start, told: tuple[bool, bool]
) -> TwoLevel:
    """Put the last sweep into words."""
    machine_sd, piece_sd = np.exp(now.log_sds)
    machine_variance = 1.0 / step.machine_precision
    moved = now.theta - last.theta
    own = 1.0 / step.piece_precision
    through_machine = own / piece_sd**2
    return TwoLevel(
        theta=now.theta,
        level=data.design @ now.theta,
        covariance=np.asarray(np.linalg.inv(step.normal), dtype=np.float64),
        machine_sd=float(machine_sd),
        piece_sd=float(piece_sd),
        machine_mean=now.machine,
        machine_variance=machine_variance,
        machine_slope=-step.machine_cross * machine_variance[:, None],
        piece_mean=now.piece,
        piece_variance=own + through_machine**2 * machine_variance[data.machine],
        site_mean=last.piece + (sites.score - sites.cross @ moved) / sites.precision,
        site_precision=sites.precision,
        share=sites.cross / sites.precision[:, None],
        information=sites.information,
        sds_told=told,
    )
