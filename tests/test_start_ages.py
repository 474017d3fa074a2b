"""Ages of what was fitted before the logs began: the stationary law, counts and readings."""

from __future__ import annotations

import json
import runpy
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import sample_logs
from forecast.intake.importing import import_logs
from forecast.jobs.season import forecast_season
from forecast.jobs.start_ages import Told, filled_ages, told_by_readings, young_shares
from forecast.planning.draws import WeibullDraws
from forecast.planning.plan import read_plan
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.wear.rates import fit_wear

TESTS = Path(__file__).parent
HAND: dict[str, Any] = runpy.run_path(str(TESTS / "one_snapshot.py"))
LAW = WeibullDraws(np.full(50, 3.0), np.full(50, 3000.0))
COHORTS, SEEN = 60, 400.0


def ages(
    young: dict[str, float], told: dict[str, Told], rows: int = COHORTS, seen: float = SEEN
) -> Any:
    frame = pd.DataFrame({"piece": ["K1"] * rows, "machine": "M1", "age": np.nan})
    return filled_ages(frame, np.full(rows, seen), LAW, ["M1"], young, told)


def stationary_mean(beyond: float = 0.0) -> float:
    grid = np.linspace(beyond, 12_000, 40_001)
    weight = np.exp(-((grid / 3000) ** 3))
    return float(weight @ grid / weight.sum())


def test_without_more_the_ages_follow_the_stationary_law() -> None:
    found = ages({}, {})
    assert found.min() >= SEEN
    assert found.mean() == pytest.approx(stationary_mean(SEEN), rel=0.02)


def test_pieces_of_a_set_that_were_replaced_are_younger_than_the_watch() -> None:
    found = np.sort(ages({"K1": 0.25}, {}))
    assert (found < SEEN).sum() == COHORTS // 4
    assert found[: COHORTS // 4].mean() == pytest.approx(SEEN / 2)
    assert found[COHORTS // 4 :].mean() == pytest.approx(stationary_mean(SEEN), rel=0.02)


@pytest.mark.parametrize("start", [600.0, 1100.0, 1900.0])
def test_readings_that_are_sure_set_the_mean_of_a_set(start: float) -> None:
    """The mean is that at the watch's begin: those that lasted since are as old and the watch."""
    found = ages({"K1": 0.0}, {"K1": Told(start, 1.0, 40)}, rows=400, seen=0.0)
    assert found.mean() == pytest.approx(start, rel=0.02)
    assert np.ptp(found) > 1000, "a set of unknown age is not all of one age"


def test_readings_count_as_far_as_they_can_be_trusted() -> None:
    plain, sure, vague = (
        ages({"K1": 0.0}, told, seen=0.0).mean()
        for told in ({}, {"K1": Told(600, 1.0, 40)}, {"K1": Told(600, 900.0, 2)})
    )
    assert sure < 620 < vague < plain
    assert ages({"K1": 0.0}, {"K1": Told(600, 1e6, 1)}, seen=0.0).mean() == pytest.approx(
        plain, rel=0.02
    )


def test_a_piece_read_by_itself_has_its_own_age() -> None:
    (found,) = ages({}, {"K1": Told(900.0, 40.0, 3)}, rows=1)
    assert found == pytest.approx(900 + SEEN, abs=60)
    (vague,) = ages({}, {"K1": Told(900.0, 1e6, 1)}, rows=1)
    assert vague == pytest.approx(ages({}, {}, rows=1)[0], rel=0.01)


def test_depths_tell_start_ages() -> None:
    """Sets whose pieces began at 1,500 h, read twice; their errors are what they scatter by."""
    rng = np.random.default_rng(4)
    rows = []
    for m in range(20):
        for p in range(8):
            rate = 0.3 * np.exp(0.12 * rng.standard_normal() + 0.2 * rng.standard_normal())
            offset = 0.08 + 0.04 * rng.standard_normal()
            for x in (0.5, 1.5):
                wear = offset + rate * x + 0.03 * rng.standard_normal()
                rows.append((f"M{m}", f"{m}/{p}", 1000 * x, wear))
    fit = fit_wear(pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"]), 0.03)
    unaged = []
    for k in range(60):
        machine = 0.12 * rng.standard_normal()
        for ran in (100.0, 300.0):
            rate = 0.3 * np.exp(machine + 0.2 * rng.standard_normal(5))
            y = 0.08 + 0.04 * rng.standard_normal(5) + rate * (1.5 + ran / 1000)
            unaged.append(
                {
                    "visit": f"{k}/{ran}",
                    "machine": "G",
                    "place": "",
                    "position": "",
                    "part_type": "PAD",
                    "duty_group": "",
                    "piece": f"K{k}",
                    "day": date(2025, 9, 1),
                    "ran": ran,
                    "n": 5,
                    "sy": y.sum(),
                    "syy": (y**2).sum(),
                    "replaced_share": 0.0,
                    "culled_share": 0.0,
                }
            )
    known = HAND["snapshot"]([HAND["part_type"]()], unaged=pd.DataFrame(unaged))
    found = told_by_readings(known, ("PAD", ""), fit)
    hours = np.array([one.hours for one in found.values()])
    errors = np.array([one.error for one in found.values()])
    assert hours.mean() == pytest.approx(1500, rel=0.05)
    assert 0.6 < hours.std() / errors.mean() < 1.3
    assert all(one.readings == 10 for one in found.values())


def test_what_was_replaced_is_counted_once_a_week() -> None:
    counts = pd.DataFrame(
        [("K1", week, mode, 20, replaced, others)
         for week in (1, 2) for mode, replaced, others in (("broken", 2, 1), ("worn", 1, 2))],
        columns=["unit", "week", "mode", "positions", "replaced", "others"],
    )  # fmt: skip
    more = dict.fromkeys(("machine", "part_type", "duty_group", "kit"), "") | {"hours": 1.0}
    counts = counts.assign(**more, start_age=np.nan)
    assert young_shares(HAND["snapshot"]([HAND["part_type"]()], counts=counts)) == {"K1": 0.3}


@pytest.mark.slow
def test_the_sample_logs_come_within_their_bands(tmp_path: Path) -> None:
    """Run to failure, as truth.json lived the rest of the season; two machines' ages unknown."""
    here = Path(sample_logs.__file__).parent
    store = str(tmp_path / "s.duckdb")
    logs = sorted(path for path in (here / "logs").iterdir() if path.suffix in (".csv", ".xlsx"))
    import_logs(store, logs, today=date(2026, 12, 31))
    text = (here / "season_2026.toml").read_text(encoding="utf-8")
    (tmp_path / "plan.toml").write_text(text.replace('"cheapest"', '"run_to_failure"'))
    plan = read_plan(tmp_path / "plan.toml", ["draws.count=1000"])
    with open_store(store) as opened:
        known = take_snapshot(opened, plan.season.as_of)
    totals = forecast_season(known, plan).results["season_totals"].set_index("part_type")
    truth = json.loads((here / "truth.json").read_text(encoding="utf-8"))["future"]["2026-08-30"]
    assert set(truth) == set(totals.index)
    for name in truth:
        assert totals.loc[name, "p05"] <= truth[name] <= totals.loc[name, "p95"], name
