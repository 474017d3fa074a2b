"""Machines that share a multiplier of the hazard, and the ratio of two kinds on them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import gammaln

from forecast.life.lives import Lives
from forecast.life.priors import DEFAULT_PRIOR
from forecast.life.shared import NO_SPREAD, SharedHazard
from forecast.life.spread import life_ratio, shared_by_machine

INF = np.inf


def fleet(
    spread: float, seed: int, count: int = 2000, machines: int = 40, shape: float = 2.5
) -> tuple[Lives, np.ndarray, np.ndarray]:
    """Lives on machines that differ, watched to ages between 1,500 and 7,000 h."""
    rng = np.random.default_rng(seed)
    level = spread * rng.standard_normal(machines)
    machine = rng.integers(0, machines, count)
    life = 6000 * np.exp(level[machine]) * rng.weibull(shape, count)
    end = rng.uniform(1500, 7000, count)
    age = np.minimum(life, end)
    return Lives(age, np.where(life <= end, age, INF)), machine, level


def by_formula(lives: Lives, machine: np.ndarray) -> tuple[float, float]:
    """Shape and weight by another route: the closed form, climbed without slopes."""
    failed = ~lives.suspended
    seen = np.bincount(machine, failed)

    def lost(at: np.ndarray) -> float:
        shape, scale, weight = np.exp(at)
        exposure = np.bincount(machine, (lives.lower / scale) ** shape)
        line = np.log(shape) - shape * at[1] + (shape - 1) * np.log(lives.lower[failed])
        own = (
            gammaln(weight + seen)
            - gammaln(weight)
            + weight * at[2]
            - (weight + seen) * np.log(weight + exposure)
        )
        return -float(line.sum() + own.sum())

    found = minimize(
        lost, [0.7, 8.7, 1.0], method="Nelder-Mead", options={"xatol": 1e-6, "maxiter": 2000}
    )
    return float(np.exp(found.x[0])), float(np.exp(found.x[2]))


def test_shape_and_weight_are_those_of_the_closed_form() -> None:
    lives, machine, _ = fleet(0.4, 1)
    found = shared_by_machine(lives, machine)
    shape, weight = by_formula(lives, machine)
    assert found.shape == pytest.approx(shape, rel=1e-4)
    assert found.weight == pytest.approx(weight, rel=1e-3)
    assert found.pooled_shape < found.shape - 0.15
    assert found.shape == pytest.approx(2.5, abs=0.2)


def test_alike_machines_stand_at_the_cap() -> None:
    lives, machine, _ = fleet(0.0, 3)
    found = shared_by_machine(lives, machine)
    assert not found.differ
    assert found.spread < 0.05
    assert found.weight <= NO_SPREAD * (1 + 1e-9)
    assert found.shape == pytest.approx(found.pooled_shape, rel=0.01)


def test_a_machine_is_told_from_the_others_as_far_as_its_lives_tell() -> None:
    lives, machine, level = fleet(0.4, 4)
    table = shared_by_machine(lives, machine).machines()
    told = table["life_ratio"].to_numpy()
    names = table["machine"].astype(int).to_numpy()
    assert np.corrcoef(np.log(told), level[names])[0, 1] > 0.9
    assert (table["ratio_low"] < told).all() and (told < table["ratio_high"]).all()
    few = np.isin(np.arange(len(lives)), np.flatnonzero(machine == 0)[:1]) | (machine != 0)
    thin = shared_by_machine(lives.only(few), machine[few]).machines()
    shrunk = thin.set_index("machine")["life_ratio"]["0"]
    wide = thin.assign(width=thin["ratio_high"] / thin["ratio_low"])
    assert abs(np.log(shrunk)) < abs(level[0])  # one life: leans on the others
    assert wide.loc[wide["width"].idxmax(), "machine"] == "0"


def test_failures_between_inspections_are_integrated_exactly() -> None:
    """One machine, two seen and three found failed: the integral over its multiplier by quad."""
    lives = Lives([1.0, 2.0, 0.5, 1.0, 0.0, 3.0], [1.0, 2.0, 1.0, 2.0, 0.7, INF])
    model = SharedHazard(lives, np.zeros(6, np.int64), np.ones((6, 1)))
    shape, scale, weight = 1.7, 1.9, 2.5

    def density(g: float) -> float:
        value = weight * np.log(weight) - gammaln(weight) + (weight - 1) * np.log(g) - weight * g
        hazard = (lives.lower / scale) ** shape
        value -= g * hazard.sum()
        seen = lives.lower[lives.exact]
        value += np.log(g * shape / scale * (seen / scale) ** (shape - 1)).sum()
        gathered = (lives.upper[lives.between] / scale) ** shape - hazard[lives.between]
        return float(np.exp(value + np.log(-np.expm1(-g * gathered)).sum()))

    expected = np.log(quad(density, 0, 60, epsabs=0, epsrel=1e-11)[0])
    at = np.log([shape, scale, weight])
    value, slope = model.value(at)
    assert value == pytest.approx(expected, abs=1e-6)
    for n in range(3):
        step = np.zeros(3)
        step[n] = 1e-5
        rise = (model.value(at + step)[0] - model.value(at - step)[0]) / 2e-5
        assert slope[n] == pytest.approx(rise, rel=1e-4, abs=1e-5)


def two_kinds(
    ratio: float, seed: int, spread: float = 0.3, machines: int = 12
) -> tuple[Lives, np.ndarray, np.ndarray]:
    """Ten of each kind on each machine, watched to 3,000 h."""
    rng = np.random.default_rng(seed)
    machine = np.repeat(np.arange(machines), 20)
    second = np.arange(machine.size) % 2 == 1
    level = spread * rng.standard_normal(machines)
    life = 4000 * np.exp(level[machine]) * np.where(second, ratio, 1.0)
    life *= rng.weibull(2.2, machine.size)
    age = np.minimum(life, 3000.0)
    return Lives(age, np.where(life <= 3000, age, INF)), second, machine


@pytest.mark.slow
def test_the_ratio_is_held_by_its_interval() -> None:
    held = []
    for seed in range(25):
        found = life_ratio(*two_kinds(1.4, seed, machines=6), DEFAULT_PRIOR)
        assert found.low < found.ratio < found.high
        held.append(found.low <= 1.4 <= found.high)
    assert sum(held) >= 19  # 22.5 expected, standard deviation 1.5


def test_a_hard_machine_does_not_count_against_the_kind_that_sat_on_it() -> None:
    """Kind two sits mostly on hard machines: thrown together it looks worse, paired equal."""
    lives, second, machine = two_kinds(1.0, 7, spread=0.0, machines=20)
    hard = machine < 10
    age = np.where(hard, 0.4, 1.0) * lives.lower
    there = np.where(hard == second, True, np.arange(len(lives)) % 10 < 2)  # a few on the others
    own = Lives(age, np.where(lives.suspended, INF, age)).only(there)
    paired = life_ratio(own, second[there], machine[there], DEFAULT_PRIOR)
    together = life_ratio(own, second[there], np.zeros(int(there.sum())), DEFAULT_PRIOR)
    assert together.high < 0.9
    assert paired.low < 1.0 < paired.high
    assert paired.spread > 0.2


def test_without_failures_on_one_side_there_is_a_bound_only() -> None:
    lives, second, machine = two_kinds(1.0, 8)
    for side, state, no_end in ((second, "lower_bound_only", "high"),
                                (~second, "upper_bound_only", "low")):  # fmt: skip
        none = Lives(lives.lower, np.where(side, INF, lives.upper))
        found = life_ratio(none, second, machine, DEFAULT_PRIOR)
        assert found.state == state
        assert np.isnan(found.ratio)
        assert getattr(found, no_end) in (0.0, INF)
        told = found.low if no_end == "high" else found.high
        # none of 1.35 expected is as unlikely: the hazard is at most 1.35 over that of the other
        assert abs(np.log(told)) == pytest.approx(
            np.log(none.failures / 1.353) / found.shape, rel=0.15
        )
    nobody = Lives(lives.lower, np.full(len(lives), INF))
    assert life_ratio(nobody, second, machine, DEFAULT_PRIOR).state == "no_fit"


def test_machines_with_one_kind_only_can_stand_apart() -> None:
    """Easy machines with the second kind alone don't lengthen its lives where it is set apart."""
    lives, second, machine = two_kinds(1.0, 9, spread=0.0)
    easy = Lives(np.full(40, 9000.0), np.full(40, 9000.0))
    joined = Lives(np.append(lives.lower, easy.lower), np.append(lives.upper, easy.upper))
    kind, where = np.append(second, np.ones(40, bool)), np.append(machine, np.full(40, 99))
    apart = life_ratio(joined, kind, where, DEFAULT_PRIOR, apart=where == 99)
    assert apart.low < 1.0 < apart.high
    with pytest.raises(ValueError, match="there are 280 lives but 240 machines"):
        life_ratio(joined, kind, machine, DEFAULT_PRIOR)
