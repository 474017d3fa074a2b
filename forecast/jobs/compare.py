"""Why two kept forecasts differ: one input of one swapped for the other's at a time.

Each input is put into the first forecast alone, and taken out of the second alone: the mean of the
two is its share, so that no order of the inputs decides who gets what they do together. That part
is the rest. Both forecasts are reckoned again with the same draws, whose numbers are fixed by the
names of parts and machines: what did not change cancels out.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.running import stock_now
from forecast.jobs.season import simulate
from forecast.planning.buying import purchases
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import STUDIES, SeasonForecast
from forecast.records.snapshot import COLUMNS, Snapshot
from forecast.store.opening import open_store
from forecast.store.seasons import load_season
from forecast.store.snapshots import digest, take_snapshot
from forecast.work import HERE, Work

FRAMES: Final[Mapping[str, tuple[str, ...]]] = {
    "hours": ("running", "phases_ahead"),
    "part_types": ("part_types", "duty_limits"),
    "stock": ("stock", "used"),
}
"""What of a snapshot belongs to an input; everything else is its facts."""

INPUTS: Final = ("facts", "hours", "part_types", "stock", "plan", "as_of")

Outcome = dict[str, tuple[float, float]]
"""Expected pieces and pieces to buy, by part type."""


@dataclass(frozen=True)
class Side:
    """One of the two forecasts: as it was kept, and what it was made from."""

    forecast: SeasonForecast
    snapshot: Snapshot
    plan: Plan


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
        stock (with what was used since it was counted), plan, as_of, versions (what this program
        reckons otherwise than the one that made them), rest (what several do together). They add
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
                _plan_of(one),
            )
            for one in kept
        ]
    one, two = sides
    differ = [name for name in INPUTS if _differ(name, one, two)]
    runs: dict[frozenset[str], Outcome | None] = {}
    wanted = _states(differ)
    for number, swapped in enumerate(wanted):
        work.tell("comparing", number, len(wanted))
        runs[swapped] = _run(one, two, swapped, work)
    return _shares(one, two, differ, runs)


def _states(differ: list[str]) -> list[frozenset[str]]:
    every = frozenset(differ)
    found = [frozenset[str](), every]
    found += [frozenset({name}) for name in differ]
    found += [every - {name} for name in differ]
    return list(dict.fromkeys(found))


def _plan_of(kept: SeasonForecast) -> Plan:
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
    first, second = (
        digest({frame: getattr(side.snapshot, frame) for frame in _frames(name)})
        for side in (one, two)
    )
    return first != second


def _frames(name: str) -> list[str]:
    elsewhere = {frame for frames in FRAMES.values() for frame in frames}
    facts = [frame for frame in COLUMNS if frame not in elsewhere]
    return list(FRAMES[name]) if name in FRAMES else facts


def _run(one: Side, two: Side, swapped: frozenset[str], work: Work) -> Outcome | None:
    """Forecast with some inputs of the second in the first; None where they do not go together."""
    snapshot = one.snapshot
    for name in swapped & {"facts", *FRAMES}:
        frames = {frame: getattr(two.snapshot, frame) for frame in _frames(name)}
        snapshot = replace(snapshot, **frames)
    if "as_of" in swapped:
        snapshot = replace(snapshot, day=two.snapshot.day)
    plan = (two if "plan" in swapped else one).plan.at(snapshot.day)
    try:
        lived = simulate(snapshot, plan, work)
    except (PlanError, NotInStore):
        return None
    stock, _ = stock_now(snapshot)
    bought = purchases(lived.paths, stock, snapshot.part_types, plan, lived.days)
    return _outcome(
        {name: float(of.total.sum(axis=1).mean()) for name, of in lived.paths.items()}, bought
    )


def _outcome(totals: Mapping[str, float], bought: pd.DataFrame) -> Outcome:
    pieces = bought.groupby("part_type")["quantity"].sum().to_dict()
    return {name: (mean, float(pieces.get(name, 0))) for name, mean in totals.items()}


def _shares(
    one: Side,
    two: Side,
    differ: Iterable[str],
    runs: Mapping[frozenset[str], Outcome | None],
) -> pd.DataFrame:
    """Share the difference of every part type out over the inputs."""
    differ = list(differ)
    none, every = frozenset[str](), frozenset(differ)
    start, end = _as_kept(one), _as_kept(two)
    again = runs[none] or start, runs[every] or end
    rows = []
    for part in sorted({*start, *end}):
        whole = _less(end, start, part)
        reckoned = _less(again[1], again[0], part)
        left = reckoned
        shares = []
        for name in differ:
            steps = [
                _less(after, before, part)
                for before, after in (
                    (runs[none], runs[frozenset({name})]),
                    (runs[every - {name}], runs[every]),
                )
                if before is not None and after is not None
            ]
            if not steps:
                continue
            mean = tuple(sum(step[k] for step in steps) / len(steps) for k in (0, 1))
            left = (left[0] - mean[0], left[1] - mean[1])
            shares.append((name, mean))
        other = (whole[0] - reckoned[0], whole[1] - reckoned[1])
        for name, (total, buy) in (*shares, ("versions", other), ("rest", left)):
            if abs(total) >= 0.005 or abs(buy) >= 0.005:
                rows.append((name, part, round(total, 2), round(buy, 2)))
    return pd.DataFrame(rows, columns=list(STUDIES["compare"]))


def _as_kept(side: Side) -> Outcome:
    totals = side.forecast.results["season_totals"]
    means = zip(totals["part_type"].astype(str), totals["mean"].astype(float), strict=True)
    return _outcome(dict(means), side.forecast.results["purchases"])


def _less(after: Outcome, before: Outcome, part: str) -> tuple[float, float]:
    (a, b), (c, d) = after.get(part, (0.0, 0.0)), before.get(part, (0.0, 0.0))
    return a - c, b - d
