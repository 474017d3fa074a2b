"""A season planned whole: calendar, size changes, windows, overhaul, paths and lists."""

from __future__ import annotations

import dataclasses
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from typing import Any, ClassVar

import numpy as np
import pandas as pd
import pytest

from forecast.errors import PlanError
from forecast.planning.calendar import Calendar, calendar, select_machines
from forecast.planning.change_list import change_list, window_table
from forecast.planning.costs import costs, unit_costs, unplanned_stops
from forecast.planning.demand import (
    DemandPaths,
    by_week,
    demand_paths,
    demand_table,
    season_totals,
    simultaneous_band,
)
from forecast.planning.draws import IntArray, LifeDraws, WearDraws, WeibullDraws
from forecast.planning.fleet import FITTED, Fleet, fleets
from forecast.planning.overhaul import Overhaul, plan_overhaul
from forecast.planning.plan import Plan
from forecast.planning.rules import ChangeRule, change_rules, keep_chance
from forecast.planning.seeds import seed_of
from forecast.planning.windows import Schedule, schedule
from forecast.records.season import EXHIBITS, RESULTS
from forecast.work import HERE, Work

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
