"""The season so far: what was used, what the shelf gives, and whether demand left its band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Final

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar, monday
from forecast.planning.demand import DemandPaths, by_week, simultaneous_band
from forecast.planning.plan import Plan
from forecast.planning.supply import supply
from forecast.records.season import EXHIBITS, SeasonForecast
from forecast.records.snapshot import Snapshot

SUNDAY: Final = 6


def stock_now(snapshot: Snapshot) -> tuple[pd.DataFrame, list[tuple[str, str, str, str]]]:
    """Return the stock as it stands on the day: counts less what was used since.

    Parameters
    ----------
    snapshot
        What is known. What was used on the day of a count is taken to be gone by then.

    Returns
    -------
    tuple
        ``Snapshot.stock`` with less on hand, and rows for ``assumed``.
    """
    said = []
    days = pd.to_datetime(snapshot.used["day"])
    left = []
    for name, state, counted, at in zip(
        *(snapshot.stock[column] for column in ("part_type", "state", "quantity", "at")),
        strict=True,
    ):
        used = 0
        if state == "on_hand" and not pd.isna(at):
            since = (snapshot.used["part_type"] == name) & (days > pd.Timestamp(at))
            used = int(snapshot.used.loc[since, "quantity"].sum())
        left.append(max(int(counted) - used, 0))
        if used:
            on = pd.Timestamp(at).date()
            why = f"{int(counted)} were counted on {on}, the change-outs used {used} since"
            said.append((f"{name}: on the shelf", str(left[-1]), why, "sets what to buy"))
    stock = snapshot.stock.assign(quantity=left)
    return stock, said


def used_so_far(snapshot: Snapshot, plan: Plan) -> pd.DataFrame:
    """Return the exhibit ``used``: pieces used this season, by part type and week.

    Weeks without any are there too, so that a sum over them has no gap.
    """
    first, last = plan.season.start, min(snapshot.day, plan.season.end)
    columns = list(EXHIBITS["used"])
    if last < first:
        return pd.DataFrame(columns=columns)
    days = pd.to_datetime(snapshot.used["day"]).dt.date
    mine = snapshot.used[(days >= first) & (days <= last)]
    weeks = pd.to_datetime(mine["day"]).dt.date.map(monday)
    counts = mine.groupby([mine["part_type"].astype(str), weeks], sort=True)["quantity"].sum()
    every = [
        monday(first) + timedelta(days=7 * n) for n in range((last - monday(first)).days // 7 + 1)
    ]
    rows = [
        (name, week, int(counts.get((name, week), 0)))
        for name in sorted({str(one) for one in snapshot.fitted["part_type"]})
        for week in every
    ]
    return pd.DataFrame(rows, columns=columns)


def supply_line(
    stock: pd.DataFrame, used: pd.DataFrame, calendar: Calendar, names: Sequence[str]
) -> pd.DataFrame:
    """Return the exhibit ``supply``: used so far, the shelf, and orders from the day they come.

    Parameters
    ----------
    stock
        As it stands on the day.
    used
        The exhibit ``used``.
    calendar
        The days ahead.
    names
        Of the part types.
    """
    gone = used.groupby("part_type")["quantity"].sum()
    rows: list[tuple[str, date, float]] = []
    for name in names:
        have = supply(stock, name, calendar, 0).by_day + float(gone.get(name, 0))
        rises = np.flatnonzero(np.diff(have, prepend=np.nan) != 0)
        rows += [(name, calendar.days[int(at)], float(have[at])) for at in rises]
    return pd.DataFrame(rows, columns=list(EXHIBITS["supply"]))


def season_band(paths: Mapping[str, DemandPaths], calendar: Calendar) -> pd.DataFrame:
    """Return the exhibit ``season_band``: what the season itself uses, summed up week by week."""
    rows = []
    for name, of in paths.items():
        inside = of.total * calendar.in_season
        summed = np.cumsum(by_week(inside, calendar), axis=1)
        low, high = simultaneous_band(summed)
        mean = summed.mean(axis=0)
        rows += [
            (name, week, float(mean[n]), int(low[n]), int(high[n]))
            for n, week in enumerate(calendar.weeks)
        ]
    return pd.DataFrame(rows, columns=list(EXHIBITS["season_band"]))


def earlier_of(
    forecast: SeasonForecast, kept: Sequence[tuple[int, date, date, date]]
) -> int | None:
    """Return the number of the kept forecast against which a running season is held.

    Parameters
    ----------
    forecast
        Of the running season.
    kept
        Number, as_of, first and last day of the season of every kept forecast.

    Returns
    -------
    int or None
        The last one from before the season began, else the first one since that starts from the
        end of a week; None without either.
    """
    mine = [
        (as_of, number)
        for number, as_of, first, last in kept
        if (first, last) == (forecast.season_from, forecast.season_until)
        and as_of < forecast.stamp.as_of
    ]
    before = [one for one in mine if one[0] < forecast.season_from]
    since = [one for one in mine if one[0] >= forecast.season_from and one[0].weekday() == SUNDAY]
    if before:
        return max(before)[1]
    return min(since)[1] if since else None


def so_far(forecast: SeasonForecast, earlier: SeasonForecast) -> pd.DataFrame:
    """Return the exhibit ``so_far``: the weeks of the season behind us against an earlier band.

    One row a part type: the first week whose sum lay outside the band, else the last whole week.

    Parameters
    ----------
    forecast
        Of the running season: its exhibit ``used``.
    earlier
        The forecast it is held against: its exhibit ``season_band``.
    """
    used, band = forecast.exhibits["used"], earlier.exhibits["season_band"]
    begun = max(forecast.season_from, earlier.stamp.as_of + timedelta(days=1))
    rows = []
    for name, own in band.groupby("part_type", sort=True):
        weeks = used[(used["part_type"] == name) & (used["week"] >= monday(begun))]
        counts = dict(zip(weeks["week"], weeks["quantity"].astype(int), strict=True))
        total, found = 0, None
        for week, mean, low, high in zip(
            *(own[column] for column in ("week", "mean", "low", "high")), strict=True
        ):
            until = min(week + timedelta(days=SUNDAY), forecast.season_until)
            if week not in counts or until > forecast.stamp.as_of:
                continue
            total += counts[week]
            outside = "above" if total > high else "below" if total < low else ""
            found = (name, until, total, mean, low, high, outside, earlier.number)
            if outside:
                break
        if found is not None:
            rows.append(found)
    return pd.DataFrame(rows, columns=list(EXHIBITS["so_far"]))
