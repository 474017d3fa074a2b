"""What does not fit into windows: the solver, the greedy order beside it, and the shelf."""

from __future__ import annotations

import itertools
import re
import runpy
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.planning.filler import Filler
from forecast.planning.order import in_order
from forecast.planning.overhaul import plan_overhaul
from forecast.planning.rules import ChangeRule
from forecast.planning.shelf import shelf_limits
from forecast.planning.solver import Job, Order, best_order, easy_bound
from forecast.planning.windows import schedule

SEASON: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "test_planning_season.py"))
plan, days_of, rollers, fleets_of = (
    SEASON[name] for name in ("plan", "days_of", "rollers", "fleets_of")
)
AT_1500 = {"SLEEVE-30": ChangeRule("at_age", 1500.0, 2.0, "")}


def jobs(count: int, windows: int, seed: int) -> list[Job]:
    rng = np.random.default_rng(seed)
    return [
        Job(
            machine=int(rng.integers(2)),
            part=0,
            pieces=1,
            minutes=float(rng.integers(10, 40)),
            spares=1,
            cost=np.sort(rng.uniform(0, 100, windows + 1)),
        )
        for _ in range(count)
    ]


def cost_of(given: list[Job], where: tuple[int, ...]) -> float:
    return float(sum(job.cost[at] for job, at in zip(given, where, strict=True)))


def fits(given: list[Job], where: tuple[int, ...], crew: np.ndarray, setup: float) -> bool:
    for window, minutes in enumerate(crew):
        here = [job for job, at in zip(given, where, strict=True) if at == window]
        opened = len({job.machine for job in here})
        if sum(job.minutes for job in here) + setup * opened > minutes:
            return False
    return True


@pytest.mark.parametrize("seed", range(5))
def test_the_solver_finds_no_worse_than_every_whole_plan(seed: int) -> None:
    """Against all 3^5 plans: pieces may be split, so its cost is at most the best whole plan's."""
    given, crew, setup = jobs(5, 2, seed), np.array([60.0, 50.0]), 10.0
    found = best_order(given, crew, setup, np.zeros((0, 2)), gap=0.0, close=0.0)
    assert found is not None
    plans = [where for where in itertools.product(range(3), repeat=5)]
    best = min(cost_of(given, where) for where in plans if fits(given, where, crew, setup))
    assert found.cost <= best + 1.0  # opening a machine costs a little, to break ties
    assert found.gap <= 1e-6
    assert found.bound <= best + found.opening * 4  # no plan goes under it
    assert easy_bound(given) <= found.bound
    assert found.variables == 5 * 3 + 4
    assert (found.pieces.sum(axis=1) == 1).all()


def test_a_shelf_of_two_lets_two_pieces_be_done() -> None:
    given = jobs(5, 3, 1)
    shelf = np.array([[1.0, 2.0, 2.0]])
    found = best_order(given, np.full(3, 1e6), 0.0, shelf, gap=0.0, close=0.0)
    assert found is not None
    upto = np.cumsum(found.pieces[:, :-1].sum(axis=0))
    assert upto.tolist() == [1, 2, 2]


def test_many_machines_get_a_plan_near_its_bound_without_a_search_among_all() -> None:
    rng = np.random.default_rng(4)
    given = [
        Job(machine, part, int(rng.integers(2, 20)), 3.0, 1, np.r_[rng.uniform(5, 9, 8), 12.0])
        for machine in range(25)
        for part in range(3)
    ]
    crew = np.full(8, 0.6 * sum(job.pieces * job.minutes for job in given) / 8)
    found = best_order(given, crew, 20.0, np.zeros((0, 8)))
    assert found is not None
    assert found.in_time
    assert 0.0 < found.gap <= 0.02
    one = best_order(given, crew, 20.0, np.zeros((0, 8)))
    assert one is not None
    assert np.array_equal(found.pieces, one.pieces)
    used = found.pieces[:, :-1].sum(axis=0) * 3.0
    assert (used <= crew + 3.0 * len(given)).all()  # rounding


def test_no_jobs_and_no_time_give_no_order() -> None:
    assert best_order([], np.ones(2), 0.0, np.zeros((0, 2))) is None
    assert best_order(jobs(60, 12, 1), np.full(12, 90.0), 9.0, np.zeros((0, 12)), 0.0) is None


class TestShortCrew:
    """Thirty-six pieces of age within a few weeks, and a crew for a few at a time."""

    def case(self, crew: float) -> tuple[Any, ...]:
        of = plan(
            windows={"weekly": "sunday", "crew_hours": crew, "machine_setup_minutes": 30.0},
            defaults={"minutes": 30.0, "planned_cost": 4.0, "unplanned_cost": 60.0},
        )
        days = days_of(of)
        found = fleets_of(rollers(ages=900.0), of, days)
        return of, days, found, plan_overhaul(found, days, of, {}, 1)

    def test_the_solvers_order_keeps_to_crew_hours_and_is_no_dearer(self) -> None:
        of, days, found, before = self.case(3.0)
        chosen = schedule(found, days, AT_1500, of, before, None, {"SLEEVE-30": 6.0})
        assert chosen.method in ("HiGHS", "most urgent first")
        assert "gap" in chosen.order_said
        assert "variables" in chosen.order_said
        (fleet,) = found
        for number in range(1, len(days.windows) + 1):
            here = np.flatnonzero(chosen.planned_at[0] == number)
            opened = len(set(fleet.pieces.machine[here]))
            assert len(here) * 30.0 + opened * 30.0 <= 3.0 * 60.0
        assert any("more of them end before their window" in said for said in chosen.said)

    def test_without_an_answer_the_most_urgent_go_first(self) -> None:
        of, days, found, before = self.case(3.0)
        make = partial(Filler, found, days, AT_1500, of, before)
        ordered = in_order(make, found, days, of, {}, {}, solve=lambda *_: None)
        assert ordered.method == "most urgent first"
        assert "no better order in time; gap at most" in ordered.said

    def test_the_order_taken_without_the_solver_has_its_own_gap(self) -> None:
        of, days, found, before = self.case(3.0)
        make = partial(Filler, found, days, AT_1500, of, before)
        orders: list[Order] = []

        def never(*given: Any) -> Order:
            order = best_order(*given)
            assert order is not None
            nothing = np.zeros_like(order.pieces)
            nothing[:, -1] = order.pieces.sum(axis=1)
            orders.append(replace(order, pieces=nothing))
            return orders[-1]

        ordered = in_order(make, found, days, of, {}, {}, solve=never)
        cost = float(re.search(r"waiting costs (\d+)", ordered.said).group(1))  # type: ignore[union-attr]
        gap = float(re.search(r"gap (\d+\.\d) %", ordered.said).group(1))  # type: ignore[union-attr]
        # the cost is told in whole numbers; opening machines adds a little to it
        most = cost + 0.5 + orders[0].opening * 6 * len(days.windows)
        assert 100 * (1 - orders[0].bound / (cost - 0.5)) - 0.1 <= gap
        assert gap <= 100 * (1 - orders[0].bound / most) + 0.1
        assert gap >= 100 * orders[0].gap - 0.1

    def test_what_fits_asks_nobody(self) -> None:
        of, days, found, before = self.case(100.0)
        chosen = schedule(found, days, AT_1500, of, before)
        assert (chosen.method, chosen.order_said, chosen.said) == ("as due", "", ())


class TestShelf:
    """Change-outs take no more than the shelf less the reserve, until an order can be there."""

    PARTS = pd.DataFrame(
        {
            "part_type": ["SLEEVE-30"],
            "unit_cost": [6.0],
            "lead_time_days": [42.0],
            "min_order": [np.nan],
            "pack_size": [np.nan],
        }
    )

    def stock(self, pieces: int) -> pd.DataFrame:
        row = {"part_type": "SLEEVE-30", "state": "on_hand", "quantity": pieces, "due": None}
        return pd.DataFrame([row])

    def chosen(self, pieces: int) -> tuple[Any, ...]:
        of = plan(windows={"weekly": "sunday"}, defaults={"minutes": 6.0, "reserve": 4})
        days = days_of(of)
        found = fleets_of(rollers(ages=1400.0), of, days)
        before = plan_overhaul(found, days, of, {}, 1)
        shelf = shelf_limits(found, days, self.stock(pieces), self.PARTS, of, before.changed)
        return days, found, shelf, schedule(found, days, AT_1500, of, before, shelf)

    def test_they_wait_and_it_is_said_what_that_risks(self) -> None:
        days, _, shelf, chosen = self.chosen(14)
        early = [n for n, window in enumerate(days.windows, 1) if window.day < 41]
        assert np.isfinite(shelf["SLEEVE-30"][early]).all()
        assert np.isinf(shelf["SLEEVE-30"][early[-1] + 1 :]).all()
        for number in early:
            done = int(np.isin(chosen.planned_at[0], range(1, number + 1)).sum())
            assert done <= shelf["SLEEVE-30"][number] <= 10
        assert any("the shelf less the reserve let" in said for said in chosen.said)

    def test_a_full_shelf_holds_nothing_back(self) -> None:
        *_, chosen = self.chosen(500)
        assert chosen.said == ()

    def test_a_stock_that_nobody_counted_holds_nothing_back(self) -> None:
        of = plan(windows={"weekly": "sunday"})
        days = days_of(of)
        found = fleets_of(rollers(), of, days)
        none = self.stock(3).iloc[:0]
        before = plan_overhaul(found, days, of, {}, 1)
        shelf = shelf_limits(found, days, none, self.PARTS, of, before.changed)
        assert np.isinf(shelf["SLEEVE-30"]).all()


def test_overhaul_work_is_told_with_its_days() -> None:
    of = plan(
        overhaul={"from": date(2027, 7, 5), "until": date(2027, 7, 16), "keep_chance": 0.4},
        defaults={"minutes": 30.0},
    )
    days = days_of(of, as_of=date(2027, 6, 30))
    done = plan_overhaul(fleets_of(rollers(ages=400.0), of, days), days, of, {}, 1)
    changed = int((done.table["decision"] == "change").sum())
    assert done.work.startswith(f"{changed} pieces on ")
    assert done.work.endswith("crew hours, from 2027-07-05 to 2027-07-16")
