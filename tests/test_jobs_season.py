"""The season job on simulated fleets: repeatable, honest about what it leaves out."""

from __future__ import annotations

import runpy
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.errors import NotInStore, PlanError
from forecast.jobs.fits import fit_all
from forecast.jobs.laws import in_service
from forecast.jobs.modes import shape_prior
from forecast.jobs.season import forecast_season
from forecast.jobs.simulating import running_season
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import SeasonForecast
from forecast.records.snapshot import Snapshot
from forecast.work import Work

FLEETS: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "fleets.py"))


@pytest.fixture(scope="module")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Snapshot, Plan]:
    snapshot, text, _ = FLEETS["fleet"]("mixed", 3)
    path = tmp_path_factory.mktemp("plan") / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return snapshot, read_plan(path, ["draws.count=300"])


def same(one: SeasonForecast, other: SeasonForecast) -> bool:
    tables = (one.tables() | dict(one.exhibits), other.tables() | dict(other.exhibits))
    return all(frame.equals(tables[1][name]) for name, frame in tables[0].items())


def test_the_same_inputs_give_the_same_numbers(mixed: tuple[Snapshot, Plan]) -> None:
    assert same(forecast_season(*mixed), forecast_season(*mixed))


def test_an_executor_changes_nothing(mixed: tuple[Snapshot, Plan]) -> None:
    with ThreadPoolExecutor(2) as pool:
        assert same(forecast_season(*mixed, Work(pool)), forecast_season(*mixed))


def test_another_seed_moves_the_draws_only_a_little(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, plan = mixed
    other = plan.model_copy(update={"draws": plan.draws.model_copy(update={"seed": 2})})
    one = forecast_season(snapshot, plan).results["season_totals"].iloc[0]
    two = forecast_season(snapshot, other).results["season_totals"].iloc[0]
    assert one["mean"] != two["mean"]
    width = one["p95"] - one["p05"]
    assert abs(one["mean"] - two["mean"]) < 0.25 * width


def test_the_parts_of_a_total_add_up(mixed: tuple[Snapshot, Plan]) -> None:
    forecast = forecast_season(*mixed)
    total = forecast.results["season_totals"].iloc[0]
    assert total["planned"] + total["unplanned"] + total["overhaul"] == pytest.approx(total["mean"])
    weeks = forecast.results["demand"]
    assert weeks.loc[weeks["kind"] == "total", "mean"].sum() == pytest.approx(total["mean"])


def test_parts_that_carry_people_get_no_forecast(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, plan = mixed
    people = replace(snapshot, part_types=snapshot.part_types.assign(carries_people=True))
    fits = fit_all(people)
    assert fits.life.empty
    assert fits.wear.empty
    assert "carries people" in set(fits.assumed["value"])
    with pytest.raises(NotInStore, match="nothing in service can be forecast"):
        forecast_season(people, plan)


def test_what_no_log_tells_is_left_out_and_said(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, plan = mixed
    stranger = snapshot.fitted.iloc[[0]].assign(part_type="PAD-99", piece="PAD-99 1", age=100.0)
    part = snapshot.part_types.iloc[[0]].assign(part_type="PAD-99")
    wider = replace(
        snapshot,
        fitted=pd.concat([snapshot.fitted, stranger], ignore_index=True),
        part_types=pd.concat([snapshot.part_types, part], ignore_index=True),
    )
    forecast = forecast_season(wider, plan)
    assert "PAD-99" not in set(forecast.results["season_totals"]["part_type"])
    said = forecast.results["assumed"]
    assert said["what"].str.startswith("PAD-99: no forecast").sum() == 1


def test_pieces_of_unknown_age_get_the_stationary_law(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, _ = mixed
    hidden = replace(snapshot, fitted=snapshot.fitted.assign(age=np.nan))
    fits = fit_all(hidden)
    service = in_service(hidden, fits, draws=200, seed=1, running=None, until=hidden.day)
    assert len(service.fitted) == len(snapshot.fitted)
    assert service.fitted["age"].notna().all()
    seen = snapshot.fitted_cells.groupby("piece")["x"].sum() * 1000
    least = service.fitted["piece"].map(seen).fillna(0.0)
    assert (service.fitted["age"] >= least - 1e-6).all()
    assert np.allclose(service.ran.sum(axis=1), service.fitted["age"])
    assert any(row["value"] == "unknown" for row in service.assumed)


def test_the_running_season_goes_on_only_after_its_start(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, plan = mixed
    last = str(snapshot.seasons.iloc[-1]["season"])
    assert running_season(snapshot, plan) is None
    begun = snapshot.seasons.copy()
    begun.loc[begun.index[-1], "last_day"] = pd.Timestamp(plan.season.start)
    assert running_season(replace(snapshot, seasons=begun), plan) == last


def test_a_day_after_the_season_is_refused(mixed: tuple[Snapshot, Plan]) -> None:
    snapshot, plan = mixed
    late = replace(snapshot, day=date(2099, 1, 1))
    with pytest.raises(PlanError, match="nothing lies ahead"):
        forecast_season(late, plan)


@pytest.mark.parametrize(
    ("columns", "centre", "log_sd"),
    [
        ({"prior_shape": 3.0, "prior_shape_low": 2.0, "prior_shape_high": 4.5}, 3.0, 0.24646),
        ({"prior_shape_low": 2.0, "prior_shape_high": 4.5}, 3.0, 0.24646),
        ({"prior_shape": 3.0}, 3.0, 0.5),
        ({}, 2.0, 0.5),
    ],
)
def test_the_shape_prior_is_the_part_types_own_or_the_default(
    columns: dict[str, float], centre: float, log_sd: float
) -> None:
    part = next(pd.DataFrame([columns or {"other": 1}]).itertuples())
    prior = shape_prior(part)
    assert prior.centre == pytest.approx(centre)
    assert prior.log_sd == pytest.approx(log_sd, rel=1e-3)
    assert prior.why
