"""Every statement in sql/: one a file, explained parameters, binding names, used, portable."""

import re
from datetime import date
from pathlib import Path

import duckdb
import pytest

import sql
from forecast.intake.kinds import KINDS
from forecast.intake.set_aside import RULES
from forecast.store.opening import derived_names, open_store, view_names

ROOT = Path(sql.__file__).parent
HOUSE = ROOT.parent
FILES = sorted(ROOT.glob("*/*.sql"))
NAMES = [f"{path.parent.name}/{path.stem}" for path in FILES]
QUERIES = [name for name in NAMES if name.startswith("queries/")]
MADE_AT_OPENING = ("macros", "views", "checks", "schema")

FORBIDDEN = {
    "PRIMARY KEY": r"\bPRIMARY\s+KEY\b",
    "UNIQUE": r"\bUNIQUE\b",
    "CHECK": r"\bCHECK\b",
    "SEQUENCE": r"\bSEQUENCE\b",
    "INDEX": r"\bINDEX\b",
    "ENUM": r"\bENUM\b",
    "GENERATED": r"\bGENERATED\b",
    "ON CONFLICT": r"\bON\s+CONFLICT\b",
    "RETURNING": r"\bRETURNING\b",
    "uuid()": r"\buuid\s*\(",
    "any_value": r"\bany_value\s*\(",
    "sum over DOUBLE": r"\b(sum|avg|regr_slope)\s*\([^()]*(::\s*(DOUBLE|FLOAT)|\bDOUBLE\b)[^()]*\)",
}
NOT_EXPLAINED = ("SET", "USE", "COPY")


def header_and_body(path: Path) -> tuple[str, str]:
    lines = path.read_text(encoding="utf-8").splitlines()
    count = next(i for i, line in enumerate(lines) if not line.startswith("--"))
    return "\n".join(lines[:count]), "\n".join(lines[count:])


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory):
    """A connection to an empty store with every view, and the temporary tables of an import."""
    address = tmp_path_factory.mktemp("sql") / "store.duckdb"
    with open_store(str(address), write=True) as store:
        for name in derived_names():
            store.run(name)
        columns = store._connection.execute(
            "SELECT DISTINCT column_name FROM duckdb_columns() WHERE table_name LIKE 'log_%'"
            " AND column_name NOT IN ('extra', 'file_line', 'file')"
        ).fetchall()
        names = [row[0] for row in columns]
        names += [
            "x0",
            "more1",
            "wide_header",
            "file_line",
            "reported_at",
            "extra",
            "filled",
            "set_aside_id",
        ]
        listed = ", ".join(f'NULL::VARCHAR AS "{name}"' for name in sorted(names))
        store._connection.execute(f"CREATE TEMP TABLE staged AS SELECT {listed} LIMIT 0")
        pair: dict[str, list[str]] = {"columns": ["a"], "words": [["a"]]}
        store.run(
            "queries/set_takes",
            **pair,
            least=[0.0],
            most=[1.0],
            spellings=["mm"],
            meant=["mm"],
            units=["mm"],
            factors=[1.0],
        )
        store.run(
            "queries/set_mapped",
            cells=[],
            words=[],
            prefix_columns=[],
            prefixes=[],
            constant_columns=[],
            constants=[],
            length_columns=[],
            factors=[],
        )
        store.run(
            "queries/set_habits",
            decimal_mark=".",
            dates="",
            time_zone="",
            today=date(2026, 8, 30),
        )
        store.run("queries/set_first_line", first_line=2)
        store.run(
            "queries/set_plain",
            path=str(address),
            delimiter=",",
            newline=r"\n",
            quote="",
            skip=1,
            lines_a_part=1,
            odd_blanks=False,
        )
        store.run("queries/set_plain_columns", columns={"x0": "VARCHAR"})
        lists = ["stored_as", "names", "headers", "types", "required", "past", "words"]
        store.run("queries/set_kind_columns", **{name: [] for name in lists})
        store.run(
            "queries/set_rules",
            rules=list(RULES),
            shown=list(RULES),
            hints=list(RULES),
            about=list(RULES),
        )
        yield store


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_a_file_holds_one_statement(path):
    assert len(duckdb.extract_statements(path.read_text(encoding="utf-8"))) == 1


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_parameters_are_those_explained_in_the_header(path):
    header, body = header_and_body(path)
    used = set(re.findall(r"\$(\w+)", re.sub(r"'[^']*'", "", body)))
    assert header, "the header says what the statement is for"
    assert set(re.findall(r"\$(\w+)", header)) == used


def at_hand(opened, name):
    """Put rows at hand as an import does before it runs a query: of the kind it is for."""
    kind = name.rpartition("/")[2].partition("_")[2]
    if name == "queries/staged_plain":
        opened.run("queries/plain_part")
    opened.run("queries/staged_stored")
    opened.run(f"queries/typed_{kind if kind in KINDS else 'clocks'}")
    known = f"known_{kind if kind in KINDS else 'clocks'}"
    for step in ("type_rows", "ready_typed", "find_repeats"):
        opened.run(f"queries/{step}")
    opened.run(f"queries/{known}", import_no=1)
    opened.run("queries/fresh_typed")
    for made in ("copies", "missing_lines"):
        opened._connection.execute(
            f"CREATE OR REPLACE TEMP TABLE {made} AS SELECT 1 AS file_line, 1 AS copy_no"
        )


@pytest.mark.parametrize("name", QUERIES)
def test_queries_bind_against_the_schema(opened, name, tmp_path):
    text = sql.statement(name)
    first = header_and_body(ROOT / f"{name}.sql")[1].split()[0]
    if first in NOT_EXPLAINED:
        assert duckdb.extract_statements(text)[0].type is not duckdb.StatementType.SELECT
        return
    at_hand(opened, name)
    used = set(
        re.findall(r"\$(\w+)", re.sub(r"'[^']*'", "", header_and_body(ROOT / f"{name}.sql")[1]))
    )
    log = tmp_path / "log.csv"
    log.write_text("a\n1\n")
    readable = {
        "path": str(log),
        "columns": {"x0": "VARCHAR", "more1": "VARCHAR"},
        "delimiter": ",",
        "newline": r"\n",
        "quote": '"',
        "skip": 0,
        "parallel": True,
        "odd_blanks": False,
        "pads": ["x0"],
        "log": "log_clocks",
    }
    known = readable if "read_csv" in text or used & {"pads", "log"} else {}
    values = {p: known.get(p) for p in used}
    plan = opened._connection.execute(f"EXPLAIN {text}", values or None).fetchall()
    assert plan


@pytest.mark.parametrize("name", view_names())
def test_macros_views_and_checks_are_made(opened, name):
    assert name not in opened.views_missing, str(opened.views_missing.get(name))
    stem = name.partition("_")[2]
    found = opened._connection.execute(
        "SELECT count(*) FROM (SELECT function_name AS made FROM duckdb_functions() UNION ALL"
        " SELECT view_name FROM duckdb_views() WHERE temporary UNION ALL"
        " SELECT table_name FROM duckdb_tables() WHERE temporary) WHERE made = $name",
        {"name": stem},
    ).fetchone()
    assert found[0] >= 1, f"{name} should make {stem}"


@pytest.mark.parametrize("name", QUERIES)
def test_every_query_is_used_in_the_code(name):
    code = "\n".join(
        path.read_text(encoding="utf-8") for path in sorted((HOUSE / "forecast").rglob("*.py"))
    )
    stem = name.removeprefix("queries/")
    families = [
        f'"queries/{word}_{{'
        for word in ("typed", "add", "known", "number")
        if stem.startswith(f"{word}_")
    ]
    assert f'"{name}"' in code or any(family in code for family in families), f"nothing runs {name}"


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_nothing_that_a_lake_refuses_or_that_differs_between_runs(path):
    _, body = header_and_body(path)
    code = re.sub(r"--.*", "", re.sub(r"'[^']*'", "''", body))
    found = [what for what, pattern in FORBIDDEN.items() if re.search(pattern, code, re.I)]
    assert not found


def test_numbers_of_views_and_checks_are_one_count():
    numbers = [name.partition("/")[2].partition("_")[0] for name in view_names()]
    views = [n for n, name in zip(numbers, view_names(), strict=True) if "macros/" not in name]
    assert len(set(views)) == len(views)


def test_an_unknown_name_lists_what_there_is():
    with pytest.raises(sql.UnknownStatement, match="queries/pass_gate"):
        sql.statement("queries/pas_gate")
