"""The command that says where one reading tells most, and writes its inspection sheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import show
from cli.options import Day, Json, add, address, said_before, work
from cli.outputs import writing


def measure_next(
    ctx: typer.Context,
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (TOML).")],
    count: Annotated[int, typer.Option(metavar="N", min=1, help="At most so many.")] = 40,
    minutes: Annotated[
        float, typer.Option(metavar="MIN", min=0.1, help="Crew time of one reading.")
    ] = 3.0,
    as_of: Day = None,
    export: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the inspection sheet: .csv or .xlsx."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show where a reading narrows the forecast most.

    What tells most a crew minute comes first. Each row says by how many pieces one reading narrows
    the spread of the season's total, given the rows above it, and how likely it turns the decision
    to leave its piece in. Fewer rows than asked: the others would tell too little. The sheet is
    filled in and imported as it is.

    Example:
      wearahead measure-next season_2026.toml
      wearahead measure-next season_2026.toml --count 20 --export sunday.xlsx
    """
    from forecast.jobs.measure import measure_next as study
    from reports import words
    from reports.forms import LOCK_OUT, inspection_sheet
    from reports.sheets import write_dicts

    with work() as watched:
        found = study(
            address(ctx),
            plan,
            count,
            as_of=None if as_of is None else as_of.date(),
            minutes=minutes,
            work=watched,
        )
    if export is not None:
        # named beforehand, not picked by eye: the readings stand for the fleet
        rows = inspection_sheet(found.walk.to_dict("records"), found.day, chosen="rotation")
        with writing(export):
            write_dicts(rows, export, foot=LOCK_OUT)
    if as_json:
        files = [] if export is None else [{"file": str(export)}]
        show.tables({"measure_next": found.table, "files": files}, as_json=True)
        return
    day = words.day(found.day, weekday=True)
    typer.echo(show.strong(f"What to measure on {day}", colour=True))
    for sentence in found.said:
        typer.echo(show.hanging(sentence))
    if len(found.table):
        spent = float(found.table["minutes"].sum()) / 60.0
        machines = found.table["machine"].nunique()
        typer.echo(
            f"\n{words.plural(len(found.table), 'reading')} on "
            f"{words.plural(machines, 'machine')}, about {spent:.1f} h of crew time\n"
        )
        typer.echo(show.text_table("measure_next", found.table))
        typer.echo("\n" + show.paragraphs([LOCK_OUT]))
    start = said_before(ctx)
    if export is not None:
        typer.echo("\n" + show.strong("Filled in, it imports back"))
        typer.echo(f"  {start} import {export}")
    elif len(found.table):
        typer.echo(f"\n  {start} measure-next {plan} --export sheet.xlsx")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "measure-next", measure_next)
