"""The failure modes that the life model tells: shape and scale a duty group, from lives or counts.

Groups of one part type are pooled towards its one prior, so that splitting a fleet into groups does
not multiply the forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtri

from forecast.jobs.paper import bare_curve, failed_and_running, fitted_curve, posterior_curve
from forecast.life.counts import CountFit, fit_counts
from forecast.life.covariates import fit_life_covariates
from forecast.life.likelihood import maximise
from forecast.life.lives import Lives
from forecast.life.posterior import (
    DEFAULT_PRIOR,
    ShapePrior,
    pooled_draws,
    pooled_prior,
    posterior_draws,
)
from forecast.life.weibull import WeibullFit, fit_weibull

Array = npt.NDArray[np.float64]
Key = tuple[str, str]

TABLE_DRAWS: Final = 4000
ENOUGH: Final = 20
FEWEST_OTHERS: Final = 3


@dataclass(frozen=True, eq=False)
class ModeFit:
    """One failure mode of one part type: a shape and a scale for each duty group.

    Attributes
    ----------
    mode
        The failure mode, as the log has it.
    groups
        Duty groups, in the order of the rows of ``scale``.
    shape, scale
        Posterior draws [groups, draws]; scale in hours.
    """

    mode: str
    groups: tuple[str, ...]
    shape: Array
    scale: Array

    def of(self, group: str) -> tuple[Array, Array]:
        """Return the draws of shape and scale of one duty group, each [draws]."""
        row = self.groups.index(group)
        return self.shape[row], self.scale[row]


@dataclass
class Book:
    """Rows of the result tables while they are gathered.

    Attributes
    ----------
    closed
        Nobody reads the tables of lives: what only they and the plots need is left out.
    """

    life: list[dict[str, object]] = field(default_factory=list)
    wear: list[dict[str, object]] = field(default_factory=list)
    machines: list[pd.DataFrame] = field(default_factory=list)
    points: list[pd.DataFrame] = field(default_factory=list)
    assumed: list[dict[str, object]] = field(default_factory=list)
    checks: list[dict[str, object]] = field(default_factory=list)
    closed: bool = False

    def assume(self, what: str, value: object, why: str, effect: str) -> None:
        """Add one thing that was assumed: what, its value, why, and its effect."""
        self.assumed.append({"what": what, "value": str(value), "why": why, "effect": effect})

    def check(
        self,
        key: tuple[str, str, str],
        check: str,
        value: float,
        low: float,
        high: float,
        says: str,
    ) -> None:
        """Add one check of a part type, duty group and mode: a number, and what it says."""
        row: dict[str, object] = dict(zip(("part_type", "duty_group", "mode"), key, strict=True))
        ends = {"value": value, "value_low": low, "value_high": high}
        self.checks.append(row | {"check": check} | ends | {"says": says})


def shape_prior(part: object) -> ShapePrior:
    """Return the prior on a part type's shape: its own columns, else the stated default.

    Parameters
    ----------
    part
        A row of ``Snapshot.part_types``.
    """
    centre = number(getattr(part, "prior_shape", None))
    low = number(getattr(part, "prior_shape_low", None))
    high = number(getattr(part, "prior_shape_high", None))
    source = getattr(part, "prior_source", None)
    if low is not None and high is not None:
        middle = centre if centre is not None else float(np.sqrt(low * high))
        why = f"part type's own, {low:g} to {high:g}"
        return ShapePrior(middle, float(np.log(high / low)) / 3.29, _with_source(why, source))
    if centre is not None:
        return ShapePrior(
            centre, DEFAULT_PRIOR.log_sd, _with_source(f"part type's own, about {centre:g}", source)
        )
    return DEFAULT_PRIOR


def prior_from_others(name: str, lives: pd.DataFrame) -> ShapePrior | None:
    """Return the prior that other part types' failures give, for a type that states none.

    Groups (part type, duty, mode) with ten failures or more tell it, worn ends aside; the type's
    own lives don't, or they would count twice.

    Parameters
    ----------
    name
        The part type.
    lives
        ``Snapshot.lives``.
    """
    others = lives[lives["part_type"] != name]
    parts = []
    for _, rows in others.groupby(["part_type", "duty_group"], sort=True):
        parts += [lives_of(rows, mode) for mode in _modes(rows["mode"], worn_by_wear=True)]
    if len(parts) < FEWEST_OTHERS:
        return None
    joined = Lives(
        *(np.concatenate([getattr(own, end) for own in parts])
          for end in ("lower", "upper", "entry", "weight"))
    )  # fmt: skip
    index = np.repeat(np.arange(len(parts)), [len(own) for own in parts])
    found = pooled_prior(maximise(joined, index, len(parts)))
    if found is None:
        return None
    return ShapePrior(found.centre, found.log_sd, f"other part types: {found.why}")


def _with_source(why: str, source: object) -> str:
    return f"{why} ({source})" if isinstance(source, str) and source else why


def lives_of(rows: pd.DataFrame, mode: str) -> Lives:
    """Return the lives of one mode: other ends are suspensions at the last age known alive.

    Parameters
    ----------
    rows
        Rows of ``Snapshot.lives``.
    mode
        The failure mode that counts as the end.
    """
    event = (rows["mode"] == mode).to_numpy()
    lower = rows["lower"].to_numpy(float)
    upper = np.where(event, rows["upper"].to_numpy(float), np.inf)
    seen = watched(rows, mode)
    return Lives(
        lower[seen],
        upper[seen],
        entry=rows["entry"].to_numpy(float)[seen],
        weight=rows["weight"].to_numpy(float)[seen],
    )


def watched(rows: pd.DataFrame, mode: str) -> npt.NDArray[np.bool_]:
    """Rows that :func:`lives_of` keeps: all that were watched for a while, or ended in the mode."""
    event = (rows["mode"] == mode).to_numpy()
    return np.asarray(event | (rows["lower"].to_numpy(float) > rows["entry"].to_numpy(float)))


def fit_life_modes(
    name: str,
    rows: pd.DataFrame,
    worn_by_wear: bool,
    prior: ShapePrior,
    rng: np.random.Generator,
    book: Book,
) -> tuple[ModeFit, ...]:
    """Fit every mode of one part type whose pieces are serialised.

    Parameters
    ----------
    name
        The part type.
    rows
        Its rows of ``Snapshot.lives``.
    worn_by_wear
        The wear model tells 'worn': those ends are suspensions here.
    prior
        On the shape, once for the part type.
    rng
        For the posterior draws.
    book
        Takes the rows of the tables.

    Returns
    -------
    tuple of ModeFit
        One a mode; a part type without failures gets 'broken', drawn from prior and exposure.
    """
    groups = sorted(set(rows["duty_group"]))
    fits = []
    modes = _modes(rows["mode"], worn_by_wear)
    for mode in modes or ("broken",):
        lives = [lives_of(rows[rows["duty_group"] == group], mode) for group in groups]
        joined = Lives(
            np.concatenate([each.lower for each in lives]),
            np.concatenate([each.upper for each in lives]),
            entry=np.concatenate([each.entry for each in lives]),
            weight=np.concatenate([each.weight for each in lives]),
        )
        index = np.repeat(np.arange(len(groups)), [len(each.lower) for each in lives])
        if not len(joined.lower):
            continue
        common, scale = pooled_draws(joined, index, len(groups), prior, TABLE_DRAWS, rng)
        shape = np.tile(common, (len(groups), 1))
        for g in _own_shapes(lives, joined, index):
            shape[g], scale[g] = posterior_draws(lives[g], prior, TABLE_DRAWS, rng)
        fits.append(ModeFit(mode, tuple(groups), shape, scale))
        for g, group in enumerate(() if book.closed else groups):
            in_group = rows[rows["duty_group"] == group]
            key = name, group, mode if modes else ""
            label = f"{name} {group}" if len(groups) > 1 and group else name
            draws = shape[g], scale[g]
            fit = _life_row(book, key, lives[g], _counted(in_group), prior, draws)
            book.points.append(failed_and_running(label, mode, lives[g], in_group))
            book.points.append(bare_curve(label, mode, lives[g]))
            oldest = float(lives[g].lower.max(initial=1.0))
            book.points.append(
                posterior_curve(label, mode, draws, oldest, lives[g].failures)
                if fit is None
                else fitted_curve(label, mode, fit)
            )
    return tuple(fits)


def _counted(rows: pd.DataFrame) -> int:
    """Count the pieces behind rows: one whose reason is shared out has several."""
    return round(float(rows["weight"].sum()))


def _own_shapes(lives: Sequence[Lives], joined: Lives, index: npt.NDArray[np.int64]) -> list[int]:
    """Find the groups that keep a shape of their own: many failed, one shape fits badly.

    A likelihood-ratio test at 5 % of one shape against a shape each, scales free in both.
    """
    maxima = maximise(joined, index, len(lives))
    many = np.flatnonzero(maxima.found & (maxima.failures >= ENOUGH))
    if many.size < 2:
        return []
    told = np.isin(index, many)
    by_group = pd.DataFrame({"group": [f"{own:06d}" for own in index[told]]})
    common = fit_life_covariates(joined.only(told), by_group)
    gain = 2 * (maxima.log_likelihood[many].sum() - common.log_likelihood)
    return many.tolist() if common.state == "fitted" and gain > chdtri(many.size - 1, 0.05) else []


def _life_row(
    book: Book,
    key: tuple[str, str, str],
    lives: Lives,
    pieces: int,
    prior: ShapePrior,
    draws: tuple[Array, Array],
) -> WeibullFit | None:
    """One row of the life table: the likelihood's where failures are many, else the posterior's.

    Returns the fit where the row is the likelihood's.
    """
    row: dict[str, object] = dict(zip(("part_type", "duty_group", "mode"), key, strict=True))
    row |= {"lives": pieces, "failures": lives.failures}
    fit = fit_weibull(lives)
    if lives.failures >= ENOUGH and fit.state == "fitted":
        row |= {"state": "fitted", "shape": fit.shape, "scale": fit.scale, "b10": fit.b_life(10)}
        for of in ("shape", "scale", "b10"):
            row[f"{of}_low"], row[f"{of}_high"] = fit.interval(of, level=0.90)
        book.life.append(row | {"prior": _prior_said(book, key, prior, fit.shape)})
        return fit
    row |= {"state": "leans_on_prior" if lives.failures else "lower_bound_only"}
    row |= _posterior(draws, lives.failures)
    book.life.append(row | {"prior": _prior_said(book, key, prior, float(np.median(draws[0])))})
    return None


def _prior_said(book: Book, key: tuple[str, str, str], prior: ShapePrior, shape: float) -> str:
    """Write the prior for the row; where the lives disagree with it, say so there and aloud."""
    if not prior.disagrees(shape):
        return str(prior)
    book.assume(
        f"{key[0]} {key[2]}: shape prior",
        str(prior),
        f"the logs disagree: they say about {shape:.2g}",
        "ask why; with few failures the result leans on the prior all the same",
    )
    return f"{prior}; the logs disagree"


def fit_count_modes(
    name: str,
    counts: pd.DataFrame,
    worn_by_wear: bool,
    prior: ShapePrior,
    rng: np.random.Generator,
    count_fits: dict[Key, CountFit],
    book: Book,
) -> tuple[ModeFit, ...]:
    """Fit every mode of one part type whose sets are only counted.

    Parameters
    ----------
    name
        The part type.
    counts
        Its rows of ``Snapshot.counts``.
    worn_by_wear, prior, rng, book
        As for :func:`fit_life_modes`.
    count_fits
        Takes, by part type and duty group, the fit with most failures: it tells the cohort ages.

    Returns
    -------
    tuple of ModeFit
        One a mode.
    """
    groups = sorted(set(counts["duty_group"]))
    modes = _modes(counts["mode"], worn_by_wear) or ("broken",)
    fits = []
    for mode in modes:
        scales, shapes, told = [], [], []
        for group in groups:
            rows = counts[(counts["duty_group"] == group) & (counts["mode"] == mode)]
            # rule 7: an unknown age tells nothing of the shape; where no age is known the fleet
            # is taken to be long in use, and its mean life is what the counts tell
            known = rows[rows["start_age"].notna()]
            fit = (
                fit_counts(known, "new", prior)
                if len(known)
                else fit_counts(rows, "stationary", prior)
            )
            if fit.state == "no_fit":
                book.life.append(_unfitted(name, group, mode, rows, prior))
                continue
            best = count_fits.get((name, group))
            if best is None or fit.failures > best.failures:
                count_fits[name, group] = fit
            shape, scale = fit.draws(TABLE_DRAWS, int(rng.integers(2**31)))
            shapes.append(shape)
            scales.append(scale)
            told.append(group)
            if book.closed:
                continue
            _count_row(book, name, group, mode, fit, rows, prior, (shape, scale))
            oldest = float(fit.ages()["age"].max())
            book.points.append(posterior_curve(name, mode, (shape, scale), oldest, fit.failures))
        if told:
            fits.append(ModeFit(mode, tuple(told), np.stack(shapes), np.stack(scales)))
    return tuple(fits)


def _count_row(
    book: Book,
    name: str,
    group: str,
    mode: str,
    fit: CountFit,
    rows: pd.DataFrame,
    prior: ShapePrior,
    draws: tuple[Array, Array],
) -> None:
    """Add the row of a set that is only counted: lives are positions and replacements."""
    row = _unfitted(name, group, mode if fit.failures else "", rows, prior)
    row["prior"] = _prior_said(book, (name, group, mode), prior, float(np.median(draws[0])))
    book.life.append(row | {"state": fit.state} | _posterior(draws, fit.failures))


def _unfitted(
    name: str, group: str, mode: str, rows: pd.DataFrame, prior: ShapePrior
) -> dict[str, object]:
    units = rows.groupby("unit", sort=True)["positions"].max().sum()
    return {
        "part_type": name,
        "duty_group": group,
        "mode": mode,
        "lives": float(units + rows["replaced"].sum() + rows["others"].sum()),
        "failures": float(rows["replaced"].sum()),
        "state": "no_fit",
        "prior": str(prior),
    }


def _posterior(draws: tuple[Array, Array], failures: float) -> dict[str, float]:
    """Return median and 90 % interval of shape, scale and B10 from draws.

    Without a failure the upper tail would be the prior's own: only the lower bounds say something.
    """
    shape, scale = draws
    b10 = scale * (-np.log(0.9)) ** (1 / shape)
    row: dict[str, float] = {}
    for of, values in (("shape", shape), ("scale", scale), ("b10", b10)):
        low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
        row |= {of: middle, f"{of}_low": low, f"{of}_high": high}
    if failures == 0:
        row |= {of: np.nan for of in ("scale", "scale_high", "b10", "b10_high")}
    return row


def _modes(column: pd.Series[str], worn_by_wear: bool) -> tuple[str, ...]:
    """Modes seen, sorted; 'worn' is the wear model's where there is one."""
    seen = {str(mode) for mode in column if mode}
    return tuple(sorted(seen - ({"worn"} if worn_by_wear else set())))


def number(value: object) -> float | None:
    """Return a cell as a float, or None where it is empty."""
    if value is None or not isinstance(value, (int, float, np.number)) or np.isnan(float(value)):
        return None
    return float(value)
