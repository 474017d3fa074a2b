"""Hours run since the machines' clocks were last read: no log tells them, so the plan does."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import PlanError
from forecast.jobs.clocks import Row, clock_pace
from forecast.planning.calendar import calendar
from forecast.planning.plan import Plan
from forecast.records.snapshot import Snapshot

LONGEST_DAYS: Final = 31
"""A machine not heard of for longer has not been read late: it stands, or its logs ended."""


def carried_on(snapshot: Snapshot, plan: Plan, running: str | None) -> Snapshot:
    """Carry the ages of what is in place from the last day of each machine's hours to ``as_of``.

    A piece that was fitted on one of the days between ran from the day after.

    Parameters
    ----------
    snapshot
        What is known.
    plan
        Tells the hours of days without logged ones, as for the days ahead.
    running
        The season that the days belong to; None: between two seasons nothing runs.

    Returns
    -------
    Snapshot
        The same but for ``fitted``, whose column ``carried`` has what was added (on the clock of
        the part type), and ``fitted_cells``.
    """
    missing = hours_missing(snapshot, plan) if running is not None else {}
    if not missing:
        return snapshot
    cells = [cell for cell, (season, _) in snapshot.wear_seasons().items() if season == running]
    fitted = snapshot.fitted
    since = _fitted_since(snapshot)
    pace = clock_pace(snapshot)
    more = np.zeros(len(fitted))
    names = ["machine", "place", "position", "part_type", "in_place"]
    for at, (machine, place, position, part, in_place) in enumerate(
        fitted[names].itertuples(index=False, name=None)
    ):
        if in_place and machine in missing:
            began = since.get((machine, place, position), date.min) if position else date.min
            hours = sum(amount for day, amount in missing[machine].items() if day > began)
            more[at] = hours * pace.get((machine, part), 1.0)
    ran = more > 0
    ages = fitted.assign(age=fitted["age"].astype(float) + more, carried=more)
    if not cells:  # nothing was read in this season yet: its hours have no wear of their own
        return replace(snapshot, fitted=ages)
    added = pd.DataFrame(
        {"piece": fitted.loc[ran, "piece"], "season": cells[-1], "x": more[ran] / 1000.0}
    ).reindex(columns=snapshot.fitted_cells.columns)
    known = [snapshot.fitted_cells, added] if len(snapshot.fitted_cells) else [added]
    return replace(snapshot, fitted=ages, fitted_cells=pd.concat(known, ignore_index=True))


def hours_missing(snapshot: Snapshot, plan: Plan) -> dict[str, dict[date, float]]:
    """Return the hours of the days between the last logged hours and ``as_of``, by machine.

    Parameters
    ----------
    snapshot, plan
        As for :func:`carried_on`.
    """
    logged = snapshot.running[~snapshot.running["planned"].astype(bool)]
    if logged.empty:
        return {}
    last: dict[date, list[str]] = {}
    days_logged = logged.assign(day=pd.to_datetime(logged["day"]))
    for machine, at in days_logged.groupby("machine")["day"].max().items():
        last.setdefault(at.date(), []).append(str(machine))
    lines = snapshot.fitted.drop_duplicates("machine").set_index("machine")["line"]
    found: dict[str, dict[date, float]] = {}
    for day, names in last.items():
        days = (snapshot.day - day).days
        machines = sorted(name for name in names if name in lines.index)
        if not 0 < days <= LONGEST_DAYS or not machines:
            continue
        line = [str(lines[name] or "") for name in machines]
        try:
            ahead = calendar(plan, snapshot.running, machines, line, day)
        except PlanError:  # the days ahead say so themselves
            continue
        for name, hours in zip(machines, ahead.hours[:, :days], strict=True):
            if hours.any():
                found[name] = {day + timedelta(days=n + 1): float(h) for n, h in enumerate(hours)}
    return found


def carried_said(snapshot: Snapshot, plan: Plan, running: str | None) -> list[Row]:
    """Return the row of ``assumed`` on the hours that were carried on.

    Parameters
    ----------
    snapshot, plan, running
        As for :func:`carried_on`.
    """
    missing = hours_missing(snapshot, plan) if running is not None else {}
    if not missing:
        return []
    hours = [sum(days.values()) for days in missing.values()]
    first = min(min(days) for days in missing.values())
    span = (
        f"{min(hours):,.0f}" if min(hours) == max(hours) else f"{min(hours):,.0f}-{max(hours):,.0f}"
    )
    return [
        (
            f"hours since the clocks were read, {len(missing)} machines",
            f"{span} h",
            f"no log tells the hours from {first} to {snapshot.day}: those planned were taken",
            "added to the age of what is in place",
        )
    ]


def _fitted_since(snapshot: Snapshot) -> dict[tuple[str, str, str], date]:
    """Return the last day on which each position got a piece."""
    used = snapshot.used
    columns = (used["machine"], used["place"], used["position"], pd.to_datetime(used["day"]))
    last: dict[tuple[str, str, str], date] = {}
    for machine, place, position, at in zip(*columns, strict=True):
        name, day = (str(machine), str(place), str(position)), at.date()
        last[name] = max(day, last.get(name, day))
    return last
