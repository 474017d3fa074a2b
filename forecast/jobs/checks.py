"""How far a life model is to be trusted, in words a planner understands.

Made with every fit: do machines differ, does a Weibull law fit, does the prior agree, what shape
would wear alone give. Made when one part type is asked for: the curve that assumes no law, other
families, what duty does (these load lifelines, or need other part types).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from forecast.jobs.causes import share_out
from forecast.jobs.modes import Book, lives_of, watched
from forecast.life.counts import mean_cumulative, trend_test
from forecast.life.covariates import fit_life_covariates
from forecast.life.curves import families, survival_curve, takes_turnbull
from forecast.life.fitness import fitness
from forecast.life.lives import Lives
from forecast.life.priors import ShapePrior
from forecast.life.ranks import rank_line
from forecast.life.spread import shared_by_machine
from forecast.life.weibull import WeibullFit, fit_weibull
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.wear.rates import WearFit

FEW: Final = 10
"""Failures below which these checks say nothing."""

FEWEST_MACHINES: Final = 3

Row = dict[str, object]


def check_fit(
    book: Book, key: tuple[str, str, str], lives: Lives, machine: np.ndarray, prior: ShapePrior
) -> None:
    """Check the fit of one part type, duty group and mode.

    Parameters
    ----------
    book
        Takes the rows.
    key
        Part type, duty group, mode.
    lives
        Of the mode.
    machine
        Of each life.
    prior
        Of the shape.
    """
    if lives.failures < FEW:
        return
    fit = fit_weibull(lives)
    if fit.state != "fitted":
        return
    low, high = fit.interval("shape")
    if prior.disagrees(fit.shape):
        says = f"the lives say {fit.shape:.2g}, the prior {prior.centre:.2g}: ask why"
        book.check(key, "prior", fit.shape, low, high, says)
    line = rank_line(lives)
    if line is not None:
        says = f"the line through the ranks has shape {line[0]:.2g}, the likelihood {fit.shape:.2g}"
        book.check(key, "rank line", line[0], np.nan, np.nan, says)
    told = fitness(lives, fit.shape, fit.scale)
    book.check(key, "fit", told.chance, np.nan, np.nan, told.says)
    if len(set(machine.tolist())) >= FEWEST_MACHINES:
        _machines(book, key, lives, machine)


def _machines(book: Book, key: tuple[str, str, str], lives: Lives, machine: np.ndarray) -> None:
    spread = shared_by_machine(lives, machine)
    if spread.state != "fitted":
        return
    if not spread.differ:
        says = "machines do not differ more than chance explains"
        book.check(key, "machines", spread.spread, np.nan, np.nan, says)
        return
    table = spread.machines()
    says = (
        f"lives differ by {100 * spread.spread:.0f} % between machines; shape "
        f"{spread.shape:.2g} on one machine, {spread.pooled_shape:.2g} thrown together"
    )
    ends = float(table["life_ratio"].min()), float(table["life_ratio"].max())
    book.check(key, "machines", spread.spread, np.nan, np.nan, says)
    book.assume(
        f"{key[0]} {key[2]}: lives differ between machines by",
        f"{spread.spread:.2f} (machines from {ends[0]:.2f} to {ends[1]:.2f} times)",
        "a gamma multiplier of each machine's hazard, shown by the lives",
        "the fleet's total is drawn from all machines together",
    )


def wear_shapes(
    book: Book, wear_fits: Mapping[tuple[str, str], WearFit], lives: pd.DataFrame
) -> None:
    """Set the shape that the spread of wear rates alone would give beside the fitted one.

    A shape is 1.28 over the standard deviation of log life (pi / sqrt 6). Where rates differ by
    30 %, wear alone gives about 4; a fitted shape near 1 then means mixed causes, or change-outs
    before their time that were taken for failures.

    Parameters
    ----------
    book
        Takes the rows.
    wear_fits
        By part type and duty group.
    lives
        ``Snapshot.lives``.
    """
    for (name, group), wear in sorted(wear_fits.items()):
        spread = float(np.hypot(wear.machine_sd, wear.piece_sd))
        if wear.state == "no_fit" or not spread > 0:
            continue
        # A life goes with the rate to the power 1 / power of a bent law.
        power = 1.0 if wear.bend is None else float(wear.bend.power.mean())
        alone = float(np.pi / np.sqrt(6) * power / spread)
        rows = lives[(lives["part_type"] == name) & (lives["duty_group"] == group)]
        ended = rows["mode"] != ""
        told = f"rates that differ by {100 * spread:.0f} % would alone give a shape of {alone:.2g}"
        if (rows["mode"] == "worn").sum() < FEW:
            book.check((name, group, "worn"), "shape", alone, np.nan, np.nan, told)
            continue
        worn = fit_weibull(lives_of(rows, "worn"))
        every = fit_weibull(lives_of(rows.assign(mode=np.where(ended, "any", "")), "any"))
        if worn.state != "fitted" or every.state != "fitted":
            continue
        low, high = every.interval("shape")
        says = (
            f"{told}; worn change-outs have {worn.shape:.2g}, all removals {every.shape:.2g}: "
            f"{_judged(alone, worn, every)}"
        )
        book.check((name, group, "worn"), "shape", every.shape, low, high, says)


def _judged(alone: float, worn: WeibullFit, every: WeibullFit) -> str:
    if every.shape > 0.6 * alone:
        return "they agree"
    if worn.shape > 0.6 * alone:
        return "other causes are mixed in; fit one mode at a time"
    return "causes are mixed, or parts changed early count as worn: look at the reasons logged"


def check_counts(book: Book, name: str, counts: pd.DataFrame) -> None:
    """Say how many replacements a set used so far, and whether their pace changes.

    Parameters
    ----------
    book
        Takes the rows.
    name
        The part type.
    counts
        Its rows of ``Snapshot.counts``.
    """
    counts = counts[counts["replaced"].notna()]  # nobody has looked at the others yet
    for (group, mode), rows in counts.groupby(["duty_group", "mode"], sort=True):
        if not mode or rows["replaced"].sum() < FEW or rows["unit"].nunique() < FEWEST_MACHINES:
            continue
        events = _replacements(rows)
        table, trend = mean_cumulative(events), trend_test(events)
        last = table.iloc[-1]
        reach = 1.645 * float(np.sqrt(last["variance"]))
        low, high = float(last["mcf"]) - reach, float(last["mcf"]) + reach
        says = (
            f"a set used {last['mcf']:.1f} replacements by {last['time']:,.0f} h "
            f"({low:.1f} to {high:.1f}); {trend.says}"
        )
        book.check(
            (name, str(group), str(mode)), "replacements", float(last["mcf"]), low, high, says
        )


def _replacements(rows: pd.DataFrame) -> pd.DataFrame:
    """Return counts by week as events in mid-week, on the running hours of each set."""
    ordered = rows.sort_values(["unit", "week"], kind="stable")
    ends = ordered.groupby("unit", sort=False)["hours"].cumsum()
    middle = ends - ordered["hours"] / 2
    times = ordered["replaced"].to_numpy(float).round().astype(int)
    events = pd.DataFrame(
        {
            "system": np.repeat(ordered["unit"], times),
            "time": np.repeat(middle, times),
            "kind": "event",
        }
    )
    last = ends.groupby(ordered["unit"]).max()
    ended = pd.DataFrame({"system": last.index, "time": last.to_numpy(), "kind": "end"})
    return pd.concat([events, ended], ignore_index=True)


def beside(snapshot: Snapshot, part_type: str, modes: tuple[str, ...]) -> pd.DataFrame:
    """Return what no law says beside the fit: Kaplan-Meier, or Turnbull with inspections.

    Returns
    -------
    DataFrame
        Columns of ``STUDIES["life_checks"]``: the age by which 1 in 10 had gone.
    """
    book = Book()
    for key, lives in _groups(snapshot, part_type, modes):
        curve = survival_curve(lives)
        name = "Turnbull" if takes_turnbull(lives) else "Kaplan-Meier"
        at = _first(curve, "survival")
        low, high = (_first(curve, edge) for edge in ("low", "high"))
        says = (
            f"no law assumed ({name}): 1 in 10 gone at {at:,.0f} h"
            if np.isfinite(at)
            else f"no law assumed ({name}): fewer than 1 in 10 gone so far"
        )
        book.check(key, "no law", at, low, high, says)
    return pd.DataFrame(book.checks, columns=list(STUDIES["life_checks"]))


def _first(curve: pd.DataFrame, column: str) -> float:
    """Age from which on no more than 9 in 10 live; NaN if there is none."""
    under = curve[column].to_numpy(float) <= 0.9
    return float(curve["time"].to_numpy(float)[int(np.argmax(under))]) if under.any() else np.nan


def other_families(snapshot: Snapshot, part_type: str, modes: tuple[str, ...]) -> pd.DataFrame:
    """Return Weibull, exponential, lognormal and gamma laws fitted to the same lives, with AIC.

    Returns
    -------
    DataFrame
        Columns of ``STUDIES["life_families"]``, the least AIC first. Never chosen from: forecasts
        use the Weibull law whatever stands here.
    """
    frames = [
        families(lives).assign(part_type=key[0], duty_group=key[1], mode=key[2])
        for key, lives in _groups(snapshot, part_type, modes)
        if lives.failures >= 3
    ]
    columns = list(STUDIES["life_families"])
    if not frames:
        return pd.DataFrame(columns=columns)
    return pd.concat(frames, ignore_index=True)[columns]


def duty_terms(snapshot: Snapshot, part_type: str, mode: str) -> pd.DataFrame:
    """Return what duty, grade and size do to life, over part types of the same form.

    Parameters
    ----------
    snapshot
        What is known.
    part_type
        Whose form it is.
    mode
        The failure mode.

    Returns
    -------
    DataFrame
        Columns of ``STUDIES["life_terms"]``; no row where too few failed or nothing differs.
    """
    parts = snapshot.part_types.set_index("part_type")
    form = str(parts.loc[part_type, "form"])
    names = sorted({part_type, *map(str, parts.index[parts["form"].astype(str) == form])})
    rows = share_out(snapshot.lives).merge(snapshot.piece_duties, on="piece", how="left")
    rows = rows[rows["part_type"].isin(names)]
    rows = rows.assign(size=rows["part_type"].map(parts["size"]))
    lives = lives_of(rows, mode)
    seen = rows[watched(rows, mode)]
    covariates = _covariates(seen)
    columns = list(STUDIES["life_terms"])
    if lives.failures < FEW or covariates.shape[1] == 0:
        return pd.DataFrame(columns=columns)
    fit = fit_life_covariates(lives, covariates, seen["machine"].to_numpy(str))
    if fit.state != "fitted":
        return pd.DataFrame(columns=columns)
    table = fit.table()
    shared: Row = {"part_types": ", ".join(names), "mode": mode}
    told = table[~table["term"].isin(["constant", "log_shape"])]
    out: list[Row] = []
    for _, row in told.iterrows():
        value, low, high = (float(row[name]) for name in ("estimate", "low", "high"))
        said = _means(str(row["term"]), value, low, high)
        ends = {"value": value, "value_low": low, "value_high": high}
        out.append({**shared, "term": row["term"], **ends, "means": said})
    for reason in fit.left_out:
        term, why = reason.split(": ", 1)
        out.append({**shared, "term": term, "means": f"not told apart: {why}"})
    return pd.DataFrame(out, columns=columns)


def _covariates(rows: pd.DataFrame) -> pd.DataFrame:
    """Covariates that are known for every life and differ between some."""
    out: dict[str, np.ndarray] = {}
    for name, column in (("log_pressure", "pressure_mpa"), ("log_speed", "speed_m_s")):
        values = rows[column].to_numpy(float)
        if np.isfinite(values).all() and (values > 0).all() and np.ptp(values) > 0:
            out[name] = np.log(values)
    heat = rows["temperature_c"].to_numpy(float)
    if np.isfinite(heat).all() and heat.size and np.ptp(heat) > 0:
        out["temperature"] = heat
    for name in ("medium", "grade", "size"):
        texts = rows[name].fillna("").astype(str)
        if len(set(texts)) > 1 and (texts != "").all():
            out[name] = texts.to_numpy()
    return pd.DataFrame(out)


def _means(term: str, value: float, low: float, high: float) -> str:
    """Say what a coefficient of log scale means for life."""
    if "=" in term:
        what, level = term.split("=", 1)
        ends = sorted(float(np.exp(end)) for end in (low, high))
        return (
            f"{what} {level}: {np.exp(value):.2f} times the life ({ends[0]:.2f} to {ends[1]:.2f})"
        )
    step = 10.0 if term == "temperature" else float(np.log(1.1))
    name = "10 C more" if term == "temperature" else f"10 % more {term.removeprefix('log_')}"
    percent = [100 * float(np.expm1(end * step)) for end in (value, *sorted((low, high)))]
    change = f"life changes by {percent[0]:+.0f} %"
    return f"{name}: {change} ({percent[1]:+.0f} to {percent[2]:+.0f})"


def _groups(
    snapshot: Snapshot, part_type: str, modes: tuple[str, ...]
) -> list[tuple[tuple[str, str, str], Lives]]:
    rows = share_out(snapshot.lives[snapshot.lives["part_type"] == part_type])
    out = []
    for group, own in rows.groupby("duty_group", sort=True):
        for mode in modes:
            lives = lives_of(own, mode)
            if lives.failures > 0:
                out.append(((part_type, str(group), mode), lives))
    return out
