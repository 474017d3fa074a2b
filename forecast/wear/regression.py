"""Log wear rate against duty and grade: exponents with intervals, and what they mean.

    log rate = sum of effects (log pressure, log speed, temperature, medium, grade, size)
               + machine + piece,   machine ~ N(0, machine_sd2), piece ~ N(0, piece_sd2)

Two stages: each piece's readings become a *site* (what they say of its log rate, offset
integrated out, single readings included), then restricted maximum likelihood over the sites.
Beside it stands a check by other means: statsmodels' weighted least squares with standard errors
clustered by machine. Rates are compared, so pressure and speed have exponents of their own: 1 and
1 is Archard's law.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.wear.design import Design, covariates, design_of
from forecast.wear.fit import NORMAL_90
from forecast.wear.offsets import gauge_error, offsets
from forecast.wear.reml import matched_site
from forecast.wear.sums import ONE_SEASON, LineSums, cell_sums, wear_sums

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

SWEEPS: Final = 6
COLUMNS: Final = (
    "term",
    "value",
    "value_low",
    "value_high",
    "check",
    "check_low",
    "check_high",
    "means",
)


OWN_OFFSET: Final = 20
"""Pieces read twice from which on a part type's offset is its own."""


@dataclass(frozen=True, eq=False)
class Sites:
    """What the readings of each piece say of its log rate, in log(mm per 1000 h).

    ``linear`` b and ``quadratic`` B: the log likelihood of a rate r is b r - B r2 / 2 [pieces].
    """

    linear: Array
    quadratic: Array


@dataclass(frozen=True, eq=False)
class Shift:
    """The readings as they look with the offset of some pieces moved.

    Attributes
    ----------
    sites
        With the offset moved by ``step``, mm.
    step
        How far.
    error
        Standard error of the offset from intercepts alone, mm: it is no worse than that.
    offset, crossed, linear
        Of each piece whose offset it is, 0 elsewhere: information of its readings on the offset,
        of offset with rate, and of the rate, the piece's own offset integrated out [pieces].
    """

    sites: Sites
    step: float
    error: float
    offset: Array
    crossed: Array
    linear: Array

    def information(self, rate: Array, between: tuple[float, float], machine: IntArray) -> float:
        """Return the information on the offset with pieces and machines integrated out, 1/mm2."""
        machine_variance, piece_variance = between
        cross, along = rate * self.crossed, rate**2 * self.linear
        kept = 1.0 + piece_variance * along
        told = float((self.offset - piece_variance * cross**2 / kept).sum())
        by_machine = np.bincount(machine, cross / kept)
        held = np.bincount(machine, along / kept)
        return told - float(
            (machine_variance * by_machine**2 / (1.0 + machine_variance * held)).sum()
        )


@dataclass(frozen=True, eq=False)
class MixedFit:
    """Coefficients and spreads; ``site`` and ``variance`` are the pieces' log rates.

    Attributes
    ----------
    coefficients, covariance
        Of the design's columns.
    machine_sd, piece_sd
        Of the log rate, beyond the design.
    site, variance
        Log rate that the piece's own readings show, and its variance [pieces].
    log_rate
        Of each piece, shrunk to its machine and the design [pieces].
    """

    coefficients: Array
    covariance: Array
    machine_sd: float
    piece_sd: float
    site: Array
    variance: Array
    log_rate: Array


@dataclass(frozen=True, eq=False)
class RateRegression:
    """Log wear rate against duty and grade.

    Attributes
    ----------
    terms
        One row a term: ``term``, ``value`` with 90 % ``value_low`` and ``value_high`` (an exponent
        for log terms, a log ratio for the others), ``means`` in words.
    tested
        ``term``, ``low``, ``high``: the range of each number; levels seen of each name.
    machine_sd, piece_sd
        Of the log rate, beyond the terms.
    pieces, machines
        How many the fit rests on.
    left_out
        Terms that the readings can't tell, and why.
    """

    terms: pd.DataFrame
    tested: pd.DataFrame
    machine_sd: float
    piece_sd: float
    pieces: int
    machines: int
    left_out: tuple[str, ...]
    _design: Design = field(repr=False)
    _fit: MixedFit = field(repr=False)
    _rows: tuple[Array, IntArray] = field(repr=False)

    @cached_property
    def cross_check(self) -> pd.DataFrame:
        """``term``, ``check``, ``check_low``, ``check_high``: least squares, clustered by machine.

        By statsmodels, when it is asked for: its loading takes longer than the fit.
        """
        return _cross_check(self._fit, *self._rows, self._design)

    def table(self) -> pd.DataFrame:
        """Return the terms with the cross-check beside each: columns of ``rate_law``."""
        both = self.terms.merge(self.cross_check, on="term", how="left", sort=False)
        return both[list(COLUMNS)]

    def outside(self, duty: pd.DataFrame) -> npt.NDArray[np.bool_]:
        """Say which duties lie outside the tested range: a prediction there is extrapolated."""
        return self._design.outside(covariates(duty, self._design.names))

    def predict(self, duty: pd.DataFrame) -> pd.DataFrame:
        """Predict the mean rate of pieces under a duty.

        Parameters
        ----------
        duty
            One row a duty, with the columns of the terms.

        Returns
        -------
        DataFrame
            ``rate`` (mm/h, mean over machines and pieces), 90 % ``low`` and ``high`` of that
            mean, ``extrapolated``.
        """
        known = covariates(duty, self._design.names)
        x = self._design.matrix(known)
        spread = (self.machine_sd**2 + self.piece_sd**2) / 2.0
        centre = x @ self._fit.coefficients + spread - np.log(1000.0)
        half = NORMAL_90 * np.sqrt(np.einsum("ra,ab,rb->r", x, self._fit.covariance, x))
        return pd.DataFrame(
            {
                "rate": np.exp(centre),
                "low": np.exp(centre - half),
                "high": np.exp(centre + half),
                "extrapolated": self._design.outside(known),
            }
        )


def fit_log_rate(
    pieces: pd.DataFrame, formula: str, *, gauge_sd: float | None = None
) -> RateRegression:
    """Fit the log wear rate to duty and grade.

    Parameters
    ----------
    pieces
        ``machine`` and the columns of the terms, with what was read: one row a reading (``piece``,
        ``hours``, ``wear_mm``), or one row a piece with its sums on one clock (``n``, ``sx``,
        ``sy``, ``syy``, ``sxx``, ``sxy``; hours in thousands), or one row a piece with ``log_rate``
        (of mm per 1000 h) and ``variance``. A term ``log_pressure`` may stand as ``pressure_mpa``,
        ``log_speed`` as ``speed_m_s``, ``temperature`` as ``temperature_c``.
    formula
        Terms joined by ``+``: ``"log_pressure + log_speed + temperature + grade"``.
    gauge_sd
        Of one reading, mm; None: from pieces with three readings and more.

    Returns
    -------
    RateRegression
        Terms that do not vary, or can't be told apart from others, are left out and named.

    Raises
    ------
    ValueError
        If a column is missing, a number is not finite, or there are fewer pieces than terms.
    """
    names = tuple(term.strip() for term in formula.split("+") if term.strip())
    rows, sites, moved = _sites_of(pieces, gauge_sd)
    known = covariates(rows, names)
    machine, machines = pd.factorize(rows["machine"].astype(str), sort=True)
    design = design_of(known, names)
    x = design.matrix(known)
    if len(rows) <= x.shape[1]:
        raise ValueError(f"{len(rows)} pieces are too few for {x.shape[1]} coefficients")
    index = np.asarray(machine, dtype=np.int64)
    fit = _with_offset_error(mixed_fit(sites, x, index, len(machines)), moved, x, index)
    sd = np.sqrt(np.diag(fit.covariance))
    value = fit.coefficients[1:]
    terms = pd.DataFrame(
        {
            "term": list(design.labels),
            "value": value,
            "value_low": value - NORMAL_90 * sd[1:],
            "value_high": value + NORMAL_90 * sd[1:],
        }
    )
    terms["means"] = [
        design.meaning(label, *three)
        for label, three in zip(design.labels, terms.iloc[:, 1:4].to_numpy(), strict=True)
    ]
    return RateRegression(
        terms=terms,
        tested=design.tested(),
        machine_sd=fit.machine_sd,
        piece_sd=fit.piece_sd,
        pieces=len(rows),
        machines=len(machines),
        left_out=design.left_out,
        _design=design,
        _fit=fit,
        _rows=(x, index),
    )


def _with_offset_error(
    fit: MixedFit, shifts: tuple[Shift, ...], x: Array, machine: IntArray
) -> MixedFit:
    """Add to the covariance what the offsets' own errors do to the coefficients.

    An offset that is off makes every early reading of its part type look faster or slower at once:
    more pieces don't cure it. Each offset is moved a little, the spreads held, to see by how much
    the coefficients follow; its variance is that of the whole model, in which the rates of other
    pieces help to tell offset from wear: the intercepts alone know far less of it.
    """
    inside = np.linalg.inv(fit.covariance)
    covariance, between = fit.covariance, (fit.machine_sd**2, fit.piece_sd**2)
    for shift in shifts:
        sds = (fit.machine_sd, fit.piece_sd)
        other = mixed_fit(shift.sites, x, machine, int(machine.max()) + 1, sds=sds)
        follows = (other.coefficients - fit.coefficients) / shift.step
        told = shift.information(np.exp(fit.log_rate), between, machine)
        told -= float(follows @ inside @ follows)
        variance = min(1.0 / told, shift.error**2) if told > 0 else shift.error**2
        covariance = covariance + variance * np.outer(follows, follows)
    return replace(fit, covariance=covariance)


def mixed_fit(
    sites: Sites,
    x: Array,
    machine: IntArray,
    machines: int,
    sds: tuple[float, float] | None = None,
) -> MixedFit:
    """Fit coefficients, machine sd and piece sd to sites by restricted maximum likelihood.

    Each sweep replaces a piece's site by the normal with the same posterior mean and variance
    under the present fit, then solves the linear mixed model in closed form per machine. With
    ``sds`` given the spreads are held.
    """
    from scipy.optimize import minimize

    start = float(np.log(max(sites.linear.sum() / sites.quadratic.sum(), 1e-9)))
    log_rate = np.full(len(x), start)
    prior = log_rate.copy()
    log_sds = np.log([0.15, 0.2] if sds is None else sds)
    for sweep in range(SWEEPS):
        rate = np.exp(log_rate)
        information = np.maximum(sites.quadratic * rate**2, 1e-12)
        score = sites.linear * rate - information
        precision, moved = matched_site(
            score + information, information, prior - log_rate, float(np.exp(2 * log_sds[1]))
        )
        site, variance = log_rate + moved / precision, 1.0 / precision

        def value(log_sd: Array, site: Array = site, variance: Array = variance) -> float:
            return _restricted(site, variance, x, machine, machines, log_sd)[0]

        if sds is None and sweep in (0, 2, SWEEPS - 1):
            found = minimize(
                value,
                log_sds,
                method="Nelder-Mead",
                bounds=[(np.log(1e-3), np.log(2.0))] * 2,
                options={"xatol": 1e-3, "fatol": 1e-5},
            )
            log_sds = np.asarray(found.x, dtype=np.float64)
        _, beta, covariance, effect = _restricted(site, variance, x, machine, machines, log_sds)
        prior = x @ beta + effect[machine]
        between = float(np.exp(2 * log_sds[1]))
        wanted = prior + between / (between + variance) * (site - prior)
        # One step at a time: a piece whose early readings show no wear must not run away.
        log_rate = log_rate + np.clip(wanted - log_rate, -1.0, 1.0)
    machine_sd, piece_sd = np.exp(log_sds)
    return MixedFit(beta, covariance, float(machine_sd), float(piece_sd), site, variance, log_rate)


def _restricted(
    site: Array, variance: Array, x: Array, machine: IntArray, machines: int, log_sds: Array
) -> tuple[float, Array, Array, Array]:
    """Return (-restricted log likelihood, coefficients, covariance, machine effects)."""
    machine_variance, piece_variance = np.exp(2.0 * log_sds)
    weight = 1.0 / (variance + piece_variance)

    def by_machine(values: Array) -> Array:
        return np.bincount(machine, values, machines).astype(np.float64)

    total = by_machine(weight)
    shrink = machine_variance / (1.0 + machine_variance * total)
    sums = np.stack([by_machine(weight * x[:, k]) for k in range(x.shape[1])], axis=1)
    seen = by_machine(weight * site)
    normal = (x * weight[:, None]).T @ x - (sums * shrink[:, None]).T @ sums
    right = x.T @ (weight * site) - sums.T @ (shrink * seen)
    beta = np.linalg.solve(normal, right)
    squares = (weight * site**2).sum() - (shrink * seen**2).sum() - right @ beta
    value = 0.5 * (
        -np.log(weight).sum()
        + np.log1p(machine_variance * total).sum()
        + np.linalg.slogdet(normal)[1]
        + squares
    )
    effect = shrink * (seen - sums @ beta)
    return float(value), beta, np.asarray(np.linalg.inv(normal), dtype=np.float64), effect


def _cross_check(fit: MixedFit, x: Array, machine: IntArray, design: Design) -> pd.DataFrame:
    """Return the same coefficients by statsmodels: WLS, errors clustered by machine."""
    nothing = np.full(len(design.labels), np.nan)
    value, half = nothing, nothing
    if np.unique(machine).size > x.shape[1]:
        # not statsmodels.api, which takes twice as long to load
        from statsmodels.regression.linear_model import WLS

        weights = 1.0 / (fit.variance + fit.piece_sd**2)
        model = WLS(fit.site, x, weights=weights)
        found = model.fit(cov_type="cluster", cov_kwds={"groups": machine})
        value = np.asarray(found.params, dtype=np.float64)[1:]
        half = NORMAL_90 * np.asarray(found.bse, dtype=np.float64)[1:]
    return pd.DataFrame(
        {
            "term": list(design.labels),
            "check": value,
            "check_low": value - half,
            "check_high": value + half,
        }
    )


def _sites_of(
    pieces: pd.DataFrame, gauge_sd: float | None
) -> tuple[pd.DataFrame, Sites, tuple[Shift, ...]]:
    """Return one row a piece, what its readings say, and that with each offset moved a little.

    See :func:`fit_log_rate`.
    """
    if {"log_rate", "variance"} <= set(pieces.columns):
        rows = pieces.reset_index(drop=True)
        rate = np.exp(rows["log_rate"].to_numpy(np.float64))
        information = 1.0 / rows["variance"].to_numpy(np.float64)
        return rows, Sites(information / rate, information / rate**2), ()
    if {"hours", "wear_mm"} <= set(pieces.columns):
        wear, cells = wear_sums(pieces)
        lines = cell_sums(wear, cells, (ONE_SEASON,)).along(np.ones(1))
        first = pieces.drop_duplicates("piece").assign(piece=lambda rows: rows["piece"].astype(str))
        more = [name for name in first.columns if name not in ("machine", "hours", "wear_mm")]
        rows = wear[["piece", "machine"]].merge(first[more], on="piece", how="left", sort=False)
    else:
        needed = ["n", "sx", "sy", "syy", "sxx", "sxy"]
        missing = [name for name in needed if name not in pieces.columns]
        if missing:
            raise ValueError(f"the pieces lack the column(s) {', '.join(missing)}")
        rows = pieces[pieces["sx"] > 0].reset_index(drop=True)
        n, x, y, yy, xx, xy = (
            rows[name].to_numpy(np.float64) for name in ("n", "sx", "sy", "syy", "sxx", "sxy")
        )
        lines = LineSums(n, y, yy, x, xy, xx)
    if not len(rows):
        raise ValueError("no piece has readings")
    gauge, _ = gauge_error(lines, gauge_sd)
    mean, sd, errors = _offsets_by_type(lines, gauge, rows)
    shrink = sd**2 / (gauge**2 + lines.n * sd**2)
    quadratic = (lines.xx - shrink * lines.x**2) / gauge**2

    def at(offset: Array) -> Sites:
        beyond = lines.y - lines.n * offset
        pull = lines.xy - offset * lines.x - shrink * beyond * lines.x
        return Sites(pull / gauge**2, quadratic)

    held = gauge**2 + lines.n * sd**2
    shifts = []
    for error in errors:
        own, most = error > 0, float(error.max())
        step = 0.1 * most
        told = (np.where(own, told, 0.0) for told in (lines.n / held, lines.x / held, quadratic))
        shifts.append(Shift(at(mean + step * own), step, most, *told))
    return rows, at(mean), tuple(shifts)


def _offsets_by_type(
    lines: LineSums, gauge: float, rows: pd.DataFrame
) -> tuple[Array, Array, tuple[Array, ...]]:
    """Return mean and sd of the offset [pieces]: of each part type with enough pieces read twice.

    Part types bed in differently; one offset for all would count that as a difference of rates.
    The third is the standard error of each offset, 0 for the pieces it is not of.
    """
    of_all = offsets(lines, gauge)
    mean, sd = np.full(len(rows), of_all.mean), np.full(len(rows), of_all.sd)
    common, errors = np.full(len(rows), of_all.standard_error), []
    if "part_type" not in rows.columns:
        return mean, sd, (common,)
    twice = (lines.n >= 2) & (lines.spread()[0] > 0)
    for _, own in rows.groupby(rows["part_type"].astype(str)).indices.items():
        if twice[own].sum() < OWN_OFFSET:
            continue
        n, y, yy, x, xy, xx = (
            part[own] for part in (lines.n, lines.y, lines.yy, lines.x, lines.xy, lines.xx)
        )
        found = offsets(LineSums(n, y, yy, x, xy, xx), gauge)
        mean[own], sd[own], common[own] = found.mean, found.sd, 0.0
        error = np.zeros(len(rows))
        error[own] = found.standard_error
        errors.append(error)
    return mean, sd, (*errors, common) if common.any() else tuple(errors)
