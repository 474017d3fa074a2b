"""Each command is one call: what it hands over, what it prints, how it exits."""

from __future__ import annotations

import json
import runpy
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from cli.app import app
from forecast.errors import LogError, NotInStore
from forecast.records.season import RESULTS

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]
Run = Callable[..., Result]
DOUBT = dict.fromkeys(RESULTS["doubts"], "") | {"id": "3f2a91c0", "rule": "unit slip"}


@dataclass(frozen=True)
class File:
    """What importing tells of one file."""

    number: int
    file: str
    kind: str
    rows: int
    accepted: int
    known: int
    set_aside: int


@pytest.fixture
def calls() -> list[tuple[str, Any, Any]]:
    return []


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, calls: list[tuple[str, Any, Any]]) -> Run:
    """Run a command over rooms that only note how they were called."""

    def note(name: str, answer: Any) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            calls.append((name, given, named))
            if isinstance(answer, BaseException):
                raise answer
            return answer

        return call

    report = SimpleNamespace(
        files=(File(1, "a.csv", "readings", 10, 8, 1, 1),), backfill=True, said=("a backfill",)
    )
    forecast = EXAMPLE()
    answers = {
        "forecast.intake.importing": {
            "import_logs": report,
            "imports": [dict.fromkeys(RESULTS["set_aside"], 1)],
        },
        "forecast.intake.set_aside": {"set_aside": [dict.fromkeys(RESULTS["set_aside"], "x")]},
        "forecast.intake.doubts": {"doubts": [DOUBT], "settle": DOUBT},
        "forecast.jobs.season": {
            "run_seasons": [forecast, forecast],
            "kept_forecast": forecast,
            "Asked": None,
        },
        "forecast.jobs.study": {
            "wear": forecast.results["wear"],
            "wear_beside": ({"wear": forecast.results["wear"]}, ()),
            "life_beside": NotInStore(
                "no part type SLEVE-30", "see them:  wearahead life", "SLEEVE-30"
            ),
        },
    }
    for name, functions in answers.items():
        module = ModuleType(name)
        for function, answer in functions.items():
            setattr(module, function, note(function, answer))
        monkeypatch.setitem(sys.modules, name, module)

    def invoke(*words: str) -> Result:
        plain = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
        return CliRunner().invoke(app, list(words), env=plain)

    return invoke


def test_import_hands_everything_over(run: Run, calls: list[Any]) -> None:
    ran = run("--store", "s.duckdb", "import", "a.csv", "b.csv", "--kind", "readings", "--dry-run",
              "--no-backfill", "--mapping", "m.toml")  # fmt: skip
    assert ran.exit_code == 0
    name, given, named = calls[0]
    assert (name, given) == ("import_logs", ("s.duckdb", [Path("a.csv"), Path("b.csv")]))
    assert named["kind"] == "readings"
    assert named["mapping"] == Path("m.toml")
    assert named["dry_run"] is True
    assert named["backfill"] is False
    assert named["today"] == date.today()
    assert "a backfill" in ran.stderr
    assert "nothing was kept" in ran.stderr
    heads = ran.stdout.splitlines()[0].split()
    assert heads == ["file", "kind", "rows", "accepted", "known", "set", "aside"]


def test_import_as_json(run: Run, calls: list[Any]) -> None:
    ran = run("import", "a.csv", "--json")
    assert json.loads(ran.stdout) == {
        "files": [
            {"file": "a.csv", "kind": "readings", "rows": 10, "accepted": 8, "known": 1}
            | {"set_aside": 1}
        ]
    }
    assert calls[0][1][0] == "wearahead.duckdb"
    assert calls[0][2]["backfill"] is None
    assert "wearahead set-aside" in ran.stderr


@pytest.mark.parametrize(
    ("words", "key"),
    [
        (["imports"], "imports"),
        (["set-aside"], "set_aside"),
        (["doubts"], "doubts"),
        (["settle", "3f2a", "--as", "proposed", "--at", "2026-08-30"], "doubts"),
        (["wear", "SLEEVE-30"], "wear"),
    ],
)
def test_one_object_on_stdout(run: Run, words: list[str], key: str) -> None:
    ran = run(*words, "--json")
    assert ran.exit_code == 0
    assert list(json.loads(ran.stdout)) == [key]
    assert run(*words).stdout.strip()


def test_settle_hands_the_decision_over(run: Run, calls: list[Any]) -> None:
    run("settle", "3f2a", "--as", "logged", "--at", "2026-08-30", "--note", "asked")
    assert calls[0][1] == ("wearahead.duckdb", "3f2a")
    assert calls[0][2] == {
        "as_": "logged",
        "today": date.today(),
        "at": date(2026, 8, 30),
        "note": "asked",
    }


def test_season_hands_the_plan_over_and_sums_up(run: Run, calls: list[Any]) -> None:
    ran = run("--store", "s.duckdb", "season", "p.toml", "--as-of", "2026-08-30", "--set", "a.b=1",
              "--set", "c=d")  # fmt: skip
    assert ran.exit_code == 0
    assert calls[0][1] == (Path("p.toml"), date(2026, 8, 30), ["a.b=1", "c=d"])
    assert calls[1][1][0] == "s.duckdb"
    assert "wearahead --store s.duckdb report 7 --out report.html" in ran.stdout
    told = run("season", "p.toml", "--json")
    assert list(json.loads(told.stdout)) == list(RESULTS)
    assert told.stderr.strip() == "forecast 7"


def test_report_and_export_write_files(run: Run, calls: list[Any], tmp_path: Path) -> None:
    ran = run("report", "7", "--out", str(tmp_path / "deep" / "r.html"), "--json")
    told = json.loads(ran.stdout)["reports"][0]
    assert told["forecast"] == 7
    assert (tmp_path / "deep" / "r.html").stat().st_size == told["bytes"] <= 3_000_000
    assert calls[0][1] == ("wearahead.duckdb", 7)
    ran = run("export", "--to", str(tmp_path / "out"), "--json")
    assert calls[1][1] == ("wearahead.duckdb", None)
    assert len(json.loads(ran.stdout)["files"]) == len(RESULTS) + 2


def test_a_place_that_cannot_be_written_is_told(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.page.page", lambda forecast: forecast.stamp.plan_name)
    (tmp_path / "file").write_text("")
    ran = run("report", "--out", str(tmp_path / "file" / "r.html"))
    assert ran.exit_code == 1
    assert ran.stderr.startswith("error: cannot write")
    assert "choose another place" in ran.stderr


def test_rows_set_aside_that_cannot_be_written_are_told(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    books = {"readings": [{"machine": "G01", "set_aside_id": "1"}]}
    room = sys.modules["forecast.intake.set_aside"]
    monkeypatch.setattr(room, "to_mend", lambda *_, **__: books, raising=False)
    (tmp_path / "file").write_text("")
    ran = run("set-aside", "--export", str(tmp_path / "file" / "mend.csv"))
    assert ran.exit_code == 1
    assert ran.stderr.splitlines()[0].endswith("a file stands where a folder is to be")
    assert "Traceback" not in ran.stderr


def test_an_error_comes_with_its_way_out_and_no_trace(run: Run) -> None:
    ran = run("life", "SLEVE-30")
    assert ran.exit_code == 1
    assert ran.stdout == ""
    assert ran.stderr.splitlines() == [
        "error: no part type SLEVE-30",
        "       did you mean SLEEVE-30?",
        "       see them:  wearahead life",
    ]


@pytest.mark.parametrize(
    ("raised", "code", "said"),
    [(LogError("a.csv is torn"), 1, "a.csv is torn"), (KeyboardInterrupt(), 130, "stopped")],
)
def test_how_it_exits(
    run: Run, monkeypatch: pytest.MonkeyPatch, raised: BaseException, code: int, said: str
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise raised

    monkeypatch.setattr(sys.modules["forecast.intake.importing"], "import_logs", fail)
    ran = run("import", "a.csv")
    assert ran.exit_code == code
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr


def test_the_store_comes_from_the_environment(
    run: Run, calls: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WEARAHEAD_STORE", "other.duckdb")
    run("imports")
    assert calls[0][1] == ("other.duckdb",)


def test_demo_does_the_whole_job_twice_in_one_folder(
    run: Run, calls: list[Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.page.page", lambda forecast: forecast.stamp.plan_name)
    folder = tmp_path / "demo"
    for _ in range(2):
        calls.clear()
        ran = run("demo", "--folder", str(folder))
        assert ran.exit_code == 0, ran.stderr
        (folder / "wearahead.duckdb").write_text("as an import would leave it")
        steps = ["Asked", "Asked", "import_logs", "run_seasons"]
        assert [name for name, *_ in calls] == steps
        assert calls[0][1][1:] == (date(2026, 5, 11),)
        assert calls[1][1][1:] == ()
        assert calls[2][2]["today"] >= date(2026, 8, 30)
    files = calls[2][1][1]
    assert {path.suffix for path in files} == {".csv", ".xlsx"}
    assert all(path.is_file() for path in files)
    assert (folder / "report.html").is_file()
    assert (folder / "before-the-season.html").is_file()
    assert "What to buy" in ran.stdout
    assert f"{folder / 'report.html'}" in ran.stdout


def test_demo_never_replaces_what_it_did_not_make(run: Run, tmp_path: Path) -> None:
    (tmp_path / "wearahead.duckdb").write_text("mine")
    ran = run("demo", "--folder", str(tmp_path))
    assert ran.exit_code == 1
    assert "is in the way" in ran.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["wearahead.duckdb"]
    assert (tmp_path / "wearahead.duckdb").read_text() == "mine"
