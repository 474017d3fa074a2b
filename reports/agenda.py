"""The season's dates as a calendar file (RFC 5545): orders with reminders, windows, the overhaul.

An event keeps its UID from one forecast of a season to the next, and the forecast's number is its
SEQUENCE: importing a later file moves what stands in the calendar instead of adding to it. What a
later forecast no longer asks for comes as a cancelled event.
"""

from __future__ import annotations

import tomllib
import uuid
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from forecast.records.season import SeasonForecast
from reports import words
from reports.files import write_whole
from reports.forms import LOCK_OUT, instruction
from reports.lead import work_in

if TYPE_CHECKING:
    from icalendar import Event

SPACE: Final = uuid.UUID("5b6f5a0e-6f0c-5e0a-9a53-2d5a7c1d9f10")
"""The room in which UIDs are names: any fixed value, never changed."""
REMINDERS: Final = (timedelta(days=-7, hours=9), timedelta(days=-1, hours=9))
"""Before an order's day, at nine in the morning."""
MOST_LINES: Final = 60
MOST_ORDERS: Final = 2
"""Of a part type in one season: one now, one later."""


def agenda(forecast: SeasonForecast) -> bytes:
    """Write the dates of a forecast as an iCalendar file.

    Parameters
    ----------
    forecast
        A whole forecast.

    Returns
    -------
    bytes
        One VCALENDAR of all-day events; the same forecast gives the same bytes.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//wearahead//season//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", forecast.stamp.plan_name)
    for event in (*_orders(forecast), *_overhaul(forecast), *_windows(forecast)):
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def write_agenda(forecast: SeasonForecast, path: Path) -> Path:
    """Write the calendar file of a forecast; it appears whole or not at all."""
    return write_whole(path, agenda(forecast))


def _event(
    forecast: SeasonForecast,
    key: tuple[str, ...],
    first: date,
    summary: str,
    description: str,
    *,
    last: date | None = None,
    cancelled: bool = False,
    reminders: bool = False,
) -> Event:
    """Make one all-day event under the UID of its key."""
    from icalendar import Alarm, Event

    season = (forecast.stamp.plan_name, str(forecast.season_from.year))
    name = "\n".join((*season, *key))
    made = datetime.combine(forecast.stamp.as_of, datetime.min.time(), UTC)
    event = Event()
    event.add("uid", f"{uuid.uuid5(SPACE, name)}@wearahead")
    event.add("dtstamp", made)
    event.add("sequence", forecast.number or 0)
    event.add("dtstart", first)
    event.add("dtend", (last or first) + timedelta(days=1))
    event.add("summary", summary)
    event.add("description", description)
    event.add("categories", [key[0]])
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    for before in REMINDERS if reminders and not cancelled else ():
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", before)
        alarm.add("description", summary)
        event.add_component(alarm)
    return event


def _orders(forecast: SeasonForecast) -> Iterator[Event]:
    """Give an event for each order; a part type has at most two, and what it lacks is cancelled."""
    as_of = forecast.stamp.as_of
    rows = forecast.results["purchases"]
    for part, own in rows.groupby("part_type", sort=False):
        asked = own[own["quantity"].map(words.number) > 0].to_dict(orient="records")
        lost = not asked and (own["state"] == "cannot_reach").any()
        none = f"No order of {part} comes in time" if lost else f"No order of {part} is needed"
        for n in range(max(len(asked), MOST_ORDERS)):
            key = ("order", str(part), str(n + 1))
            if n >= len(asked):
                yield _event(forecast, key, as_of, none, f"{none}.", cancelled=True)
                continue
            by = words.as_date(asked[n]["order_by"])
            day = max(by, as_of) if by else as_of
            summary = _order(asked[n], by, as_of)
            text = _text(forecast, [f"{summary}.", *_order_lines(asked[n], forecast.currency)])
            yield _event(forecast, key, day, summary, text, reminders=True)


def _order(row: Mapping[Any, Any], by: date | None, as_of: date) -> str:
    what = f"{words.count(row['quantity'])} {row['part_type']}"
    if by is not None and by > as_of:
        return f"Last day to order {what}"
    late = f", {words.plural((as_of - by).days, 'day')} late" if by and by < as_of else ""
    return f"Order {what} today{late}"


def _order_lines(row: Mapping[Any, Any], currency: str) -> list[str]:
    lines = []
    if needed := words.day(row["needed_by"], weekday=True, year=True):
        lines.append(f"Needed by {needed}.")
    if not words.missing(row["cost"]):
        lines.append(f"Costs {words.money(row['cost'], currency)}.")
    without, with_it = (words.chance(row[f"chance_{name}"]) for name in ("without", "with"))
    return [*lines, f"Enough without it: {without}; with it: {with_it}."]


def _windows(forecast: SeasonForecast) -> Iterator[Event]:
    """Give an event for each window, with the list of what to change in it."""
    rows = forecast.results["to_change"]
    days = rows["window"].map(words.as_date)
    crew = {
        words.as_date(row["window"]): row
        for row in forecast.exhibits["windows"].to_dict(orient="records")
    }
    for day in sorted({day for day in (*days, *crew) if day is not None}):
        own = rows[days == day]
        if own.empty:
            said = "Nothing to change in this window"
            yield _event(forecast, ("window", day.isoformat()), day, said, said, cancelled=True)
            continue
        lines = [
            f"{row['machine']} {_spot(row)}: {instruction(row)}"
            for row in own.to_dict(orient="records")
        ]
        if len(lines) > MOST_LINES:
            lines[MOST_LINES:] = [f"and {len(lines) - MOST_LINES} lines more, in the sheets"]
        if (hours := crew.get(day)) is not None and words.number(hours["over"]) >= 0.05:
            lines.insert(0, f"{words.hours(hours['over'])} h of work do not fit the crew's hours.")
        summary = f"Change {work_in(own)}"
        text = _text(forecast, [*lines, LOCK_OUT])
        yield _event(forecast, ("window", day.isoformat()), day, summary, text)


def _overhaul(forecast: SeasonForecast) -> Iterator[Event]:
    """Give the overhaul as one event, over the days that the plan gives it."""
    rows = forecast.results["overhaul"]
    span = tomllib.loads(forecast.stamp.plan_text).get("overhaul", {})
    first, last = words.as_date(span.get("from")), words.as_date(span.get("until"))
    if rows.empty or first is None:
        return
    change = rows[rows["decision"] == "change"]
    counted = change.groupby("part_type", sort=True)["quantity"].sum()
    lines = [f"{words.count(pieces)} {part}" for part, pieces in counted.items()]
    again = rows.loc[rows["decision"] == "measure_again", "quantity"].astype(float).sum()
    if again > 0:
        lines.append(f"{words.plural(again, 'piece')} to measure again")
    pieces = words.plural(change["quantity"].astype(float).sum(), "piece")
    summary = f"Overhaul: change {pieces} on {words.plural(change['machine'].nunique(), 'machine')}"
    text = _text(forecast, [*lines, LOCK_OUT])
    yield _event(forecast, ("overhaul",), first, summary, text, last=last)


def _spot(row: Mapping[Any, Any]) -> str:
    where = [str(row[name]) for name in ("place", "positions") if not words.missing(row[name])]
    return " ".join(where)


def _text(forecast: SeasonForecast, lines: list[str]) -> str:
    number = "" if forecast.number is None else f"Forecast {forecast.number}, "
    day = words.day(forecast.stamp.as_of, year=True)
    return "\n".join([*lines, f"{number}from what was known on {day}."])
