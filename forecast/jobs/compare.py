"""Why two kept forecasts differ: one input of one swapped for the other's at a time.

Starting from the first forecast, each input of the second takes the first one's place in a fixed
order, and what the numbers then change by is its share. All steps are reckoned on the same few
draws, whose numbers are fixed by the names of parts and machines: what did not change cancels out.
What those few draws miss is the rest.

A later day goes with the facts known on it: neither makes sense with the other's. Its own share is
what the first forecast expected to be used by then; what happened otherwise is that of the facts.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.exhibits import versions
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.running import stock_now
from forecast.jobs.simulating import Ready, live_through, make_ready
from forecast.planning.buying import purchases
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import STUDIES, SeasonForecast
from forecast.records.snapshot import COLUMNS, Snapshot
from forecast.store.opening import open_store
from forecast.store.seasons import load_season
from forecast.store.snapshots import take_snapshot
from forecast.work import HERE, Work

FRAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "hours": ("running", "phases_ahead"),
    "part_types": ("part_types",),
    "stock": ("stock", "used"),
}
"""What of a snapshot belongs to an input; everything else is its facts."""

INPUTS: Final = ("facts", "hours", "part_types", "stock", "plan", "as_of")
TOGETHER: Final = {"facts": "as_of", "as_of": "facts"}
"""Where days differ, facts and day are swapped at once."""

DRAWS: Final = 200
"""Paths of a step: the same ones in all, so that differences need few."""

Outcome = dict[str, tuple[float, float]]
"""Expected pieces and pieces to buy, by part type."""


@dataclass(frozen=True)
class Side:
    """One of the two forecasts: as it was kept, and what it was made from."""

    forecast: SeasonForecast
    snapshot: Snapshot
    plan: Plan


@dataclass(frozen=True)
class Ran:
    """One step: what it comes to, and what it expects to be used up to the second's day."""

    outcome: Outcome
    by_then: dict[str, float]


@dataclass(frozen=True)
class _Made:
    """What earlier steps made that later ones need again, by the inputs it was made from."""

    fits: dict[frozenset[str], Fits]
    ready: dict[frozenset[str], Ready]


def compare(address: str, first: int, second: int, work: Work = HERE) -> pd.DataFrame:
    """Say why a forecast differs from an earlier one.

    Parameters
    ----------
    address
        The store.
    first, second
        Numbers of kept forecasts: the change is from the first to the second.
    work
        Who computes, and whom to tell.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["compare"]``: for each part type the inputs that moved its expected
        total or its purchase, in the order facts (pieces, ages, wear, lives), hours, part_types,
        stock (with what was used since it was counted), plan, as_of (what was expected to be used
        by then; its purchase counts as the facts'), versions (what this program reckons otherwise
        than the one that made them), rest (what goes together, and what few draws miss). They add
        up to the difference.

    Raises
    ------
    NotInStore
        If there is no such forecast.
    """
    with open_store(address) as store:
        kept = [load_season(store, number) for number in (first, second)]
        sides = [
            Side(
                one,
                take_snapshot(
                    store, one.stamp.as_of, (one.stamp.last_import, one.stamp.last_decision)
                ),
                plan_of(one),
            )
            for one in kept
        ]
    one, two = sides
    differ = [name for name in INPUTS if _differ(name, one, two)]
    steps_made = _Made({}, {})
    ran: list[tuple[str, Ran | None]] = []
    swapped: frozenset[str] = frozenset()
    steps = ["", *dict.fromkeys(_first(name, differ) for name in differ)]
    for number, name in enumerate(steps):
        work.tell("comparing", number, len(steps))
        swapped |= {name, TOGETHER.get(name, "")} & set(differ)
        ran.append((name, _run(one, two, swapped, steps_made)))
    return _shares(one, two, ran)


def _first(name: str, differ: list[str]) -> str:
    """Return the step in which an input is swapped."""
    return "facts" if name == "as_of" and "facts" in differ else name


def plan_of(kept: SeasonForecast) -> Plan:
    """Read the plan that a forecast was kept with: its text after every override."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.toml"
        path.write_text(kept.stamp.plan_text, encoding="utf-8")
        return read_plan(path)


def _differ(name: str, one: Side, two: Side) -> bool:
    if name == "as_of":
        return one.snapshot.day != two.snapshot.day
    if name == "plan":
        day = one.snapshot.day
        return one.plan.at(day).model_dump(exclude={"text"}) != two.plan.at(day).model_dump(
            exclude={"text"}
        )
    day = two.snapshot.day
    return not all(_seen(one, frame, day).equals(_seen(two, frame, day)) for frame in _frames(name))


def _seen(side: Side, frame: str, day: date) -> pd.DataFrame:
    """Return a frame; of the hours only those ahead, since those behind are in the ages."""
    whole: pd.DataFrame = getattr(side.snapshot, frame)
    if frame != "running":
        return whole
    return whole[pd.to_datetime(whole["day"]).dt.date > day].reset_index(drop=True)


def _frames(name: str) -> list[str]:
    elsewhere = {frame for frames in FRAMES.values() for frame in frames}
    facts = [frame for frame in COLUMNS if frame not in elsewhere]
    return list(FRAMES[name]) if name in FRAMES else facts


def _run(one: Side, two: Side, swapped: frozenset[str], made: _Made) -> Ran | None:
    """Forecast with some inputs of the second in the first; None where they do not go together."""
    snapshot = one.snapshot
    for name in swapped & {"facts", *FRAMES}:
        frames = {frame: getattr(two.snapshot, frame) for frame in _frames(name)}
        snapshot = replace(snapshot, **frames)
    if "as_of" in swapped:
        snapshot = replace(snapshot, day=two.snapshot.day)
    plan = (two if "plan" in swapped else one).plan.at(snapshot.day)
    fewer = plan.draws.model_copy(update={"count": min(plan.draws.count, DRAWS)})
    plan = plan.model_copy(update={"draws": fewer})
    told = swapped & {"facts", "part_types", "plan"}  # what the fits see
    try:
        ready = made.ready.get(swapped - {"stock"})
        if ready is None:
            fits = made.fits.get(told) or fit_all(
                snapshot,
                season_spread=plan.season.season_spread,
                seed=plan.draws.seed,
                tables=False,
            )
            ready = make_ready(snapshot, plan, fits=fits)
        lived = live_through(ready, snapshot, plan)
    except (PlanError, NotInStore):
        return None
    made.fits[told] = ready.fits
    made.ready[swapped - {"stock"}] = ready
    stock, _ = stock_now(snapshot)
    bought = purchases(lived.paths, stock, snapshot.part_types, plan, lived.days)
    passed = max((two.snapshot.day - snapshot.day).days, 0)
    means = {name: of.total.mean(axis=0) for name, of in lived.paths.items()}
    return Ran(
        _outcome({name: float(mean.sum()) for name, mean in means.items()}, bought),
        {name: float(mean[:passed].sum()) for name, mean in means.items()},
    )


def _outcome(totals: Mapping[str, float], bought: pd.DataFrame) -> Outcome:
    pieces = bought.groupby("part_type")["quantity"].sum().to_dict()
    return {name: (mean, float(pieces.get(name, 0))) for name, mean in totals.items()}


def _shares(one: Side, two: Side, ran: Iterable[tuple[str, Ran | None]]) -> pd.DataFrame:
    """Share the difference of every part type out over the inputs."""
    start, end = _as_kept(one), _as_kept(two)
    now = versions()
    alike = one.forecast.stamp.versions == two.forecast.stamp.versions == now
    later = two.snapshot.day > one.snapshot.day
    rows = []
    for part in sorted({*start, *end}):
        shares: dict[str, tuple[float, float]] = {}
        before: Ran | None = None
        missed = False
        for name, after in ran:
            if after is None:
                missed = True
                continue
            if before is not None:
                step = _less(after.outcome, before.outcome, part)
                if name == "facts" and later and not missed:
                    gone = -before.by_then.get(part, 0.0)
                    shares["as_of"] = (gone, 0.0)
                    step = (step[0] - gone, step[1])
                key = "rest" if missed else name
                shares[key] = _and(shares.get(key, (0.0, 0.0)), step)
            before, missed = after, False
        whole = _less(end, start, part)
        shares = {name: (round(share[0], 2), round(share[1], 2)) for name, share in shares.items()}
        left = (round(whole[0], 2) - sum(s[0] for s in shares.values()),
                round(whole[1], 2) - sum(s[1] for s in shares.values()))  # fmt: skip
        key = "rest" if alike else "versions"
        shares[key] = _and(shares.get(key, (0.0, 0.0)), left)
        for name in (*INPUTS, "versions", "rest"):
            total, buy = (round(share, 2) for share in shares.get(name, (0.0, 0.0)))
            if total or buy:
                rows.append((name, part, total, buy))
    return pd.DataFrame(rows, columns=list(STUDIES["compare"]))


def _and(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return one[0] + other[0], one[1] + other[1]


def _as_kept(side: Side) -> Outcome:
    totals = side.forecast.results["season_totals"]
    means = zip(totals["part_type"].astype(str), totals["mean"].astype(float), strict=True)
    return _outcome(dict(means), side.forecast.results["purchases"])


def _less(after: Outcome, before: Outcome, part: str) -> tuple[float, float]:
    (a, b), (c, d) = after.get(part, (0.0, 0.0)), before.get(part, (0.0, 0.0))
    return a - c, b - d
