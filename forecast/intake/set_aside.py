"""The rows refused: rule, reason, what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from forecast.errors import LogError
from forecast.intake.files import Source
from forecast.physics.units import FACTORS, SPELLINGS
from forecast.store.opening import open_store
from forecast.store.store import Store, Value


@dataclass(frozen=True)
class Rule:
    """Why a row is set aside.

    Attributes
    ----------
    rule
        As it is shown.
    hint
        What to do; ``{value}``, ``{column}`` and ``{words}`` are filled in.
    about
        The stored column of a fault that several cells make together.
    """

    rule: str
    hint: str
    about: str = ""


_COMMA: Final = "'{value}' has a comma: say decimal = \",\" in a mapping, or write a point"
_UNITS: Final = ", ".join(FACTORS["length"])

RULES: Final[dict[str, Rule]] = {
    "required missing": Rule("required missing", "fill in {column}"),
    "not a number": Rule(
        "not a number", "'{value}' is no number; write 0.5 or 1/8, without thousands marks"
    ),
    "decimal comma": Rule("not a number", _COMMA),
    "not a whole number": Rule("not a whole number", "'{value}' should be a whole number"),
    "below zero": Rule("below zero", "'{value}' is below zero; correct it"),
    "not above zero": Rule("not above zero", "'{value}' should be above zero; correct it"),
    "too small": Rule("too small", "'{value}' is less than {column} takes; correct it"),
    "too large": Rule("too large", "'{value}' is more than {column} takes; check its unit"),
    "not a date": Rule("not a date", "'{value}' is no date; write 2026-03-27 or 2026-03-27 14:30"),
    "ambiguous date": Rule(
        "ambiguous date",
        "'{value}' can be read day first or month first: say dates = \"day-month\" or "
        '"month-day" in a mapping, or write it year first',
    ),
    "time zone not stated": Rule(
        "time zone not stated",
        "'{value}' names a zone: write the plant's wall time, or say time_zone in a mapping for "
        "a file in UTC",
    ),
    "before 1970": Rule("before 1970", "'{value}' is before 1970; correct it"),
    "after the import's day": Rule(
        "after the import's day", "'{value}' has not happened yet; correct it, or import it later"
    ),
    "unknown word": Rule(
        "unknown word",
        "'{value}' is not one of {words}; say in a mapping: [values.{column}] \"{value}\" = ...",
    ),
    "unknown unit": Rule("unknown unit", f"'{{value}}' is no unit; known are {_UNITS}"),
    "too many cells": Rule(
        "too many cells",
        "the row has more cells than the header (first: '{value}'): put cells that hold the "
        "delimiter in quotes",
    ),
    "value or result missing": Rule(
        "required missing", "fill in value, or result (ok, over, not_measured)", "read_value"
    ),
    "machine or line missing": Rule(
        "required missing", "fill in machine or line; * means all", "machine"
    ),
    "at_from after at": Rule(
        "at_from after at", "at_from '{value}' is after at; swap or correct them", "taken_from"
    ),
    "size not above zero": Rule(
        "not above zero", "'{value}' should be above zero: it is a size", "read_value"
    ),
    "far below zero": Rule(
        "below zero", "'{value}' is more than 1 mm below zero; correct it", "read_value"
    ),
    "unit does not fit": Rule(
        "unknown unit", "% belongs to readings of reading_kind percent, and only there", "unit"
    ),
}
"""What is wrong with a row, by what the statements call it."""


def state_rules(store: Store) -> None:
    """Tell an open store the rules, before anything is typed."""
    store.run(
        "queries/set_rules",
        rules=list(RULES),
        shown=[rule.rule for rule in RULES.values()],
        hints=[rule.hint for rule in RULES.values()],
        about=[rule.about for rule in RULES.values()],
    )


def state_kind(store: Store, source: Source) -> None:
    """Tell an open store what the columns of a source's kind take, and what the file calls them."""
    columns = source.layout.kind.columns
    store.run(
        "queries/set_takes",
        columns=[column.stored_as for column in columns],
        least=[column.least for column in columns],
        most=[column.most for column in columns],
        words=[list(column.words) for column in columns],
        spellings=[*SPELLINGS, "%"],
        meant=[*SPELLINGS.values(), "%"],
        units=[*FACTORS["length"], "%"],
        factors=[*map(float, FACTORS["length"].values()), 1.0],
    )
    store.run(
        "queries/set_kind_columns",
        stored_as=[column.stored_as for column in columns],
        names=[column.name for column in columns],
        headers=[source.layout.headers[column.stored_as] for column in columns],
        types=[column.type for column in columns],
        required=[column.required for column in columns],
        past=[column.past for column in columns],
        words=[", ".join(column.words) for column in columns],
    )


def type_rows(store: Store, source: Source, today: date, sound: int = 0) -> tuple[int, str]:
    """Cast the staged rows; say how many are faulty.

    Dates that can be read both ways are not guessed: the file must prove one reading itself, or
    its mapping state it.

    Parameters
    ----------
    store
        With the rows staged.
    source
        Where they come from.
    today
        The import's day.
    sound
        Rows of the same file that were added already.

    Returns
    -------
    tuple
        The number of faulty rows, and how dates were read where the file proved it.

    Raises
    ------
    LogError
        If every date of the file can be read both ways, or it proves both.
    """
    stated = source.mapping.dates or ""
    faulty = _typed(store, source, stated, today)
    if not faulty or stated:
        return faulty, ""
    proof = store.rows("queries/faulty_dates")[0]
    order = _proven({**proof, "sound": int(str(proof["sound"])) + sound}, source.file)
    if not order:
        return faulty, ""
    said = ""
    if proof["day_first_example"] or proof["month_first_example"]:
        shown = proof["day_first_example"] or proof["month_first_example"]
        said = f"{source.file}: dates are read {order}, as {shown} proves"
    return _typed(store, source, order, today), said


def state_habits(store: Store, source: Source, dates: str, today: date) -> None:
    """Tell an open store how the file at hand writes numbers and dates."""
    store.run(
        "queries/set_habits",
        decimal_mark=source.mapping.decimal,
        dates=dates,
        time_zone=source.mapping.time_zone or "",
        today=today,
    )


def _typed(store: Store, source: Source, dates: str, today: date) -> int:
    state_habits(store, source, dates, today)
    store.run("queries/set_first_line", first_line=source.first_line)
    store.run("queries/staged_stored")
    store.run(f"queries/typed_{source.layout.kind.name}")
    store.run("queries/type_rows")
    return int(str(store.rows("queries/typed_counts")[0]["faulty"]))


def _proven(proof: dict[str, Value], file: str) -> str:
    """Return how the file's dates are read: proven, harmless, or '' where rows are set aside."""
    if not proof["dates"]:
        return ""
    if proof["day_first"] and proof["month_first"]:
        raise LogError(
            f"{file}: some dates are day first ({proof['day_first_example']}), others month first "
            f"({proof['month_first_example']})",
            'say which holds in a mapping: dates = "day-month" or "month-day"; the others are '
            "then set aside",
        )
    if proof["day_first"]:
        return "day-month"
    if proof["month_first"]:
        return "month-day"
    if not proof["both_ways"]:
        return "day-month"
    if proof["sound"]:
        return ""
    first, second, rest = _parts(str(proof["example"]))
    raise LogError(
        f"{file}: the date {proof['example']} can be read both ways: day {first} month {second}, "
        f"or day {second} month {first} ({rest}); nothing in the file proves which",
        'say in a mapping: dates = "day-month" or "month-day"',
    )


def _parts(text: str) -> tuple[str, str, str]:
    first, second, rest = text.replace(".", "/").replace("-", "/").split("/", 2)
    return first, second, rest.split()[0]


def set_aside(address: str) -> list[dict[str, Value]]:
    """Return the rows set aside that are neither mended nor of a withdrawn import.

    Parameters
    ----------
    address
        The store.

    Returns
    -------
    list
        One dictionary a row: ``import, file, line, column, value, rule, hint``.
    """
    with open_store(address, views=False) as store:
        return [
            {
                "import": row["import_no"],
                "file": row["file"],
                "line": row["file_line"],
                "column": row["column_name"],
                "value": row["raw_value"],
                "rule": row["rule"],
                "hint": row["hint"],
            }
            for row in store.rows("queries/set_aside")
        ]
