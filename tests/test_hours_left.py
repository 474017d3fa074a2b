"""Hours left of every piece in service: whole fleets through the season's laws."""

from __future__ import annotations

import runpy
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from forecast.errors import NotInStore
from forecast.jobs.hours_left import pieces_left
from forecast.jobs.season import forecast_season
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot

FLEETS: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "fleets.py"))


@pytest.fixture(scope="module")
def worn(tmp_path_factory: pytest.TempPathFactory) -> tuple[Snapshot, Plan]:
    snapshot, text, _ = FLEETS["fleet"]("mixed", 3)
    path = tmp_path_factory.mktemp("plan") / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return snapshot, read_plan(path, ["draws.count=300"])


@pytest.fixture(scope="module")
def table(worn: tuple[Snapshot, Plan]) -> pd.DataFrame:
    return pieces_left(*worn)


def test_every_piece_in_place_has_a_row_the_shortest_first(
    worn: tuple[Snapshot, Plan], table: pd.DataFrame
) -> None:
    assert tuple(table.columns) == STUDIES["hours_left"]
    here = worn[0].fitted[worn[0].fitted["in_place"].astype(bool)]
    assert table["quantity"].sum() == here["quantity"].sum()
    assert table["left"].is_monotonic_increasing
    assert (table["left_low"] <= table["left"]).all()
    assert (table["left"] <= table["left_high"]).all()
    assert table["read"].any()


def test_chances_fall_with_time(table: pd.DataFrame) -> None:
    assert (table["chance_next"] <= table["chance_season"] + 1e-9).all()
    told = table["chance_window"].notna()
    assert (table["chance_season"] <= table["chance_window"] + 1e-9)[told].all()


def test_hours_and_chances_tell_one_story(table: pd.DataFrame) -> None:
    """On one machine, what has more than even chances to last has more hours than what has not."""
    looked = 0
    for _, own in table[table["chance_season"] > 0].groupby("machine"):
        likely = own["chance_season"] > 0.6
        unlikely = own["chance_season"] < 0.4
        if likely.any() and unlikely.any():
            assert own.loc[likely, "left"].min() > own.loc[unlikely, "left"].max()
            looked += 1
    assert looked


def test_an_uncertain_limit_is_drawn_once_a_path(worn: tuple[Snapshot, Plan]) -> None:
    """It widens the hours left, and what is short on one path is short for all pieces."""
    snapshot, plan = worn
    limit = float(snapshot.part_types["wear_limit_mm"].iloc[0])
    unsure = snapshot.part_types.assign(limit_low_mm=0.6 * limit, limit_high_mm=1.4 * limit)
    wide = pieces_left(replace(snapshot, part_types=unsure), plan)
    narrow = pieces_left(snapshot, plan)
    reach = [(t["left_high"] - t["left_low"]).median() for t in (narrow, wide)]
    assert reach[1] > reach[0]


def test_looking_changes_no_life(worn: tuple[Snapshot, Plan]) -> None:
    """Projected lives never enter the life table: it is the same before and after."""
    before = worn[0].lives.copy()
    pieces_left(*worn)
    pd.testing.assert_frame_equal(before, worn[0].lives)


def test_chances_are_those_of_the_season_forecast(
    worn: tuple[Snapshot, Plan], tmp_path: Path
) -> None:
    """Piece by piece what the forecast's overhaul list says: to the season's end and the next's."""
    snapshot, plan = worn
    snapshot = replace(snapshot, day=plan.season.start - timedelta(days=3))
    path = tmp_path / "plan.toml"
    last = plan.season.start - timedelta(days=1)
    stop = f"[overhaul]\nfrom = {last}\nuntil = {last}\n"
    path.write_text(plan.text + stop, encoding="utf-8")
    stopped = read_plan(path)
    listed = forecast_season(snapshot, stopped).results["overhaul"]
    own = pieces_left(snapshot, stopped)
    keys = ["machine", "place", "position", "part_type"]
    both = own.merge(listed, on=keys, suffixes=("", "_listed"))
    assert len(both) == len(listed) == len(own) > 100
    for name in ("chance_season", "chance_next"):
        assert both[name].tolist() == both[f"{name}_listed"].tolist()
        assert 0 < both[name].mean() < 1


def test_an_unknown_part_type_is_named(worn: tuple[Snapshot, Plan]) -> None:
    with pytest.raises(NotInStore, match="nothing in service can be forecast of SOMETHING"):
        pieces_left(*worn, "SOMETHING")
