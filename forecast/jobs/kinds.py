"""Two kinds of parts that do the same job, compared: how long they live, how fast they wear.

Each thing that is compared is one function of two :class:`Sides`; :data:`COMPARED` lists them, so
that another (a wear rate beside a life) joins by one line.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.causes import share_out
from forecast.jobs.fits import Fits
from forecast.jobs.modes import shape_prior
from forecast.jobs.names import nearest
from forecast.jobs.rate_law import rate_pieces
from forecast.life.lives import Array, BoolArray, Lives
from forecast.life.spread import life_ratio
from forecast.life.weibull import fit_weibull
from forecast.planning.seeds import generator
from forecast.records.snapshot import Snapshot
from forecast.wear.ratio import rate_ratio

By = Literal["grade", "batch"]

FEWEST_PAIRS: Final = 2
"""Machines that had both kinds from which on only they tell the ratio."""

DRAWS: Final = 1000
"""Season paths behind what a difference is worth."""

SEED: Final = 1


@dataclass(frozen=True, eq=False)
class Sides:
    """Lives of two kinds of parts that do the same job.

    Attributes
    ----------
    snapshot
        What is known.
    by, a, b
        What tells the kinds apart, and their names.
    lives
        Rows of ``Snapshot.lives`` of either kind with ``place`` and ``second`` (of kind b), of
        part types that do the same job.
    types_a, types_b
        Part types of either kind.
    alike
        Why they are taken to do the same job: they sat in the same places, or have the same form
        and size; empty if neither holds.
    """

    snapshot: Snapshot
    by: By
    a: str
    b: str
    lives: pd.DataFrame
    types_a: frozenset[str]
    types_b: frozenset[str]
    alike: str


@dataclass(frozen=True, eq=False)
class Compared:
    """One ratio, b over a.

    Attributes
    ----------
    ratio, low, high
        With a 90 % interval; NaN where the logs give no number.
    pairs
        Machines that had both kinds; 0: they were compared without.
    adjusted_for
        What was reckoned with.
    extrapolated
        Whether it is used beyond what either kind was seen to do.
    said
        What a reader should know, in sentences.
    changed
        The fits if kind a were kind b, for what that is worth; None where there is no ratio.
    """

    ratio: float
    low: float
    high: float
    pairs: int
    adjusted_for: tuple[str, ...]
    extrapolated: bool
    said: tuple[str, ...]
    changed: Callable[[Fits], Fits] | None = None


def two_sides(snapshot: Snapshot, a: str, b: str, by: By = "grade") -> Sides:
    """Gather the lives of two kinds of parts that do the same job.

    Parameters
    ----------
    snapshot
        What is known.
    a, b, by
        What tells the kinds apart, and their names.

    Raises
    ------
    NotInStore
        With the nearest name, or with what the two kinds have not in common.
    """
    lives = share_out(snapshot.lives).merge(snapshot.piece_duties, on="piece", how="left")
    for name in (a, b):
        _known(name, by, lives[by].dropna())
    lives = lives[lives[by].isin([a, b])].reset_index(drop=True)
    lives["second"] = (lives[by] == b).to_numpy()
    alike = _alike(lives, snapshot.part_types)
    if alike is None:
        raise NotInStore(
            f"{a} and {b} were never in the same place, and no part types of them have the same "
            "form and size: they cannot be compared",
            "Give form and size in the part types log, or compare others.",
        )
    kept, why = alike
    lives = lives[kept].reset_index(drop=True)
    first, second = (
        frozenset(map(str, lives.loc[lives["second"] == kind, "part_type"]))
        for kind in (False, True)
    )
    return Sides(snapshot, by, a, b, lives, first, second, why)


def compare_lives(sides: Sides) -> Compared:
    """Compare how long two kinds last until they fail.

    A failure is any but wear to the limit where readings tell of wear (wear rates compare that),
    any at all elsewhere. Machines share a multiplier of the hazard, so that a hard machine does
    not count against the kind that sat on it; where machines had both kinds, they alone tell the
    ratio and the others help with the shape.
    """
    rows = sides.lives
    read = set(sides.snapshot.wear["part_type"]) | set(sides.snapshot.samples["part_type"])
    worn = rows["part_type"].isin(read) & (rows["mode"] == "worn")
    event = ((rows["mode"] != "") & ~worn).to_numpy()
    lives = Lives(
        rows["lower"].to_numpy(float),
        np.where(event, rows["upper"].to_numpy(float), np.inf),
        entry=rows["entry"].to_numpy(float),
        weight=rows["weight"].to_numpy(float),
    )
    second = rows["second"].to_numpy(bool)
    machine = rows["machine"].astype(str).to_numpy()
    both = set(machine[second]) & set(machine[~second])
    apart = ~np.isin(machine, sorted(both))
    told = second & ~apart, ~second & ~apart
    paired = len(both) >= FEWEST_PAIRS and any(lives.only(side).failures > 0 for side in told)
    prior = shape_prior(_part(sides.snapshot, min(sides.types_a)))
    found = life_ratio(lives, second, machine, prior, apart if paired else None)
    counted = [lives.only(side).failures for side in (~second, second)]
    said = [
        f"{counted[0]:.0f} of {sides.a} and {counted[1]:.0f} of {sides.b} failed"
        + (" other than by wear to the limit" if worn.any() or rows["part_type"].isin(read).any()
           else "")
        + (f"; {len(both)} machines had both" if both else "; no machine had both")
    ]  # fmt: skip
    said += _said(sides, found.state, paired, found.low, found.high)
    changed = None
    if np.isfinite(found.ratio):
        scale = _ratio_draws(found.ratio, found.low, found.high)
        changed = scaled_modes(sides.types_a, scale)
    return Compared(
        ratio=found.ratio,
        low=found.low,
        high=found.high if np.isfinite(found.high) else np.nan,
        pairs=len(both) if paired else 0,
        adjusted_for=("machine",) if found.state != "no_fit" else (),
        extrapolated=_beyond(lives, second),
        said=tuple(said),
        changed=changed,
    )


def compare_rates(sides: Sides) -> Compared | None:
    """Compare how fast two kinds wear at equal duty, machine by machine where both ran.

    Readings of all part types that either kind sat in count; pressure, speed, temperature, medium
    and size are held equal where they differ within the logs.
    """
    types = sorted(sides.types_a | sides.types_b)
    pieces = rate_pieces(sides.snapshot, types)
    if sides.by != "grade":
        of_piece = sides.lives.drop_duplicates("piece").set_index("piece")[sides.by]
        pieces = pieces.assign(**{sides.by: pieces["piece"].map(of_piece)})
    counted = [int((pieces[sides.by] == side).sum()) for side in (sides.a, sides.b)]
    if not all(counted):
        return None
    gauges = pieces["gauge_sd_mm"].astype(float).dropna()
    gauge = float(np.sqrt((gauges**2).mean())) if len(gauges) else None
    found = rate_ratio(pieces, sides.a, sides.b, by=sides.by, gauge_sd=gauge)
    said = [f"{counted[0]} pieces of {sides.a} and {counted[1]} of {sides.b} have readings"]
    if np.isnan(found.ratio):
        said.append("what tells them apart goes hand in hand with their duty: no ratio")
    elif found.low <= 1 <= found.high:
        said.append("the range holds 1: these readings do not show a difference")
    if not found.pairs:
        said.append("no machine had both: which machine had which kind is part of the ratio")
    if found.extrapolated:
        said.append("they ran under duties that do not overlap: the ratio leans on the regression")
    changed = None
    if np.isfinite(found.ratio):
        scale = _ratio_draws(found.ratio, found.low, found.high)
        changed = scaled_rates(sides.types_a, scale)
    return Compared(
        ratio=found.ratio,
        low=found.low,
        high=found.high,
        pairs=found.pairs,
        adjusted_for=("machine", *found.adjusted_for) if np.isfinite(found.ratio) else (),
        extrapolated=found.extrapolated,
        said=tuple(said),
        changed=changed,
    )


COMPARED: Final[Mapping[str, Callable[[Sides], Compared | None]]] = {
    "life": compare_lives,
    "wear rate": compare_rates,
}
"""What is compared, by its name in the result; None: the logs tell nothing of it."""


def scaled_modes(part_types: frozenset[str], ratio: Array) -> Callable[[Fits], Fits]:
    """Return what makes fits those of parts that last ``ratio`` times as long.

    Parameters
    ----------
    part_types
        Whose failures come later.
    ratio
        Draws of the ratio of lives; dealt to the draws of the fits.
    """

    def change(fits: Fits) -> Fits:
        modes = dict(fits.mode_fits)
        for name in sorted(part_types & set(modes)):
            modes[name] = tuple(
                replace(mode, scale=mode.scale * np.resize(ratio, mode.scale.shape[1]))
                for mode in modes[name]
            )
        return replace(fits, mode_fits=modes)

    return change


def scaled_rates(part_types: frozenset[str], ratio: Array) -> Callable[[Fits], Fits]:
    """Return what makes fits those of parts that wear ``ratio`` times as fast from now on.

    Parameters
    ----------
    part_types
        Whose rates change.
    ratio
        Draws of the ratio of rates; dealt to the paths.
    """

    def change(fits: Fits) -> Fits:
        wear = {
            key: fit.faster(ratio) if key[0] in part_types else fit
            for key, fit in fits.wear_fits.items()
        }
        return replace(fits, wear_fits=wear)

    return change


def _said(sides: Sides, state: str, paired: bool, low: float, high: float) -> list[str]:
    """Say in sentences what a ratio is worth."""
    said = []
    if sides.alike != "places":
        said.append("they never sat in the same place; taken as alike by form and size")
    if not paired and state != "no_fit":
        said.append("compared across machines: which machine had which kind is part of the ratio")
    if state == "no_fit":
        said.append("nothing failed on either side: no ratio")
    elif state == "lower_bound_only":
        said.append(f"no failure of {sides.b}: only the low end of the ratio is known")
    elif state == "upper_bound_only":
        said.append(f"no failure of {sides.a}: only the high end of the ratio is known")
    elif low <= 1 <= high:
        said.append("the range holds 1: these lives do not show a difference")
    if state == "leans_on_prior":
        said.append("fewer than 20 failures on one side: take the range, not its middle")
    return said


def _beyond(lives: Lives, second: BoolArray) -> bool:
    """Say whether one kind's oldest is younger than the age by which 1 in 10 of the other fail."""
    for own, other in ((second, ~second), (~second, second)):
        fit = fit_weibull(lives.only(other))
        if fit.state == "fitted" and lives.only(own).oldest < fit.b_life(10):
            return True
    return False


def _ratio_draws(ratio: float, low: float, high: float) -> Array:
    """Draws of a ratio: normal on the log scale to either side, with its 5 and 95 % points."""
    z = generator(SEED, "versus", "life").standard_normal(DRAWS)
    down = np.log(ratio / low) / 1.645 if low > 0 else np.log(3.0)
    up = np.log(high / ratio) / 1.645 if np.isfinite(high) else np.log(3.0)
    return np.asarray(ratio * np.exp(np.where(z < 0, down, up) * z))


def _alike(lives: pd.DataFrame, part_types: pd.DataFrame) -> tuple[BoolArray, str] | None:
    """Rows of part types that do the same job on both sides, and by what that is known."""
    spot = lives["machine"].astype(str) + "\0" + lives["place"].astype(str)
    second = lives["second"].to_numpy(bool)
    shared = set(spot[second]) & set(spot[~second])
    if shared:
        types = set(lives.loc[spot.isin(shared), "part_type"])
        return lives["part_type"].isin(types).to_numpy(bool), "places"
    kinds = part_types.dropna(subset=["form", "size"])
    job_of = {
        str(name): f"{form!s}\0{size!s}"
        for name, form, size in zip(kinds["part_type"], kinds["form"], kinds["size"], strict=True)
    }
    job = lives["part_type"].map(job_of)
    shared = (set(job[second]) & set(job[~second])) - {np.nan}
    shared = {each for each in shared if isinstance(each, str)}
    return (job.isin(shared).to_numpy(bool), "form and size") if shared else None


def _part(snapshot: Snapshot, name: str) -> object:
    rows = snapshot.part_types[snapshot.part_types["part_type"] == name]
    return next(rows.itertuples(), None)


def _known(name: str, by: By, column: pd.Series[str]) -> None:
    known = sorted({str(value) for value in column if value})
    if name in known:
        return
    way_out = f"Known: {', '.join(known)}." if known else _none_known(by)
    raise NotInStore(f"no life of {by} {name!r} in the logs", way_out, nearest=nearest(name, known))


def _none_known(by: By) -> str:
    if by == "grade":
        return "Give each part type its grade in the part types log."
    return "Give the batch of each fitted piece in the change-outs log."
