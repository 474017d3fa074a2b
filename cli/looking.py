"""Commands that hold forecasts against each other and against what came."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import show
from cli.options import Json, add, address, work

if TYPE_CHECKING:
    import pandas as pd


def compare(
    ctx: typer.Context,
    first: Annotated[int, typer.Argument(metavar="N", min=1, help="The earlier forecast.")],
    second: Annotated[int, typer.Argument(metavar="M", min=1, help="The later forecast.")],
    as_json: Json = False,
) -> None:
    """Say why two forecasts differ, one input at a time.

    From forecast N to M: facts (pieces, ages, wear, lives), hours, part types, stock, plan, the
    day they start from, versions of this program, and the rest, which several do together.

    Example:
      wearahead compare 1 2
    """
    from forecast.jobs.compare import compare as study

    with work() as watched:
        rows = study(address(ctx), first, second, watched)
    if as_json:
        show.tables({"compare": rows}, as_json=True)
        return
    typer.echo(show.strong(f"From forecast {first} to forecast {second}, pieces"))
    if rows.empty:
        typer.echo("They expect and buy the same.")
        return
    for title, column in (
        ("Expected use", "change_in_total"),
        ("To buy", "change_in_purchase"),
    ):
        lines = _because(rows, column)
        typer.echo("\n" + show.strong(title))
        for line in lines or ["no part type differs"]:
            typer.echo(show.hanging(line))


def _because(rows: pd.DataFrame, column: str) -> list[str]:
    """Return a line a part type, the largest change first: '+60 LINER-45: facts +41, rest +19'."""
    lines = []
    for part, own in rows.groupby("part_type", sort=True):
        exact = zip(own["input"], own[column].astype(float), strict=True)
        shares = {str(name).replace("_", " "): round(change) for name, change in exact}
        whole = round(float(own[column].sum()))
        left = "versions" if "versions" in shares else "rest"
        shares[left] = shares.get(left, 0) + whole - sum(shares.values())  # so that they add up
        told = ", ".join(f"{name} {_signed(change)}" for name, change in shares.items() if change)
        if told:
            lines.append((-abs(whole), f"{_signed(whole)} {part}: {told}"))
    return [line for _, line in sorted(lines)]


def _signed(change: int) -> str:
    return f"{change:+,}" if change else "0"


def hindsight(
    ctx: typer.Context,
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="The plan of that season (TOML).")],
    as_of: Annotated[
        list[datetime],
        typer.Option(
            "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="A day to look from; repeatable."
        ),
    ],
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Override a key of the plan; repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Score forecasts as they would have been made.

    They see only what was known. Twice: as planned, and given the hours that were run and the
    change-outs that were planned, which leaves the model's own error. The record is kept and shown
    in the report.

    Example:
      wearahead hindsight season_2025.toml --as-of 2025-08-03 --as-of 2025-09-14
    """
    from forecast.jobs.hindsight import hindsight as study

    with work(len(set(as_of))) as watched:
        rows = study(
            address(ctx),
            plan,
            [day.date() for day in as_of],
            settings=settings or (),
            work=watched,
        )
    if as_json:
        show.tables({"hindsight": rows}, as_json=True)
        return
    for basis, own in rows.groupby("basis", sort=True):
        typer.echo(show.strong(str(basis).capitalize()))
        typer.echo(show.text_table("hindsight", own.reset_index(drop=True)))
        typer.echo(show.hanging(_held(own)) + "\n")


def _held(rows: pd.DataFrame) -> str:
    """Say how many ranges held what came, and of how many seasons that is."""
    seasons = int(rows["seasons"].max())
    held, of = int(rows["covered"].sum()), len(rows)
    word = "season" if seasons == 1 else "seasons"
    return (
        f"{held} of {of} ranges that 9 in 10 seasons should keep to held what came, in {seasons} "
        f"{word}: part types and days of one season share its weather and its crop."
    )


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "compare", compare)
    add(app, "hindsight", hindsight)
