"""When pieces are changed: windows and crew, and the overhaul before the season."""

from __future__ import annotations

import dataclasses
import runpy
from datetime import date
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from forecast.planning.calendar import Calendar
from forecast.planning.change_list import change_list, window_table
from forecast.planning.demand import (
    demand_paths,
)
from forecast.planning.draws import WearDraws, WeibullDraws
from forecast.planning.fleet import Fleet, fleets
from forecast.planning.overhaul import Overhaul, plan_overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import keep_chance
from forecast.planning.windows import schedule
from forecast.records.season import EXHIBITS, RESULTS

PARTS = runpy.run_path(str(Path(__file__).with_name("three_machines.py")))
NO_STOCK = PARTS["NO_STOCK"]
DRAWS = PARTS["DRAWS"]
plan = PARTS["plan"]
days_of = PARTS["days_of"]
rollers = PARTS["rollers"]
law = PARTS["law"]
fleets_of = PARTS["fleets_of"]
at_age = PARTS["at_age"]
FAILING = PARTS["FAILING"]
planned = PARTS["planned"]


class TestWindows:
    def weekly(self, crew_hours: float | None, setup: float = 0.0) -> Plan:
        windows = {
            "weekly": "sunday",
            "crew_hours": crew_hours,
            "machine_setup_minutes": setup,
        }
        return plan(windows=windows, defaults={"minutes": 30.0})

    def test_pieces_are_changed_in_the_first_window_at_which_they_are_of_age(self) -> None:
        of = self.weekly(None)
        days = days_of(of)
        found = fleets_of(rollers(), of, days)
        plans = planned(found, days, of, at_age(1500.0))
        (fleet,) = found
        for row, window in enumerate(plans.planned_at[0]):
            ages = fleet.pieces.age[row] + np.array([fleet.ahead(w.day)[row] for w in days.windows])
            assert window == int(np.argmax(ages >= 1500.0)) + 1
        assert plans.said == ()

    def test_no_window_takes_more_than_its_crew_hours(self) -> None:
        of = self.weekly(4.0, setup=25.0)
        days = days_of(of)
        found = fleets_of(rollers(ages=900.0), of, days)
        plans = planned(found, days, of, at_age(1500.0))
        (fleet,) = found
        for number in range(1, len(days.windows) + 1):
            rows_ = np.flatnonzero(plans.planned_at[0] == number)
            opened = len(set(fleet.pieces.machine[rows_]))
            assert len(rows_) * 30.0 + opened * 25.0 <= 4.0 * 60.0
        assert plans.over_hours.sum() > 0

    def test_the_oldest_come_first_and_those_at_the_limit_before_them(self) -> None:
        of = self.weekly(2.0)
        days = days_of(of)
        due = np.zeros(12, dtype=bool)
        due[3] = True
        found = fleets_of(rollers(("G01",), ages=1000.0), of, days, due)
        plans = planned(found, days, of, at_age(1500.0))
        first = np.flatnonzero(plans.planned_at[0] == 1)
        assert first.tolist() == [3, 9, 10, 11]

    def test_work_that_finds_no_window_is_said(self) -> None:
        of = self.weekly(0.5)
        days = days_of(of)
        found = fleets_of(rollers(ages=1400.0), of, days)
        plans = planned(found, days, of, at_age(1500.0))
        assert "crew hours let 36 pieces wait" in plans.said[0]
        assert "find no window" in plans.said[-1]

    def test_planned_demand_is_the_list(self) -> None:
        of = self.weekly(None)
        days = days_of(of)
        found = fleets_of(rollers(), of, days, SLEEVE_30=law())
        plans = planned(found, days, of, at_age(1500.0))
        paths = demand_paths(found, days, plans, 1)
        table = change_list(found, days, plans, paths, NO_STOCK, of)
        assert tuple(table.columns) == RESULTS["to_change"]
        total = paths["SLEEVE-30"].planned.sum(axis=1).mean()
        assert paths["SLEEVE-30"].changes["mean"].sum() == pytest.approx(total)
        assert table["quantity"].sum() == pytest.approx(total, abs=0.5 * len(table))
        assert (table["quantity_low"] <= table["quantity_high"]).all()
        assert table["positions"].iloc[0] == "12"
        assert table["because"].unique().tolist() == ["age"]
        assert table["chance_if_left"].between(0.8, 1.0).all()
        shown = window_table(table, days, plans)
        assert tuple(shown.columns) == EXHIBITS["windows"]
        assert shown["used"].sum() == pytest.approx(table["crew_hours"].sum())

    def test_a_worn_piece_waits_for_its_window_and_is_planned(self) -> None:
        of = self.weekly(36.0)
        days = days_of(of)
        due = np.zeros(12, dtype=bool)
        due[5] = True
        flat, own_left = np.zeros(DRAWS), np.full((12, DRAWS), 1e5)
        own_left[5] = 0.0
        worn = WearDraws(
            flat - 8.0, np.zeros((1, DRAWS)) - 8.0, np.zeros((3, DRAWS)), 0.1, 0.0, 0.0,
            flat + 1e3, 0.0, own_left,
        )  # fmt: skip
        fitted = rollers(("G01",))
        (fleet,) = fleets(
            fitted, fitted["age"].to_numpy()[:, None], np.arange(12), due,
            {("SLEEVE-30", ""): worn}, of, days,
        )  # fmt: skip
        plans = planned((fleet,), days, of, FAILING)
        paths = demand_paths((fleet,), days, plans, 1)
        assert (paths["SLEEVE-30"].planned[:, days.windows[0].day] == 1).all()
        assert paths["SLEEVE-30"].unplanned.sum() == 0
        (row,) = change_list((fleet,), days, plans, paths, NO_STOCK, of).to_dict("records")
        assert (row["positions"], row["because"], row["chance_if_left"]) == ("6", "limit", 0.0)
        nowhere = planned((fleet,), days_of(plan()), plan(), FAILING)
        at_once = demand_paths((fleet,), days_of(plan()), nowhere, 1)["SLEEVE-30"]
        assert (at_once.unplanned[:, 0] == 1).all()

    def test_run_to_failure_changes_only_what_is_at_its_limit(self) -> None:
        of = self.weekly(36.0)
        days = days_of(of)
        due = np.zeros(36, dtype=bool)
        due[5] = True
        found = fleets_of(rollers(), of, days, due)
        plans = planned(found, days, of, FAILING)
        paths = demand_paths(found, days, plans, 1)
        table = change_list(found, days, plans, paths, NO_STOCK, of)
        (row,) = table.to_dict("records")
        assert (row["machine"], row["positions"], row["because"]) == ("G01", "6", "limit")


class TestOverhaul:
    OVERHAUL: ClassVar = {"from": date(2027, 7, 5), "until": date(2027, 7, 16)}

    def decided(self, **tables: object) -> tuple[Plan, Calendar, tuple[Fleet, ...], Overhaul]:
        tables.setdefault("overhaul", {**self.OVERHAUL, "keep_chance": 0.4})
        of = plan(**tables)
        days = days_of(of, as_of=date(2027, 6, 30))
        found = fleets_of(rollers(ages=400.0), of, days)
        return of, days, found, plan_overhaul(found, days, of, {"SLEEVE-30": 6.0}, 1)

    def test_pieces_under_the_keep_chance_are_changed_before_the_season(self) -> None:
        of, days, found, done = self.decided()
        assert tuple(done.table.columns) == RESULTS["overhaul"]
        changed = done.table["decision"] == "change"
        assert (changed == (done.table["chance_season"] < 0.4)).all()
        assert 0 < changed.sum() < len(changed)
        assert (done.table["chance_next"] < done.table["chance_season"]).all()
        paths = demand_paths(found, days, schedule(found, days, FAILING, of, done), 1)
        used = paths["SLEEVE-30"].overhaul
        assert (used.sum(axis=1) == changed.sum()).all()
        first, last = days.at(date(2027, 7, 5)), days.at(date(2027, 7, 16))
        assert used[:, :first].sum() == used[:, last + 1 :].sum() == 0
        # twelve days share the pieces evenly
        assert np.ptp(used[:, first : last + 1]) <= 1

    def test_changed_pieces_fail_less(self) -> None:
        of, days, found, done = self.decided()
        nothing = [np.zeros_like(rows_) for rows_ in done.changed]
        left = Overhaul(done.table, tuple(nothing), {}, ())
        after = demand_paths(found, days, schedule(found, days, FAILING, of, done), 1)
        before = demand_paths(found, days, schedule(found, days, FAILING, of, left), 1)
        assert after["SLEEVE-30"].unplanned.sum() < 0.95 * before["SLEEVE-30"].unplanned.sum()

    def test_crew_hours_take_the_least_likely_to_last_and_say_the_rest(self) -> None:
        overhaul = {**self.OVERHAUL, "keep_chance": 0.4, "crew_hours": 2.0}
        _, _, _, done = self.decided(overhaul=overhaul, defaults={"minutes": 30.0})
        changed = done.table["decision"] == "change"
        chance = done.table["chance_season"]
        assert changed.sum() == 4
        assert chance[changed].max() <= chance[~changed].min() + 1e-12
        assert "do not fit into its 2 crew hours" in done.said[0]

    def test_rows_carry_their_crew_hours_and_days(self) -> None:
        done = self.decided(defaults={"minutes": 30.0})[3]
        changed = done.table["decision"] == "change"
        assert (done.table["crew_hours"][changed] == 0.5).all()
        assert (done.table["crew_hours"][~changed] == 0.0).all()
        assert set(done.table["first_day"][changed]) == {self.OVERHAUL["from"]}
        assert set(done.table["last_day"][changed]) == {self.OVERHAUL["until"]}
        assert done.table["first_day"][~changed].isna().all()
        told = float(done.work.split(" machines, ")[1].split(" ")[0])
        assert told == pytest.approx(done.table["crew_hours"].sum(), abs=0.5)

    def test_decisions_near_the_line_say_so_and_only_those_flip_with_the_draws(self) -> None:
        """Forty seeds: a row said to be sure in one is decided alike in nearly all others."""
        of = plan(overhaul={**self.OVERHAUL, "keep_chance": 0.4})
        days = days_of(of, as_of=date(2027, 6, 30))
        (fleet,) = fleets_of(rollers(ages=400.0), of, days)
        decided, sure = [], []
        for seed in range(40):
            rng = np.random.default_rng(seed)
            few = WeibullDraws(
                rng.lognormal(np.log(2.2), 0.2, 200), rng.lognormal(np.log(3000.0), 0.2, 200)
            )
            drawn = (dataclasses.replace(fleet, law=few),)
            done = plan_overhaul(drawn, days, of, {"SLEEVE-30": 6.0}, seed)
            decided.append((done.table["decision"] == "change").to_numpy())
            sure.append(done.table["sure"].to_numpy(dtype=bool))
            unsure = int(done.table["quantity"][~sure[-1]].sum())
            assert (unsure > 0) == any(f"{unsure} pieces are so near" in one for one in done.said)
        usual = np.mean(decided, axis=0) > 0.5
        flipped = np.array(decided) != usual
        sure_ones = np.array(sure)
        assert flipped[~sure_ones].mean() > 0.1
        assert flipped[sure_ones].mean() < 0.02
        assert 0 < (~sure_ones).mean() < 0.5

    def test_the_keep_chance_comes_from_the_costs(self) -> None:
        """METHODS2 6: c0 10, mean life 1.90 seasons; its table prints .27, .74, .88, .95."""
        found = [keep_chance(10, cost, 1 / 1.90, 0.02) for cost in (15.0, 30.0, 60.0, 200.0)]
        np.testing.assert_allclose(found, [0.27, 0.74, 0.88, 0.95], atol=0.006)
        costs_ = {"planned_cost": 4.0, "unplanned_cost": 54.0}
        done = self.decided(overhaul=self.OVERHAUL, defaults=costs_)[3]
        assert "computed from the costs 10 planned and 60 unplanned" in done.keep["SLEEVE-30"][1]
        without = self.decided(overhaul=self.OVERHAUL)[3]
        assert without.keep["SLEEVE-30"] == (0.90, "costs are not all known")

    def test_an_overhaul_that_is_over_decides_nothing(self) -> None:
        of = plan(overhaul=self.OVERHAUL)
        days = days_of(of, as_of=date(2027, 7, 16))
        done = plan_overhaul(fleets_of(rollers(), of, days), days, of, {}, 1)
        assert done.table.empty
        assert tuple(done.table.columns) == RESULTS["overhaul"]
