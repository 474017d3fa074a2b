"""Commands about what the logs say: wear, life."""

from __future__ import annotations

from typing import Annotated

import typer

from cli import show
from cli.options import Json, add, address

PartType = Annotated[
    str | None, typer.Argument(metavar="PART_TYPE", help="Only this part type; all if left out.")
]


def wear(ctx: typer.Context, part_type: PartType = None, as_json: Json = False) -> None:
    """Show how fast parts wear.

    One line a part type and duty, each rate with its 90 % range.

    Example:
      wearahead wear SLEEVE-30
    """
    from forecast.jobs.study import wear as study

    show.tables({"wear": study(address(ctx), part_type)}, as_json=as_json)


def life(ctx: typer.Context, part_type: PartType = None, as_json: Json = False) -> None:
    """Show how long parts last.

    One line a part type, duty and failure mode, each number with its 90 % range.

    Example:
      wearahead life SLEEVE-30
    """
    from forecast.jobs.study import life as study

    show.tables({"life": study(address(ctx), part_type)}, as_json=as_json)


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "wear", wear)
    add(app, "life", life)
