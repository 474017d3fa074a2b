"""A small plant, from its logs to the coming window's sheets and back; killed forecasts."""

from __future__ import annotations

import csv
import os
import runpy
import shutil
import signal
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from cli.app import app
from cli.options import work
from forecast.errors import NotInStore
from forecast.intake.doubts import doubts
from forecast.intake.importing import import_logs
from forecast.jobs.coming import LOTS, coming_window, to_measure
from forecast.jobs.season import Asked, kept_forecast, run_season, run_seasons
from forecast.records.season import SeasonForecast
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.work import Work

SMALL = Path(__file__).with_name("small_plant.py")
AFTER = date(2026, 8, 10)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, SeasonForecast]:
    """Return a folder with store and plan, and the forecast kept in it."""
    folder = tmp_path_factory.mktemp("small")
    store, plan = runpy.run_path(str(SMALL))["plant"](folder)
    shutil.copy(store, folder / "before.duckdb")
    return folder, run_season(store, plan)


@pytest.fixture
def own(made: tuple[Path, SeasonForecast], tmp_path: Path) -> str:
    """Return a copy of the store, to be written to."""
    return str(shutil.copy(made[0] / "store.duckdb", tmp_path / "store.duckdb"))


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)


def call(store: str, *words: str) -> str:
    result = CliRunner().invoke(app, ["--store", store, *words], env={"COLUMNS": "80"})
    assert result.exit_code == 0, result.output
    return result.stdout


def test_next_says_what_to_change_take_and_measure(own: str) -> None:
    said = call(own, "next")
    *lines, _command = said.splitlines()  # it names the store
    assert max(map(len, lines)) <= 80
    assert "Change-outs on Sun 9 Aug" in said
    assert "change every SLEEVE-30 over 0.78 mm; expect 4 (" in said
    assert "change the whole set to LINER-45, 40 pieces" in said
    assert "Take along" in said
    assert "drawn by lot" in said
    assert "Lock out" in said


def test_lots_are_equal_for_a_window_and_others_for_the_next(own: str) -> None:
    coming = coming_window(own)
    again = coming_window(own)
    pd.testing.assert_frame_equal(coming.to_measure, again.to_measure)
    assert (coming.to_measure.groupby("machine").size() == LOTS).all()
    with open_store(own) as store:
        snapshot = take_snapshot(store, coming.forecast.stamp.as_of)
    later = to_measure(snapshot, ["G01"], date(2026, 8, 16), 1)
    first = coming.to_measure[coming.to_measure["machine"] == "G01"]
    assert later["position"].tolist() != first["position"].tolist()
    every = to_measure(snapshot, ["G01"], date(2026, 8, 16), 1, lots=100)
    assert every["position"].tolist() == [str(n) for n in range(1, 41)]


def test_filled_sheets_come_back_as_logs(own: str, tmp_path: Path) -> None:
    """The day, the kits and the readings come in without a new doubt; what is empty is no work."""
    sheet, beside = tmp_path / "sunday.csv", tmp_path / "sunday_readings.csv"
    call(own, "next", "--export", str(sheet))
    known = {row["id"] for row in doubts(own)}
    changed, measured = rows_of(sheet), rows_of(beside)
    sized = [row for row in changed if row["reason"] == "size_change"]
    assert [(row["action"], row["kit"]) for row in sized] == [
        ("removed", "K35-G02"),
        ("fitted", "K45-G02"),
    ]
    done = [*sized, next(row for row in changed if row["position"])]
    for row in done:
        row["at"] = "2026-08-09"
    for row in measured:
        row["value"] = "0.45"
    write(sheet, changed)
    write(beside, measured)
    report = import_logs(own, [sheet, beside], today=AFTER)
    found = {file.kind: (file.accepted, file.set_aside) for file in report.files}
    assert found["change_outs"] == (3, len(changed) - 3)
    assert found["readings"] == (len(measured), 0)
    assert {row["id"] for row in doubts(own)} == known
    with open_store(own) as store:
        fitted = take_snapshot(store, None).fitted
    here = fitted[(fitted["machine"] == "G02") & (fitted["place"] == "pockets")]
    assert here.loc[here["in_place"].astype(bool), "part_type"].tolist() == ["LINER-45"]


def test_a_workbook_holds_both_sheets(own: str, tmp_path: Path) -> None:
    path = tmp_path / "sunday.xlsx"
    call(own, "next", "--export", str(path))
    report = import_logs(own, [path], today=AFTER)
    assert {file.kind for file in report.files} == {"change_outs", "readings"}
    assert sum(file.accepted for file in report.files) == 0


def test_no_forecast_and_no_window_are_told(made: tuple[Path, SeasonForecast]) -> None:
    with pytest.raises(NotInStore):
        coming_window(str(made[0] / "before.duckdb"))


def equal(one: SeasonForecast, other: SeasonForecast) -> None:
    for name, frame in one.tables().items():
        pd.testing.assert_frame_equal(frame, other.tables()[name], check_exact=True)
    assert one.stamp.digest() == other.stamp.digest()


@pytest.mark.slow
def test_processes_give_the_same_bytes(made: tuple[Path, SeasonForecast], tmp_path: Path) -> None:
    """Another store, and the draws spread over two processes."""
    folder, forecast = made
    store = str(shutil.copy(folder / "before.duckdb", tmp_path / "store.duckdb"))
    with ProcessPoolExecutor(2) as pool:
        equal(run_season(store, folder / "plan.toml", work=Work(pool)), forecast)


def test_several_forecasts_side_by_side_are_those_made_one_by_one(
    made: tuple[Path, SeasonForecast], tmp_path: Path
) -> None:
    """Each in a process of its own; what is asked for twice is made once."""
    folder, forecast = made
    store = str(shutil.copy(folder / "before.duckdb", tmp_path / "store.duckdb"))
    plan = folder / "plan.toml"
    asked = [Asked(plan, settings=["draws.seed=2"]), Asked(plan), Asked(plan)]
    with work(len(asked)) as watched:
        assert isinstance(watched.executor, ProcessPoolExecutor) or os.cpu_count() == 1
        found = run_seasons(store, asked, watched)
    assert [one.number for one in found] == [1, 2, 2]
    equal(found[1], forecast)
    assert found[0].stamp.digest() != forecast.stamp.digest()
    assert [one.number for one in run_seasons(store, asked[::-1])] == [2, 2, 1]


def killed(folder: Path, tmp_path: Path, call_no: int, late: int) -> tuple[str, int]:
    """Forecast in a process of its own, SIGKILL so many ms after a call; return store and code."""
    store = str(shutil.copy(folder / "before.duckdb", tmp_path / "store.duckdb"))
    root = str(Path(__file__).parent.parent)
    child = subprocess.run(
        [sys.executable, str(SMALL), store, str(folder / "plan.toml"), str(call_no), str(late)],
        cwd=root,
        env={"PYTHONPATH": root},
        check=False,
    )
    return store, child.returncode


def whole_or_none(store: str, forecast: SeasonForecast, code: int) -> None:
    assert code in (0, -signal.SIGKILL)
    try:
        equal(kept_forecast(store), forecast)
    except NotInStore:
        assert code == -signal.SIGKILL


LAST = 8
"""The call before the forecast is kept: reading, fitting, planning, four of the draws, keeping."""


@pytest.mark.parametrize("late", [30])
def test_killed_while_it_is_kept_leaves_a_whole_forecast_or_none(
    made: tuple[Path, SeasonForecast], tmp_path: Path, late: int
) -> None:
    store, code = killed(made[0], tmp_path, LAST, late)
    assert code == -signal.SIGKILL
    whole_or_none(store, made[1], code)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("call_no", "late"), [(1, 0), (6, 0), (8, 0), (8, 120), (8, 250), (8, 600), (99, 0)]
)
def test_killed_at_any_time_leaves_a_whole_forecast_or_none(
    made: tuple[Path, SeasonForecast], tmp_path: Path, call_no: int, late: int
) -> None:
    folder, forecast = made
    store, code = killed(folder, tmp_path, call_no, late)
    whole_or_none(store, forecast, code)
    equal(run_season(store, folder / "plan.toml"), forecast)
    assert kept_forecast(store).number == 1


def test_what_no_window_does_is_said(made: tuple[Path, SeasonForecast], tmp_path: Path) -> None:
    folder, _ = made
    store: Any = shutil.copy(folder / "before.duckdb", tmp_path / "store.duckdb")
    plan = (folder / "plan.toml").read_text("utf-8").replace('weekly = "sunday"\n', "")
    plan = plan[: plan.index("[[switch]]")] + plan[plan.index("[defaults]") :]
    own = tmp_path / "plan.toml"
    own.write_text(plan, encoding="utf-8")
    run_season(str(store), own)
    with pytest.raises(NotInStore, match="no window of forecast 1 has work"):
        coming_window(str(store))
