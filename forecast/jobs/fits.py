"""Fits every group of a snapshot: what the logs say of lives and of wear.

A part type with readings has two kinds of end: 'worn to limit', which the wear model tells, and
the other failure modes, which the life model tells. Without readings every mode is the life
model's. Worn change-outs are suspensions of the other modes either way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

import pandas as pd

from forecast.jobs.causes import share_out, unlogged_said
from forecast.jobs.checks import check_counts, check_fit, wear_shapes
from forecast.jobs.growth import Growth, growths
from forecast.jobs.modes import (
    Book,
    Key,
    ModeFit,
    fit_count_modes,
    fit_life_modes,
    lives_of,
    number,
    prior_from_others,
    shape_prior,
    watched,
)
from forecast.life.counts import CountFit
from forecast.life.priors import DEFAULT_PRIOR, ShapePrior
from forecast.planning.seeds import generator
from forecast.records.season import EXHIBITS, RESULTS, STUDIES
from forecast.records.snapshot import Snapshot
from forecast.wear.rates import WearFit, fit_wear_sums
from forecast.wear.samples import fit_samples


@dataclass(frozen=True, eq=False)
class Fits:
    """What the logs say, fitted.

    Attributes
    ----------
    wear_fits
        The wear model of each part type and duty group that has readings.
    growth
        How their wear grows: straight or bent, and rates that changed on a day.
    mode_fits
        The failure modes of each part type that the life model tells.
    count_fits
        The fits of sets whose pieces are not serialised, by part type and duty group.
    life, wear, machines, assumed
        Result tables (see ``records.season.RESULTS``).
    life_points
        Exhibit for the life plot.
    life_checks
        How far the life models are to be trusted (``records.season.STUDIES``).
    """

    wear_fits: dict[Key, WearFit]
    growth: tuple[Growth, ...]
    mode_fits: dict[str, tuple[ModeFit, ...]]
    count_fits: dict[Key, CountFit]
    life: pd.DataFrame
    wear: pd.DataFrame
    machines: pd.DataFrame
    life_points: pd.DataFrame
    assumed: pd.DataFrame
    life_checks: pd.DataFrame = field(default_factory=pd.DataFrame)


def fit_all(
    snapshot: Snapshot,
    *,
    season_spread: float | None = None,
    seed: int = 1,
    only: str | None = None,
    tables: bool = True,
) -> Fits:
    """Fit wear and life of every part type and duty group.

    Parameters
    ----------
    snapshot
        What is known.
    season_spread
        Standard deviation of the log wear rate between seasons; None uses the half-normal(0.15)
        prior, updated by the seasons logged.
    seed
        For the posterior draws.
    only
        The only part type to be fitted; None: all.
    tables
        Fill the tables of lives, their checks and the plot; without them the fits are the same.

    Returns
    -------
    Fits
        Models and tables; a group that can't be fitted has a state that says so.
    """
    book = Book(closed=not tables)
    people = _carrying_people(snapshot, book)
    if only is not None:
        names = {str(name) for name in snapshot.part_types["part_type"]}
        people = frozenset(people | (names - {only}))
    wear_fits = _fit_wear(snapshot, people, season_spread, book)
    grown = growths(snapshot, wear_fits)
    for own in grown:
        key = own.part_type, own.duty_group
        wear_fits[key] = replace(wear_fits[key], bend=own.law.bend)
    known = share_out(snapshot.lives)
    for name, count, taken in unlogged_said(known):
        if name in people:
            continue
        what = f"{name}: change-outs that nobody logged"
        book.assume(what, count, taken, "each ends a life between two readings")
    mode_fits: dict[str, tuple[ModeFit, ...]] = {}
    count_fits: dict[Key, CountFit] = {}
    for part in snapshot.part_types.itertuples():
        name = str(part.part_type)
        if name in people:
            continue
        prior = _prior(part, known)
        worn_by_wear = any(key[0] == name and fit.usable for key, fit in wear_fits.items())
        counts = snapshot.counts[snapshot.counts["part_type"] == name]
        lives = known[known["part_type"] == name]
        rng = generator(seed, "life", name)
        if len(counts):
            mode_fits[name] = fit_count_modes(
                name, counts, worn_by_wear, prior, rng, count_fits, book
            )
            if tables:
                check_counts(book, name, counts)
        elif len(lives):
            mode_fits[name] = fit_life_modes(name, lives, worn_by_wear, prior, rng, book)
            if tables:
                _check_lives(book, name, lives, mode_fits[name], prior)
    if tables:
        wear_shapes(book, wear_fits, known)
    return Fits(
        wear_fits=wear_fits,
        growth=grown,
        mode_fits=mode_fits,
        count_fits=count_fits,
        life=_table(book.life, RESULTS["life"]),
        wear=_table(book.wear, RESULTS["wear"]),
        machines=_joined(book.machines, RESULTS["machines"]),
        life_points=_joined(book.points, EXHIBITS["life_points"]),
        assumed=_table(book.assumed, RESULTS["assumed"]),
        life_checks=_table(book.checks, STUDIES["life_checks"]),
    )


def _prior(part: object, lives: pd.DataFrame) -> ShapePrior:
    """Return a part type's own shape prior, else that of other types, else the stated default."""
    own = shape_prior(part)
    if own is not DEFAULT_PRIOR:
        return own
    return prior_from_others(str(getattr(part, "part_type", "")), lives) or own


def _check_lives(
    book: Book, name: str, rows: pd.DataFrame, modes: tuple[ModeFit, ...], prior: ShapePrior
) -> None:
    for mode in modes:
        for group, own in rows.groupby("duty_group", sort=True):
            machine = own["machine"].to_numpy(str)[watched(own, mode.mode)]
            key = name, str(group), mode.mode
            check_fit(book, key, lives_of(own, mode.mode), machine, prior)


def _carrying_people(snapshot: Snapshot, book: Book) -> frozenset[str]:
    """Name the part types that carry people, and say that they get no forecast."""
    parts = snapshot.part_types
    names = [str(name) for name in parts.loc[parts["carries_people"].map(_true), "part_type"]]
    for name in names:
        book.assume(
            f"{name}: no forecast",
            "carries people",
            "the life of parts that carry people is set by their own codes",
            "left out of every table",
        )
    return frozenset(names)


# --- wear ----------------------------------------------------------------------------


def _fit_wear(
    snapshot: Snapshot, people: frozenset[str], spread: float | None, book: Book
) -> dict[Key, WearFit]:
    phases = snapshot.wear_seasons()
    seasons = list(phases)
    gauges = dict(
        zip(snapshot.part_types["part_type"], snapshot.part_types["gauge_sd_mm"], strict=True)
    )
    clocks = dict(zip(snapshot.part_types["part_type"], snapshot.part_types["clock"], strict=True))
    cells = snapshot.wear_cells
    fits: dict[Key, WearFit] = {}
    for key, rows in _groups(snapshot.wear):
        if key[0] in people:
            continue
        gauge = number(gauges.get(key[0]))
        own = cells[cells["piece"].isin(rows["piece"])]
        fits[key] = fit_wear_sums(
            rows,
            own,
            seasons,
            gauge_sd=gauge,
            season_spread=spread,
            phases=phases,
            bounds=_bounds(snapshot, key),
        )
    for key, rows in _groups(snapshot.samples):
        if key[0] in people or (key in fits and fits[key].usable):
            continue
        gauge = number(gauges.get(key[0]))
        own = snapshot.sample_cells[snapshot.sample_cells["visit"].isin(rows["visit"])]
        fits[key] = fit_samples(
            rows,
            own,
            seasons,
            gauge_sd=gauge,
            season_spread=spread,
            phases=phases,
            bounds=_bounds(snapshot, key),
        )
    grades = dict(zip(snapshot.part_types["part_type"], snapshot.part_types["grade"], strict=True))
    for (name, group), fit in sorted(fits.items()):
        factor, unit = _rate_unit(clocks.get(name))
        book.wear.append(
            {
                "part_type": name,
                "duty_group": group,
                "grade": grades.get(name),
                "pieces": fit.n_pieces,
                "readings": fit.n_readings,
                "mean_rate": fit.mean_rate * factor,
                "mean_rate_low": fit.mean_rate_low * factor,
                "mean_rate_high": fit.mean_rate_high * factor,
                "rate_unit": unit,
                "machine_sd": fit.machine_sd,
                "piece_sd": fit.piece_sd,
                "gauge_sd_mm": fit.gauge_sd,
                "offset_mm": fit.offset,
                "state": fit.state,
            }
        )
        for thing in fit.assumed:
            book.assume(f"{name}: {thing.what}", thing.value, thing.why, "stands behind its rates")
        if not fit.usable:
            book.assume(
                f"{name}: wear",
                "no rate",
                "its readings show no wear",
                "forecast from failures and change-outs alone",
            )
            continue
        book.machines.append(fit.machines.assign(part_type=name)[list(RESULTS["machines"])])
        book.assume(
            f"{name}: wear differs between seasons by",
            f"{fit.season_spread:.2f} ({fit.season_spread_low:.2f}-{fit.season_spread_high:.2f})",
            fit.season_prior,
            "widens the coming season's demand; state season_spread to override",
        )
        for phase, against, ratio, low, high in fit.phases.itertuples(index=False, name=None):
            book.assume(
                f"{name}: wear in phase {phase}",
                f"{ratio:.2f} times that in {against} ({low:.2f}-{high:.2f})",
                "found in the readings, one ratio for all seasons",
                "the coming season has the phases that `running` plans, else those read",
            )
    return fits


def _bounds(snapshot: Snapshot, key: Key) -> tuple[pd.DataFrame, pd.DataFrame] | None:
    """Return the readings found ok or over of one part type and duty group, if any."""
    found = snapshot.bounds
    mine = (found["part_type"] == key[0]) & (found["duty_group"].fillna("") == key[1])
    own = found[mine].reset_index(drop=True)
    cells = snapshot.bound_cells
    return (own, cells[cells["bound"].isin(own["bound"])]) if len(own) else None


def _rate_unit(clock: object) -> tuple[float, str]:
    """Factor from mm per clock unit, and the unit a person reads."""
    if clock in (None, "hours") or not isinstance(clock, str):
        return 1e3, "um/h"
    return 1e6, f"um/1000 {clock}"


def _groups(frame: pd.DataFrame) -> Iterator[tuple[Key, pd.DataFrame]]:
    for (name, group), rows in frame.groupby(["part_type", "duty_group"], sort=True):
        yield (str(name), str(group)), rows


def _table(rows: Iterable[dict[str, object]], columns: tuple[str, ...]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(columns))


def _joined(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    if not frames:
        return pd.DataFrame(columns=list(columns))
    return pd.concat(frames, ignore_index=True)[list(columns)]


def _true(value: object) -> bool:
    return bool(value) and value is not pd.NA and value == value
