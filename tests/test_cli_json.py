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
SLOW: Final = pytest.mark.slow

TABLE: Final[list[tuple[str, tuple[str, ...], bool]]] = [
    ("import {logs}/readings.csv --dry-run", ("files",), False),
    ("imports", ("imports",), False),
    ("withdraw 6 --note gone", ("imports",), False),
    ("set-aside", ("set_aside",), False),
    ("doubts", ("doubts",), False),
    ("wear SLEEVE-30", ("wear", "rate_law", "specific_wear"), False),
    ("life", ("life", "life_checks"), True),
    ("hours-left {plan} SLEEVE-30", ("hours_left",), True),
    ("duty SLEEVE-30 --temperature 60", ("duty",), True),
    ("evidence G01", ("evidence",), False),
    ("sample-size SLEEVE-30 --better 20", ("sample_size",), True),
    ("season {plan}", tuple(RESULTS), True),
    ("measure-next {plan}", ("measure_next", "files"), True),
    ("next", ("to_change", "pick_lists", "to_measure", "files"), False),
    ("compare 1 2", ("compare",), True),
    ("hindsight {plan} --as-of 2026-08-03", ("hindsight",), True),
    ("report --out {out}/r.html", ("reports",), False),
    ("export --to {out}/tables", ("files",), False),
]
"""What is typed, the keys of the object, and whether it takes its time."""

COULD_NOT: Final = {
    "settle 00000000 --as logged": "no doubt",
    "versus HDPE PEEK": "",
    "evidence G01 9": "no position",
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
    """The demo is run whole elsewhere; settle and versus have nothing to do in this plant."""
    tree = get_command(app)
    assert isinstance(tree, Commands)
    named = {typed.split()[0] for typed, *_ in TABLE} | {typed.split()[0] for typed in COULD_NOT}
    assert named == set(tree.commands) - {"demo"}


@pytest.mark.parametrize(
    ("typed", "keys"),
    [pytest.param(typed, keys, marks=SLOW if dear else ()) for typed, keys, dear in TABLE],
    ids=[typed.split()[0] for typed, *_ in TABLE],
)
def test_json_is_one_object_on_stdout(
    places: dict[str, str], typed: str, keys: tuple[str, ...]
) -> None:
    ran = run(places, typed, "--json")
    assert ran.exit_code == 0, ran.stderr
    told = json.loads(ran.stdout)
    assert tuple(told) == keys
    for name, rows in told.items():
        columns = {**STUDIES, **RESULTS}.get(name) if name in keys else None
        if columns and rows and name not in ("set_aside",):
            assert tuple(rows[0]) == columns
    assert "\x1b" not in ran.stdout + ran.stderr


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


@pytest.mark.parametrize("name", sorted({typed.split()[0] for typed, *_ in TABLE}))
def test_a_wrong_option_exits_2(name: str) -> None:
    ran = CliRunner().invoke(app, [name, "--no-such-option"])
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert "--no-such-option" in ran.stderr
