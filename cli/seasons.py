"""The command that forecasts a season, and the summary that a planner reads."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from cli import show
from cli.options import Day, Json, add, address, said_before, work

if TYPE_CHECKING:
    from forecast.records.season import SeasonForecast

MOST_ROWS: Final = 20
MOST_NEAR: Final = 6


def season(
    ctx: typer.Context,
    plan: Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (TOML).")],
    as_of: Day = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Override a key of the plan; repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Forecast a season: what to buy, what to change, and when.

    With --as-of the forecast starts from that day and sees only what was known then; else from
    the plan's own as_of, else from the last day known. It is kept under a number.

    Example:
      wearahead season season_2026.toml
      wearahead season season_2026.toml --as-of 2026-09-13 --set season.end=2026-11-22
    """
    from forecast.jobs.season import run_season

    with work() as watched:
        forecast = run_season(
            address(ctx),
            plan,
            as_of=None if as_of is None else as_of.date(),
            settings=settings or (),
            work=watched,
        )
    if as_json:
        show.tables(forecast.tables(), as_json=True)
        show.message(f"forecast {forecast.number}")
        return
    typer.echo(summary(forecast))
    typer.echo("\n" + show.strong("Where to go from here"))
    start = said_before(ctx)
    typer.echo(f"  {start} report {forecast.number} --out report.html")
    typer.echo(f"  {start} export {forecast.number} --to FOLDER")


def summary(forecast: SeasonForecast) -> str:
    """Write a forecast for a planner: the letter, what to buy, the next window, what is worn.

    Parameters
    ----------
    forecast
        A whole forecast.

    Returns
    -------
    str
        Text no wider than the terminal.
    """
    from reports.lead import lead

    letter = lead(forecast)
    parts = [
        show.strong(letter.title, colour=True),
        show.paragraphs([letter.dateline]) + "\n",
        show.paragraphs(["".join(sentence) for sentence in letter.sentences]),
        *_purchases(forecast),
        *_window(forecast),
        *_nearest(forecast),
    ]
    return "\n".join(parts)


def _purchases(forecast: SeasonForecast) -> list[str]:
    rows = forecast.results["purchases"]
    asked = rows[(rows["quantity"].astype(float) > 0) | (rows["state"] != "in_time")]
    if asked.empty:
        return []
    return ["", show.strong("What to buy"), show.text_table("purchases", asked, forecast.currency)]


def _window(forecast: SeasonForecast) -> list[str]:
    from reports import words
    from reports.lead import next_window

    rows, window = next_window(forecast)
    if window is None:
        return []
    sized = rows[rows["because"] == "size"]
    worn = rows[rows["because"] != "size"]
    lines = ["", show.strong(f"What to change on {words.day(window, weekday=True)}")]
    for part_type, own in sized.groupby("part_type", sort=True):
        lines.append(
            show.paragraphs([f"size change to {part_type}: {', '.join(map(str, own['machine']))}"])
        )
    if len(worn):
        lines.append(show.text_table("to_change", worn.head(MOST_ROWS)))
    if len(worn) > MOST_ROWS:
        lines.append(f"and {len(worn) - MOST_ROWS} lines more: in the report and the export")
    return lines


def _nearest(forecast: SeasonForecast) -> list[str]:
    """List the pieces nearest their limit, each with the strip that wears down."""
    paths = forecast.exhibits["wear_paths"]
    known = paths[paths["kind"] == "reading"].groupby(["part_type", "piece"], sort=True).last()
    known = known.reset_index()
    if known.empty:
        return []
    known = known.assign(
        left=1 - known["wear_mm"].astype(float) / known["limit_mm"].astype(float)
    ).sort_values(["left", "part_type", "piece"], kind="stable")
    cells = [
        [
            str(row["machine"]),
            str(row["position"]),
            str(row["part_type"]),
            _left(float(row["left"])),
            f"{float(row['wear_mm']):.2f} of {float(row['limit_mm']):.2f} mm",
        ]
        for _, row in known.head(MOST_NEAR).iterrows()
    ]
    heads = ["machine", "position", "part type", "wear", "last reading"]
    table = show.layout(heads, cells, [False, True, False, False, True], show.width())
    return ["", show.strong("Nearest their limit"), table]


def _left(share: float) -> str:
    return f"{show.wear_glyph(share)} {max(0.0, 100 * share):.0f} % left"


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "season", season)
