"""What does not fit together in a plan file, and what this version does not plan."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from datetime import date, timedelta
from difflib import get_close_matches
from typing import Any, TypeGuard

Keys = tuple[str | int, ...]


def nearest(name: str, known: Collection[str]) -> str:
    """Return a half-sentence that names the nearest known name, or some of the known ones."""
    near = get_close_matches(name, sorted(known), n=1, cutoff=0.5)
    if near:
        return f"; did you mean {near[0]!r}?"
    names = sorted(known)
    return f"; known: {', '.join(names[:12])}{', ...' if len(names) > 12 else ''}" if names else ""


def called(path: Keys) -> str:
    """Return the name of a key as a person writes it: ``season.end``, ``[[down]] until``."""
    if len(path) > 1 and isinstance(path[1], int):
        return f"[[{path[0]}]] " + ".".join(map(str, path[2:]))
    return ".".join(map(str, path))


def faults_between(document: Mapping[str, Any]) -> Iterator[tuple[Keys, str]]:
    """Find what does not fit together, and what this version does not plan.

    Parameters
    ----------
    document
        The plan as ``tomllib`` reads it; values of a wrong type are passed over here.

    Yields
    ------
    tuple
        Path of the key, and the sentence about it.
    """
    yield from _date_faults(document)
    yield from _entry_faults(document)
    yield from _later_faults(document)
    defaults = _table_of(document, "defaults")
    yield from _policy_faults(("defaults",), defaults, {})
    for name, own in _table_of(document, "part_type").items():
        if isinstance(own, dict):
            yield from _policy_faults(("part_type", name), own, defaults)


def _date_faults(document: Mapping[str, Any]) -> Iterator[tuple[Keys, str]]:
    season, overhaul = _table_of(document, "season"), _table_of(document, "overhaul")
    pairs: list[tuple[Keys, Mapping[str, Any], str, str]] = [
        (("season",), season, "start", "end"),
        (("overhaul",), overhaul, "from", "until"),
    ]
    pairs += [
        (("down", number), down, "from", "until")
        for number, down in enumerate(_entries(document, "down"))
    ]
    for path, table, early, late in pairs:
        first, last = table.get(early), table.get(late)
        if _day(first) and _day(last) and last < first:
            yield (
                (*path, late),
                f"{called((*path, late))} = {last} is before {called((*path, early))} = {first}",
            )
    start, end, as_of = (season.get(key) for key in ("start", "end", "as_of"))
    if _day(start) and _day(end) and end - start > timedelta(days=800):
        yield ("season", "end"), f"season.end = {end}: a season of more than 800 days"
    if _day(end) and _day(as_of) and as_of >= end:
        yield (
            ("season", "as_of"),
            f"season.as_of = {as_of} is not before season.end = {end}: no day is left to forecast",
        )
    until = overhaul.get("until")
    if _day(start) and _day(until) and until >= start:
        yield (
            ("overhaul", "until"),
            f"overhaul.until = {until} is not before season.start = {start}",
        )


def _entry_faults(document: Mapping[str, Any]) -> Iterator[tuple[Keys, str]]:
    season = _table_of(document, "season")
    start, end = season.get("start"), season.get("end")
    for number, down in enumerate(_entries(document, "down")):
        if ("machine" in down) == ("line" in down):
            yield ("down", number), "[[down]] needs a machine or a line, one of them"
    days = [("window", "date"), ("switch", "on")]
    for table, key in days:
        for number, entry in enumerate(_entries(document, table)):
            day = entry.get(key)
            if not (_day(day) and _day(start) and _day(end)) or start > end:
                continue
            if not start <= day <= end:
                yield (
                    (table, number, key),
                    f"[[{table}]] {key} = {day} is outside the season ({start} to {end})",
                )
    for number, entry in enumerate(_entries(document, "switch")):
        if entry.get("from_part") == entry.get("to_part") and "to_part" in entry:
            yield ("switch", number, "to_part"), "[[switch]] from_part and to_part are the same"


def _later_faults(document: Mapping[str, Any]) -> Iterator[tuple[Keys, str]]:
    """Find keys of the contract that this version does not use: refused, never ignored."""
    stocking, season = _table_of(document, "stocking"), _table_of(document, "season")
    if "all_types" in stocking:
        yield (
            ("stocking", "all_types"),
            "stocking.all_types is not planned by this version: give service_level, which holds "
            "for each part type",
        )
    if "budget" in stocking:
        yield (
            ("stocking", "budget"),
            "stocking.budget is not planned by this version: take it out and compare the cost in "
            "purchases",
        )
    if season.get("season_shared", 0) not in (0, None):
        yield (
            ("season", "season_shared"),
            "season.season_shared is not planned by this version: part types have seasons of "
            "their own (0)",
        )


def _policy_faults(
    path: Keys, own: Mapping[str, Any], defaults: Mapping[str, Any]
) -> Iterator[tuple[Keys, str]]:
    name = ".".join(map(str, path))
    policy = own.get("policy", defaults.get("policy", "cheapest"))
    needs = (
        ("change_at_age", "at_age"),
        ("change_at_percent", "at_wear"),
        ("every_windows", "every_window"),
    )
    for key, needed in needs:
        if key in own and policy != needed:
            yield (*path, key), f"{name}.{key} needs policy = {needed!r}; here it is {policy!r}"
    stops = own.get("failure_stops", defaults.get("failure_stops"))
    for key in ("stop_hours", "stop_hour_cost"):
        if key in own and stops is None:
            yield (*path, key), f"{name}.{key} needs failure_stops = true (or false) beside it"


def _table_of(document: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = document.get(name, {})
    return found if isinstance(found, dict) else {}


def _entries(document: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    found = document.get(name, [])
    entries = found if isinstance(found, list) else []
    return [entry if isinstance(entry, dict) else {} for entry in entries]


def _day(value: object) -> TypeGuard[date]:
    return type(value) is date
