"""When a planned change pays: published optima, closed forms, and what a plan comes to."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.errors import PlanError
from forecast.planning.plan import PartPlan
from forecast.planning.policy import (
    age_from_draws,
    best_age,
    break_even_ratio,
    cost_by_age,
    renewal_function,
    renewals,
)
from forecast.planning.rules import change_rule

Published = dict[tuple[str, str], tuple[float, float]]


def weibull(shape: float, scale: float, size: int = 100_000) -> np.ndarray:
    """Return evenly spread lives: the quantiles at the middle of each of `size` shares."""
    return scale * (-np.log1p(-(np.arange(size) + 0.5) / size)) ** (1 / shape)


def test_best_age_of_the_trade_example() -> None:
    """TRADE E15: shape 3, scale 2500 h, costs 1 and 5: 1256 h, 46 % cheaper."""
    best = best_age(3, 2500, 1, 5)
    assert best.age == pytest.approx(1256, abs=2)
    assert best.cost_rate == pytest.approx(0.0012125588755166348, rel=1e-6)
    assert best.run_to_failure_cost_rate == pytest.approx(0.0022396930434443706, rel=1e-12)
    assert best.saving == pytest.approx(0.45860488379609855, abs=1e-6)


@pytest.mark.parametrize(
    ("shape", "ratio", "age", "rate"),
    [(2.2, 5, 2985, 0.6346e-3), (3.5, 10, 2468, 0.5700e-3)],
)
def test_best_age_equals_a_minimum_found_by_quadrature(
    shape: float, ratio: float, age: float, rate: float
) -> None:
    """METHODS 4: the root of the optimality condition equals minimising by quadrature."""
    best = best_age(shape, 6000, 1, ratio)
    assert best.age == pytest.approx(age, abs=1)
    assert best.cost_rate == pytest.approx(rate, abs=5e-8)


@pytest.mark.parametrize("shape", [0.8, 1.0, 1.02, 1.3])
def test_lives_that_hardly_age_are_run_to_failure(shape: float) -> None:
    best = best_age(shape, 6000, 1, 3)
    assert np.isinf(best.age)
    assert best.cost_rate == best.run_to_failure_cost_rate


def test_age_from_drawn_lives_finds_the_closed_form() -> None:
    drawn, best = age_from_draws(weibull(2.2, 6000), 1, 5), best_age(2.2, 6000, 1, 5)
    assert drawn.age == pytest.approx(best.age, rel=0.02)
    assert drawn.cost_rate == pytest.approx(best.cost_rate, rel=1e-4)


def test_cost_of_uniform_lives(published: Published) -> None:
    """Jardine and Tsang, chapter 2 problem 2 (check I1): lives even over 0 to 40,000 km."""
    lives = (np.arange(400_000) + 0.5) / 10.0
    ages, rate = cost_by_age(lives, 100, 200)
    for age in (10_000, 20_000, 30_000, 40_000):
        name = f"age-replacement cost per km, uniform(0,40000), Cp=100 Cf=200, T={age}"
        expected, tolerance = published["I1", name]
        assert rate[np.searchsorted(ages, age) - 1] == pytest.approx(expected, abs=tolerance)
    expected, _ = published["I1", "continuous optimum km = 40000(sqrt3-1)"]
    assert age_from_draws(lives, 100, 200).age == pytest.approx(expected, abs=1.0)


def test_renewals_of_the_published_table(published: Published) -> None:
    """Tijms (2003), table 8.1.1, p. 312 (check H1)."""
    times = [0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5]
    found = renewal_function(2.101349, 1.129063, times)
    for time, value in zip(times, found, strict=True):
        name = f"Weibull renewal function, mean 1, cv2=0.25 (shape 2.101349), t={time:g}"
        expected, tolerance = published["H1", name]
        assert value == pytest.approx(expected, abs=tolerance)


def test_renewals_in_closed_form(published: Published) -> None:
    """Erlang-2, uniform and exponential lives (check H2); a numerical solver to 1e-4."""
    erlang = renewals(lambda t: 1 - np.exp(-2 * t) * (1 + 2 * t), [1.0])[0]
    uniform = renewals(lambda t: np.minimum(t, 1.0), [0.5, 1.0])
    exponential = renewals(lambda t: 1 - np.exp(-t / 4), [10.0])[0]
    found = {
        "Erlang-2 (rate 2) M(1)=t-1/4+exp(-4t)/4": erlang,
        "uniform(0,1) M(0.5)=e^0.5-1": uniform[0],
        "uniform(0,1) M(1)=e-1": uniform[1],
        "exponential mean 4, M(10)": exponential,
    }
    for name, value in found.items():
        assert value == pytest.approx(published["H2", name][0], abs=1e-4)


@pytest.mark.parametrize(
    ("shape", "ratio"), [(1.2, 9.2), (1.5, 3.52), (2.0, 2.18), (2.5, 1.80), (3.5, 1.51), (5, 1.36)]
)
def test_break_even_ratios(shape: float, ratio: float) -> None:
    """METHODS2 5.4, found there from drawn lives: a saving of 5 %."""
    assert break_even_ratio(weibull(shape, 1000)) == pytest.approx(ratio, rel=0.03)


def test_a_planned_change_never_pays_where_pieces_do_not_age() -> None:
    assert np.isinf(break_even_ratio(weibull(1.0, 1000)))


def part(**values: object) -> PartPlan:
    return PartPlan.model_validate(values)


def test_cheapest_without_all_costs_runs_to_failure_and_names_the_ratio() -> None:
    rule = change_rule(part(planned_cost=4.0), 6.0, weibull(2.0, 3000), 150.0)
    assert (rule.policy, rule.age) == ("run_to_failure", None)
    assert "2.2 times a planned one" in rule.why


def test_cheapest_takes_the_best_age_half_a_window_early() -> None:
    lives = weibull(2.2, 6000)
    rule = change_rule(part(planned_cost=4.0, unplanned_cost=44.0), 6.0, lives, 150.0)
    assert rule.policy == "at_age"
    assert rule.age == pytest.approx(age_from_draws(lives, 10, 50).age - 75)


def test_the_stop_is_part_of_an_unplanned_change() -> None:
    costs = {"planned_cost": 4.0, "unplanned_cost": 4.0}
    stops = {"failure_stops": True, "stop_hours": 0.5, "stop_hour_cost": 80.0}
    lives = weibull(2.2, 6000)
    assert change_rule(part(**costs), 6.0, lives, 150.0).policy == "run_to_failure"
    assert change_rule(part(**costs, **stops), 6.0, lives, 150.0).policy == "at_age"
    unknown = change_rule(part(**costs, failure_stops=True), 6.0, lives, 150.0)
    assert "not all known" in unknown.why


def test_at_age_takes_the_plans_age_or_needs_both_costs() -> None:
    given = change_rule(part(policy="at_age", change_at_age=1234.0), None, weibull(2, 3000), 150.0)
    assert given.age == 1234.0
    with pytest.raises(PlanError, match="needs change_at_age, or both costs"):
        change_rule(part(policy="at_age"), 6.0, weibull(2, 3000), 150.0)
