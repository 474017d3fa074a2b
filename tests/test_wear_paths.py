"""Hours left of pieces with readings: coverage, the future change of rate, paths."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.paths import FUTURE_SD
from forecast.wear.rates import WearFit, fit_wear, fit_wear_sums
from forecast.wear.sums import wear_sums

Array = npt.NDArray[np.float64]
LIMIT = 2.0


def fleet(
    seed: int, machines: int = 30, pieces: int = 12, change: float = 0.0
) -> tuple[pd.DataFrame, Array]:
    """Pieces with 2-4 readings; truth: hours left after the last one.

    With `change` the rate of each piece changes by that log sd between its last two readings.
    """
    rng = np.random.default_rng(seed)
    rows, left = [], []
    for machine, effect in enumerate(0.12 * rng.standard_normal(machines)):
        for piece in range(pieces):
            hours = np.sort(rng.uniform(0.3, 3.0, rng.integers(2, 5)))
            rate = 0.4 * np.exp(effect + 0.25 * rng.standard_normal())
            wear = 0.12 + 0.05 * rng.standard_normal() + rate * hours
            faster = np.exp(change * rng.standard_normal())
            wear[-1] = wear[-2] + faster * rate * (hours[-1] - hours[-2])
            left.append(1000 * (LIMIT - wear[-1]) / rate)
            measured = wear + 0.04 * rng.standard_normal(hours.size)
            name = f"P{machine:02d}-{piece:02d}"
            rows += [
                (f"M{machine:02d}", name, 1000 * x, y) for x, y in zip(hours, measured, strict=True)
            ]
    return pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"]), np.array(left)


def test_hours_to_limit_cover_the_truth() -> None:
    """90 % intervals with 2-4 readings a piece over four fleets (METHODS 2.5: .891)."""
    covered, errors = [], []
    for seed in range(4):
        readings, truth = fleet(seed)
        table = fit_wear(readings).hours_to_limit(LIMIT)
        assert list(table.columns) == ["piece", "median", "low", "high"]
        left = truth > 50
        inside = (table["low"] <= truth) & (truth <= table["high"])
        covered.append(inside[left].mean())
        errors.append(np.log(np.maximum(table["median"][left], 1.0) / truth[left]).std())
    assert 0.85 <= np.mean(covered) <= 0.95
    assert np.mean(errors) < 0.2


def test_wider_level_gives_wider_intervals() -> None:
    fit = fit_wear(fleet(1, machines=6)[0])
    narrow, wide = fit.hours_to_limit(LIMIT, level=0.5), fit.hours_to_limit(LIMIT, level=0.95)
    assert (wide["low"] <= narrow["low"]).all()
    assert (narrow["high"] <= wide["high"]).all()
    pd.testing.assert_frame_equal(narrow, fit.hours_to_limit(LIMIT, level=0.5), check_exact=True)
    with pytest.raises(ValueError, match="level"):
        fit.hours_to_limit(LIMIT, level=1.0)


def test_pieces_over_the_limit_have_no_hours_left() -> None:
    table = fit_wear(fleet(2, machines=5)[0]).hours_to_limit(0.05)
    assert (table["median"] == 0).all()


@pytest.mark.parametrize(("change", "low", "high"), [(0.0, 0.0, 0.06), (0.3, 0.22, 0.38)])
def test_future_change_from_last_readings(change: float, low: float, high: float) -> None:
    """METHODS 2.5: true 0 / .1 / .2 / .3 are found as .027 / .099 / .213 / .334."""
    found = [fit_wear(fleet(seed, change=change)[0], 0.04).future_sd for seed in range(3)]
    assert low <= np.mean(found) <= high


def test_future_change_is_assumed_where_it_cannot_be_told() -> None:
    fit = fit_wear(fleet(3, machines=4, pieces=3)[0], gauge_sd=0.04)
    assert fit.future_sd == FUTURE_SD
    assert "future change of rate (sd)" in {note.what for note in fit.assumed}


def two_seasons(seed: int) -> tuple[WearFit, pd.DataFrame, Array, Array]:
    """Pieces fitted last season, read in it and in the running one; depth now and rates known."""
    rng = np.random.default_rng(seed)
    names = ("2025", "2026")
    effects = np.array([0.0, 0.25])
    rows, ran, depth, rate_now = [], [], [], []
    for machine, effect in enumerate(0.12 * rng.standard_normal(25)):
        for piece in range(12):
            rate = 0.3 * np.exp(effect + 0.2 * rng.standard_normal())
            offset = 0.08 + 0.04 * rng.standard_normal()
            for x in ((1.1, 0.0), (2.2, 0.0), (2.2, 0.5)):
                wear = offset + rate * (np.array(x) @ np.exp(effects))
                hours = 1000 * np.array(x)
                measured = wear + 0.03 * rng.standard_normal()
                rows.append((f"M{machine:02d}", f"P{machine:02d}-{piece:02d}", *hours, measured))
            ran.append((2200.0, 800.0))
            depth.append(offset + rate * (np.array([2.2, 0.8]) @ np.exp(effects)))
            rate_now.append(rate * np.exp(effects[1]) / 1000)
    frame = pd.DataFrame(rows, columns=["machine", "piece", *names, "wear_mm"])
    fit = fit_wear_sums(*wear_sums(frame, names), names)
    truth = np.maximum(1.4 - np.array(depth), 0) / np.array(rate_now)
    return fit, pd.DataFrame({"piece": fit.pieces["piece"]}), np.array(ran), truth


def test_own_left_over_two_seasons() -> None:
    """Past hours count at their seasons' levels, hours to come at the running season's.

    Pieces that span seasons tell no later change of rate, so one is assumed; the truth has none.
    """
    covered = []
    for seed in range(3):
        fit, pieces, ran, truth = two_seasons(seed)
        rng = np.random.default_rng(seed)
        machines = [f"M{m:02d}" for m in range(25)]
        rates = fit.draws(800, rng, machines=machines, seasons=fit.seasons, running="2026")
        assert rates.future_sd == FUTURE_SD
        rates = replace(rates, future_sd=0.0)
        left = fit.own_left(rates, pieces, ran, np.full(800, 1.4), rng)
        assert left.shape == (300, 800)
        assert (left >= 0).all()
        low, high = np.quantile(left, [0.05, 0.95], axis=1)
        covered.append(((low <= truth) & (truth <= high))[truth > 50].mean())
    assert 0.85 <= np.mean(covered) <= 0.95


def test_own_left_follows_the_order_asked_for() -> None:
    fit, pieces, ran, _ = two_seasons(1)
    machines = [f"M{m:02d}" for m in range(25)]
    rates = fit.draws(
        50, np.random.default_rng(1), machines=machines, seasons=fit.seasons, running="2026"
    )
    limit = np.full(50, 1.4)
    fewer = fit.own_left(rates, pieces.iloc[[4]], ran[[4]], limit, np.random.default_rng(2))
    other = fit.own_left(rates, pieces.iloc[[4, 0]], ran[[4, 0]], limit, np.random.default_rng(2))
    assert fewer[0].mean() == pytest.approx(other[0].mean(), rel=0.15)
    with pytest.raises(ValueError, match=r"no readings.*nobody"):
        fit.own_left(rates, pd.DataFrame({"piece": ["nobody"]}), ran[:1], limit, rng=None)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="ran should be"):
        fit.own_left(rates, pieces, ran[:, :1], limit, np.random.default_rng(2))
    with pytest.raises(ValueError, match="several seasons"):
        fit.hours_to_limit(1.4)
    assert len(fit.hours_to_limit(1.4, ran=ran)) == 300


def test_a_machine_that_left_still_tells_of_its_pieces() -> None:
    """Asking for other machines or seasons, in another order, does not change the pieces."""
    fit, pieces, ran, _ = two_seasons(1)
    limit = np.full(50, 1.4)
    left = []
    for machines, seasons in (("M00", "M01"), ("2025", "2026")), (("M01",), ("2026", "2025")):
        rates = fit.draws(
            50, np.random.default_rng(1), machines=machines, seasons=seasons, running="2026"
        )
        run = ran if seasons == ("2025", "2026") else ran[:, ::-1]
        left.append(fit.own_left(rates, pieces, run, limit, np.random.default_rng(2)))
    assert left[0] == pytest.approx(left[1], rel=1e-9)


def test_path_starts_at_the_depth_now_and_only_grows() -> None:
    fit, pieces, ran, _ = two_seasons(2)
    rng = np.random.default_rng(3)
    machines = [f"M{m:02d}" for m in range(25)]
    rates = fit.draws(2000, rng, machines=machines, seasons=fit.seasons, running="2026")
    ahead = np.array([0.0, 500.0, 1000.0, 2000.0])
    path = fit.path(rates, pieces["piece"].iloc[7], ran[7], ahead, rng)
    assert list(path.columns) == ["ahead", "median", "low", "high"]
    assert (np.diff(path[["median", "low", "high"]], axis=0) > 0).all()
    assert ((path["low"] < path["median"]) & (path["median"] < path["high"])).all()
    spread = path["high"] - path["low"]
    assert (np.diff(spread) > 0).all()
    # Half of the paths have reached the depth of the median line by then.
    reached = fit.own_left(
        rates, pieces.iloc[[7]], ran[[7]], np.full(2000, path["median"].iloc[2]), rng
    )
    assert (reached <= 1000).mean() == pytest.approx(0.5, abs=0.05)


def test_later_change_widens_hours_left() -> None:
    readings, _ = fleet(5, machines=10, change=0.4)
    fit = fit_wear(readings, gauge_sd=0.04)
    assert fit.future_sd > 0.2
    table = fit.hours_to_limit(5.0)
    assert (np.log(table["high"] / table["low"]) > 2 * 1.645 * 0.9 * fit.future_sd).all()
