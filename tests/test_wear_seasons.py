"""The spread between seasons and the joint draws of levels and machines."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pytest

from forecast.wear.rates import WearFit, fit_wear_sums
from forecast.wear.seasons import (
    LOG_HOURS,
    FleetModel,
    PieceLaw,
    RateDraws,
    draw_levels,
    draw_rates,
    levels_read,
    spread_posterior,
)
from forecast.wear.sums import wear_sums

MACHINES = ("A", "B", "C")


def model(level: list[float], machines_common: float = 0.018, own: float = 0.004) -> FleetModel:
    """Seasons whose levels share the machines' error and have a little of their own."""
    count = len(level)
    covariance = machines_common**2 * np.ones((count, count)) + own**2 * np.eye(count)
    levels = np.array(level)
    return FleetModel(
        seasons=tuple(str(2020 + k) for k in range(count)),
        level=levels,
        covariance=covariance,
        machines=MACHINES,
        machine_mean=np.array([0.1, -0.2, 0.05]),
        machine_variance=np.full(3, 0.0004),
        machine_slope=np.full((3, count), -0.97 / count),
        machine_sd=0.12,
        piece_sd=0.2,
        spread=spread_posterior(levels, covariance),
    )


def drawn(
    fleet: FleetModel,
    n: int = 8000,
    seed: int = 5,
    *,
    machines: Sequence[str] = MACHINES,
    seasons: Sequence[str] | None = None,
    running: str | None = None,
) -> RateDraws:
    return draw_rates(
        fleet,
        n,
        np.random.default_rng(seed),
        machines=machines,
        seasons=fleet.seasons if seasons is None else seasons,
        running=running,
        of_pieces=PieceLaw(0.08, 0.04, 0.0),
    )


def coming(fleet: FleetModel, running: str | None = None) -> np.ndarray:
    return drawn(fleet, running=running).level


def width(values: np.ndarray) -> float:
    low, high = np.quantile(values, [0.05, 0.95])
    return float(high - low)


def test_prior_is_half_normal_when_one_season_says_nothing() -> None:
    """METHODS2 1.4: median .10, 90 % .25, 95 % .29 of the half-normal(0.15)."""
    posterior = spread_posterior(np.array([-1.2]), np.array([[0.0004]]))
    assert "half of all spreads under 0.10 (half-normal, 0.15)" in posterior.prior
    for share, value in ((0.5, 0.101), (0.9, 0.247), (0.95, 0.294)):
        assert posterior.quantile(share) == pytest.approx(value, abs=0.012)


def test_uneven_grid_is_no_prior_of_its_own() -> None:
    """Posterior median against a fine even grid, integrated directly."""
    level, covariance = np.array([0.1, -0.05, 0.02]), 0.01**2 * np.eye(3) + 0.02**2
    even = np.linspace(1e-6, 1.0, 4001)
    density = []
    for spread in even:
        total = covariance + spread**2 * np.eye(3)
        inverse = np.linalg.inv(total)
        mu = inverse.sum(axis=0) @ level / inverse.sum()
        off = level - mu
        density.append(
            -0.5 * np.linalg.slogdet(total)[1]
            - 0.5 * np.log(inverse.sum())
            - 0.5 * off @ inverse @ off
            - 0.5 * (spread / 0.15) ** 2
        )
    weight = np.exp(np.array(density) - max(density))
    cumulated = np.cumsum(weight) / weight.sum()
    posterior = spread_posterior(level, covariance)
    for share in (0.05, 0.5, 0.95):
        direct = float(np.interp(share, cumulated, even))
        assert posterior.quantile(share) == pytest.approx(direct, rel=0.06)


def test_equal_seasons_collapse_the_band_and_one_season_is_wide() -> None:
    """METHODS2 1.4: 651 of 1,320 wide after one season, 186 after two equal, 69 after three."""
    one, two, three, five = (width(coming(model([-1.2] * k))) for k in (1, 2, 3, 5))
    assert one > 0.35
    assert one > 1.8 * two > 2.5 * three
    assert three < 0.13
    assert five < three
    certain = 2 * 1.645 * 0.018
    assert five > 0.95 * certain


def test_different_seasons_keep_the_band_wide() -> None:
    apart = model([-1.35, -1.2, -1.05])
    assert apart.spread.quantile(0.5) == pytest.approx(0.14, abs=0.04)
    assert width(coming(apart)) > 0.4


def test_stated_spread_overrides_the_prior() -> None:
    posterior = spread_posterior(np.array([0.0, 0.5]), 0.01 * np.eye(2), 0.10)
    assert posterior.prior == "0.1 (stated)"
    assert posterior.quantile(0.05) == posterior.quantile(0.95) == pytest.approx(0.10)
    with pytest.raises(ValueError, match="season_spread"):
        spread_posterior(np.array([0.0]), np.eye(1), -0.1)


def test_running_season_goes_on_at_its_own_level() -> None:
    fleet = model([-1.2, -1.2, -0.9])
    running = coming(fleet, "2022")
    assert np.median(running) == pytest.approx(-0.9 - LOG_HOURS, abs=0.02)
    assert width(running) < 0.3 * width(coming(fleet))


def test_unread_season_is_drawn_from_the_population() -> None:
    fleet = model([-1.2, -1.1])
    rates = drawn(fleet, seasons=("2019", *fleet.seasons), running="2019")
    past = rates.season_levels
    assert np.array_equal(rates.level, past[0])
    assert width(past[0]) > 3 * width(past[1])
    with pytest.raises(ValueError, match="not among"):
        drawn(fleet, 5, running="1999")


def test_draws_agree_with_the_levels_covariance() -> None:
    fleet = model([-1.25, -1.2, -1.1], own=0.03)
    _, _, levels = draw_levels(fleet, 60_000, np.random.default_rng(1))
    centre, covariance = levels_read(fleet)
    assert levels.mean(axis=1) == pytest.approx(centre, abs=0.001)
    assert np.cov(levels) == pytest.approx(covariance, rel=0.05, abs=2e-5)


def test_levels_and_machines_are_drawn_jointly() -> None:
    """A path with a high level has low machine effects: what machines share is in both."""
    fleet = model([-1.2, -1.2, -1.2])
    rates = drawn(fleet, 20_000)
    past, effects = rates.season_levels, rates.machine_effect
    sums = past.mean(axis=0) + effects.mean(axis=0)
    assert np.corrcoef(past.mean(axis=0), effects.mean(axis=0))[0, 1] < -0.7
    assert np.std(sums) < np.std(past.mean(axis=0))


def test_one_more_machine_or_season_shifts_no_other() -> None:
    """Random numbers go by name, so that forecasts of two fleets can be compared."""
    fleet = model([-1.2, -1.1])
    few = drawn(fleet, 50, machines=("A", "C"), seasons=("2020",))
    more = drawn(fleet, 50, machines=("A", "B", "C", "new"), seasons=("2019", "2020"))
    assert np.array_equal(few.level, more.level)
    assert np.array_equal(few.season_levels[0], more.season_levels[1])
    assert np.array_equal(few.machine_effect, more.machine_effect[[0, 2]])
    assert np.array_equal(few.read_effects, more.machine_effect[:3])


def test_unread_machine_has_the_population_spread() -> None:
    effects = drawn(model([-1.2]), machines=("new",)).machine_effect
    assert effects.mean() == pytest.approx(0.0, abs=0.01)
    # Three machines tell little of their sd: it is drawn, and the effect has wider tails.
    assert 0.12 < effects.std() < 0.6


def readings(seed: int, effects: list[float], names: list[str]) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    machine = np.repeat(np.arange(44), 8)
    on_machine = (0.12 * rng.standard_normal(44))[machine]
    frames = []
    for k, effect in enumerate(effects):
        rate = np.exp(np.log(0.3) + effect + on_machine + 0.2 * rng.standard_normal(machine.size))
        offset = 0.08 + 0.04 * rng.standard_normal(machine.size)
        for x in (1.1, 2.2):
            frame = {"machine": machine.astype(str), "piece": [f"{k}-{i}" for i in range(352)]}
            frame |= {name: 1000 * x * (at == k) * np.ones(352) for at, name in enumerate(names)}
            frame["wear_mm"] = offset + rate * x + 0.03 * rng.standard_normal(machine.size)
            frames.append(pd.DataFrame(frame))
    return pd.concat(frames)


def fit(seed: int, effects: list[float], **stated: float) -> WearFit:
    names = [str(2024 + k) for k in range(len(effects))]
    return fit_wear_sums(*wear_sums(readings(seed, effects, names), names), names, **stated)


def test_spread_of_a_fleet_by_readings() -> None:
    equal = fit(1, [0.0, 0.0, 0.0])
    apart = fit(1, [0.12, -0.12, 0.0])
    assert equal.season_spread_high < 0.12
    assert equal.season_spread < 0.03 < apart.season_spread_low
    assert apart.season_spread == pytest.approx(0.12, abs=0.04)
    assert fit(1, [0.1], season_spread=0.07).season_spread == pytest.approx(0.07)
    assert fit(1, [0.1]).season_spread == pytest.approx(0.10, abs=0.01)
