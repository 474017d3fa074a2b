"""Clocks that count cycles, metres or tonnes: the same fleet told so has the same season.

Laws, ages and limits of age stand on the part type's clock, the plan tells hours: what a clock
counts in a running hour joins them.
"""

from __future__ import annotations

import runpy
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.intake.importing import import_logs
from forecast.jobs.season import run_season
from forecast.records.season import SeasonForecast

PLANT: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "small_plant.py"))
HOURS_A_DAY = 20.0


def season(
    folder: Path, clock: str, per_hour: float, metered: bool, **changed: float
) -> SeasonForecast:
    """Tell the small plant's logs on another clock, and forecast its season."""
    folder.mkdir()
    written, plan = PLANT["written"](folder)
    text = {path.stem: path.read_text(encoding="utf-8").splitlines() for path in written}
    head, *rows = text["part_types"]
    text["part_types"] = [f"{head},clock", *(f"{row},{clock}" for row in rows)]
    if not metered and clock != "hours":
        head, *rows = text["fleet"]
        text["fleet"] = [f"{head},clock_per_hour", *(f"{row},{per_hour}" for row in rows)]
    elif metered:
        first, last = PLANT["START"], PLANT["AS_OF"]
        days = [first + timedelta(days=7 * n) for n in range((last - first).days // 7 + 1)]
        shown = [per_hour * HOURS_A_DAY * (day - first).days for day in days]
        text["clocks"] = [
            "machine,at,shows,clock",
            *(
                f"{m},{day},{at:.0f},{clock}"
                for m in PLANT["MACHINES"]
                for day, at in zip(days, shown, strict=True)
            ),
        ]
    files = []
    for name, lines in text.items():
        files.append(folder / f"{name}.csv")
        files[-1].write_text("\n".join(lines) + "\n", encoding="utf-8")
    store = str(folder / "told.duckdb")
    import_logs(store, files, today=PLANT["AS_OF"] + timedelta(days=1))
    return run_season(store, plan)


@pytest.fixture(scope="module")
def in_hours(tmp_path_factory: pytest.TempPathFactory) -> SeasonForecast:
    return season(tmp_path_factory.mktemp("clocks") / "hours", "hours", 1.0, False)


@pytest.mark.parametrize(
    ("clock", "per_hour", "metered"),
    [
        pytest.param("cycles", 600.0, False, marks=pytest.mark.slow),
        ("metres", 1800.0, True),
        pytest.param("tonnes", 2.5, False, marks=pytest.mark.slow),
    ],
)
def test_a_fleet_told_on_another_clock_has_the_same_season(
    clock: str, per_hour: float, metered: bool, in_hours: SeasonForecast, tmp_path: Path
) -> None:
    told = season(tmp_path / clock, clock, per_hour, metered)
    for name in ("season_totals", "demand", "purchases", "to_change"):
        wanted, found = in_hours.results[name], told.results[name]
        pd.testing.assert_frame_equal(found, wanted, rtol=1e-3, atol=0.011)
    # laws stand on the clock itself: um/h, and um a thousand of the others
    for column in ("mean_rate", "mean_rate_low", "mean_rate_high"):
        wanted, found = (one.results["wear"][column].astype(float) for one in (in_hours, told))
        np.testing.assert_allclose(found * per_hour / 1000.0, wanted, rtol=1e-4)
    assumed = told.results["assumed"].set_index("what")
    what = "SLEEVE-30: its clock counts in a running hour"
    assert assumed["value"][what] == f"{per_hour:,.4g} {clock}"
