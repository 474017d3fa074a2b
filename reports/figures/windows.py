"""The change-outs as a grid: machines down, windows across, squares whose area is the count."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final

from forecast.records.season import SeasonForecast
from reports import words

REASONS: Final = {
    "limit": "at its wear limit before the next window",
    "age": "at its change-out age",
    "risk": "too likely to fail before the next window",
    "size": "size change, a whole set",
}
LARGEST_PX: Final = 24.0
SET_PX: Final = 14.0


@dataclass(frozen=True)
class Mark:
    """One square: its reason, its count in words, its side in pixels."""

    reason: str
    count: str
    side: float


@dataclass(frozen=True)
class Crew:
    """The hours of one window: what the crew has, what is used, what does not fit, as shares.

    Attributes
    ----------
    used, over
        Share of the crew's hours, 0 to 1 and 0 to 0.6 (for the drawing only).
    said
        The hours in words.
    """

    used: float
    over: float
    said: str


@dataclass(frozen=True)
class Grid:
    """Machines x windows.

    Attributes
    ----------
    windows
        The head of each column.
    machines
        Name of each row and its marks, one tuple of marks a window.
    crew
        One a window.
    reasons
        Those that occur, with their words.
    """

    windows: tuple[str, ...]
    machines: tuple[tuple[str, tuple[tuple[Mark, ...], ...]], ...]
    crew: tuple[Crew, ...]
    reasons: tuple[tuple[str, str], ...]


def windows_grid(forecast: SeasonForecast) -> Grid | None:
    """Lay out the change-out list as a grid; None if nothing is to be changed."""
    rows = forecast.results["to_change"]
    if rows.empty:
        return None
    cells: dict[tuple[str, date], dict[str, float]] = {}
    for window, machine, reason, quantity in zip(
        rows["window"], rows["machine"], rows["because"], rows["quantity"], strict=True
    ):
        day = words.as_date(window)
        if day is None:
            continue
        marks = cells.setdefault((str(machine), day), {})
        marks[str(reason)] = marks.get(str(reason), 0.0) + words.number(quantity)
    days = sorted({day for _, day in cells} | {day for day in _crew_days(forecast) if day})
    worn = [n for marks in cells.values() for reason, n in marks.items() if reason != "size"]
    largest = max(worn, default=1.0)
    crew = crew_bars(forecast)
    known = sorted({reason for marks in cells.values() for reason in marks}, key=_rank)
    return Grid(
        tuple(words.day(day) for day in days),
        tuple(
            (machine, tuple(_marks(cells.get((machine, day), {}), largest) for day in days))
            for machine in sorted({machine for machine, _ in cells})
        ),
        tuple(crew.get(day, Crew(0.0, 0.0, "")) for day in days),
        tuple((reason, REASONS.get(reason, reason)) for reason in known),
    )


def crew_bars(forecast: SeasonForecast) -> dict[date, Crew]:
    """Return the crew's hours of each window."""
    bars: dict[date, Crew] = {}
    frame = forecast.exhibits["windows"]
    for window, crew, used, over in zip(
        frame["window"], frame["crew_hours"], frame["used"], frame["over"], strict=True
    ):
        day = words.as_date(window)
        have, spent, beyond = words.number(crew), words.number(used), words.number(over)
        beyond = 0.0 if math.isnan(beyond) else max(0.0, beyond)
        if day is None or math.isnan(spent):
            continue
        if math.isnan(have) or math.isinf(have) or have <= 0:
            bars[day] = Crew(0.0, 0.0, f"{words.hours(spent)} h")
            continue
        said = f"{words.hours(min(spent, have))} of {words.hours(have)} h"
        if beyond >= 0.05:
            said += f"; {words.hours(beyond)} h do not fit"
        bars[day] = Crew(min(1.0, spent / have), min(0.6, beyond / have), said)
    return bars


def _crew_days(forecast: SeasonForecast) -> list[date | None]:
    return [words.as_date(value) for value in forecast.exhibits["windows"]["window"]]


def _marks(found: dict[str, float], largest: float) -> tuple[Mark, ...]:
    return tuple(
        Mark(
            reason if reason in REASONS else "risk",
            words.count(found[reason]),
            SET_PX
            if reason == "size"
            else round(max(5.0, LARGEST_PX * math.sqrt(found[reason] / largest)), 1),
        )
        for reason in sorted(found, key=_rank)
        if found[reason] > 0
    )


def _rank(reason: str) -> tuple[int, str]:
    return (list(REASONS).index(reason) if reason in REASONS else len(REASONS), reason)
