"""The failure modes that the life model tells: shape and scale a duty group, from lives or counts.

Groups of one part type are pooled towards its one prior, so that splitting a fleet into groups does
not multiply the forecast.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.life.counts import CountFit, fit_counts
from forecast.life.lives import Lives
from forecast.life.posterior import DEFAULT_PRIOR, ShapePrior, pooled_draws
from forecast.life.ranks import plot_points
from forecast.life.weibull import fit_weibull
from forecast.records.season import EXHIBITS

Array = npt.NDArray[np.float64]
Key = tuple[str, str]

TABLE_DRAWS: Final = 4000
ENOUGH: Final = 20
CURVE_POINTS: Final = 60


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
    """Rows of the result tables while they are gathered."""

    life: list[dict[str, object]] = field(default_factory=list)
    wear: list[dict[str, object]] = field(default_factory=list)
    machines: list[pd.DataFrame] = field(default_factory=list)
    points: list[pd.DataFrame] = field(default_factory=list)
    assumed: list[dict[str, object]] = field(default_factory=list)

    def assume(self, what: str, value: object, why: str, effect: str) -> None:
        """Add one thing that was assumed: what, its value, why, and its effect."""
        self.assumed.append({"what": what, "value": str(value), "why": why, "effect": effect})


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
    seen = event | (lower > rows["entry"].to_numpy(float))
    return Lives(
        lower[seen],
        upper[seen],
        entry=rows["entry"].to_numpy(float)[seen],
        weight=rows["weight"].to_numpy(float)[seen],
    )


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
        shape, scale = pooled_draws(joined, index, len(groups), prior, TABLE_DRAWS, rng)
        fits.append(ModeFit(mode, tuple(groups), np.tile(shape, (len(groups), 1)), scale))
        for g, group in enumerate(groups):
            in_group = rows[rows["duty_group"] == group]
            _life_row(
                book,
                name,
                group,
                mode if modes else "",
                lives[g],
                len(in_group),
                prior,
                (shape, scale[g]),
            )
            _points(book, name, group, mode, lives[g], (shape, scale[g]), in_group, len(groups) > 1)
    return tuple(fits)


def _life_row(
    book: Book,
    name: str,
    group: str,
    mode: str,
    lives: Lives,
    pieces: int,
    prior: ShapePrior,
    draws: tuple[Array, Array],
) -> None:
    """One row of the life table: the likelihood's where failures are many, else the posterior's."""
    row: dict[str, object] = {
        "part_type": name,
        "duty_group": group,
        "mode": mode,
        "lives": pieces,
        "failures": lives.failures,
        "prior": prior.why,
    }
    fit = fit_weibull(lives)
    if lives.failures >= ENOUGH and fit.state == "fitted":
        row |= {"state": "fitted", "shape": fit.shape, "scale": fit.scale, "b10": fit.b_life(10)}
        for of in ("shape", "scale", "b10"):
            row[f"{of}_low"], row[f"{of}_high"] = fit.interval(of, level=0.90)
        book.life.append(row)
        return
    row |= {"state": "leans_on_prior" if lives.failures else "lower_bound_only"}
    row |= _posterior(draws, lives.failures)
    book.life.append(row)


def _points(
    book: Book,
    name: str,
    group: str,
    mode: str,
    lives: Lives,
    draws: tuple[Array, Array],
    rows: pd.DataFrame,
    several: bool,
) -> None:
    """Gather what the life plot shows: failed points, the fit and its band, who still runs."""
    label = f"{name} {group}" if several and group else name
    if lives.failures > 0:
        failed = plot_points(lives)
        book.points.append(
            _point_rows(label, mode, "failed", failed["age"].to_numpy(), failed["share"].to_numpy())
        )
    longest = float(lives.lower.max())
    book.points.append(_curve(label, mode, draws, longest))
    running = rows.loc[(rows["mode"] == "") & np.isinf(rows["upper"]), "lower"]
    ticks = (
        np.quantile(running, np.linspace(0, 1, min(len(running), 40))) if len(running) else running
    )
    book.points.append(_point_rows(label, mode, "running", np.asarray(ticks, float)))


def _curve(label: str, mode: str, draws: tuple[Array, Array], longest: float) -> pd.DataFrame:
    shape, scale = draws
    age = np.geomspace(max(longest / 50, 1.0), max(longest * 1.5, 2.0), CURVE_POINTS)
    share = -np.expm1(-((age[:, None] / scale) ** shape))
    low, middle, high = np.quantile(share, [0.05, 0.5, 0.95], axis=1)
    return _point_rows(label, mode, "fit", age, middle, low, high)


def _point_rows(
    label: str,
    mode: str,
    kind: str,
    age: Array,
    share: Array | float = np.nan,
    low: Array | float = np.nan,
    high: Array | float = np.nan,
) -> pd.DataFrame:
    frame = pd.DataFrame({"age": age, "share": share, "low": low, "high": high})
    frame = frame.assign(part_type=label, mode=mode, kind=kind)
    return frame[list(EXHIBITS["life_points"])]


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
            _count_row(book, name, group, mode, fit, rows, prior, (shape, scale))
            book.points.append(_curve(name, mode, (shape, scale), float(fit.ages()["age"].max())))
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
        "prior": prior.why,
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
