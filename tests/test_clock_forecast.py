"""A part type whose clock counts cycles is forecast as one that counts hours.

The same fleet is told twice: in hours, and in cycles of which its machines make sixty an hour.
Nothing about the parts differs, so the same spares are needed.
"""

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.errors import NotInStore
from forecast.jobs.hours_left import pieces_left
from forecast.jobs.season import forecast_season
from forecast.planning.plan import read_plan
from forecast.records.snapshot import COLUMNS, Snapshot

FLEETS = runpy.run_path(str(Path(__file__).with_name("fleets.py")))
PACE = 60.0
COSTS = '[defaults]\npolicy = "at_wear"\nplanned_cost = 4.0\nunplanned_cost = 60.0\nminutes = 3.0\n'


def in_cycles(known: Snapshot, pace: float = PACE) -> Snapshot:
    """Tell the same with ages and hours run in cycles."""
    frames = {name: getattr(known, name).copy() for name in COLUMNS}
    for name, columns in {
        "fitted": ("age",), "fitted_cells": ("x",), "lives": ("lower", "upper", "entry"),
        "wear": ("last_age", "age"), "paths": ("age",),
    }.items():  # fmt: skip
        for column in columns:
            frames[name][column] = frames[name][column].astype(float) * PACE
    for column, power in (("sx", 1), ("sxy", 1), ("sxx", 2)):
        frames["wear_cells"][column] *= PACE**power
    frames["part_types"]["clock"] = "cycles"
    machines = sorted(set(frames["fitted"]["machine"]))
    frames["pace"] = pd.DataFrame(
        {"machine": machines, "part_type": "PAD-20", "clock": "cycles", "per_hour": pace,
         "metered": True}
    )  # fmt: skip
    return replace(known, **frames)


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    known, text, _ = FLEETS["fleet"]("mixed", 11)
    head, _, _ = text.partition("[defaults]")
    file = tmp_path_factory.mktemp("plan") / "plan.toml"
    file.write_text(head + COSTS + "[draws]\ncount = 300\nseed = 1\n")
    return known, in_cycles(known), read_plan(file)


def test_the_same_spares_are_needed_whatever_the_clock_counts(told):
    known, cycles, plan = told
    hours, turns = (forecast_season(one, plan) for one in (known, cycles))
    for name, columns in (
        ("season_totals", ["mean", "p05", "p50", "p90", "planned", "unplanned"]),
        ("to_change", ["quantity"]),
    ):
        one, other = (forecast.results[name][columns].sum() for forecast in (hours, turns))
        assert other.tolist() == pytest.approx(one.tolist(), rel=0.05, abs=1.0), name
    said = turns.results["assumed"].set_index("what")["value"]
    assert said["PAD-20: its clock counts in a running hour"] == "60 cycles"
    wear = [forecast.results["wear"].iloc[0] for forecast in (hours, turns)]
    assert wear[1]["rate_unit"] == "um/1000 cycles"
    assert wear[1]["mean_rate"] == pytest.approx(wear[0]["mean_rate"] * 1000 / PACE, rel=0.02)


def test_hours_left_are_running_hours(told):
    known, cycles, plan = told
    one, other = (pieces_left(each, plan).set_index("position") for each in (known, cycles))
    assert len(one) == len(other)
    ratio = np.median(other["left"]) / np.median(one["left"])
    assert ratio == pytest.approx(1, abs=0.05)
    assert other["chance_season"].mean() == pytest.approx(one["chance_season"].mean(), abs=0.02)


def test_a_clock_that_nothing_counts_is_not_forecast_and_is_named(told):
    known, _, plan = told
    with pytest.raises(NotInStore, match="PAD-20: left out of the forecast: M01, M02"):
        forecast_season(in_cycles(known, float("nan")), plan)
