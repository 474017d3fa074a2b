"""Help: quick, complete, the same everywhere; and the door's messages."""

from __future__ import annotations

import importlib.metadata
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from cli import start
from cli.app import Commands, app
from cli.reference import reference

PLAIN = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
TREE = get_command(app)
COMMANDS = list(TREE.commands) if isinstance(TREE, Commands) else []
EXPECTED = """demo import imports withdraw set-aside doubts settle wear life hours-left duty
evidence versus sample-size season measure-next next compare hindsight report export""".split()  # noqa: SIM905
DEAR = [
    "pandas",
    "numpy",
    "scipy",
    "lifelines",
    "statsmodels",
    "duckdb",
    "plotly",
    "rich",
    "jinja2",
]
HELP = f"""
import json, sys
sys.argv = ["wearahead", "--help"]
from cli.start import main
try:
    main()
except SystemExit as exit:
    print(json.dumps([exit.code, [name for name in {DEAR!r} if name in sys.modules]]))
"""


def test_help_loads_nothing_dear() -> None:
    ran = subprocess.run([sys.executable, "-c", HELP], capture_output=True, text=True, check=True)
    assert json.loads(ran.stdout.splitlines()[-1]) == [0, []]
    assert "Usage: wearahead" in ran.stdout


def test_every_command_is_there_in_this_order_and_no_other() -> None:
    assert COMMANDS == EXPECTED


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name: str) -> None:
    shown = CliRunner().invoke(app, [name, "--help"], env=PLAIN)
    assert shown.exit_code == 0
    assert f"  Example:\n    wearahead {name}" in shown.stdout
    assert "--json" in shown.stdout
    options = shown.stdout.partition("\nOptions:\n")[2].splitlines()
    assert all(len(line.split("  ")) > 1 for line in options), "an option without help"
    assert all(len(line) <= 80 for line in shown.stdout.splitlines() if "--set" not in line)


def test_no_summary_is_cut_off() -> None:
    shown = CliRunner().invoke(app, ["--help"], env=PLAIN).stdout
    assert "..." not in shown.partition("Commands:")[2]


def test_the_reference_holds_every_command_and_is_stable(monkeypatch: pytest.MonkeyPatch) -> None:
    first = reference()
    monkeypatch.setenv("WEARAHEAD_STORE", "elsewhere.duckdb")
    monkeypatch.setenv("COLUMNS", "140")
    assert reference() == first
    for name in COMMANDS:
        assert f"### wearahead {name}\n\n```text\nUsage: wearahead {name} " in first


def test_bash_completes_commands_and_options(tmp_path: Path) -> None:
    own = tmp_path / "wearahead"
    own.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m cli "$@"\n', "utf-8")
    own.chmod(0o755)
    script = """eval "$(wearahead --show-completion)"
    complete -p wearahead
    for line in "mea" "season x --se"; do
      COMP_WORDS=(wearahead $line); COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
      _wearahead_completion wearahead; echo "${COMPREPLY[@]}"
    done"""
    known = {**os.environ, "PATH": f"{tmp_path}{os.pathsep}{os.environ['PATH']}"}
    ran = subprocess.run(
        ["bash", "-c", script], env=known, capture_output=True, text=True, check=True
    )
    assert ran.stdout.splitlines()[-3:] == [
        "complete -o default -F _wearahead_completion wearahead",
        "measure-next",
        "--set",
    ]


def test_store_behind_the_command_is_explained() -> None:
    for words in (["imports", "--store", "x"], ["wear", "SLEEVE-30", "--store=x"]):
        shown = CliRunner().invoke(app, words, env=PLAIN)
        assert shown.exit_code == 2
        assert f"wearahead --store FILE {words[0]} ..." in shown.stderr


@pytest.mark.parametrize(
    "words", [["season"], ["nonsense"], ["report"], ["season", "x", "--as-of", "soon"]]
)
def test_wrong_usage_exits_2(words: list[str]) -> None:
    assert CliRunner().invoke(app, words, env=PLAIN).exit_code == 2


def test_a_clash_of_names_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    owners = {"sql": ["wearahead", "sqlthings"], "cli": ["wearahead"], "numpy": ["numpy"]}
    monkeypatch.setattr(importlib.metadata, "packages_distributions", lambda: owners)
    monkeypatch.setitem(sys.modules, "cli.app", None)
    with pytest.raises(SystemExit, match="1"):
        start.main()
    said = capsys.readouterr().err
    assert "'sql' in this environment also belongs to sqlthings" in said
    assert "uv tool install wearahead" in said


def test_a_fault_of_our_own_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.metadata, "packages_distributions", dict)
    monkeypatch.setitem(sys.modules, "cli.app", None)
    with pytest.raises(ImportError):
        start.main()
