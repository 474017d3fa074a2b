"""The command that follows one position from the logs to the decision."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from cli import show
from cli.options import Json, add, address, work

if TYPE_CHECKING:
    import pandas as pd

TITLES: Final = {
    "change_out": "What was logged",
    "reading": "What was read",
    "import": "How it came in",
    "doubt": "What is in doubt",
    "correction": "Wear depth at 20 C",
    "age": "Age",
    "rate": "Rate, shrunk toward its machine and type",
    "life": "What else ends its kind",
    "limit": "Limit and hours left",
    "decision": "What the latest forecast decided",
}
UNDER: Final = {"shrinkage": "rate", "hours_left": "limit", "chance": "limit"}
"""Steps that stand under another one's title."""

MOST: Final = 12
"""Rows of a kind that a person sees, the latest; --json has every one."""

FEW_AGES: Final = 3
"""Of the ages that the pieces of a set have, so many are shown."""

OWN: Final = ("reading", "correction")
"""Of these a person sees those of the piece in place; --json has the earlier ones."""


def evidence(
    ctx: typer.Context,
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="The machine.")],
    position: Annotated[
        str | None,
        typer.Argument(
            metavar="POSITION",
            help="A position ('6', 'rollers 6'), a kit, or a place that is a set.",
        ),
    ] = None,
    place: Annotated[
        str | None,
        typer.Option("--place", metavar="PLACE", help="Where two places have such a position."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Follow one position from the logs to the decision.

    What was logged, with file and line; doubts, and what settling them the other way would change;
    corrections to 20 C, age, rate and its shrinkage, limit, hours left, chances, and what the
    latest forecast decided. Without a position: what sits where on the machine.

    Example:
      wearahead evidence G08 "rollers 6"
    """
    from forecast.jobs.evidence import evidence as study

    with work() as watched:
        rows = study(address(ctx), machine, position, place=place, work=watched)
    if as_json:
        show.tables({"evidence": rows}, as_json=True)
        return
    typer.echo("\n".join(_overview(rows) if position is None else told(rows)))


def _overview(rows: pd.DataFrame) -> list[str]:
    """Write what sits where, one line a position or set."""
    lines = []
    for place, own in rows.groupby("place", sort=False):
        lines.append(show.strong(str(place)))
        for row in show.records(own):
            age = "" if _missing(row["value"]) else f", {_amount(row['value'])} {row['unit']}"
            where = row["position"] or row["piece"]
            lines.append(show.hanging(f"  {where}: {row['says']}{age}"))
    first = rows.iloc[0]
    named = f"{first['place']} {first['position']}" if first["position"] else first["piece"]
    lines.append(f'\nOne of them: wearahead evidence {first["machine"]} "{named}"')
    return lines


def told(rows: pd.DataFrame) -> list[str]:
    """Write the chain, a heading for each kind of link."""
    records = show.records(rows)
    here = records[0]
    head = textwrap.wrap(f"{here['value']}: {here['says']}", min(show.width(), 80))
    lines = [show.strong(line, colour=True) for line in head]
    kinds = [UNDER.get(str(row["step"]), str(row["step"])) for row in records]
    for step, title in TITLES.items():
        own = [row for row, kind in zip(records, kinds, strict=True) if kind == step]
        if not own and step in ("change_out", "reading", "doubt"):
            lines += ["", show.strong(title), "  nothing"]
        if not own:
            continue
        shown = own if step not in OWN else [r for r in own if r["piece"] in (here["piece"], "")]
        shown = shown[-MOST:] if step in (*OWN, "change_out") else shown
        if step == "limit":
            shown = _fewer(shown)
        lines += ["", show.strong(title)]
        said_before = ""
        for row in shown:
            lines += _link(row, row["from"] == said_before)
            said_before = str(row["from"])
        if len(shown) < len(own):
            lines.append(f"  and {len(own) - len(shown):,} more: --json has them")
    return lines


def _fewer(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Leave out all but the first few of a set's ages."""
    left = [row for row in rows if row["step"] == "hours_left"]
    return [row for row in rows if row not in left[FEW_AGES:]]


def _link(row: dict[str, Any], same_source: bool) -> list[str]:
    """Write one link: its day, what it says with its number, and where that comes from."""
    step, when = str(row["step"]), "" if _missing(row["at"]) else str(row["at"])[:10]
    said = str(row["says"])
    if step in ("rate", "shrinkage", "life", "limit", "hours_left", "chance"):
        said += _number(row)
    if step == "age":
        value = (
            "age unknown" if _missing(row["value"]) else f"{_amount(row['value'])} {row['unit']}"
        )
        said = f"{row['from']}: {value}; {said}"
    elif step == "import":
        when, said = "", f"import {row['value']}, {when}: {row['from']}, {said}"
    elif row["from"] and not same_source:
        said += f" [{row['from']}]"
    begins = f"  {when:<10}  " if when and step not in ("age", "doubt") else "  "
    room = min(show.width(), 80)
    hang = " " * (14 if len(begins) > 2 else 4)
    return textwrap.wrap(
        said, room, initial_indent=begins, subsequent_indent=hang, break_on_hyphens=False
    )


def _number(row: dict[str, Any]) -> str:
    """Write value, range and unit of a link."""
    from reports import words

    value, low, high = row["value"], row["value_low"], row["value_high"]
    if row["unit"] == "chance":
        return f": {words.chance(value)}"
    if _missing(value):
        return f": over {_amount(low)} {row['unit']}" if not _missing(low) else ""
    said = f": {_amount(value)} {row['unit']}"
    return said if _missing(low) else f"{said} ({_amount(low)} to {_amount(high)})"


def _amount(value: Any) -> str:
    from reports import words

    amount = float(value)
    return f"{amount:,.0f}" if abs(amount) >= 100 else words.digits(amount, 3)


def _missing(value: Any) -> bool:
    return value is None or value != value


def add_to(app: typer.Typer) -> None:
    """Add the command of this module."""
    add(app, "evidence", evidence)
