"""Policies that look at wear depth, and what an overhaul makes of readings."""

from __future__ import annotations

import itertools
import runpy
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecast.errors import PlanError
from forecast.planning.change_list import change_list
from forecast.planning.demand import demand_paths
from forecast.planning.draws import Pieces, WearDraws
from forecast.planning.fleet import Fleet, fleets
from forecast.planning.overhaul import plan_overhaul
from forecast.planning.plan import ProductLoss
from forecast.planning.rules import change_rules
from forecast.planning.wear_policy import WornLives, best_depth, economic_depth
from forecast.planning.windows import schedule
from forecast.planning.worn import chance_of_flip, depth_at_risk, safe_level, season_after

SEASON: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "test_planning_season.py"))
plan, days_of, rollers, NO_STOCK = (
    SEASON[name] for name in ("plan", "days_of", "rollers", "NO_STOCK")
)
DRAWS = 1000
NAME = "SLEEVE-30"


def wearing(machines: int = 3, **changed: Any) -> WearDraws:
    rng = np.random.default_rng(5)
    level = np.log(3e-4) + 0.1 * rng.standard_normal(DRAWS)
    given: dict[str, Any] = {
        "level": level,
        "season_levels": level[None],
        "machine_effect": 0.1 * rng.standard_normal((machines, DRAWS)),
        "piece_sd": 0.2,
        "offset": 0.08,
        "offset_sd": 0.03,
        "limit_mm": np.ones(DRAWS),
        "future_sd": 0.05,
        "gauge_sd": 0.03,
    }
    return WearDraws(**{**given, **changed})


def worn_fleet(of: Any, days: Any, law: WearDraws, ages: float = 0.0) -> tuple[Fleet, ...]:
    fitted = rollers(ages=ages)
    ran = fitted["age"].to_numpy()[:, None]
    size = len(fitted)
    own, due = np.full(size, -1), np.zeros(size, dtype=bool)
    found: tuple[Fleet, ...] = fleets(fitted, ran, own, due, {(NAME, ""): law}, of, days)
    return found


def test_the_depth_at_which_lost_product_pays_is_a_root_and_a_minimum() -> None:
    """METHODS2 5.1: 1.221227 mm at .0016425 an hour for c 4, r .3 um/h, f .4, p .002, d .08."""
    depth, rate = economic_depth(3e-4, 0.08, 4.0, 0.4, 0.002)
    assert depth == pytest.approx(1.221227, abs=1e-6)
    assert rate == pytest.approx(0.0016425, abs=1e-7)
    at = np.linspace(0.5, 2.5, 20_001)
    cost = 3e-4 * (4.0 + 0.002 * (at - 0.4) ** 2 / (2 * 3e-4)) / (at - 0.08)
    assert depth == pytest.approx(at[np.argmin(cost)], abs=1e-4)
    # the faster it wears, the deeper it pays to let it go
    depths = [economic_depth(one, 0.08, 4.0, 0.4, 0.002)[0] for one in (1.5e-4, 6e-4)]
    assert depths == pytest.approx([0.92, 1.66], abs=0.01)


def test_the_best_depth_is_economic_where_nothing_breaks_and_every_hour_is_a_window() -> None:
    life = np.full(400, (2.0 - 0.08) / 3e-4)
    lives = WornLives(life, np.full(400, np.inf), np.full(400, 3e-4), np.full(400, 2.0))
    loss = ProductLoss(from_mm=0.4, per_mm_per_hour=0.002)
    found = best_depth(lives, 4.0, 400.0, loss, 0.0)
    assert found.at == pytest.approx(1.221, abs=0.03)
    assert found.low < 1.221 < found.high


class TestLevels:
    def test_the_safe_level_is_a_fast_piece_and_a_reading_under_the_limit(self) -> None:
        flat = np.full(DRAWS, np.log(3e-4))
        law = wearing(level=flat, machine_effect=np.zeros((3, DRAWS)), future_sd=0.0)
        level = safe_level(law, 0, 157.5)
        fast = 3e-4 * np.exp(1.645 * 0.2) * 157.5
        assert level == pytest.approx(1.0 - fast - 1.645 * 0.03, abs=1e-9)
        # METHODS2 5.2: the best level of its table is .875
        assert level == pytest.approx(0.875, abs=0.015)

    def test_the_depth_at_a_risk_is_the_share_of_pieces_that_reach_the_limit(self) -> None:
        law = wearing(gauge_sd=0.0)
        depth = depth_at_risk(law, 1, 160.0, 0.05)
        rng = np.random.default_rng(1)
        draw = rng.integers(0, DRAWS, 200_000)
        rate = np.exp(
            law.level[draw]
            + law.machine_effect[1, draw]
            + np.hypot(0.2, 0.05) * rng.standard_normal(len(draw))
        )
        assert (depth + rate * 160.0 >= 1.0).mean() == pytest.approx(0.05, abs=0.004)
        assert depth_at_risk(law, 1, 160.0, 0.2) > depth

    def test_the_plans_percentage_is_taken_or_the_level_computed(self) -> None:
        windows = {"weekly": "sunday"}
        of = plan(windows=windows, defaults={"policy": "at_wear", "change_at_percent": 85.0})
        days = days_of(of)
        rules = change_rules(worn_fleet(of, days, wearing()), days, {}, of, 1)
        np.testing.assert_allclose(rules[NAME].levels[""], 0.85)
        of = plan(windows=windows, defaults={"policy": "at_wear"})
        rule = change_rules(worn_fleet(of, days, wearing()), days, {}, of, 1)[NAME]
        assert (rule.levels[""] < 0.9).all()
        assert (rule.levels[""] > 0.8).all()
        assert "time between windows" in rule.why

    def test_at_wear_without_readings_is_refused(self) -> None:
        of = plan(windows={"weekly": "sunday"}, defaults={"policy": "at_wear"})
        days = days_of(of)
        found = SEASON["fleets_of"](rollers(), of, days)
        with pytest.raises(PlanError, match="SLEEVE-30: policy at_wear needs readings"):
            change_rules(found, days, {}, of, 1)


class TestSeason:
    """Both engines apply one schedule, and the list is the demand."""

    def lived(self, **defaults: Any) -> tuple[Any, ...]:
        of = plan(windows={"weekly": "sunday", "crew_hours": 50.0}, defaults=defaults)
        days = days_of(of)
        found = worn_fleet(of, days, wearing(), ages=1200.0)
        rules = change_rules(found, days, {NAME: 6.0}, of, 1)
        before = plan_overhaul(found, days, of, {}, 1)
        chosen = schedule(found, days, rules, of, before)
        paths = demand_paths(found, days, chosen, 1)
        return of, rules, paths[NAME], change_list(found, days, chosen, paths, NO_STOCK, of)

    def test_at_wear_changes_by_depth_before_the_limit(self) -> None:
        _, rules, of_depth, listed = self.lived(policy="at_wear", minutes=6.0)
        failing = self.lived(policy="run_to_failure")[2]
        assert of_depth.unplanned.sum() < 0.1 * failing.unplanned.sum()
        assert listed["quantity"].sum() == pytest.approx(
            of_depth.planned.sum(axis=1).mean(), abs=0.5 * len(listed)
        )
        assert set(listed["because"]) == {"limit"}
        by_machine = dict(zip(("G01", "G02", "G03"), rules[NAME].levels[""], strict=True))
        for row in listed.to_dict("records"):
            assert row["change_over_mm"] == pytest.approx(by_machine[row["machine"]])

    def test_every_second_window_changes_all(self) -> None:
        _, rules, paths, listed = self.lived(policy="every_window", every_windows=2, minutes=1.0)
        assert rules[NAME].every == 2
        weeks = sorted(set(listed["window"]))
        assert len(weeks) == 7
        assert {(late - early).days for early, late in itertools.pairwise(weeks)} == {14}
        assert paths.planned.sum(axis=1).mean() == pytest.approx(7 * 36, rel=0.02)

    def test_lost_product_is_in_the_costs_of_the_season(self) -> None:
        from forecast.planning.costs import costs

        loss = {"from_mm": 0.4, "per_mm_per_hour": 0.002}
        of, rules, paths, _ = self.lived(policy="run_to_failure", product_loss=loss)
        assert paths.loss is not None
        money = costs({NAME: paths}, rules, {NAME: 6.0}, of).iloc[0]
        assert money["product_loss"] == pytest.approx(paths.loss.mean())
        assert money["product_loss"] > 0

    def test_cheapest_with_lost_product_says_which_rules(self) -> None:
        money = {"planned_cost": 4.0, "unplanned_cost": 50.0}
        loss = {"from_mm": 0.4, "per_mm_per_hour": 0.05}
        rules = self.lived(policy="cheapest", product_loss=loss, **money)[1]
        assert rules[NAME].policy == "at_age"  # nobody reads these pieces
        assert "lost product counted" in rules[NAME].why
        assert "within 2 % of its cost from" in rules[NAME].why


class TestNextSeason:
    def test_another_season_has_an_effect_of_its_own(self) -> None:
        """The chance to last two seasons, against lives drawn with two independent effects."""
        rng = np.random.default_rng(2)
        level = np.log(2.5e-4) + 0.3 * rng.standard_normal(DRAWS)
        after = np.log(2.5e-4) + 0.3 * rng.standard_normal(DRAWS)
        law = wearing(1, level=level, next_level=after, machine_effect=np.zeros((1, DRAWS)))
        pieces, hours = SEASON["np"].zeros(1), np.array([1900.0])
        new = Pieces(
            np.zeros(1, dtype=np.int64), pieces, np.zeros((1, 1)), np.array([-1]),
            np.zeros(1, dtype=bool),
        )  # fmt: skip
        later, aged = season_after(law, new, hours)
        told = (law.survival(new, hours) * later.survival(aged, hours)).mean()
        draw = np.arange(200_000) % DRAWS
        own = 0.2 * rng.standard_normal(len(draw)) + 0.05 * rng.standard_normal(len(draw))
        gap = 1.0 - 0.08 - 0.03 * rng.standard_normal(len(draw))
        used = 1900.0 * (np.exp(level[draw]) + np.exp(after[draw])) * np.exp(own)
        assert told == pytest.approx((used < gap).mean(), abs=0.01)
        alike = replace(law, next_level=None)
        same, aged = season_after(alike, new, hours)
        both = (alike.survival(new, hours) * same.survival(aged, hours)).mean()
        assert both == pytest.approx(alike.survival(new, 2 * hours).mean(), abs=1e-9)
        assert abs(told - both) > 0.01


class TestMeasureAgain:
    def test_flips_near_the_line_and_nowhere_else(self) -> None:
        """METHODS2 section 7's formula, against readings simulated at one piece."""
        rng = np.random.default_rng(3)
        rate = 3e-4 * np.exp(0.12 * rng.standard_normal((3, DRAWS)))
        depth = np.array([0.42, 0.30, 0.75])[:, None] + 0.05 * rng.standard_normal((3, DRAWS))
        law = wearing(own_left=(1.0 - depth) / rate, own_rate=rate, gauge_sd=0.03)
        pieces = Pieces(
            np.zeros(3, dtype=np.int64), np.full(3, 1000.0), np.full((3, 1), 1000.0),
            np.arange(3), np.zeros(3, dtype=bool),
        )  # fmt: skip
        ahead = np.full(3, 1800.0)
        flips = chance_of_flip(law, pieces, ahead, 0.5)
        assert flips[0] > 0.1
        assert flips[1] < 0.1
        assert flips[2] < 1e-3
        unread = replace(pieces, own=np.full(3, -1))
        assert (chance_of_flip(law, unread, ahead, 0.5) == 0).all()

    def test_the_overhaul_list_asks_for_it(self) -> None:
        of = plan(
            overhaul={"from": date(2027, 7, 5), "until": date(2027, 7, 16), "keep_chance": 0.5},
        )
        days = days_of(of, as_of=date(2027, 6, 30))
        rng = np.random.default_rng(3)
        rate = 3e-4 * np.exp(0.12 * rng.standard_normal((36, DRAWS)))
        middle = np.linspace(0.05, 0.95, 36)
        depth = middle[:, None] + 0.05 * rng.standard_normal((36, DRAWS))
        law = wearing(own_left=np.maximum(1.0 - depth, 0.0) / rate, own_rate=rate)
        fitted = rollers(ages=300.0)
        ran = fitted["age"].to_numpy()[:, None]
        none = np.zeros(36, dtype=bool)
        found = fleets(fitted, ran, np.arange(36), none, {(NAME, ""): law}, of, days)
        table = plan_overhaul(found, days, of, {}, 1).table
        decided = table["decision"].tolist()
        first, last = decided.index("measure_again"), 35 - decided[::-1].index("measure_again")
        assert set(decided[:first]) == {"leave"}
        assert set(decided[last + 1 :]) == {"change"}
        assert set(decided[first : last + 1]) == {"measure_again"}
        assert last - first < 15
