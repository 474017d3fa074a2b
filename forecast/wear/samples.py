"""Samples without positions: some pieces of a set read at each visit, nobody knows which.

No piece can be followed, but the moments of the visits tell the population:

    mean of a visit              offset + ratio(machine) x wear(mean hours by season)
    variance inside a visit      offset_sd2 + gauge_sd2 + wear2 x (mix x exp(piece_sd2) - 1)

where mix = mean of squared ages / square of the mean age: 1 in a set of one age, more where broken
pieces were replaced. Where people chose the pieces, the worst are gone and no mean tells the rest.

Standard errors come from leaving one machine out at a time: readings of one machine share its
rate, so they are no independent witnesses. Never take the sample's slot number for a position.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.records.words import percent
from forecast.wear.fit import PIECE_COLUMNS, WearFit, no_fit, wear_fit
from forecast.wear.offsets import OFFSET_ERROR, OFFSET_SD, Assumption, Offsets
from forecast.wear.rates import sds_assumed
from forecast.wear.reml import MACHINE_SD, PIECE_SD
from forecast.wear.sample_bounds import VisitBounds, pulled, with_visits
from forecast.wear.seasons import NO_PHASES, FleetModel, spread_posterior

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MOST_CULLED: Final = 0.02
"""Of a set with a larger share chosen and replaced the worst are gone: its visits are left out."""

MOST_REPLACED: Final = 0.4
"""Beyond this share replaced, whatever for, some pieces were replaced twice: ages are not known."""

LEAST_MACHINES: Final = 3
"""With fewer the machines' sd and the jackknife have nothing to go by."""

WEAR_RATIO: Final = 1.5
"""Visits tell piece sd and offset sd apart only if their wear differs by this factor."""

BOUND_ROUNDS: Final = 12
"""Rounds in which readings found ok or over are matched with the fit of the round before."""

LEAST_VARIANCE: Final = 1e-6
"""Of one reading of a visit, mm2: where the samples tell less."""

SURE_LEVEL: Final = 0.5
"""A season whose log level has a larger standard error counts as not read."""


@dataclass(frozen=True, eq=False)
class _Visits:
    """One row a visit: machine, readings, their mean and variance, mean kh run in each season.

    ``mix`` is the mean of the pieces' squared ages over the square of their mean age. ``read`` is
    how many were measured: ``n`` counts pieces found ok or over by their weight besides.
    """

    machine: IntArray
    n: Array
    mean: Array
    variance: Array
    x: Array
    mix: Array
    read: Array
    name: npt.NDArray[np.object_]

    def of(self, keep: npt.NDArray[np.bool_]) -> _Visits:
        return _Visits(
            self.machine[keep],
            self.n[keep],
            self.mean[keep],
            self.variance[keep],
            self.x[keep],
            self.mix[keep],
            self.read[keep],
            self.name[keep],
        )

    @property
    def sure(self) -> Array:
        """1 for a visit with a reading; less for one that only bounds tell of [visits]."""
        return np.minimum(self.n, 1.0)

    def without(self, machine: int) -> _Visits:
        return self.of(self.machine != machine)


@dataclass(frozen=True, eq=False)
class _Moments:
    """What the moments say; ``rate`` [seasons] is a mean over machines and pieces, mm/kh."""

    offset: float
    rate: Array
    ratio: Array
    ratio_variance: Array
    machine_sd: float
    piece_sd: float
    offset_sd: float
    told: tuple[bool, bool]
    told_offset: bool


def fit_samples(
    samples: pd.DataFrame,
    cells: pd.DataFrame,
    seasons: Sequence[str],
    *,
    gauge_sd: float | None,
    season_spread: float | None = None,
    phases: Mapping[str, tuple[str, str]] | None = None,
    bounds: tuple[pd.DataFrame, pd.DataFrame] | None = None,
) -> WearFit:
    """Fit wear rates of one part type and duty group to samples without positions, by moments.

    Parameters
    ----------
    samples, cells
        As Snapshot's ``samples`` and ``sample_cells``. Visits with ``culled_share`` above 0.02 or
        ``replaced_share`` above 0.4, without readings or without known hours are left out;
        ``assumed`` says how many.
    seasons
        All seasons' names, oldest first.
    gauge_sd
        Sd of one reading, mm. None: it can't be told from samples; the offset's sd then contains
        it, and ``assumed`` says so.
    season_spread
        As in :func:`forecast.wear.rates.fit_wear_sums`.
    phases
        Season and phase of each cell named in ``seasons``; the phases of a season are read as one:
        samples do not tell them apart.
    bounds
        Pieces of sets found ok or over: Snapshot's ``bounds`` and ``bound_cells``. They pull the
        means of their visits; what the pieces of a visit differ by comes from measured ones.

    Returns
    -------
    WearFit
        Its state is ``by_moments``, or ``few_readings``, or ``no_fit``; it has no pieces.
    """
    phases = phases or {}
    if phases:
        whole = {name: phases[name][0] for name in seasons}
        cells = cells.assign(season=cells["season"].astype(str).map(whole))
        seasons = tuple(dict.fromkeys(whole.values()))
    found_so: pd.DataFrame | None = None
    if bounds is not None:
        frame, run = bounds
        if phases:
            run = run.assign(season=run["season"].astype(str).map(whole))
        samples, cells, found_so = with_visits(samples, cells, frame, run)
    visits, machines, left_out = _visits(samples, cells, seasons, found_so)
    readings = int(visits.read.sum())
    design = _design(visits.x[visits.read > 0])
    if design is None:
        return no_fit(readings, readings, left_out)
    names = tuple(seasons[k] for k in design.named)
    gauge = 0.0 if gauge_sd is None or not np.isfinite(gauge_sd) else float(gauge_sd)
    found = _moments(visits.of(visits.read > 0), len(machines), design, gauge)
    if found_so is not None and len(found_so) and (found.rate > 0).any():
        visits, found = _with_bounds(visits, found_so, design, len(machines), gauge, found)
        readings += len(found_so)
    visits = visits.of(visits.n > 0)
    if not (found.rate > 0).any():
        return no_fit(readings, readings, left_out)
    covariance, sure = _jackknife(visits, len(machines), design, gauge, found)
    if not design.offset:
        # An offset that had to be assumed moves every level by its share of the mean wear.
        covariance = covariance + (OFFSET_ERROR / float(visits.mean.mean())) ** 2
    if not sure.any():
        return no_fit(readings, readings, left_out)
    model = _fleet_model(visits, design, found, covariance, sure, names, machines, season_spread)
    model = replace(model, phases=replace(NO_PHASES, cells=dict(phases)))
    few = len(machines) < LEAST_MACHINES or not design.offset
    return wear_fit(
        model,
        state="few_readings" if few else "by_moments",
        gauge_sd=gauge if gauge > 0 else float("nan"),
        offset=Offsets(found.offset, found.offset_sd, 0.0),
        future_sd=0.0,
        pieces=pd.DataFrame(columns=list(PIECE_COLUMNS)),
        on_machine=np.bincount(visits.machine, visits.n, len(machines)).astype(np.int64),
        counts=(readings, readings),
        assumed=left_out + _assumed(found, gauge, names, sure),
    )


@dataclass(frozen=True, eq=False)
class _Design:
    """Which columns the visit means are regressed on.

    ``gather`` [seasons, columns] joins the hours of seasons; ``named`` says which season's level
    each column is.
    """

    gather: Array
    named: tuple[int, ...]
    offset: bool

    def matrix(self, x: Array) -> Array:
        hours = x @ self.gather
        return np.column_stack([np.ones(len(x)), hours]) if self.offset else hours


def _design(x: Array) -> _Design | None:
    """Return the richest design that the visits can tell: seasons apart, else together."""
    if not x.size or x.sum() <= 0:
        return None
    run = [k for k in range(x.shape[1]) if x[:, k].sum() > 0]
    apart = np.eye(x.shape[1])[:, run]
    together = np.ones((x.shape[1], 1))
    most = (int(np.argmax(x.sum(axis=0))),)
    choices = [
        _Design(apart, tuple(run), True),
        _Design(together, most, True),
        _Design(apart, tuple(run), False),
        _Design(together, most, False),
    ]
    for design in choices:
        matrix = design.matrix(x)
        scaled = matrix / np.linalg.norm(matrix, axis=0)
        values = np.linalg.svd(scaled, compute_uv=False)
        if len(x) > matrix.shape[1] and values[-1] > 0.02 * values[0]:
            return design
    return choices[-1]


def _visits(
    samples: pd.DataFrame,
    cells: pd.DataFrame,
    seasons: Sequence[str],
    found_so: pd.DataFrame | None = None,
) -> tuple[_Visits, tuple[str, ...], tuple[Assumption, ...]]:
    """Return the visits that count, their machines' names, and what was left out."""
    samples = samples.sort_values("visit", kind="stable")
    row = pd.Index(samples["visit"]).get_indexer(pd.Index(cells["visit"]))
    season = pd.Index(list(seasons)).get_indexer(pd.Index(cells["season"].astype(str)))
    if (season < 0).any():
        raise ValueError(f"samples of a season that is not among {', '.join(seasons)}")
    x = np.zeros((len(samples), len(seasons)))
    np.add.at(x, (row[row >= 0], season[row >= 0]), cells["x"].to_numpy(np.float64)[row >= 0])
    n = samples["n"].to_numpy(np.float64, na_value=np.nan)
    sy = samples["sy"].to_numpy(np.float64, na_value=np.nan)
    syy = samples["syy"].to_numpy(np.float64, na_value=np.nan)
    replaced = samples["replaced_share"].to_numpy(np.float64, na_value=0.0)
    culled = samples["culled_share"].to_numpy(np.float64, na_value=0.0)
    age = samples["age"].to_numpy(np.float64, na_value=np.nan)
    squares = samples["age_sq"].to_numpy(np.float64, na_value=np.nan)
    aged = (x.sum(axis=1) > 0) | (age == 0)
    told = n >= 1
    if found_so is not None:
        told |= samples["visit"].isin(found_so["visit"]).to_numpy()
    read = told & np.isfinite(sy) & np.isfinite(syy) & aged & np.isfinite(x).all(axis=1)
    chosen = culled > MOST_CULLED
    mixed = (replaced > MOST_REPLACED) & ~chosen
    keep = read & ~chosen & ~mixed
    codes, machines = pd.factorize(samples["machine"].astype(str)[keep], sort=True)
    n, sy, syy = n[keep], sy[keep], syy[keep]
    of_each = np.maximum(n, 1.0)
    variance = np.maximum(syy - sy**2 / of_each, 0.0) / np.maximum(n - 1.0, 1.0)
    mix = np.maximum(squares[keep], age[keep] ** 2) / np.maximum(age[keep], 1.0) ** 2
    mix = np.where(np.isfinite(mix) & (age[keep] > 1.0), mix, 1.0)
    machine = np.asarray(codes, dtype=np.int64)
    name = samples["visit"].to_numpy(object)[keep]
    visits = _Visits(machine, n, sy / of_each, variance, x[keep], mix, n, name)
    others = ~read & ~chosen & ~mixed
    notes = _left_out(len(samples), int(chosen.sum()), int(mixed.sum()), int(others.sum()))
    return visits, tuple(map(str, machines)), notes


def _left_out(visits: int, chosen: int, mixed: int, unknown: int) -> tuple[Assumption, ...]:
    """Say how many visits were left out, and why."""
    reasons = (
        (
            chosen,
            f"more than {percent(MOST_CULLED)} of the set had been changed for wear or by plan",
        ),
        (mixed, f"more than {percent(MOST_REPLACED)} of the set had been replaced: mixed ages"),
        (unknown, "no value, or the hours run are not known"),
    )
    return tuple(
        Assumption("visits left out", f"{count} of {visits}", why)
        for count, why in reasons
        if count
    )


def _moments(visits: _Visits, machines: int, design: _Design, gauge_sd: float) -> _Moments:
    """Equate means and variances of the visits to what the model lets expect."""
    root = np.sqrt(visits.sure)
    matrix = root[:, None] * design.matrix(visits.x)
    line = np.linalg.lstsq(matrix, root * visits.mean, rcond=None)[0]
    offset = float(line[0]) if design.offset else 0.0
    rate = np.asarray(line[1:] if design.offset else line, dtype=np.float64)
    worn = (visits.x @ design.gather) @ np.maximum(rate, 0.0)
    ratio, ratio_variance, machine_sd = _machine_ratios(visits, machines, worn, offset)
    told_machine = int(np.isfinite(ratio).sum()) >= LEAST_MACHINES
    machine_sd = machine_sd if told_machine else MACHINE_SD
    piece_sd, offset_sd = _inside(visits, worn, machine_sd, gauge_sd)
    told_piece = piece_sd is not None
    return _Moments(
        offset=offset,
        rate=rate,
        ratio=ratio,
        ratio_variance=ratio_variance,
        machine_sd=machine_sd,
        piece_sd=PIECE_SD if piece_sd is None else piece_sd,
        offset_sd=offset_sd,
        told=(told_machine, told_piece),
        told_offset=design.offset,
    )


def _with_bounds(
    visits: _Visits,
    bounds: pd.DataFrame,
    design: _Design,
    machines: int,
    gauge_sd: float,
    found: _Moments,
) -> tuple[_Visits, _Moments]:
    """Pull the means of visits by what was only found ok or over, until the fit agrees with it."""
    row = pd.Index(visits.name).get_indexer(pd.Index(bounds["visit"]))
    here = bounds[row >= 0]
    low, high = (here[name].to_numpy(np.float64) for name in ("low_mm", "high_mm"))
    of_visits = VisitBounds(row[row >= 0], low, high)
    told = visits
    for _ in range(BOUND_ROUNDS):
        worn = (visits.x @ design.gather) @ np.maximum(found.rate, 0.0)
        prior, read = found.machine_sd**2, np.isfinite(found.ratio)
        trust = np.where(read, prior / (prior + found.ratio_variance), 0.0)
        worn *= (1.0 + trust * (np.where(read, found.ratio, 1.0) - 1.0))[visits.machine]
        growing = worn**2 * (visits.mix * np.exp(found.piece_sd**2) - 1.0)
        variance = found.offset_sd**2 + gauge_sd**2 + growing
        one = found.offset + worn, np.maximum(variance, LEAST_VARIANCE)
        n, mean, spread = pulled(visits.read, visits.mean, visits.variance, of_visits, one)
        told = replace(visits, n=n, mean=mean, variance=spread).of(n > 0)
        found = _moments(told, machines, design, gauge_sd)
    return told, found


def _machine_ratios(
    visits: _Visits, machines: int, worn: Array, offset: float
) -> tuple[Array, Array, float]:
    """Return each machine's rate as a ratio to the fleet's mean, its variance, and the sd.

    NaN for machines that are not there (left out).
    """

    def by_machine(weight: Array) -> Array:
        return np.bincount(visits.machine, weight, machines).astype(np.float64)

    sure = visits.sure
    weight = by_machine(sure * worn**2)
    known = weight > 0
    weight = np.where(known, weight, np.nan)
    ratio = by_machine(sure * worn * (visits.mean - offset)) / weight
    noise = by_machine((sure * worn) ** 2 * visits.variance / visits.n) / weight**2
    if known.sum() < 2:
        return ratio, noise, MACHINE_SD
    between = float(np.var(ratio[known], ddof=1) - noise[known].mean())
    return ratio, noise, float(np.sqrt(np.log1p(max(between, 1e-6))))


def _inside(
    visits: _Visits, worn: Array, machine_sd: float, gauge_sd: float
) -> tuple[float | None, float]:
    """Return (piece sd or None, offset sd) from the variances inside visits."""
    usable = visits.read >= 2
    if usable.sum() < 3:
        return None, OFFSET_SD
    mix, free = visits.mix[usable], visits.read[usable] - 1.0
    # of the mean wear's square, the mix of ages alone explains (mix - 1)
    by_ages = (1.0 + machine_sd**2) * worn[usable] ** 2 * (mix - 1.0)
    squares, variance = worn[usable] ** 2 * mix, visits.variance[usable] - by_ages
    apart = np.sqrt(np.quantile(squares, 0.9)) >= WEAR_RATIO * np.sqrt(np.quantile(squares, 0.1))
    if not apart:
        by_pieces = float(squares.mean()) * np.expm1(PIECE_SD**2) * (1.0 + machine_sd**2)
        left = float(np.average(variance, weights=free)) - gauge_sd**2 - by_pieces
        return None, float(np.sqrt(max(left, 0.0)))
    design = np.column_stack([np.ones(squares.size), squares])
    expected = np.full(squares.size, float(np.average(variance, weights=free)))
    for _ in range(3):
        weight = free / expected**2
        normal = design.T @ (weight[:, None] * design)
        constant, growing = np.linalg.solve(normal, design.T @ (weight * variance))
        expected = np.maximum(design @ [constant, growing], 0.1 * float(variance.mean()) + 1e-12)
    piece_sd = float(np.sqrt(np.log1p(max(float(growing), 1e-8) / (1.0 + machine_sd**2))))
    return piece_sd, float(np.sqrt(max(float(constant) - gauge_sd**2, 0.0)))


def _jackknife(
    visits: _Visits, machines: int, design: _Design, gauge_sd: float, found: _Moments
) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return the covariance of the levels by leaving machines out, and which are surely known."""
    sure = found.rate > 0
    if machines < LEAST_MACHINES:
        return _by_scatter(visits, machines, design, found), sure
    left_out = [
        _moments(visits.without(machine), machines, design, gauge_sd) for machine in range(machines)
    ]
    rates = np.stack([moments.rate for moments in left_out])
    sure &= (rates > 0).all(axis=0)
    levels = np.stack(
        [
            np.log(np.where(sure, moments.rate, 1.0))
            - (moments.machine_sd**2 + moments.piece_sd**2) / 2.0
            for moments in left_out
        ]
    )
    off = levels - levels.mean(axis=0)
    covariance = (machines - 1) / machines * off.T @ off + 1e-8 * np.eye(sure.size)
    sure &= np.sqrt(np.diag(covariance)) < SURE_LEVEL
    return np.asarray(covariance, dtype=np.float64), sure


def _by_scatter(visits: _Visits, machines: int, design: _Design, found: _Moments) -> Array:
    """Return the levels' covariance from the scatter of visits and the assumed machine sd."""
    matrix = design.matrix(visits.x)
    line = np.concatenate([[found.offset], found.rate]) if design.offset else found.rate
    free = max(len(matrix) - matrix.shape[1], 1)
    variance = float(((visits.mean - matrix @ line) ** 2).sum()) / free
    covariance = variance * np.linalg.pinv(matrix.T @ matrix)
    if design.offset:
        covariance = covariance[1:, 1:]
    scale = np.maximum(np.abs(found.rate), 1e-9)
    relative = covariance / np.outer(scale, scale) + found.machine_sd**2 / machines
    return np.asarray(relative + 1e-8 * np.eye(scale.size), dtype=np.float64)


def _fleet_model(
    visits: _Visits,
    design: _Design,
    found: _Moments,
    covariance: Array,
    sure: npt.NDArray[np.bool_],
    names: tuple[str, ...],
    machines: tuple[str, ...],
    season_spread: float | None,
) -> FleetModel:
    """Put the moments into the form that draws are made from; machines are shrunk to the fleet."""
    kept = np.flatnonzero(sure)
    level = np.log(found.rate[kept]) - (found.machine_sd**2 + found.piece_sd**2) / 2.0
    covariance = covariance[np.ix_(kept, kept)]
    prior = found.machine_sd**2
    read = np.isfinite(found.ratio)
    ratio = np.where(read, np.maximum(found.ratio, 0.05), 1.0)
    noise = np.where(read, found.ratio_variance, np.inf) / ratio**2
    weight = prior / (prior + np.maximum(noise, 1e-12))
    worn = (visits.x @ design.gather) * np.maximum(found.rate, 0.0)
    share = np.zeros((len(machines), kept.size))
    total = worn.sum(axis=1)
    below = np.bincount(visits.machine, total**2, len(machines))
    for at, season in enumerate(kept):
        above = np.bincount(visits.machine, total * worn[:, season], len(machines))
        share[:, at] = above / np.where(below > 0, below, 1.0)
    return FleetModel(
        seasons=tuple(names[k] for k in kept),
        level=level,
        covariance=covariance,
        machines=machines,
        machine_mean=weight * (np.log(ratio) + np.where(read, prior / 2.0, 0.0)),
        machine_variance=prior * (1.0 - weight) + 1e-12,
        machine_slope=-weight[:, None] * share,
        machine_sd=found.machine_sd,
        piece_sd=found.piece_sd,
        spread=spread_posterior(level, covariance, season_spread),
    )


def _assumed(
    found: _Moments, gauge_sd: float, names: tuple[str, ...], sure: npt.NDArray[np.bool_]
) -> tuple[Assumption, ...]:
    """Say what the samples do not tell."""
    notes = list(sds_assumed((found.told[0], True)))
    if not found.told[1]:
        why = "samples too small or all of about one age: piece and offset sd can't be told apart"
        notes.append(Assumption("piece sd", f"{PIECE_SD:g}", why))
    if not found.told_offset:
        why = "the samples are all of about one age: offset and rate can't be told apart"
        notes.append(Assumption("offset", f"0 mm, give or take {OFFSET_ERROR}", why))
    if gauge_sd <= 0:
        why = "no gauge_sd_mm in the part type: the offset's sd contains the gauge error"
        notes.append(Assumption("gauge sd", "not known", why))
    for name, known in zip(names, sure, strict=True):
        if not known:
            why = "its samples are too few or too early to tell"
            notes.append(Assumption(f"level of season {name}", "from the other seasons", why))
    return tuple(notes)
