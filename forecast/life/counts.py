"""Lives from counts of replacements only, and mean cumulative replacements."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.special import gamma, stdtr

from forecast.life.intervals import share_of
from forecast.life.likelihood import FEWEST_FAILURES
from forecast.life.lives import Array
from forecast.life.priors import DEFAULT_PRIOR, EVENTS, HOURS, ShapePrior
from forecast.life.weekly import Start, Weeks, follow, lay_out

if TYPE_CHECKING:
    import pandas as pd

_STENCIL: Final = np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1], [1, 1], [-1, -1]], float)
_SPACING: Final = 0.01
_MOST_STEPS: Final = 60
_NO_GAIN: Final = 1e-6  # log-likelihood a step must promise to be taken; the filter has kinks
_DRAWS: Final = 20_000
_GUESSED_SHAPE: Final = 1.5

Target = Callable[[Array], Array]


@dataclass(frozen=True, eq=False)
class CountFit:
    """A Weibull law of life from counts of replacements.

    Attributes
    ----------
    shape, scale
        The law, scale in hours; NaN in state ``no_fit`` and ``lower_bound_only``.
    mean_life
        scale * Gamma(1 + 1 / shape); with a stationary start it is what the counts really tell.
    failures
        Number replaced.
    state
        ``fitted`` (greatest likelihood); ``leans_on_prior`` (a prior was given and fewer than 20
        were replaced, or the start is stationary: the shape then comes mostly from the prior);
        ``lower_bound_only`` (none replaced); ``no_fit``.
    start
        ``new`` or ``stationary``: what was assumed of pieces whose start age is not known.
    prior
        Prior of the shape that was used or would be; None for none.
    log_likelihood
        At (shape, scale), of the counts alone.
    """

    shape: float
    scale: float
    mean_life: float
    failures: float
    state: Literal["fitted", "leans_on_prior", "lower_bound_only", "no_fit"]
    start: Start
    prior: ShapePrior | None
    log_likelihood: float
    _weeks: Weeks = field(repr=False)
    _at: Array = field(repr=False)
    _curvature: Array = field(repr=False)

    def draws(self, n: int, seed: int | np.random.Generator) -> tuple[Array, Array]:
        """Draw laws that the counts allow.

        Parameters
        ----------
        n
            Number of draws.
        seed
            Seed or generator: the same seed gives the same draws.

        Returns
        -------
        (shape, scale)
            [n] each, drawn together: log shape is normal about its mode, and given it the
            expected failures by the largest age are gamma, both with the curvature observed there.

        Raises
        ------
        ValueError
            In state ``no_fit``.
        """
        if self.state == "no_fit":
            raise ValueError(f"no law to draw from: state is no_fit ({self.failures:g} replaced)")
        rng = np.random.default_rng(seed)
        (bb, bx), (_, xx) = self._curvature
        log_shape = self._at[0] + rng.standard_normal(n) / np.sqrt(bb - bx**2 / xx)
        mode = self._at[1] - bx / xx * (log_shape - self._at[0])
        rate = np.exp(mode) * rng.gamma(xx, 1.0, n) / xx
        return _law(np.log(np.maximum(rate, 1e-300)), log_shape, self._weeks.oldest)

    def interval(self, of: str = "shape", level: float = 0.90) -> tuple[float, float]:
        """Give a two-sided interval.

        Parameters
        ----------
        of
            ``shape``, ``scale``, ``mean_life``, or ``b10``, ``b1``, ...
        level
            Share of such intervals that hold the truth.

        Returns
        -------
        (low, high)
            Quantiles of the draws. Where none was replaced the high end is infinite; NaN where
            there is no fit.
        """
        if not 0 < level < 1:
            raise ValueError(f"level must lie between 0 and 1 but is {level!r}")
        share = None if of == "mean_life" else share_of(of)
        if self.state == "no_fit":
            return np.nan, np.nan
        shape, scale = self._posterior
        if of == "mean_life":
            value = scale * gamma(1 + 1 / shape)
        else:
            value = shape if share is None else scale * (-np.log1p(-share)) ** (1 / shape)
        low, high = np.quantile(value, [(1 - level) / 2, (1 + level) / 2])
        return float(low), np.inf if self.state == "lower_bound_only" else float(high)

    def ages(self) -> pd.DataFrame:
        """Ages expected in service at the end of the last week.

        Returns
        -------
        DataFrame
            machine (and unit before it, where the counts have it), age, quantity: one row a
            cohort, youngest first; quantities are expected numbers, not whole ones, and sum to
            the positions of the unit.
        """
        import pandas as pd

        log_shape, log_rate = self._at[:1], self._at[1:]
        shape, scale = _law(log_rate, log_shape, max(self._weeks.oldest, 1.0))
        end = follow(self._weeks, shape, scale, self.start)
        age, quantity = end.age[0, :, ::-1], end.quantity[0, :, ::-1]
        unit, cohort = np.nonzero(quantity > 1e-9)
        table = self._weeks.units.iloc[unit].reset_index(drop=True)
        found = {"age": age[unit, cohort], "quantity": quantity[unit, cohort]}
        return pd.concat([table, pd.DataFrame(found)], axis=1)

    @cached_property
    def _posterior(self) -> tuple[Array, Array]:
        return self.draws(_DRAWS, _DRAWS)


def fit_counts(
    counts: pd.DataFrame, start: Start = "new", prior: ShapePrior | None = None
) -> CountFit:
    """Fit a Weibull law of life to counts of replacements, where pieces have no identity.

    Parameters
    ----------
    counts
        One row a machine and week: machine, week (anything that sorts), hours run, positions,
        replaced (NaN: nobody has looked yet, such hours only add to the ages). Optional: unit
        (several sets on a machine), others (replaced for another reason), start_age (hours at the
        unit's first week).
    start
        What pieces without a start age are taken to be before their first week: ``new``, or of
        the ages of a fleet in which replacements have long been going on (``stationary``). Taking
        an old fleet for new spoils the shape; with ``stationary`` only the mean life is well
        determined, so a shape prior is always used (the default one if none is given).
    prior
        Prior of the shape, used below 20 replacements.

    Returns
    -------
    CountFit
        Its ``state`` says what it is worth.

    Raises
    ------
    ValueError
        For counts that lack a column, repeat a week, or hold a number that cannot be; for a start
        that is neither.
    """
    if start not in ("new", "stationary"):
        raise ValueError(f"start must be 'new' or 'stationary' but is {start!r}")
    weeks = lay_out(counts)
    if start == "stationary" and not np.isnan(weeks.start).any():
        start = "new"  # every start age is known
    if start == "stationary" and prior is None:
        prior = DEFAULT_PRIOR
    failures = float(np.nansum(weeks.replaced))
    at = _guess(weeks, prior)
    if weeks.oldest <= 0 or (failures == 0 and prior is None):
        return _count_fit(weeks, start, prior, at, None, leaning=False)
    few = failures < FEWEST_FAILURES
    leaning = prior is not None and (few or start == "stationary")
    top, curvature = _climb(_target(weeks, start, prior if leaning else None, few), at)
    if curvature is None and prior is not None and not leaning:  # no maximum without it
        leaning = True
        top, curvature = _climb(_target(weeks, start, prior, True), at)
    return _count_fit(weeks, start, prior, top, curvature, leaning=leaning)


def mean_cumulative(events: pd.DataFrame) -> pd.DataFrame:
    """Mean cumulative number of events a system, with a robust variance.

    Parameters
    ----------
    events
        One row each: system, time, kind: ``start`` (watching begins; at time 0 if there is no such
        row), ``event``, ``end`` (watching ends). A system is at risk after its start and up to and
        with its end, and may start again.

    Returns
    -------
    DataFrame
        One row a time at which an event happened: time, mcf (sum of events / systems at risk) and
        variance (sum over systems of their squared sums of (own events - mean) / at risk; it holds
        whether or not the events of a system depend on each other). Lawless and Nadeau 1995.

    Raises
    ------
    ValueError
        For a missing column, another kind, a system without an end, or an event outside the time
        its system was watched.
    """
    import pandas as pd

    missing = [name for name in ("system", "time", "kind") if name not in events.columns]
    if missing:
        raise ValueError(f"events lack {', '.join(missing)}")
    unknown = events.loc[~events["kind"].isin(["start", "event", "end"]), "kind"]
    if len(unknown):
        raise ValueError(f"kind must be start, event or end but is {unknown.iloc[0]!r}")
    number, names = pd.factorize(events["system"], sort=True)
    time, kind = events["time"].to_numpy(np.float64), events["kind"].to_numpy()
    at = np.unique(time[kind == "event"])
    watched = np.zeros((len(names), at.size), np.bool_)
    own = np.zeros((len(names), at.size))
    for system, name in enumerate(names):
        mine = number == system
        start, event, end = (time[mine & (kind == what)] for what in ("start", "event", "end"))
        watched[system] = _watched(at, start, end, f"system {name!r}")
        np.add.at(own[system], np.searchsorted(at, event), 1.0)
        unseen = (own[system] > 0) & ~watched[system]
        if unseen.any():
            raise ValueError(f"system {name!r} was not watched at its event at {at[unseen][0]:g}")
    at_risk = watched.sum(axis=0)
    step = own.sum(axis=0) / at_risk
    influence = np.cumsum(watched * (own - step) / at_risk, axis=1)
    return pd.DataFrame(
        {"time": at, "mcf": np.cumsum(step), "variance": (influence**2).sum(axis=0)}
    )


@dataclass(frozen=True)
class Trend:
    """Whether the pace of events changes.

    Attributes
    ----------
    z
        Above 0: events come ever faster. About standard normal if the pace is steady.
    chance
        Of a |z| so large if it is, two-sided; NaN with fewer than three systems with events.
    says
        The same in words.
    """

    z: float
    chance: float
    says: str


def trend_test(events: pd.DataFrame) -> Trend:
    """Test whether the pace of events changes while systems are watched.

    Each system's events are held against the middle of the time it was watched, as in Laplace's
    test; the variance is that of the systems' sums, so events of a system may depend on each
    other (Lawless and Nadeau 1995, from memory). The chance is that of Student's test of those
    sums against 0, which is exact where they are normal.

    Parameters
    ----------
    events
        As for `mean_cumulative`; a system is taken to be watched from its first start (0 without
        one) to its last end.

    Returns
    -------
    Trend
        With its words.
    """
    sums = []
    for _, own in events.groupby("system", sort=True):
        kind, time = own["kind"].to_numpy(), own["time"].to_numpy(np.float64)
        begun = float(time[kind == "start"].min()) if (kind == "start").any() else 0.0
        ended = float(time[kind == "end"].max())
        at = time[kind == "event"]
        if at.size:
            sums.append(float((at - (begun + ended) / 2).sum()))
    total, power = float(np.sum(sums)), float(np.sum(np.square(sums)))
    if len(sums) < 3 or power == 0:
        return Trend(np.nan, np.nan, "too few to tell whether their pace changes")
    z = total / np.sqrt(power)
    count = len(sums)
    student = abs(z) * np.sqrt((count - 1) / max(count - z**2, 1e-12))
    chance = float(2 * stdtr(count - 1, -student))
    if chance >= 0.05:
        return Trend(z, chance, "their pace is steady, as far as can be told")
    return Trend(z, chance, f"they come ever {'faster' if z > 0 else 'slower'}")


def _watched(at: Array, start: Array, end: Array, system: str) -> npt.NDArray[np.bool_]:
    """Whether a system was watched at each time: after a start, up to and with its end."""
    starts, ends = np.sort(start) if start.size else np.zeros(1), np.sort(end)
    if ends.size != starts.size or (ends < starts).any():
        raise ValueError(f"{system} has {starts.size} starts but {ends.size} ends, or out of order")
    inside = (at > starts[:, None]) & (at <= ends[:, None])
    return np.asarray(inside.any(axis=0))


def _law(log_rate: Array, log_shape: Array, oldest: float) -> tuple[Array, Array]:
    """(shape, scale) of the failures expected by the largest age."""
    shape = np.exp(log_shape)
    return shape, oldest * np.exp(np.clip(-log_rate / shape, -600.0, 600.0))


def _target(weeks: Weeks, start: Start, prior: ShapePrior | None, few: bool) -> Target:
    """Log posterior at points [points, (log shape, log expected failures)].

    With few failures the prior is also that of the expected failures.
    """

    def target(points: Array) -> Array:
        shape, scale = _law(points[:, 1], points[:, 0], weeks.oldest)
        value = follow(weeks, shape, scale, start).log_likelihood
        if prior is not None:
            value = value + prior.log_density(points[:, 0])
        if prior is not None and few:
            value = value + EVENTS * points[:, 1] - HOURS * np.exp(points[:, 1])
        return value

    return target


def _guess(weeks: Weeks, prior: ShapePrior | None) -> Array:
    """(log shape, log expected failures) to climb from."""
    shape = prior.centre if prior is not None else _GUESSED_SHAPE
    oldest = max(weeks.oldest, 1.0)
    failures = np.nansum(weeks.replaced) + EVENTS
    ran = (weeks.hours * weeks.positions)[~np.isnan(weeks.replaced)].sum() + 1.0
    rate = ran / (failures * oldest)  # mean life over the largest age, in a long run
    exposure = (weeks.positions[:, :1].sum() if weeks.positions.size else 1.0) + HOURS
    return np.array([np.log(shape), max(-shape * np.log(rate), np.log(failures / exposure))])


def _climb(target: Target, at: Array) -> tuple[Array, Array | None]:
    """Damped Newton steps on a stencil: the top and the curvature there, None if there is none."""
    value, slope, curvature = _look(target, at)
    damping = 0.0
    for _ in range(_MOST_STEPS):
        power, axes = np.linalg.eigh(curvature)
        power = np.maximum(np.abs(power), 1e-3) * (1 + damping)
        step = axes @ ((axes.T @ slope) / power)
        step /= max(1.0, float(np.abs(step).max()))
        there = _look(target, at + step)
        promised = float(slope @ step)
        if there[0] >= value - 1e-10 * abs(value):
            at, (value, slope, curvature), damping = at + step, there, damping / 10
        else:
            damping = max(10 * damping, 1.0)
        if promised < _NO_GAIN or abs(at[0]) > 3:
            break
    top = abs(at[0]) < 3 and np.linalg.eigvalsh(curvature)[0] > 1e-6
    return at, curvature if top else None


def _look(target: Target, at: Array) -> tuple[float, Array, Array]:
    """Value, slope and curvature (of the negative) by differences; all points in one pass."""
    c, r, left, up, down, both, neither = target(at + _SPACING * _STENCIL)
    slope = np.array([r - left, up - down]) / (2 * _SPACING)
    mixed = (both + neither - r - left - up - down + 2 * c) / 2
    second = np.array([[r + left - 2 * c, mixed], [mixed, up + down - 2 * c]])
    return float(c), slope, -second / _SPACING**2


def _count_fit(
    weeks: Weeks,
    start: Start,
    prior: ShapePrior | None,
    at: Array,
    curvature: Array | None,
    *,
    leaning: bool,
) -> CountFit:
    failures = float(np.nansum(weeks.replaced))
    shape, scale = (float(x) for x in _law(at[1], at[0], weeks.oldest))
    state: Literal["fitted", "leans_on_prior", "lower_bound_only", "no_fit"] = "no_fit"
    value = np.nan
    if curvature is not None and failures > 0:
        state = "leans_on_prior" if leaning else "fitted"
        laws = np.array([shape]), np.array([scale])
        value = float(follow(weeks, *laws, start).log_likelihood[0])
    elif curvature is not None:
        state = "lower_bound_only"
    if state in ("no_fit", "lower_bound_only"):
        shape = scale = np.nan
    kept = np.eye(2) if curvature is None else curvature
    mean = float(scale * gamma(1 + 1 / shape))
    return CountFit(shape, scale, mean, failures, state, start, prior, value, weeks, at, kept)
