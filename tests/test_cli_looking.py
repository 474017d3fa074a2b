"""Several plans side by side, why two forecasts differ, and forecasts held against what came."""

from __future__ import annotations

import json
import runpy
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from cli.app import app
from cli.looking import _because
from forecast.errors import NotInStore, PlanError
from forecast.intake.importing import import_logs
from forecast.jobs.compare import INPUTS, compare
from forecast.jobs.hindsight import GIVEN, PLANNED, hindsight
from forecast.jobs.season import kept_forecast, run_season
from forecast.records.season import EXHIBITS, STUDIES, SeasonForecast
from reports.lead import lead

PLANT: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "small_plant.py"))
PAST = """
[season]
name = "Spring season"
start = 2026-05-04
end = 2026-08-02
running_hours_per_day = 20.0
season_spread = 0.1
[defaults]
policy = "run_to_failure"
[draws]
count = 200
"""


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    store, plan = PLANT["plant"](tmp_path_factory.mktemp("plant"))
    return str(store), Path(plan)


@pytest.fixture(scope="module")
def two(plant: tuple[str, Path]) -> tuple[SeasonForecast, SeasonForecast]:
    """Two forecasts between which the plan and the facts change."""
    store, plan = plant
    first = run_season(store, plan)
    broken = plan.parent / "more_change_outs.csv"
    lines = ["machine,at,action,place,position,part_type,quantity,reason,reported_at"]
    lines += [
        f"G0{n},2026-07-2{n},replaced,rollers,{n},SLEEVE-30,1,broken,2026-07-2{n}"
        for n in range(1, 5)
    ]
    broken.write_text("\n".join(lines) + "\n", encoding="utf-8")
    import_logs(store, [broken], today=date(2026, 8, 2))
    return first, run_season(store, plan, settings=["season.end=2026-10-11"])


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.mark.slow
def test_the_inputs_add_up_to_the_difference(
    plant: tuple[str, Path], two: tuple[SeasonForecast, SeasonForecast]
) -> None:
    first, second = two
    rows = compare(plant[0], first.number, second.number)
    assert tuple(rows.columns) == STUDIES["compare"]
    assert {"facts", "plan"} <= set(rows["input"]) <= {*INPUTS, "versions", "rest"}
    assert "versions" not in set(rows["input"])
    for part, own in rows.groupby("part_type"):
        means = [one.results["season_totals"].set_index("part_type")["mean"][part] for one in two]
        assert own["change_in_total"].sum() == pytest.approx(round(means[1] - means[0], 2))
        bought = [
            one.results["purchases"].groupby("part_type")["quantity"].sum()[part] for one in two
        ]
        assert own["change_in_purchase"].sum() == pytest.approx(bought[1] - bought[0])
    sleeves = rows[rows["part_type"] == "SLEEVE-30"].set_index("input")["change_in_total"]
    assert sleeves["plan"] > 0  # two weeks more
    assert sleeves["facts"] > 0  # four broke


def test_a_forecast_does_not_differ_from_itself(
    plant: tuple[str, Path], two: tuple[SeasonForecast, SeasonForecast]
) -> None:
    assert compare(plant[0], two[0].number, two[0].number).empty
    with pytest.raises(NotInStore, match="no forecast 99"):
        compare(plant[0], 1, 99)


@pytest.mark.slow
def test_a_later_day_is_told_from_what_happened(
    plant: tuple[str, Path], two: tuple[SeasonForecast, SeasonForecast]
) -> None:
    """Of the weeks in between: what was expected to be used by then, and what was not."""
    store, plan = plant
    later = run_season(store, plan, as_of=date(2026, 8, 16))
    rows = compare(store, two[0].number, later.number)
    assert {"as_of", "facts"} <= set(rows["input"])
    assert set(rows["input"]) <= {*INPUTS, "versions", "rest"}
    gone = rows[rows["input"] == "as_of"]
    assert (gone["change_in_total"] <= 0).all()
    assert (gone["change_in_purchase"] == 0).all()
    demand = two[0].results["demand"]
    total = demand[demand["kind"] == "total"]
    before = total[pd.to_datetime(total["week"]).dt.date < date(2026, 8, 16)]
    for part, own in gone.groupby("part_type"):
        expected = before.loc[before["part_type"] == part, "mean"].sum()
        assert own["change_in_total"].sum() == pytest.approx(-expected, abs=0.02)


def test_compare_in_words(
    plant: tuple[str, Path], two: tuple[SeasonForecast, SeasonForecast]
) -> None:
    numbers = (str(one.number) for one in two)
    text = run("--store", plant[0], "compare", *numbers)
    assert max(map(len, text.splitlines())) <= 80
    line = next(line for line in text.splitlines() if "SLEEVE-30: facts +" in line)
    assert line.startswith("+")
    assert "plan +" in line


def test_shares_in_words_add_up_to_the_difference() -> None:
    """Each rounded by itself they would not: -633 = +20 +10 -644 -20."""
    shares = {"facts": 19.6, "hours": 9.7, "as_of": -643.55, "rest": -19.25}
    table = pd.DataFrame({"input": list(shares), "change_in_total": list(shares.values())})
    (line,) = _because(table.assign(part_type="LINER-35"), "change_in_total")
    assert line == "-634 LINER-35: facts +20, hours +10, as of -644, rest -20"
    (line,) = _because(table.assign(part_type="L").iloc[:2], "change_in_total")
    assert line == "+29 L: facts +20, hours +10, rest -1"


@pytest.mark.slow
def test_several_plans_stand_side_by_side(plant: tuple[str, Path], tmp_path: Path) -> None:
    store, plan = plant
    longer = tmp_path / "longer.toml"
    longer.write_text(plan.read_text("utf-8").replace("2026-09-27", "2026-10-11"), "utf-8")
    text = run("--store", store, "season", str(plan), str(longer))
    assert max(map(len, text.splitlines())) <= 80
    assert [line.split()[1] for line in text.splitlines() if line.startswith("SLEEVE-30")] == [
        "plan",
        "longer",
    ]
    found = json.loads(run("--store", store, "season", str(plan), str(longer), "--json"))
    assert {row["plan"] for row in found["season_totals"]} == {"plan", "longer"}
    means = {
        row["plan"]: row["mean"]
        for row in found["season_totals"]
        if row["part_type"] == "SLEEVE-30"
    }
    assert means["longer"] > means["plan"]


@pytest.mark.slow
def test_hindsight_scores_both_bases_and_keeps_the_record(
    plant: tuple[str, Path], tmp_path: Path
) -> None:
    store, _ = plant
    past = tmp_path / "past.toml"
    past.write_text(PAST, encoding="utf-8")
    rows = hindsight(store, past, [date(2026, 6, 28), date(2026, 7, 12)])
    assert tuple(rows.columns) == EXHIBITS["hindsight"]
    assert set(rows["basis"]) == {GIVEN, PLANNED}
    assert (rows["seasons"] == 1).all()
    inside = (rows["p05"] <= rows["actual"]) & (rows["actual"] <= rows["p95"])
    assert (inside == rows["covered"]).all()
    assert (rows["bias"] == rows["mean"] - rows["actual"]).all()
    assert (rows["crps"] >= 0).all()
    known = rows[(rows["part_type"] == "LINER-35") & (rows["basis"] == PLANNED)]
    assert known["actual"].tolist() == [4.0, 0.0]  # two machines, two pockets each, on 6 July
    again = hindsight(store, past, [date(2026, 6, 28)])
    assert again["crps"].tolist() == rows[rows["as_of"] == date(2026, 6, 28)]["crps"].tolist()
    run_season(store, plant[1])
    record = kept_forecast(store).exhibits["hindsight"]
    assert len(record) == len(rows)
    assert set(pd.to_datetime(record["as_of"]).dt.date) == {date(2026, 6, 28), date(2026, 7, 12)}


def test_hindsight_in_words_says_of_how_many_seasons(
    plant: tuple[str, Path], tmp_path: Path
) -> None:
    past = tmp_path / "past.toml"
    past.write_text(PAST, encoding="utf-8")
    text = run("--store", plant[0], "hindsight", str(past), "--as-of", "2026-07-12")
    assert "in 1 season:" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80


def test_nothing_can_be_scored_before_it_happened(
    plant: tuple[str, Path],
) -> None:
    with pytest.raises(PlanError, match="nothing can be scored from 2026-08-02"):
        hindsight(*plant, [date(2026, 8, 2)])


@pytest.mark.slow
def test_a_season_that_leaves_the_range_of_its_forecast_says_so(tmp_path: Path) -> None:
    store, plan = PLANT["plant"](tmp_path)
    first = run_season(store, plan)
    broken = tmp_path / "a_hard_week.csv"
    lines = ["machine,at,action,place,position,part_type,quantity,reason,reported_at"]
    lines += [
        f"G0{n},2026-08-0{day},replaced,rollers,{n},SLEEVE-30,1,broken,2026-08-0{day}"
        for n in range(1, 5)
        for day in range(3, 9)
    ]
    hours = ["date,running_hours,machine", *(f"2026-08-{day:02},20.0,*" for day in range(3, 10))]
    broken.write_text("\n".join(lines) + "\n", encoding="utf-8")
    ran = tmp_path / "ran.csv"
    ran.write_text("\n".join(hours) + "\n", encoding="utf-8")
    import_logs(store, [broken, ran], today=date(2026, 8, 9))
    text = " ".join(run("--store", store, "season", str(plan), "--as-of", "2026-08-09").split())
    assert f"The season has left the range of forecast {first.number}: 24 SLEEVE-30" in text
    assert "were used by 9 Aug, more than the" in text


@pytest.mark.slow
def test_a_running_season_says_when_demand_leaves_its_range(tmp_path: Path) -> None:
    """Two weeks in, first as expected, then with far more broken: terminal, letter and JSON."""
    store, plan = PLANT["plant"](tmp_path)
    asked = ("--store", store, "season", str(plan))
    run(*asked)
    looked, broken = tmp_path / "looked_change_outs.csv", tmp_path / "broken_change_outs.csv"
    demand = kept_forecast(store).results["demand"]
    demand = demand[(demand["kind"] == "total") & (demand["part_type"] == "SLEEVE-30")]
    sleeves = [  # as many as were expected, on the Sundays on which they were
        day
        for week, mean in zip(pd.to_datetime(demand["week"]), demand["mean"], strict=True)
        for day in [week + pd.Timedelta(6, "D")] * round(mean)
        if day <= pd.Timestamp("2026-08-16")
    ]
    head = "machine,at,action,place,position,part_type,quantity,reason,reported_at\n"
    row = "G03,2026-08-{day},replaced,pockets,,LINER-45,{n},broken,2026-08-{day}\n"
    as_planned = [
        f"G0{n // 6 + 1},{day:%F},replaced,rollers,{n % 6 + 1},SLEEVE-30,1,worn,{day:%F}\n"
        for n, day in enumerate(sleeves)
    ]
    looked.write_text("".join([head, row.format(day=16, n=0), *as_planned]), encoding="utf-8")
    broken.write_text(head + row.format(day=11, n=38) + row.format(day=14, n=39), encoding="utf-8")
    said = "has left the range of forecast 1"
    for file, out in ((looked, ""), (broken, "above")):
        import_logs(store, [file], today=date(2026, 8, 16))
        text = " ".join(run(*asked, "--as-of", "2026-08-16").split())
        letter = lead(kept_forecast(store)).text()
        rows = json.loads(run(*asked, "--as-of", "2026-08-16", "--json"))["so_far"]
        found = {row["part_type"]: row["outside"] for row in rows}
        assert found["LINER-45"] == out
        assert {name for name, side in found.items() if side} <= {"LINER-45"}
        assert ((said in text), (said in letter)) == (bool(out), bool(out))
    assert "LINER-45 were used by" in text
