"""A season planned whole: calendar, size changes, paths and lists."""

from __future__ import annotations

import runpy
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.errors import PlanError
from forecast.planning.calendar import Calendar, select_machines
from forecast.planning.change_list import change_list
from forecast.planning.costs import costs, unit_costs, unplanned_stops
from forecast.planning.demand import (
    DemandPaths,
    by_week,
    demand_paths,
    demand_table,
    season_totals,
    simultaneous_band,
)
from forecast.planning.draws import IntArray, WearDraws
from forecast.planning.fleet import Fleet, fleets
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule, change_rules
from forecast.planning.seeds import seed_of
from forecast.records.season import RESULTS
from forecast.work import HERE, Work

PARTS = runpy.run_path(str(Path(__file__).with_name("three_machines.py")))
MACHINES = PARTS["MACHINES"]
LINES = PARTS["LINES"]
START = PARTS["START"]
END = PARTS["END"]
NO_LOG = PARTS["NO_LOG"]
NO_STOCK = PARTS["NO_STOCK"]
DRAWS = PARTS["DRAWS"]
plan = PARTS["plan"]
days_of = PARTS["days_of"]
rows = PARTS["rows"]
rollers = PARTS["rollers"]
law = PARTS["law"]
fleets_of = PARTS["fleets_of"]
at_age = PARTS["at_age"]
FAILING = PARTS["FAILING"]
planned = PARTS["planned"]


class TestCalendar:
    def test_days_run_from_the_day_after_as_of_to_the_end(self) -> None:
        days = days_of(plan(), as_of=date(2027, 7, 25))
        assert (days.days[0], days.days[-1]) == (date(2027, 7, 26), END)
        assert days.hours[:, :7].sum() == 0
        assert (days.hours[:, 7:] == 20.0).all()
        assert days.weeks[0] == date(2027, 7, 26)

    def test_planned_rows_come_before_the_plans_hours_and_down_before_both(self) -> None:
        log = pd.DataFrame(
            [
                ("G01", "A", date(2027, 8, 2), 7.0, True),
                ("G02", "A", date(2027, 8, 2), 9.0, False),
                ("G03", "B", date(2027, 8, 3), 8.0, True),
            ],
            columns=NO_LOG.columns,
        )
        down = {"machine": "G03", "from": date(2027, 8, 3), "until": date(2027, 8, 5)}
        days = days_of(plan(down=(down,)), log)
        assert days.hours[:, 0].tolist() == [7.0, 20.0, 20.0]
        assert days.hours[2, :5].tolist() == [20.0, 0.0, 0.0, 0.0, 20.0]

    def test_hours_that_nobody_plans_are_refused_with_the_way_out(self) -> None:
        with pytest.raises(PlanError, match="no running hours are planned for G01, G02, G03") as at:
            days_of(plan(season={"running_hours_per_day": None}))
        assert "running_hours_per_day" in at.value.way_out

    def test_planned_rows_must_reach_the_seasons_end(self) -> None:
        reach = (END - START).days + 1

        def log(length: int) -> pd.DataFrame:
            full = [
                (machine, line, START + timedelta(days=n), 7.0, True)
                for machine, line in zip(MACHINES, LINES, strict=True)
                for n in range(length if machine == "G02" else reach)
            ]
            return pd.DataFrame(full, columns=NO_LOG.columns)

        only_rows = plan(season={"running_hours_per_day": None})
        assert days_of(only_rows, log(reach - 3)).hours[1].sum() == 7.0 * (reach - 3)
        with pytest.raises(PlanError, match="planned for G02 from 2027-09-01 to 2027-11-07"):
            days_of(only_rows, log(30))

    def test_a_season_that_is_over_is_refused(self) -> None:
        with pytest.raises(PlanError, match="no day is left to forecast"):
            days_of(plan(), as_of=END)

    def test_windows_of_the_week_and_of_single_days(self) -> None:
        dated = {"date": date(2027, 8, 11), "line": "B", "hours": 10, "crew_hours": 5.0}
        days = days_of(plan(windows={"weekly": "sunday", "crew_hours": 36.0}, window=(dated,)))
        assert [window.on.weekday() for window in days.windows][:3] == [6, 2, 6]
        assert days.windows[1].crew_hours == 5.0
        assert days.machine_windows("A").sum() == len(days.windows) - 1
        assert days.hours[:, 9].tolist() == [20.0, 20.0, 14.0]

    def test_machines_by_range_list_line_and_star(self) -> None:
        assert select_machines(("G01-G02",), MACHINES, LINES) == ("G01", "G02")
        assert select_machines(("G03", "G01"), MACHINES, LINES) == ("G01", "G03")
        assert select_machines(("A",), MACHINES, LINES) == ("G01", "G02")
        assert select_machines(("*",), MACHINES, LINES) == MACHINES
        with pytest.raises(PlanError, match="'G07-G09' is no machine"):
            select_machines(("G07-G09",), MACHINES, LINES)


POCKETS = [
    ("G01", "pockets", "", "LINER-45", "K45-01", True, 180, 500.0),
    ("G01", "pockets", "", "LINER-55", "K55-01", False, 180, 900.0),
    ("G02", "pockets", "", "LINER-45", "K45-02", True, 180, 500.0),
    ("G02", "pockets", "", "LINER-55", "K55-02", False, 180, 900.0),
]


class TestSizeChanges:
    def switched(self, machines: str = "G01") -> Plan:
        switch = {
            "from_part": "LINER-45",
            "to_part": "LINER-55",
            "machines": machines,
            "on": date(2027, 9, 5),
        }
        return plan(switch=(switch,), defaults={"set_minutes": 90.0})

    def test_hours_go_over_to_the_kit_that_is_put_in(self) -> None:
        of = self.switched()
        days = days_of(of)
        small, large = fleets_of(rows(*POCKETS), of, days)
        at = days.at(date(2027, 9, 5))
        assert small.hours[0, :at].sum() == 20.0 * at
        assert small.hours[0, at:].sum() == 0
        assert large.hours[0, :at].sum() == 0
        assert (large.hours[0, at:] == 20.0).all()
        assert large.hours[1].sum() == 0
        assert small.hours[1].sum() == 20.0 * len(days.days)

    def test_the_change_is_on_the_list_but_needs_no_parts(self) -> None:
        of = self.switched()
        days = days_of(of)
        found = fleets_of(rows(*POCKETS), of, days, **{"LINER-45": law(1e9), "LINER-55": law(1e9)})
        rules = {kind: ChangeRule("run_to_failure", None, 2.0, "") for kind in ("LINER-45",)}
        rules["LINER-55"] = rules["LINER-45"]
        plans = planned(found, days, of, rules)
        paths = demand_paths(found, days, plans, 1)
        table = change_list(found, days, plans, paths, NO_STOCK, of)
        (row,) = table.to_dict("records")
        assert (row["machine"], row["part_type"], row["because"]) == ("G01", "LINER-55", "size")
        assert (row["quantity"], row["crew_hours"]) == (180, 1.5)
        assert sum(of.total.sum() for of in paths.values()) == 0

    def test_a_kit_that_is_not_there_is_refused(self) -> None:
        of = self.switched("G01-G02")
        with pytest.raises(PlanError, match="no LINER-55 on the shelf of G02"):
            fleets_of(rows(*POCKETS[:3]), of, days_of(of))

    def test_machines_that_do_not_run_the_size_are_refused(self) -> None:
        of = self.switched("G03")
        with pytest.raises(PlanError, match="none of G03 runs LINER-45"):
            fleets_of(rows(*POCKETS), of, days_of(of))


def test_expected_numbers_of_an_age_keep_the_total_of_their_set() -> None:
    ages = [("G01", "pockets", "", "LINER-45", "K", True, 180 / 7, 100.0 * n) for n in range(7)]
    of = plan()
    (fleet,) = fleets_of(rows(*ages), of, days_of(of))
    assert fleet.quantity.sum() == 180
    assert set(fleet.quantity) == {25, 26}


class TestSeeds:
    def test_a_name_gives_its_own_stream(self) -> None:
        one, same = seed_of(1, "SLEEVE-30", "G01"), seed_of(1, "SLEEVE-30", "G01")
        assert one.entropy == same.entropy
        others = [seed_of(2, "SLEEVE-30", "G01"), seed_of(1, "SLEEVE-30G01"), seed_of(1, "G01")]
        assert one.entropy not in [other.entropy for other in others]

    def test_another_machine_or_part_type_leaves_the_paths_as_they_were(self) -> None:
        of = plan()
        days = days_of(of)

        def path(fitted: pd.DataFrame) -> dict[str, DemandPaths]:
            found = fleets_of(fitted, of, days)
            rules = {fleet.part_type: FAILING["SLEEVE-30"] for fleet in found}
            return demand_paths(found, days, planned(found, days, of, rules), 1)

        few = path(rollers(("G01", "G03")))["SLEEVE-30"]
        more = path(pd.concat([rollers(("G01", "G03")), rows(*POCKETS)]))["SLEEVE-30"]
        whole = path(rollers())["SLEEVE-30"]
        middle = path(rollers(("G02",)))["SLEEVE-30"]
        np.testing.assert_array_equal(few.unplanned, more.unplanned)
        np.testing.assert_array_equal(whole.unplanned, few.unplanned + middle.unplanned)

    def test_an_executor_gives_the_same_paths(self) -> None:
        of = plan(windows={"weekly": "sunday"})
        days = days_of(of)
        found = fleets_of(rollers(), of, days)
        plans = planned(found, days, of, at_age(1500.0))
        with ThreadPoolExecutor(2) as pool:
            there = demand_paths(found, days, plans, 1, Work(executor=pool))["SLEEVE-30"]
        here = demand_paths(found, days, plans, 1, HERE)["SLEEVE-30"]
        np.testing.assert_array_equal(here.total, there.total)
        pd.testing.assert_frame_equal(here.changes, there.changes)


class TestResults:
    def paths(self) -> tuple[Plan, Calendar, dict[str, ChangeRule], dict[str, DemandPaths]]:
        money = {"planned_cost": 4.0, "unplanned_cost": 20.0, "failure_stops": True}
        of = plan(
            windows={"weekly": "sunday"},
            defaults={**money, "stop_hours": 0.5, "stop_hour_cost": 80.0},
        )
        days = days_of(of)
        found = fleets_of(rollers(ages=800.0), of, days)
        rules = change_rules(found, days, {"SLEEVE-30": 6.0}, of, 1)
        return of, days, rules, demand_paths(found, days, planned(found, days, of, rules), 1)

    def test_tables_have_the_contracts_columns_and_agree(self) -> None:
        of, days, rules, paths = self.paths()
        totals, weekly = season_totals(paths), demand_table(paths, days)
        stops = unplanned_stops(paths, days, of)
        money = costs(paths, rules, {"SLEEVE-30": 6.0}, of)
        assert tuple(totals.columns) == RESULTS["season_totals"]
        assert tuple(weekly.columns) == RESULTS["demand"]
        # a band for one week lies within the one that holds whole paths; nine in ten are in each
        assert (weekly["cumulative_low"] <= weekly["cumulative_p05"]).all()
        assert (weekly["cumulative_p95"] <= weekly["cumulative_high"]).all()
        inside = self.inside(paths["SLEEVE-30"].total, weekly, days)
        assert inside["whole, both"] >= 0.90
        assert inside["one week, alone"].min() >= 0.90
        assert inside["whole, alone"] < 0.88
        assert tuple(stops.columns) == RESULTS["unplanned_stops"]
        assert tuple(money.columns) == RESULTS["costs"]
        sums = weekly.groupby("kind")["mean"].sum()
        assert sums["total"] == pytest.approx(totals["mean"][0])
        assert sums["unplanned"] == pytest.approx(totals["unplanned"][0])
        assert stops["stops_mean"].sum() == pytest.approx(totals["unplanned"][0])
        assert stops["hours_mean"].sum() == pytest.approx(0.5 * totals["unplanned"][0])
        assert money["parts"][0] == pytest.approx(6.0 * totals["mean"][0])
        parts = money[["parts", "planned", "unplanned", "stops"]].sum(axis=1)
        assert money["total"][0] == pytest.approx(parts[0])
        assert money["total_low"][0] < money["total"][0] < money["total_high"][0]

    def inside(self, total: IntArray, weekly: pd.DataFrame, days: Calendar) -> dict[str, Any]:
        """Return the share of paths in each band, on every week and in all of them."""
        summed = np.cumsum(by_week(total, days), axis=1)
        rows_ = weekly[weekly["kind"] == "total"]
        both, alone = (
            (summed >= rows_[f"cumulative_{low}"].to_numpy())
            & (summed <= rows_[f"cumulative_{high}"].to_numpy())
            for low, high in (("low", "high"), ("p05", "p95"))
        )
        return {
            "whole, both": both.all(axis=1).mean(),
            "one week, alone": alone.mean(axis=0),
            "whole, alone": alone.all(axis=1).mean(),
        }

    def test_money_that_nobody_priced_is_empty(self) -> None:
        of, _, rules, paths = self.paths()
        money = costs(paths, rules, {"SLEEVE-30": None}, of)
        assert money[["parts", "total", "total_low"]].isna().all(axis=None)
        assert money["planned"].notna().all()
        prices = pd.DataFrame({"part_type": ["A", "B"], "unit_cost": [6.0, np.nan]})
        assert unit_costs(prices) == {"A": 6.0, "B": None}

    def test_the_band_holds_nine_whole_paths_in_ten(self) -> None:
        rng = np.random.default_rng(1)
        paths = np.cumsum(rng.poisson(5, (2000, 30)), axis=1)
        low, high = simultaneous_band(paths)
        inside = ((paths >= low) & (paths <= high)).all(axis=1).mean()
        assert 0.90 <= inside < 0.92
        fresh = np.cumsum(rng.poisson(5, (2000, 30)), axis=1)
        assert ((fresh >= low) & (fresh <= high)).all(axis=1).mean() == pytest.approx(0.9, abs=0.03)
        core = simultaneous_band(paths, 0.5)
        assert ((paths >= core[0]) & (paths <= core[1])).all(axis=1).mean() == pytest.approx(
            0.5, abs=0.02
        )
        assert (low <= core[0]).all()
        assert (core[1] <= high).all()


class TestPiecesThatAreRead:
    """A piece with readings of its own is judged by them, however old it is."""

    def read_fleet(self, of: Plan, days: Calendar) -> tuple[Fleet, ...]:
        left = np.concatenate([np.full((1, DRAWS), hours) for hours in (200.0, 5000.0, 5000.0)])
        worn = WearDraws(
            level=np.full(DRAWS, np.log(0.0003)),
            season_levels=np.zeros((1, DRAWS)),
            machine_effect=np.zeros((3, DRAWS)),
            piece_sd=0.2,
            offset=0.06,
            offset_sd=0.02,
            limit_mm=np.ones(DRAWS),
            future_sd=0.0,
            own_left=left,
        )
        three = rollers(("G01",)).iloc[:3].assign(age=[300.0, 3900.0, 3900.0])
        own = np.array([0, 1, -1])
        none = np.zeros(3, dtype=bool)
        ran = three["age"].to_numpy()[:, None]
        return fleets(three, ran, own, none, {("SLEEVE-30", ""): worn}, of, days)

    def test_they_go_by_risk_and_the_others_by_age(self) -> None:
        of = plan(windows={"weekly": "sunday", "crew_hours": 36.0})
        days = days_of(of)
        found = self.read_fleet(of, days)
        rules = {"SLEEVE-30": ChangeRule("at_age", 2000.0, 2.0, "", risk=0.02)}
        chosen = planned(found, days, of, rules)
        # 140 h a week: the first piece has 200 h left and ends in the second week
        assert chosen.planned_at[0].tolist() == [1, -1, 1]
        paths = demand_paths(found, days, chosen, 1)
        listed = change_list(found, days, chosen, paths, NO_STOCK, of)
        assert listed.iloc[0]["because"] == "risk"

    def test_without_a_risk_all_go_by_age(self) -> None:
        of = plan(windows={"weekly": "sunday", "crew_hours": 36.0})
        days = days_of(of)
        chosen = planned(self.read_fleet(of, days), days, of, at_age(2000.0))
        assert chosen.planned_at[0].tolist() == [13, 1, 1]
