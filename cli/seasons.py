"""The command that forecasts a season, and the summary that a planner reads."""

from __future__ import annotations

from collections.abc import Sequence
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
    plans: Annotated[
        list[Path], typer.Argument(metavar="PLAN...", help="The plan file (TOML), or several.")
    ],
    as_of: Day = None,
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help="Override a key of the plan; repeatable."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Forecast a season: what to buy, what to change, and when.

    With --as-of the forecast starts from that day and sees only what was known then; else from
    the plan's own as_of, else from the last day known. It is kept under a number. Several plans
    are forecast each and set side by side.

    Example:
      wearahead season season_2026.toml
      wearahead season season_2026.toml longer.toml
      wearahead season season_2026.toml --as-of 2026-09-13 --set season.end=2026-11-22
    """
    from forecast.jobs.season import Asked, run_seasons

    day = None if as_of is None else as_of.date()
    with work(len(plans)) as watched:
        asked = [Asked(plan, day, settings or ()) for plan in plans]
        found = run_seasons(address(ctx), asked, watched)
    if len(plans) > 1:
        _side_by_side([plan.stem for plan in plans], found, as_json=as_json)
        return
    forecast = found[0]
    if as_json:
        running = forecast.exhibits["so_far"]
        more = {"so_far": running} if len(running) else {}
        show.tables(forecast.tables() | more, as_json=True)
        show.message(f"forecast {forecast.number}")
        return
    typer.echo(summary(forecast))
    typer.echo("\n" + show.strong("Where to go from here"))
    start = said_before(ctx)
    typer.echo(f"  {start} report {forecast.number} --out report.html")
    typer.echo(f"  {start} export {forecast.number} --to FOLDER")


def _side_by_side(
    names: Sequence[str], forecasts: Sequence[SeasonForecast], *, as_json: bool
) -> None:
    """Set the forecasts of several plans side by side, or print their rows, each with its plan."""
    import pandas as pd

    from reports import words

    tables = {
        result: pd.concat(
            [
                forecast.results[result].assign(plan=name)
                for name, forecast in zip(names, forecasts, strict=True)
            ],
            ignore_index=True,
        )
        for result in forecasts[0].results
    }
    numbers = ", ".join(
        f"{name} is forecast {forecast.number}"
        for name, forecast in zip(names, forecasts, strict=True)
    )
    if as_json:
        show.tables(tables, as_json=True)
        show.message(numbers)
        return
    currency = forecasts[0].currency
    bought = tables["purchases"].groupby(["part_type", "plan"], sort=False)
    orders = bought.agg(
        quantity=("quantity", "sum"), cost=("cost", "sum"), chance_with=("chance_with", "max")
    )
    rows = tables["season_totals"].merge(orders, on=["part_type", "plan"], how="left")
    order = {name: n for n, name in enumerate(names)}
    rows = rows.sort_values(
        ["part_type", "plan"], key=lambda own: own.map(lambda one: order.get(one, one)),
        kind="stable",
    )  # fmt: skip
    cells = [
        [
            str(row["part_type"]),
            str(row["plan"]),
            f"{row['mean']:,.0f} ({row['p05']:,.0f}-{row['p95']:,.0f})",
            f"{row['quantity']:,.0f}",
            words.money(row["cost"], currency),
            words.chance(row["chance_with"]),
        ]
        for _, row in rows.iterrows()
    ]
    heads = ["part type", "plan", "expected (range)", "buy", "cost", "enough"]
    typer.echo(show.layout(heads, cells, [False, False, True, True, True, True], show.width()))
    typer.echo("")
    for name, forecast in zip(names, forecasts, strict=True):
        cost = float(forecast.results["purchases"]["cost"].astype(float).sum())
        season_costs = float(forecast.results["costs"]["total"].astype(float).sum())
        typer.echo(
            show.hanging(
                f"{name}: to buy {words.money(cost, currency)}; the season's parts, work, stops "
                f"and losses {words.money(season_costs, currency)}"
            )
        )
    typer.echo("\n" + show.hanging(f"{numbers}."))
    typer.echo(
        show.hanging(
            f"Why they differ: wearahead compare {forecasts[0].number} {forecasts[1].number}"
        )
    )


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
