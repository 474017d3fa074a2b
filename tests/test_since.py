"""Hours run since the clocks were last read: in the ages, as the plan has them."""

import runpy
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.laws import _split
from forecast.jobs.season import forecast_season
from forecast.jobs.since import carried_on, carried_said, hours_missing
from forecast.planning.plan import read_plan

FLEETS = runpy.run_path(str(Path(__file__).with_name("fleets.py")))
DAYS, HOURS = 9, 21.8


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """A fleet ten days into its season: all hours logged, and logged on the first day only."""
    known, text, _ = FLEETS["fleet"]("worn", 11)
    file = tmp_path_factory.mktemp("plan") / "plan.toml"
    file.write_text(text.replace("count = 2000", "count = 300"))
    days = pd.date_range("2026-08-03", periods=DAYS + 1)
    rows = [
        (machine, line, day, HOURS, False)
        for machine, line in zip(known.fitted["machine"], known.fitted["line"], strict=True)
        for day in days
    ]
    ran = pd.DataFrame(rows, columns=list(known.running.columns)).drop_duplicates()
    season = pd.DataFrame(
        {"season": ["2026"], "first_day": [days[0]], "last_day": [days[-1]]}
    ).reindex(columns=known.seasons.columns)

    def at(logged_days: int):
        hours = HOURS * logged_days
        new = known.fitted_cells.drop_duplicates("piece").assign(season="2026", x=hours / 1000)
        return replace(
            known,
            day=date(2026, 8, 12),
            running=pd.concat(
                [known.running, ran[ran["day"] < days[0] + pd.Timedelta(logged_days, "D")]]
            ),
            fitted=known.fitted.assign(age=known.fitted["age"] + hours),
            fitted_cells=pd.concat([known.fitted_cells, new], ignore_index=True),
            seasons=pd.concat([known.seasons, season], ignore_index=True),
        )

    return at(DAYS + 1), at(1), read_plan(file, ["season.as_of=2026-08-12"])


def test_the_forecast_is_the_same_as_if_the_clocks_had_been_read(told):
    whole, late, plan = told
    one, other = (forecast_season(each, plan) for each in (whole, late))
    pd.testing.assert_frame_equal(one.results["season_totals"], other.results["season_totals"])
    assert one.results["season_totals"]["mean"].sum() > 10
    (said,) = carried_said(late, plan, "2026")
    assert said[1] == f"{DAYS * HOURS:,.0f} h"
    assert "2026-08-04 to 2026-08-12" in said[2]
    assert said[0] in set(other.results["assumed"]["what"])
    assert carried_said(whole, plan, "2026") == []


def test_a_piece_fitted_since_then_ran_from_the_day_after(told):
    _, late, plan = told
    first = late.fitted.iloc[0]
    used = pd.DataFrame(
        [("PAD-20", first["machine"], first["place"], first["position"], "2026-08-08", False, 1)],
        columns=list(late.used.columns),
    )
    seen = replace(late, used=used)
    ages = carried_on(seen, plan, "2026").fitted["age"] - late.fitted["age"]
    assert ages.iloc[0] == pytest.approx(4 * HOURS)
    assert ages.iloc[1:].to_numpy() == pytest.approx(DAYS * HOURS)


def test_hours_of_a_season_in_which_nothing_was_read_are_in_the_ages(told):
    """Wear knows no cell of it yet; what is said to be added is added all the same."""
    _, late, plan = told
    cells = pd.DataFrame({"cell": ["2025"], "season": ["2025"], "phase": [""]})
    unread = replace(late, cells=cells.reindex(columns=late.cells.columns))
    seen = carried_on(unread, plan, "2026")
    assert (seen.fitted["age"] - late.fitted["age"]).to_numpy() == pytest.approx(DAYS * HOURS)
    assert seen.fitted_cells is unread.fitted_cells
    assert carried_said(unread, plan, "2026")


def test_the_cohorts_of_a_counted_set_are_carried_on_too():
    """Counts tell the ages of a set's pieces up to its last logged hours."""
    rows = pd.DataFrame({"piece": ["kit"], "age": [900.0], "quantity": [10.0], "carried": [80.0]})
    ages = pd.DataFrame({"unit": "kit", "age": [820.0, 300.0], "quantity": [6.0, 4.0]})
    counts = SimpleNamespace(ages=lambda: ages)
    fits = SimpleNamespace(count_fits={("LINER", ""): counts})
    split, ran = _split(rows, np.array([[500.0, 400.0]]), fits, ("LINER", ""))
    assert split["age"].tolist() == [900.0, 380.0]
    assert split["quantity"].tolist() == [6.0, 4.0]
    assert ran.tolist() == [[500.0, 400.0], [0.0, 380.0]]


def test_nothing_is_carried_on_between_seasons_nor_for_a_machine_long_silent(told):
    _, late, plan = told
    assert carried_on(late, plan, None) is late
    silent = replace(late, day=date(2026, 9, 20))
    assert hours_missing(silent, plan) == {}
