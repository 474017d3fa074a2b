"""A season of three machines, for the tests of planning.

Not a test: ``runpy.run_path(...)`` gives what it is planned from.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.planning.calendar import Calendar, calendar
from forecast.planning.draws import LifeDraws, WeibullDraws
from forecast.planning.fleet import FITTED, Fleet, fleets
from forecast.planning.overhaul import plan_overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule
from forecast.planning.windows import Schedule, schedule

MACHINES, LINES = ("G01", "G02", "G03"), ("A", "A", "B")
START, END = date(2027, 8, 2), date(2027, 11, 7)  # a Monday, a Sunday
NO_LOG = pd.DataFrame(columns=["machine", "line", "day", "hours", "planned"])
NO_STOCK = pd.DataFrame(columns=["part_type", "state", "quantity", "due"])
DRAWS = 400


def plan(**tables: object) -> Plan:
    season = {"start": START, "end": END, "running_hours_per_day": 20.0}
    given = tables.pop("season", {})
    assert isinstance(given, dict)
    return Plan.model_validate({"season": {**season, **given}, **tables})


def days_of(of: Plan, running: pd.DataFrame = NO_LOG, as_of: date | None = None) -> Calendar:
    return calendar(of, running, MACHINES, LINES, as_of or START - timedelta(days=1))


def rows(*given: tuple[object, ...]) -> pd.DataFrame:
    """Build rows from (machine, place, position, part type, kit, in place, quantity, age)."""
    line = dict(zip(MACHINES, LINES, strict=True))
    full = [
        (m, line[str(m)], place, position, kind, "", None, kit, in_place, quantity, age)
        for m, place, position, kind, kit, in_place, quantity, age in given
    ]
    return pd.DataFrame(full, columns=list(FITTED))


def rollers(machines: tuple[str, ...] = MACHINES, ages: float = 0.0) -> pd.DataFrame:
    """Return twelve single pieces a machine, a hundred hours apart in age."""
    return rows(
        *[
            (m, "rollers", str(n + 1), "SLEEVE-30", None, True, 1, ages + 100.0 * n)
            for m in machines
            for n in range(12)
        ]
    )


def law(scale: float = 3000.0) -> WeibullDraws:
    return WeibullDraws(np.full(DRAWS, 2.5), np.full(DRAWS, scale))


def fleets_of(
    fitted: pd.DataFrame, of: Plan, days: Calendar, due: np.ndarray | None = None, **laws: LifeDraws
) -> tuple[Fleet, ...]:
    known = {(kind, ""): laws.get(kind, law()) for kind in sorted(set(fitted["part_type"]))}
    size = len(fitted)
    return fleets(
        fitted,
        fitted["age"].to_numpy()[:, None],
        np.full(size, -1),
        np.zeros(size, dtype=bool) if due is None else due,
        known,
        of,
        days,
    )


def at_age(age: float) -> dict[str, ChangeRule]:
    return {"SLEEVE-30": ChangeRule("at_age", age, 2.0, "")}


FAILING = {"SLEEVE-30": ChangeRule("run_to_failure", None, 2.0, "")}


def planned(
    found: tuple[Fleet, ...], days: Calendar, of: Plan, rules: dict[str, ChangeRule]
) -> Schedule:
    return schedule(found, days, rules, of, plan_overhaul(found, days, of, {}, 1))
