"""The sample logs are what their script makes, within their limits, and hang together."""

from __future__ import annotations

import csv
import json
import tomllib
import zipfile
from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import sample_logs
from sample_logs import make, scene
from sample_logs.history import History
from sample_logs.rows import machine_hours

HERE = Path(sample_logs.__file__).parent
LOGS = HERE / "logs"


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return json.loads((HERE / "truth.json").read_text(encoding="utf-8"))


def rows(name: str, delimiter: str = ",") -> list[dict[str, str]]:
    with (LOGS / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter=delimiter))


def test_made_anew_they_are_the_same_bytes(tmp_path: Path) -> None:
    make.main(tmp_path)
    fresh = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*") if path.is_file())
    kept = sorted(path.relative_to(HERE) for path in (*LOGS.iterdir(), HERE / "truth.json"))
    assert fresh == kept
    for name in fresh:
        assert (tmp_path / name).read_bytes() == (HERE / name).read_bytes(), name


def test_they_are_small() -> None:
    size = sum(path.stat().st_size for path in HERE.rglob("*") if "__pycache__" not in path.parts)
    assert 1_000_000 < size < 3_000_000


def test_every_planted_fault_stands_where_the_truth_says(truth: dict[str, Any]) -> None:
    found = set()
    for fault in truth["planted"]:
        found.add(fault["what"].split(":")[0])
        if "file" not in fault or fault["file"].endswith(".xlsx"):
            continue
        text = (LOGS / fault["file"]).read_text(encoding="utf-8").split("\n")[fault["line"] - 1]
        for key in ("at", "machine", "position"):
            assert fault.get(key, "") in text, fault
    assert {
        "unlogged change-out", "doubled sheet", "swapped positions", "unit slip", "hot reading",
        "fitted size missing", "set aside", "hour meter replaced, noted", "ok without a value",
        "hour meter replaced, not noted", "machine not in the fleet", "trailing spaces",
    } <= found  # fmt: skip


def test_meters_count_the_hours_of_the_running_log() -> None:
    start = scene.SEASONS[0].start
    plant, own = {}, {}
    for row in rows("running.csv"):
        day, hours = date.fromisoformat(row["date"]), float(row["running_hours"])
        if row["machine"] == "*":
            plant[day] = hours
        else:
            own[day, row["machine"] or row["line"]] = hours

    def ran(machine: str, day: date) -> float:
        line = scene.LINES[scene.MACHINES.index(machine)]
        return own.get((day, machine), own.get((day, line), plant.get(day, 0.0)))

    untouched = {"G05", "G21", "G33"}
    shown: dict[str, dict[datetime, float]] = defaultdict(dict)
    for row in rows("clocks.csv"):
        if row["machine"] not in untouched:
            shown[row["machine"]][datetime.fromisoformat(row["at"])] = float(row["shows"])
    assert len(shown) == 41
    for machine, readings in shown.items():
        first, *others = sorted(readings)
        for at in others:
            days = [start + timedelta(days=n) for n in range((at.date() - start).days)]
            total = sum(ran(machine, day) for day in days)
            if at.weekday() == 6 and at.date() in plant:
                total += min(12.0, ran(machine, at.date()))
            assert readings[at] - readings[first] == pytest.approx(total, abs=0.11)


def test_no_piece_is_read_after_it_was_changed() -> None:
    changed = {
        (row["at"][:10], row["machine"], row["position"])
        for row in rows("change_outs_2024.csv")
        if row["position"] and row["action"] == "replaced" and row["reason"] == "worn"
    }
    removed = {
        (row["at"], row["machine"], str(int(row["position"])))
        for name in ("sleeves", "strips")
        for row in rows(f"readings_2024_{name}.csv")
        if row["found_left"] == "removed"
    }
    assert changed == removed
    assert len(changed) > 40
    broken = {
        (row["at"], row["machine"], row["place"], row["position"])
        for row in rows("change_outs_2024.csv")
        if row["reason"] == "broken" and row["position"]
    }
    for name in ("sleeves", "strips"):
        for row in rows(f"readings_2024_{name}.csv"):
            key = (row["at"], row["machine"].strip(), row["place"], row["position"].lstrip("0"))
            assert key not in broken


def test_sets_leave_one_grader_before_another_size_comes() -> None:
    in_place = {machine: f"K35-{machine[1:]}" for machine in scene.MACHINES}
    switches = 0
    for year in (2024, 2025, 2026):
        for row in rows(f"change_outs_{year}.csv"):
            action = row.get("action") or {"out": "removed", "in": "fitted"}.get(row["What"], "")
            machine = row.get("machine") or row["Grader"]
            kit = row.get("kit") if "kit" in row else row["Set"]
            if not kit or action not in ("removed", "fitted"):
                continue
            if action == "removed":
                assert in_place.pop(machine) == kit
            else:
                assert machine not in in_place
                in_place[machine] = str(kit)
                switches += 1
    assert switches == 44 * 3 + 44 * 4 + 44 + 16
    assert sorted(in_place) == list(scene.MACHINES)


def test_the_plan_says_what_is_to_come() -> None:
    plan = tomllib.loads((HERE / "season_2026.toml").read_text(encoding="utf-8"))
    season = scene.SEASONS[2]
    assert (plan["season"]["start"], plan["season"]["end"]) == (season.days[0], season.days[-1])
    assert plan["season"]["as_of"] == scene.LOGS_END
    planned = {
        (switch["on"], switch["to_part"], number)
        for switch in plan["switch"]
        for number in scene.span(switch["machines"])
    }
    expected = {
        (season.sunday(week), f"LINER-{size}", number)
        for week, size, machines in season.switches
        for number in scene.span(machines)
    }
    expected |= {(season.start, "LINER-35", number) for number in range(44)}
    assert planned == expected
    down = plan["down"][0]
    assert ("machine", down["machine"], down["from"], down["until"], 0.0) in scene.STOPS


def test_hours_to_come_agree_with_the_plan() -> None:
    history = History(make.SEED)
    days = [day for day in history.running if day > scene.LOGS_END]
    mean = sum(history.running[day][0] for day in days[:-1]) / len(days[:-1])
    assert mean == pytest.approx(21.8, abs=0.1)
    assert machine_hours(date(2025, 9, 10), 23.0)[6] == 0.0


def test_the_workbook_holds_no_clock_of_its_making() -> None:
    with zipfile.ZipFile(LOGS / "readings_2025_sleeves_line_d.xlsx") as book:
        core = book.read("docProps/core.xml").decode()
        assert "2025-11-12T09:00:00Z" in core
        assert {entry.date_time for entry in book.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_rates_and_limits_give_lives_of_one_to_three_seasons() -> None:
    for law in (scene.SLEEVE, scene.TRIAL, scene.STRIP):
        seasons = (law.limit - law.offset) / law.rate / 2130
        assert 1 < seasons < 3
        assert 0.1e-3 < law.rate < 0.6e-3


def test_the_truth_holds_the_end_of_the_season(truth: dict[str, Any]) -> None:
    late, early = truth["future"]["2026-08-30"], truth["future"]["2026-06-01"]
    assert list(late) == [law.part_type for law in scene.LAWS]
    assert all(0 < late[part] <= early[part] for part in late)
