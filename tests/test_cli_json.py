"""Every command over one small plant: --json is one object, results on stdout, exit 0, 1 or 2."""

from __future__ import annotations

import json
import runpy
from pathlib import Path
from typing import Any, Final

import pytest
from typer.main import get_command
from typer.testing import CliRunner, Result

from cli.app import Commands, app
from forecast.jobs.season import run_season
from forecast.records.season import RESULTS, STUDIES

PLANT: Any = runpy.run_path(str(Path(__file__).with_name("small_plant.py")))
TABLE: Final[list[tuple[str, tuple[str, ...]]]] = [
    ("import {logs}/readings.csv --dry-run", ("files",)),
    ("imports", ("imports",)),
    ("withdraw 6 --note gone", ("imports",)),
    ("set-aside", ("set_aside",)),
    ("doubts", ("doubts",)),
    ("wear SLEEVE-30", ("wear", "rate_law", "specific_wear")),
    ("life", ("life", "life_checks")),
    ("hours-left {plan} SLEEVE-30", ("hours_left",)),
    ("duty SLEEVE-30 --temperature 60", ("duty",)),
    ("evidence G01", ("evidence",)),
    ("sample-size SLEEVE-30 --better 20", ("sample_size",)),
    ("season {plan}", tuple(RESULTS)),
    ("measure-next {plan}", ("measure_next", "files")),
    ("next", ("to_change", "pick_lists", "to_measure", "files")),
    ("compare 1 2", ("compare",)),
    ("report --out {out}/r.html", ("reports",)),
    ("export --to {out}/tables", ("files",)),
]
"""What is typed, and the keys of the object."""

COULD_NOT: Final = {
    "settle 00000000 --as logged": "no doubt",
    "versus HDPE PEEK": "",
    "evidence G01 99": "no position",
    "hindsight {plan} --as-of 2026-08-03": "nothing can be scored",
    "wear SLEVE-30": "SLEEVE-30",
    "report 9 --out {out}/r.html": "no forecast 9",
    "import {out}/nowhere.csv": "nowhere.csv",
    "season {out}/nowhere.toml": "nowhere.toml",
}
"""What cannot be done, and what the message names; the ways out are told on stderr."""


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The small plant with two forecasts kept."""
    folder = tmp_path_factory.mktemp("plant")
    store, plan = PLANT["plant"](folder)
    run_season(store, plan)
    run_season(store, plan, settings=["draws.seed=2"])
    out = tmp_path_factory.mktemp("out")
    return {"store": store, "plan": str(plan), "logs": str(folder), "out": str(out)}


def run(places: dict[str, str], typed: str, *more: str) -> Result:
    plain = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    words = [word.format(**places) for word in typed.split()]
    return CliRunner().invoke(app, ["--store", places["store"], *words, *more], env=plain)


def test_no_command_is_missing() -> None:
    """The demo is run whole elsewhere; what this plant has no case for is in the second table."""
    tree = get_command(app)
    assert isinstance(tree, Commands)
    named = {typed.split()[0] for typed, _ in TABLE} | {typed.split()[0] for typed in COULD_NOT}
    assert named == set(tree.commands) - {"demo"}


@pytest.mark.slow
@pytest.mark.parametrize(("typed", "keys"), TABLE, ids=[typed.split()[0] for typed, _ in TABLE])
def test_json_is_one_object_on_stdout(
    places: dict[str, str], typed: str, keys: tuple[str, ...]
) -> None:
    ran = run(places, typed, "--json")
    assert ran.exit_code == 0, ran.stderr
    told = json.loads(ran.stdout)
    assert tuple(told) == keys
    for name, rows in told.items():
        columns = {**STUDIES, **RESULTS}.get(name)
        if columns and rows and name != "set_aside":
            assert tuple(rows[0]) == columns
    assert "\x1b" not in ran.stdout + ran.stderr


@pytest.mark.slow
@pytest.mark.parametrize("typed", COULD_NOT, ids=[typed.split()[0] for typed in COULD_NOT])
def test_what_cannot_be_done_exits_1_and_says_what_to_do(
    places: dict[str, str], typed: str
) -> None:
    ran = run(places, typed, "--json")
    assert ran.exit_code == 1
    assert ran.stdout == ""
    first, *ways = ran.stderr.splitlines()
    assert first.startswith("error: ")
    assert COULD_NOT[typed] in ran.stderr
    assert any(line.startswith("       ") for line in ways), "a way out stands below"


@pytest.mark.parametrize("name", sorted({typed.split()[0] for typed, _ in TABLE}))
def test_a_wrong_option_exits_2(name: str) -> None:
    ran = CliRunner().invoke(app, [name, "--no-such-option"])
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert "--no-such-option" in ran.stderr
