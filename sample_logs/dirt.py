"""The faults real logs have, each planted at a known place."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from datetime import date, timedelta
from typing import Final

import numpy as np

from sample_logs.history import History
from sample_logs.rows import Change, Reading
from sample_logs.scene import LINES, MACHINES

HOT_C: Final = 52.0


def plant(history: History, rng: np.random.Generator) -> list[dict[str, object]]:
    """Spoil a history's rows.

    Parameters
    ----------
    history
        Its ``changes`` and ``readings`` are altered.
    rng
        Chooses the places.

    Returns
    -------
    list
        Faults that no row of a file shows: the change-outs nobody wrote down.
    """
    absent = _unlogged(history, rng)
    _swapped(history, rng)
    _unit_slips(history)
    _hot(history)
    _doubled(history)
    _missing_sizes(history, rng)
    _set_aside(history)
    _untidy(history)
    return absent


def _key(row: Change | Reading) -> tuple[str, int, int | None]:
    return row.place, row.machine, row.position


def _unlogged(history: History, rng: np.random.Generator) -> list[dict[str, object]]:
    """Leave out six change-outs; the fall in wear gives them away."""
    absent: list[dict[str, object]] = []
    wanted = (("rollers", "worn", 3), ("rollers", "planned", 1), ("chain", "worn", 2))
    own: dict[tuple[str, int, int | None], list[Reading]] = {}
    for reading in history.readings:
        own.setdefault(_key(reading), []).append(reading)
    for place, reason, count in wanted:
        found = [
            change
            for change in history.changes
            if (change.place, change.reason) == (place, reason) and _shows(own, change)
        ]
        for index in sorted(rng.choice(len(found), count, replace=False)):
            change = found[index]
            history.changes.remove(change)
            for reading in own[_key(change)]:
                if reading.day == change.day:
                    reading.found_left = "as_found"
            absent.append(
                {
                    "what": "unlogged change-out",
                    "at": change.day.isoformat(),
                    "machine": MACHINES[change.machine],
                    "position": f"{change.position:02d}",
                    "part_type": change.part_type,
                }
            )
    return absent


def _shows(own: dict[tuple[str, int, int | None], list[Reading]], change: Change) -> bool:
    """Tell whether a change-out of 2025 is seen in the readings of its position."""
    if change.action != "replaced" or change.day.year != 2025 or LINES[change.machine] == "D":
        return False
    after = [reading for reading in own[_key(change)] if change.day < reading.day]
    return bool(after) and after[0].depth < 0.4 and (after[0].day - change.day).days < 110


def _visits(history: History, keep: Callable[[Reading], bool]) -> list[list[Reading]]:
    """Return the kept readings by machine and day, in order."""
    visits: dict[tuple[date, int], list[Reading]] = {}
    for reading in history.readings:
        if keep(reading):
            visits.setdefault((reading.day, reading.machine), []).append(reading)
    return list(visits.values())


def _weekly(year: int, line: str) -> Callable[[Reading], bool]:
    """Return the test for an untouched weekly sleeve reading of a line in mid-season."""

    def keep(reading: Reading) -> bool:
        return (
            reading.place == "rollers"
            and LINES[reading.machine] == line
            and date(year, 9, 7) <= reading.day <= date(year, 10, 5)
            and reading.chosen == "rotation"
            and reading.found_left == "as_found"
            and not reading.tag
        )

    return keep


def _swapped(history: History, rng: np.random.Generator) -> None:
    """Write two positions of one sheet under each other's number."""
    pairs = [
        (one, other)
        for visit in _visits(history, _weekly(2025, "C"))
        for one in visit
        for other in visit
        if one.depth - other.depth > 0.45 and one.part_type == other.part_type
    ]
    one, other = pairs[int(rng.integers(len(pairs)))]
    one.depth, other.depth = other.depth, one.depth
    one.tag = other.tag = "swapped positions"


def _unit_slips(history: History) -> None:
    """Read two sheets in inches and file them as millimetres."""
    visits = [visit for visit in _visits(history, _weekly(2025, "B")) if len(visit) >= 4]
    slips = [
        visit
        for visit in visits
        if all(r.depth > 0.4 and abs(r.depth / r.true_depth - 1) < 0.08 for r in visit)
    ]
    for visit in slips[:1] + slips[-1:]:
        for reading in visit:
            reading.raw["value"] = f"{reading.depth / 25.4:.4f}"
            reading.tag = "unit slip"


def _hot(history: History) -> None:
    """Read one sheet while the grader was hot from the wash; the temperature is noted."""
    for reading in _visits(history, _weekly(2025, "A"))[7]:
        reading.temperature = HOT_C
        reading.tag = "hot reading"


def _doubled(history: History) -> None:
    """Enter two overhaul sheets twice: under another grader, and under another day."""
    sheets = {
        (sheet[0].place, sheet[0].machine): sheet
        for place in ("rollers", "chain")
        for sheet in _visits(
            history,
            lambda r, place=place: r.chosen == "all" and r.place == place,  # type: ignore[misc]
        )
        if sheet[0].day.year == 2025
    }
    left_alone = next(
        machine
        for (place, machine), sheet in sheets.items()
        if place == "chain" and machine > 25 and all(r.found_left == "as_left" for r in sheet)
    )
    wanted = (("rollers", 25, 26, 4), ("chain", left_alone, left_alone, 7))
    for place, machine, to_machine, later in wanted:
        for reading in sheets[place, machine]:
            copy = deepcopy(reading)
            copy.machine = to_machine
            copy.day = reading.day + timedelta(days=later)
            copy.found_left = "as_left"
            copy.tag = "doubled sheet"
            reading.tag = "original of a doubled sheet"
            history.readings.append(copy)


def _missing_sizes(history: History, rng: np.random.Generator) -> None:
    """Leave out one in ten of line A's fitted sizes."""
    for change in history.changes:
        if change.fitted_mm is not None and LINES[change.machine] == "A" and rng.random() < 0.1:
            change.fitted_mm = None
            change.tag = "fitted size missing"


def _set_aside(history: History) -> None:
    """Plant cells that cannot be read as they should."""
    readings = (
        ("rollers", 2024, "B", "value", "n/a"),
        ("rollers", 2024, "C", "value", "0,43"),
        ("rollers", 2024, "D", "unit", "thou"),
        ("rollers", 2025, "B", "at", "2025-09-31"),
        ("rollers", 2025, "D", "value", "?"),
        ("chain", 2025, "A", "value", "o.52"),
        ("chain", 2025, "C", "at", "31/09/2025"),
        ("pockets", 2024, "A", "at", "2052-09-15"),
        ("pockets", 2025, "B", "machine", ""),
    )
    for place, year, line, column, text in readings:
        reading = next(
            reading
            for reading in history.readings
            if reading.place == place
            and LINES[reading.machine] == line
            and reading.day >= date(year, 9, 21)
            and reading.found_left == "as_found"
            and reading.chosen in ("rotation", "random")
            and not reading.tag
        )
        reading.raw[column] = text
        reading.tag = f"set aside: {column}"
    changes = (
        (2024, "A", "quantity", "two"),
        (2024, "B", "quantity", "-2"),
        (2024, "C", "action", "swopped"),
        (2025, "A", "reason", "see shift book"),
        (2025, "B", "reason", "??"),
        (2025, "C", "reason", "as told by T."),
        (2025, "D", "at_from", "2025-11-20"),
    )
    for year, line, column, text in changes:
        change = next(
            change
            for change in history.changes
            if change.place == "pockets"
            and change.reason == "broken"
            and LINES[change.machine] == line
            and change.day >= date(year, 9, 21)
        )
        change.raw[column] = text
        change.tag = f"set aside: {column}"


def _untidy(history: History) -> None:
    """Add what costs nothing but must be borne: spaces, repeats, an OK, an unknown grader."""

    def first(place: str, line: str, day: date) -> Reading:
        return next(
            reading
            for reading in history.readings
            if (reading.place, LINES[reading.machine]) == (place, line)
            and reading.day >= day
            and reading.found_left == "as_found"
            and reading.chosen == "rotation"
            and not reading.tag
        )

    spaced = first("rollers", "B", date(2024, 10, 6))
    spaced.raw["machine"] = MACHINES[spaced.machine] + "  "
    spaced.tag = "trailing spaces"
    repeated = first("rollers", "C", date(2024, 10, 13))
    repeated.tag = "repeated row"
    history.readings.insert(history.readings.index(repeated), deepcopy(repeated))
    good = first("chain", "D", date(2025, 8, 17))
    good.raw |= {"value": "", "result": "ok"}
    good.tag = "ok without a value"
    unknown = first("rollers", "A", date(2026, 8, 16))
    unknown.raw["machine"] = MACHINES[unknown.machine].replace("0", "O")
    unknown.tag = "machine not in the fleet"
