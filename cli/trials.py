"""Commands about kinds of parts against each other: versus, sample-size."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cli import show
from cli.options import Json, add, address, work

if TYPE_CHECKING:
    import pandas as pd


def versus(
    ctx: typer.Context,
    a: Annotated[str, typer.Argument(metavar="A", help="The grade or batch you have.")],
    b: Annotated[str, typer.Argument(metavar="B", help="The one to compare with it.")],
    by: Annotated[str, typer.Option(metavar="WHAT", help="What A and B are: grade or batch.")] = (
        "grade"
    ),
    plan: Annotated[
        Path | None,
        typer.Option(metavar="PLAN", help="Say what B would be worth over this plan's season."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Compare two grades or batches: B over A, machine by machine where both ran.

    With a plan: the pieces and the money saved over its season if every A were a B.

    Example:
      wearahead versus standard trial
      wearahead versus standard trial --plan season_2026.toml
    """
    from forecast.jobs.versus import versus as study

    if by not in ("grade", "batch"):
        raise typer.BadParameter(f"{by!r} is neither grade nor batch", param_hint="--by")
    with work() as watched:
        rows, said = study(address(ctx), a, b, "batch" if by == "batch" else "grade", plan, watched)
    show.tables({"versus": rows}, as_json=as_json)
    if not as_json:
        show.message(show.paragraphs([f"{sentence}." for sentence in said]).replace("\n\n", "\n"))


def sample_size(
    ctx: typer.Context,
    part_type: Annotated[
        str, typer.Argument(metavar="PART_TYPE", help="The part type you have lives of.")
    ],
    better: Annotated[
        float,
        typer.Option(
            metavar="PERCENT", min=0.1, max=1000, help="How much longer the new kind should last."
        ),
    ],
    confidence: Annotated[
        float, typer.Option(metavar="SHARE", min=0.5, max=0.999, help="One-sided confidence.")
    ] = 0.9,
    as_json: Json = False,
) -> None:
    """Say how many machines must run how long to show an improvement.

    Three trials: a success run with a few failures allowed, a run without a failure, and wear
    rates of both kinds side by side on each machine. Power: the chance that the trial shows it.

    Example:
      wearahead sample-size SLEEVE-30 --better 30
    """
    from forecast.jobs.sizes import sample_size as study

    found = study(address(ctx), part_type, better, confidence)
    if as_json:
        show.tables({"sample_size": found.table}, as_json=True)
        return
    said = show.paragraphs([f"{sentence}." for sentence in found.said])
    show.message(said.replace("\n\n", "\n"))
    typer.echo(show.strong("Fewest machines that show it in 4 of 5 trials, or the best there is"))
    typer.echo(show.text_table("sample_size", found.fewest))
    typer.echo("\n" + show.strong("Power by machines"))
    typer.echo(_curve(found.table))


def _curve(table: pd.DataFrame) -> str:
    """Write machines down, methods and hours across, and the power in each cell."""
    curve = table[table["method"] != "zero_failure"]
    if not len(curve):
        curve = table
    keys = list(curve[["method", "hours"]].drop_duplicates().itertuples(index=False, name=None))
    machines = sorted(set(curve["machines"]))
    power = curve.set_index(["method", "hours", "machines"])["power"].to_dict()
    short = {"success_run": "run", "wear_rate": "wear", "zero_failure": "zero"}
    heads = ["machines", *(f"{short[str(m)]} {h:,.0f} h" for m, h in keys)]
    cells = [[f"{n}", *(_percent(power.get((m, h, n))) for m, h in keys)] for n in machines]
    return show.layout(heads, cells, [True] * len(heads), show.width())


def _percent(power: float | None) -> str:
    """Whole per cent, never a false 100."""
    return "" if power is None else f"{min(100 * power, 99):.0f} %"


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "versus", versus)
    add(app, "sample-size", sample_size)
