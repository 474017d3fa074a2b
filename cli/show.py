"""Results on stdout: as tables that fit the terminal, or as one JSON object."""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
import textwrap
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final

import typer

if TYPE_CHECKING:
    import pandas as pd

    Rows = pd.DataFrame | Sequence[Mapping[str, object]]

GAP: Final = "  "
NO_BREAK: Final = "\u00a0%"
MOST_SHOWN: Final = 2000
"""Characters of one text of the logs in a terminal."""

NARROWEST: Final = 9
WORDS: Final = (80, 24, 16, NARROWEST)
SHOWN: Final[Mapping[str, tuple[str, ...]]] = {
    "purchases": (
        "part_type",
        "quantity",
        "order_by",
        "needed_by",
        "cost",
        "chance_with",
        "state",
    ),
    "wear": ("part_type", "duty_group", "pieces", "readings", "mean_rate", "rate_unit", "state"),
    "life": ("part_type", "duty_group", "mode", "failures", "shape", "b10", "state"),
    "to_change": ("machine", "part_type", "positions", "quantity", "because", "chance_if_left"),
    "versus": ("what", "ratio", "pairs", "extrapolated", "parts_saved", "money_saved"),
    "life_families": ("mode", "family", "parameters", "log_likelihood", "aic", "b10"),
    "hindsight": ("as_of", "part_type", "actual", "mean", "covered", "pinball", "crps", "bias"),
    "plans": ("part_type", "plan", "mean", "quantity", "cost", "chance_with"),
    "sample_size": ("method", "machines", "hours", "power"),
    "hours_left": (
        "machine",
        "position",
        "part_type",
        "quantity",
        "left",
        "chance_window",
        "chance_season",
        "chance_next",
    ),
    "duty": ("quantity", "value", "limit", "unit", "inside", "source"),
    "imports": (
        "import",
        "at",
        "file",
        "kind",
        "rows",
        "accepted",
        "known",
        "set_aside",
        "withdrawn",
    ),
    "set_aside": ("file", "line", "column", "value", "rule", "hint"),
}
"""What a person sees in a terminal; --json and the sheets have every column."""


def strong(text: str, *, err: bool = False, colour: bool = False) -> str:
    """Set a text off where a person reads it: bold, and magenta if ``colour``."""
    stream, text = sys.stderr if err else sys.stdout, harmless(text)
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" or not stream.isatty():
        return text
    return typer.style(text, bold=True, fg="magenta" if colour else None)


def harmless(text: str) -> str:
    r"""Return a text of the logs as a terminal may show it: nothing in it acts, and it has an end.

    Characters that steer a terminal, or turn the direction of writing, are shown by their escape
    (``\x1b``); what is longer than :data:`MOST_SHOWN` is cut, and its length told. JSON and files
    have the whole.
    """
    if len(text) > MOST_SHOWN:
        text = f"{text[: MOST_SHOWN // 2]}… ({len(text):,} characters)"
    if text.isprintable():
        return text
    return "".join(
        c if c.isprintable() or c in "\n\N{NO-BREAK SPACE}" else repr(c)[1:-1] for c in text
    )


def message(text: str, lead: str = "") -> None:
    """Say something on stderr: it is no result. On a terminal it is folded between words.

    Parameters
    ----------
    text
        May hold what a log says.
    lead
        Stands before it as it is.
    """
    text = lead + "\n".join(harmless(line) for line in text.split("\n"))
    if sys.stderr.isatty() and "  " not in text:  # two spaces stand before a command to copy
        text = _filled(text, width(), subsequent_indent="  ", break_long_words=False)
    typer.echo(text, err=True)


def width() -> int:
    """Return the columns to use: the terminal's, at most 100, and 80 where there is none."""
    return min(shutil.get_terminal_size((80, 24)).columns, 100)


def tables(
    results: Mapping[str, Rows], *, as_json: bool, titles: Mapping[str, str] | None = None
) -> None:
    """Print results.

    Parameters
    ----------
    results
        By name: a frame, or rows as mappings.
    as_json
        One object whose keys are the names, each a list of rows with every column.
    titles
        A heading for each name; none if it is missing.
    """
    if as_json:
        typer.echo(as_object(results))
        return
    for name, rows in results.items():
        if titles and name in titles:
            typer.echo(strong(titles[name]))
        typer.echo(text_table(name, rows))


def as_object(results: Mapping[str, Rows]) -> str:
    """Write results as one JSON object: ISO dates, null for what is empty or without end."""
    plain = {name: [_plain_row(row) for row in records(rows)] for name, rows in results.items()}
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def records(rows: Rows) -> list[dict[str, object]]:
    """Return the rows as mappings, whatever they came as."""
    if isinstance(rows, Sequence):
        return [dict(row) for row in rows]
    return [
        {str(name): value for name, value in row.items()} for row in rows.to_dict(orient="records")
    ]


def text_table(name: str, rows: Rows, currency: str = "") -> str:
    """Write rows as a table no wider than the terminal; long texts go over several lines."""
    if not len(rows):
        return "none"
    if isinstance(rows, Sequence):
        kept = [
            key
            for key in SHOWN.get(name, tuple(rows[0]))
            if name == "files" or any(_tells(row.get(key)) for row in rows)
        ]
        heads = [key.replace("_", " ") for key in kept]
        cells = [[_text(row[key]) for key in kept] for row in rows]
        right = [all(row[key] is None or _is_number(row[key]) for row in rows) for key in kept]
    else:
        from reports.tables import table

        shown = table(
            name, rows, name, currency=currency, columns=SHOWN.get(name), years=name != "purchases"
        )
        heads = [column.label for column in shown.columns]
        cells = [list(row) for row in shown.rows]
        right = [column.right for column in shown.columns]
    return layout(heads, cells, right, width())


def layout(
    heads: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], room: int
) -> str:
    """Lay a table out in ``room`` columns: the widest columns are folded first.

    Parameters
    ----------
    heads
        One a column.
    cells
        One row after the other.
    right
        Whether a column stands at the right.
    room
        Columns of the terminal.

    Returns
    -------
    str
        Lines without blanks at their end: heads, a rule, the rows.
    """
    cells = [[harmless(cell) for cell in row] for row in cells]
    columns = list(zip(*cells, strict=True))
    widths = [
        max(len(head) if len(head) <= NARROWEST else _longest_word(head), *map(len, column))
        for head, column in zip(heads, columns, strict=True)
    ]
    whole = [max(map(_longest_word, [head, *c])) for head, c in zip(heads, columns, strict=True)]
    for most in WORDS:  # fold between words first, then through longer and longer ones
        floors = [min(own, most) for own in whole]
        while sum(widths) + len(GAP) * (len(widths) - 1) > room:
            loose = [k for k, own in enumerate(widths) if own > floors[k]]
            if not loose:
                break
            widths[max(loose, key=widths.__getitem__)] -= 1
    top = _lines(heads, widths, right)
    rule = GAP.join("─" * own for own in widths)
    body = [line for row in cells for line in _lines(row, widths, right)]
    return "\n".join([*(strong(line) for line in top), rule, *body])


def cards(rows: Sequence[Mapping[str, object]]) -> str:
    """Write doubts one under the other: what was seen, what is proposed, what holds now."""
    room = min(width(), 80)
    texts = []
    for row in rows:
        where = [harmless(_text(row[name])) for name in ("machine", "position", "part_type", "at")]
        head = "  ".join(filter(None, [str(row["id"]), str(row["rule"]), *where]))
        head = _filled(head, room, subsequent_indent=" " * 10)
        head = head.replace(str(row["id"]), strong(str(row["id"])), 1)
        state, default = (str(row[name]).replace("_", " ") for name in ("state", "default"))
        holds = f"open, taken {default} until settled" if state == "open" else f"settled {state}"
        said = [str(row["what"]), f"proposed: {row['proposal']}", holds, str(row["note"] or "")]
        texts.append("\n".join([head, *(_indented(text, room) for text in said if text)]))
    return "\n".join(texts) if texts else "none"


def _indented(text: str, room: int) -> str:
    text = harmless(text)
    return _filled(text, room, initial_indent=" " * 10, subsequent_indent=" " * 12)


def paragraphs(sentences: Sequence[str]) -> str:
    """Write sentences as paragraphs that fit the terminal."""
    return "\n\n".join(_filled(text, min(width(), 78)) for text in sentences)


def hanging(sentence: str) -> str:
    """Write one sentence whose further lines hang in."""
    return _filled(harmless(sentence), min(width(), 80), subsequent_indent="  ")


def _filled(text: str, room: int, **more: Any) -> str:
    """Break a text into lines; a number and its percent sign stay together."""
    whole = text.replace(" %", NO_BREAK)
    return textwrap.fill(whole, room, break_on_hyphens=False, **more).replace(NO_BREAK, " %")


def wear_glyph(left: float) -> str:
    """Draw the share of the wear limit that is left, as a strip that wears down."""
    steps = "▁▂▃▅▇"
    return steps[min(len(steps) - 1, max(0, math.floor(left * len(steps))))]


def _lines(row: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> list[str]:
    folded = [_filled(text, own).split("\n") for text, own in zip(row, widths, strict=True)]
    return [
        GAP.join(
            (lines[n] if n < len(lines) else "").rjust(own)
            if at_right
            else (lines[n] if n < len(lines) else "").ljust(own)
            for lines, own, at_right in zip(folded, widths, right, strict=True)
        ).rstrip()
        for n in range(max(map(len, folded)))
    ]


def _longest_word(text: str) -> int:
    return max((len(word) for word in text.split()), default=0)


def _tells(value: object) -> bool:
    """Whether a cell says anything: a 0 does, what is empty or False does not."""
    return value is not None and value is not False and value != ""


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _text(value: object) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, datetime):
        midnight = value.time() == datetime.min.time()
        return value.date().isoformat() if midnight else value.isoformat(" ", "minutes")
    return value.isoformat() if isinstance(value, date) else str(value)


def _plain_row(row: Mapping[str, object]) -> dict[str, object]:
    return {name: _plain(value) for name, value in row.items()}


def _plain(value: Any) -> object:
    """Turn a cell into what JSON knows."""
    if value is None or value != value:
        return None
    if isinstance(value, datetime):
        midnight = value.time() == datetime.min.time()
        return value.date().isoformat() if midnight else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (str, bool, int)):
        return value
    if hasattr(value, "item"):
        return _plain(value.item())
    amount = float(value)
    return amount if math.isfinite(amount) else None
