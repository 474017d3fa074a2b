"""Commands about what the logs say: wear, life, duty."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from cli import show
from cli.options import Day, Json, add, address, busy

if TYPE_CHECKING:
    import pandas as pd

PartType = Annotated[
    str | None, typer.Argument(metavar="PART_TYPE", help="Only this part type; all if left out.")
]


MOST_PIECES: Final = 30
"""Rows that a person sees; --json has every one."""


def wear(ctx: typer.Context, part_type: PartType = None, as_json: Json = False) -> None:
    """Show how fast parts wear.

    One line a part type and duty, each rate with its 90 % range. With a part type also what its
    rate depends on, its specific wear rate, and whether wear is straight and steady.

    Example:
      wearahead wear SLEEVE-30
    """
    from forecast.jobs.study import wear as study
    from forecast.jobs.study import wear_beside

    if part_type is None:
        with busy():
            table = study(address(ctx))
        show.tables({"wear": table}, as_json=as_json)
        return
    with busy():
        found, said = wear_beside(address(ctx), part_type)
    if as_json:
        show.tables(found, as_json=True)
        return
    typer.echo(show.text_table("wear", found["wear"]))
    for sentence in said:
        typer.echo(show.hanging(f"{sentence[0].upper()}{sentence[1:]}."))
    if len(found["rate_law"]):
        typer.echo("\n" + show.strong("What duty and grade do to the rate"))
    for row in found["rate_law"].itertuples():
        near = [f"{float(str(each)):.2f}" for each in (row.value, row.value_low, row.value_high)]
        check = f"plain check {float(str(row.check)):.2f}".replace("nan", "none")
        told = f"{row.term} {near[0]} ({near[1]} to {near[2]}; {check}): {row.means}"
        typer.echo(show.hanging(told))
    if len(found["specific_wear"]):
        title = "Specific wear rate: k in 1e-6 mm3/(N m), and in 1e-10 in3 min/(ft lbf h)"
        typer.echo("\n" + show.strong(title))
        typer.echo(show.text_table("specific_wear", found["specific_wear"]))


def life(ctx: typer.Context, part_type: PartType = None, as_json: Json = False) -> None:
    """Show how long parts last, and how far to trust it.

    One line a part type, duty and failure mode, each number with its 90 % range. With a part type
    also the curve that assumes no law, other families of laws, and what duty and grade do.

    Example:
      wearahead life SLEEVE-30
    """
    from forecast.jobs.study import life_beside as study

    with busy():
        found = study(address(ctx), part_type)
    if as_json:
        show.tables(found, as_json=True)
        return
    typer.echo(show.text_table("life", found["life"]))
    for prior, rows in found["life"].groupby("prior", sort=False):
        names = dict.fromkeys(f"{row.part_type} {row.mode}".strip() for row in rows.itertuples())
        typer.echo(show.hanging(f"Prior on shape of {', '.join(names)}: {prior}"))
    if len(found["life_checks"]):
        typer.echo("\n" + show.strong("How far to trust it"))
    for row in found["life_checks"].itertuples():
        where = " ".join(str(own) for own in (row.part_type, row.duty_group, row.mode) if own)
        typer.echo(show.hanging(f"{where}: {row.says}"))
    if len(found.get("life_terms", ())):
        typer.echo("\n" + show.strong("What duty, grade and size do to life"))
    for row in found["life_terms"].itertuples() if "life_terms" in found else ():
        typer.echo(show.hanging(f"{row.part_types} {row.mode}: {row.means}"))
    if len(found.get("life_families", ())):
        title = "Other laws, for comparison only: the smaller the AIC the better"
        typer.echo("\n" + show.strong(title))
        typer.echo(show.text_table("life_families", found["life_families"]))


def hours_left(
    ctx: typer.Context,
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (TOML).")],
    part_type: PartType = None,
    as_of: Day = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Override a key of the plan; repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say how many hours each piece has left, the shortest first.

    With its chance to last to the next window of its machine, to the season's end and to the end
    of another season. A piece without readings counts as its machine and type tell at its age.

    Example:
      wearahead hours-left season_2026.toml SLEEVE-30
    """
    from forecast.jobs.hours_left import hours_left as study

    days = () if as_of is None else (f"season.as_of={as_of.date().isoformat()}",)
    with busy():
        rows = study(address(ctx), plan, part_type, (*(settings or ()), *days))
    shown = rows if as_json else rows.head(MOST_PIECES)
    show.tables({"hours_left": shown}, as_json=as_json)
    if len(shown) < len(rows):
        show.message(f"{len(rows) - len(shown):,} rows more: --json has them all.")


def duty(
    ctx: typer.Context,
    part_type: Annotated[str, typer.Argument(metavar="PART_TYPE", help="The part type.")],
    pressure: Annotated[
        float | None, typer.Option(metavar="MPA", min=0, help="Mean pressure, MPa.")
    ] = None,
    speed: Annotated[
        float | None, typer.Option(metavar="M_S", min=0, help="Sliding speed, m/s.")
    ] = None,
    temperature: Annotated[
        float | None, typer.Option(metavar="C", help="Temperature of the part, C.")
    ] = None,
    medium: Annotated[
        str | None, typer.Option(metavar="WORDS", help="What it runs in: 'hot water', 'caustic'.")
    ] = None,
    material: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Show the printed values of this material beside."),
    ] = None,
    materials: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Your own file of printed values (TOML)."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Say whether a duty is inside what a grade was tested for.

    Pressure, speed, PV and temperature each against its own limit. What you leave out is taken
    from the fleet log. Printed values of a material are shown only when you name it.

    Example:
      wearahead duty SLEEVE-30 --speed 0.3 --temperature 60
      wearahead duty SLEEVE-30 --material PET-bearing
    """
    from forecast.jobs.duty import Given
    from forecast.jobs.duty import duty as study

    rows = study(
        address(ctx),
        part_type,
        Given(pressure, speed, temperature, medium),
        material=material,
        materials=materials,
    )
    if as_json:
        show.tables({"duty": rows}, as_json=True)
        return
    typer.echo("\n".join(_judged(part_type, rows)))


def _judged(part_type: str, rows: pd.DataFrame) -> Iterator[str]:
    """Yield the answer, the limits side by side, and what no limit can say."""
    asked = rows[rows["limit"].notna() & rows["value"].notna()]
    outside = list(dict.fromkeys(rows.loc[rows["inside"].eq(False), "quantity"]))
    inside = [name for name in dict.fromkeys(asked["quantity"]) if name not in outside]
    bare = [name for name in dict.fromkeys(rows["quantity"]) if name not in inside + outside]
    told = rows["limit"].isna() & rows["value"].notna() & ~_unstated(rows)
    open_ = [name for name in bare if name not in set(rows.loc[told, "quantity"])]
    yield show.strong(f"Is this duty inside what {part_type} was tested for?", colour=True)
    for word, names in (("inside", inside), ("outside", outside), ("no limit to tell", open_)):
        if names:
            yield show.hanging(f"{word}: {', '.join(names)}")
    warned = rows["inside"].eq(False) & (rows["value"].isna() | rows["limit"].isna())
    attacked = ~rows["quantity"].isin(["pressure", "speed", "pv", "temperature"])
    table = asked[~(attacked.loc[asked.index] & asked["unit"].eq("C"))]
    if len(table):
        yield ""
        yield show.text_table("duty", table)
    notes = rows[warned | told | (attacked & rows["unit"].eq("C"))]
    if len(notes):
        yield ""
    for row in show.records(notes.drop_duplicates()):
        value = "" if row["value"] != row["value"] else f" {row['value']:.3g} {row['unit']}"
        yield show.hanging(f"{row['quantity']}{value}: {row['source']}")


def _unstated(rows: pd.DataFrame) -> pd.Series[bool]:
    return rows["source"].str.endswith("stated")


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "wear", wear)
    add(app, "life", life)
    add(app, "hours-left", hours_left)
    add(app, "duty", duty)
