"""What can be written down, and how long the machines run."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Final

import numpy as np

from sample_logs import scene
from sample_logs.scene import LINES, MACHINES, SEASONS, SIZES
from sample_logs.world import Array, stream

WINDOW_OPENS: Final = 12.0
"""Hour of the Sunday at which the machines stop for cleaning, reading and changing."""
READ_MINUTE, CHANGE_MINUTE = 12 * 60 + 30, 15 * 60


@dataclass
class Change:
    """One row of a change-out log; ``raw`` overrides single cells, ``tag`` names planted dirt."""

    day: date
    machine: int
    place: str
    part_type: str
    action: str
    position: int | None = None
    quantity: int | None = None
    reason: str = ""
    kit: str = ""
    fitted_mm: float | None = None
    age_at_fit: int | None = None
    at_from: date | None = None
    minute: int = CHANGE_MINUTE
    tag: str = ""
    raw: dict[str, str] = field(default_factory=dict)


@dataclass
class Reading:
    """One reading: the depth the gauge showed, and the size of the piece when it was new."""

    day: date
    machine: int
    place: str
    part_type: str
    depth: float
    true_depth: float
    position: int | None = None
    kit: str = ""
    size: float = 0.0
    found_left: str = "as_found"
    chosen: str = "rotation"
    temperature: float | None = None
    minute: int = READ_MINUTE
    tag: str = ""
    raw: dict[str, str] = field(default_factory=dict)


def running_table(seed: int) -> dict[date, tuple[float, str]]:
    """Return the plant's hours and raw material of every season day, run or planned."""
    rng = stream(seed, 20)
    table = {}
    for season in SEASONS:
        for day in season.days:
            hours = round(float(rng.uniform(22.0, 23.6)), 1)
            if day > scene.LOGS_END:
                hours = 22.8
            if day.weekday() == 6:
                hours = 15.5 if day != season.days[-1] else WINDOW_OPENS
            table[day] = (hours, season.phase(day))
    return table


def machine_hours(day: date, plant_hours: float) -> Array:
    """Return the hours of each machine on a day: its own, its line's, or the plant's."""
    hours = np.full(len(MACHINES), plant_hours)
    for kind in ("line", "machine"):
        for what, name, first, last, own in scene.STOPS:
            if what == kind and first <= day <= last:
                names = LINES if kind == "line" else MACHINES
                hours[[number for number, at in enumerate(names) if at == name]] = own
    return hours


def kit_name(size: int, machine: int) -> str:
    """Return the name of a machine's set of one calibre, such as ``K35-07``."""
    return f"K{SIZES[size]}-{MACHINES[machine][1:]}"


def stretches(day: date, hours: Array) -> list[tuple[Array, bool | None]]:
    """Return the stretches of a day: hours, and whether a window ends it (None: after one)."""
    if day.weekday() != 6:
        return [(hours, False)]
    before = np.minimum(hours, WINDOW_OPENS)
    return [(before, True), (hours - before, None)]
