"""Linked product pockets by size on 55 machines, around the clock, a season and the next."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from forecast.planning.calendar import calendar
from forecast.planning.demand import demand_paths
from forecast.planning.draws import WeibullDraws
from forecast.planning.fleet import FITTED, fleets
from forecast.planning.overhaul import plan_overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule
from forecast.planning.windows import schedule

MACHINES = [f"P{number:02d}" for number in range(1, 56)]
POCKETS, DRAWS = 60, 200
SIZES = ("POCKET-40", "POCKET-50")
START, SWITCH, END = date(2026, 7, 1), date(2026, 8, 10), date(2026, 9, 28)
DAYS = (END - START).days + 1
LOST_YIELD = (0.15, 0.20)
"""Share of the yield that an unsuited product-handling element can lose: common practice, no
source."""


def season(shape: float, scale: float, ages: dict[str, float]) -> dict[str, np.ndarray]:
    """Return the pieces used by part type [draws, days], 24 h a day, one change of size."""
    plan = Plan.model_validate(
        {
            "season": {"start": START, "end": END, "running_hours_per_day": 24.0},
            "defaults": {"policy": "run_to_failure"},
            "switch": (
                {
                    "from_part": SIZES[0],
                    "to_part": SIZES[1],
                    "machines": ",".join(MACHINES),
                    "on": SWITCH,
                },
            ),
        }
    )
    logged = pd.DataFrame(columns=["machine", "line", "day", "hours", "planned"])
    days = calendar(plan, logged, MACHINES, [""] * len(MACHINES), START - timedelta(days=1))
    rows = [
        (m, "", "chain", "", size, "", None, f"{m} {size}", size == SIZES[0], POCKETS, ages[size])
        for m in MACHINES
        for size in SIZES
    ]
    fitted = pd.DataFrame(rows, columns=list(FITTED))
    law = WeibullDraws(np.full(DRAWS, shape), np.full(DRAWS, scale))
    size = len(fitted)
    found = fleets(
        fitted,
        fitted["age"].to_numpy(float)[:, None],
        np.full(size, -1),
        np.zeros(size, dtype=bool),
        {(name, ""): law for name in SIZES},
        plan,
        days,
    )
    rules = {name: ChangeRule("run_to_failure", None, 2.0, "") for name in SIZES}
    chosen = schedule(found, days, rules, plan, plan_overhaul(found, days, plan, {}, 1))
    return {name: of.total for name, of in demand_paths(found, days, chosen, 1).items()}


def expected(shape: float, scale: float, age: float, hours: float) -> float:
    """Return the share of pieces that fail in so many hours, first failures only."""
    now, then = (age / scale) ** shape, ((age + hours) / scale) ** shape
    return -math.expm1(now - then)


HOURS = {
    SIZES[0]: 24.0 * (SWITCH - START).days,
    SIZES[1]: 24.0 * ((END - SWITCH).days + 1),
}


@pytest.fixture(scope="module")
def well_chosen() -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """A well-chosen grade: a season from new, and the second one on the same pockets."""
    law = (3.0, 9000.0)
    first = season(*law, dict.fromkeys(SIZES, 0.0))
    return first, season(*law, HOURS)


def test_a_size_is_used_up_only_while_it_runs(
    well_chosen: tuple[dict[str, np.ndarray], dict[str, np.ndarray]],
) -> None:
    first, _ = well_chosen
    before = (SWITCH - START).days
    assert first[SIZES[0]].shape == (DRAWS, DAYS)
    assert first[SIZES[0]][:, before + 1 :].sum() == 0  # its kit lies on the shelf
    assert first[SIZES[1]][:, :before].sum() == 0


def test_a_full_season_and_into_the_second_with_very_few_failures(
    well_chosen: tuple[dict[str, np.ndarray], dict[str, np.ndarray]],
) -> None:
    """Common practice, no source: a well-chosen grade ran a season and into the second so.

    The pieces expected follow from the law: what fails of 55 x 60 pockets, second failures aside.
    """
    pockets = len(MACHINES) * POCKETS
    for number, found in enumerate(well_chosen):
        for size in SIZES:
            age = number * HOURS[size]
            share = expected(3.0, 9000.0, age, HOURS[size])
            mean = found[size].sum(axis=1).mean()
            assert mean == pytest.approx(pockets * share, rel=0.10)
            assert share < (0.005 if number == 0 else 0.02)


def test_the_second_season_asks_for_more_than_the_first(
    well_chosen: tuple[dict[str, np.ndarray], dict[str, np.ndarray]],
) -> None:
    first, second = well_chosen
    for size in SIZES:
        ratio = second[size].sum() / first[size].sum()
        assert ratio == pytest.approx(7.0, rel=0.15)  # shape 3: 2^3 - 1 times the first's


def test_an_unsuited_grade_costs_more_in_product_than_in_parts() -> None:
    """An unsuited element wears out within weeks, and what it loses in yield dwarfs its price."""
    found = season(2.0, 900.0, dict.fromkeys(SIZES, 0.0))
    pockets = len(MACHINES) * POCKETS
    used = sum(of.sum(axis=1).mean() for of in found.values())
    assert used > pockets  # more than every pocket of one size
    tonnes, price, pocket_cost = 55 * 0.5 * 24 * DAYS, 60.0, 3.6  # 0.5 t an hour a machine
    for lost in LOST_YIELD:
        assert lost * tonnes * price > 10 * used * pocket_cost
