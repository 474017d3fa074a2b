"""Size changes that the logs are ahead of, or have not caught up with."""

from __future__ import annotations

import runpy
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from forecast.errors import PlanError
from forecast.planning.fleet import Fleet
from forecast.planning.plan import Plan

SEASON: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "test_planning_season.py"))
SIZES = ("LINER-35", "LINER-45", "LINER-55")


def plan(*switches: tuple[str, str, date]) -> Plan:
    tables = [
        {"from_part": old, "to_part": new, "machines": "G01-G02", "on": on}
        for old, new, on in switches
    ]
    made: Plan = SEASON["plan"](switch=tuple(tables))
    return made


def parts(of: Plan, as_of: date, **fitted: str) -> dict[str, Fleet]:
    """Return the fleet by size: two machines with three kits each, of which one is in place."""
    rows = [
        (
            machine,
            "pockets",
            "",
            size,
            f"K{size[-2:]}-{machine}",
            fitted[machine] == size,
            180,
            99.0,
        )
        for machine in ("G01", "G02")
        for size in SIZES
    ]
    days = SEASON["days_of"](of, as_of=as_of)
    found = SEASON["fleets_of"](SEASON["rows"](*rows), of, days)
    return {fleet.part_type: fleet for fleet in found}


def runs(found: dict[str, Fleet], day: int) -> list[str]:
    """Return the size that each machine runs on a day ahead, counted from 1."""
    return [next(size for size in SIZES if found[size].in_use[unit, day]) for unit in range(2)]


def test_a_size_change_made_before_its_day_is_not_asked_for_again() -> None:
    """The overhaul put the small size on; the plan says so from the first day of the season."""
    of = plan(
        ("LINER-55", "LINER-35", date(2027, 8, 2)), ("LINER-35", "LINER-45", date(2027, 8, 15))
    )
    found = parts(of, date(2027, 8, 1), G01="LINER-35", G02="LINER-35")
    assert runs(found, 1) == ["LINER-35", "LINER-35"]
    assert runs(found, 20) == ["LINER-45", "LINER-45"]


def test_one_made_on_some_machines_is_made_on_the_others() -> None:
    of = plan(("LINER-35", "LINER-45", date(2027, 8, 15)))
    found = parts(of, date(2027, 8, 11), G01="LINER-45", G02="LINER-35")
    assert runs(found, 1) == ["LINER-45", "LINER-35"]
    assert runs(found, 4) == ["LINER-45", "LINER-45"]


def test_one_of_the_last_days_that_nobody_logged_yet_is_made_now() -> None:
    """Else the later change would find another size there, and the machine would keep it."""
    of = plan(
        ("LINER-35", "LINER-45", date(2027, 8, 15)), ("LINER-45", "LINER-55", date(2027, 8, 29))
    )
    found = parts(of, date(2027, 8, 16), G01="LINER-45", G02="LINER-35")
    assert runs(found, 1) == ["LINER-45", "LINER-45"]
    assert runs(found, 20) == ["LINER-55", "LINER-55"]


def test_one_that_was_not_made_for_weeks_was_not_made() -> None:
    of = plan(("LINER-35", "LINER-45", date(2027, 8, 15)))
    found = parts(of, date(2027, 8, 30), G01="LINER-35", G02="LINER-35")
    assert runs(found, 30) == ["LINER-35", "LINER-35"]


def test_a_machine_that_runs_a_third_size_is_still_refused() -> None:
    of = plan(("LINER-35", "LINER-45", date(2027, 8, 15)))
    with pytest.raises(PlanError, match="none of G01, G02 runs LINER-35"):
        parts(of, date(2027, 8, 1), G01="LINER-55", G02="LINER-55")
