"""The command for the coming window: what to change, what to take along, what to measure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli import show
from cli.options import Json, add, address, busy, said_before
from cli.outputs import Number, writing

if TYPE_CHECKING:
    from forecast.jobs.coming import Coming


def next_window(
    ctx: typer.Context,
    number: Number = None,
    export: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the sheets to fill in: .csv, or .xlsx in one."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show the list for the coming window.

    What to change, take along and measure. The go/no-go sheet says over which depth to change, how
    many to expect and how many to take along, and which positions, drawn by lot, to measure on the
    way. Filled in, the sheets import back as logs; rows nobody filled in are set aside.

    Example:
      wearahead next
      wearahead next 3 --export sunday.xlsx
    """
    from forecast.jobs.coming import coming_window
    from reports.forms import LOCK_OUT
    from reports.sheets import pick_lists

    with busy("reading the logs"):
        coming = coming_window(address(ctx), number)
    picks = pick_lists(coming.forecast)
    picks = picks[picks["window"] == coming.to_change["window"].iloc[0]].reset_index(drop=True)
    files = [] if export is None else _write(coming, export)
    if as_json:
        found = {
            "to_change": coming.to_change,
            "pick_lists": picks,
            "to_measure": coming.to_measure,
            "files": [{"file": str(path)} for path in files],
        }
        show.tables(found, as_json=True)
        return
    typer.echo("\n".join(_page(coming)))
    typer.echo("\n" + show.strong("Take along"))
    typer.echo(show.text_table("pick_lists", [_pick(row) for row in picks.to_dict("records")]))
    for row in picks.to_dict("records"):
        if row["take"] > row["on_shelf"]:
            typer.echo(f"{row['part_type']}: the shelf is expected to hold {row['on_shelf']:.0f}")
    if len(coming.to_measure):
        typer.echo("\n" + show.strong("Measure these, drawn by lot: eyes choose the worst"))
        for line in _by_machine(coming):
            typer.echo(show.hanging(line))
    typer.echo("\n" + show.paragraphs([LOCK_OUT]))
    start = said_before(ctx)
    if files:
        typer.echo("\n" + show.strong("Filled in, they import back"))
        typer.echo(f"  {start} import {' '.join(map(str, files))}")
    else:
        typer.echo(f"\n  {start} next {coming.forecast.number} --export sheet.xlsx")


def _pick(row: Mapping[Any, Any]) -> dict[str, object]:
    numbers = {key: round(float(row[key])) for key in ("machines", "quantity", "take", "on_shelf")}
    return {"part_type": row["part_type"], "what": row["what"], **numbers}


def _page(coming: Coming) -> Iterator[str]:
    """Yield the list, a line an instruction, machine by machine."""
    from reports import words
    from reports.forms import instruction

    day = words.day(coming.window, weekday=True)
    hours = words.hours(float(coming.to_change["crew_hours"].sum()))
    machines = coming.to_change["machine"].nunique()
    yield show.strong(f"Change-outs on {day}", colour=True)
    yield (
        f"Forecast {coming.forecast.number}. "
        f"{words.plural(machines, 'machine')}, about {hours} h of crew time"
    )
    overhaul = coming.forecast.results["overhaul"]
    before = int(overhaul.loc[overhaul["decision"] != "leave", "quantity"].sum())
    if before:
        yield f"The overhaul comes first: {words.plural(before, 'piece')} to change or measure"
    yield ""
    for row in coming.to_change.to_dict("records"):
        named = str(row["positions"] or "")
        where = f"{row['machine']} {row['place']}".strip() + (f" {named}" if named else "")
        yield show.hanging(f"{where}: {instruction(row)}")


def _by_machine(coming: Coming) -> Iterator[str]:
    keys = ["machine", "place", "part_type"]
    for (machine, place, part_type), own in coming.to_measure.groupby(keys, sort=True):
        where = f"{machine} {place}".strip()
        yield f"{where} {part_type}: {', '.join(map(str, own['position']))}"


def _write(coming: Coming, path: Path) -> list[Path]:
    """Write the sheets to fill in; CSV takes a file a log."""
    from reports.forms import LOCK_OUT, go_no_go_sheet, inspection_sheet
    from reports.sheets import write_books, write_dicts

    changed = go_no_go_sheet(coming.to_log.to_dict("records"))
    measured = inspection_sheet(coming.to_measure.to_dict("records"), coming.window)
    with writing(path):
        if path.suffix.lower() == ".xlsx":
            sheets = {"change_outs": changed, **({"readings": measured} if measured else {})}
            return [write_books(sheets, path, foot=LOCK_OUT)]
        files = [write_dicts(changed, path)]
        if measured:
            beside = path.with_name(f"{path.stem}_readings{path.suffix}")
            files.append(write_dicts(measured, beside))
        return files


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "next", next_window)
