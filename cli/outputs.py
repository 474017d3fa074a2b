"""Commands that write files: report, export."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from cli import show
from cli.options import Json, add, address, busy
from forecast.errors import WearaheadError

Number = Annotated[
    int | None,
    typer.Argument(metavar="N", min=1, help="The forecast's number; the latest if left out."),
]


def report(
    ctx: typer.Context,
    out: Annotated[Path, typer.Option(metavar="FILE", help="The HTML file to write.")],
    number: Number = None,
    as_json: Json = False,
) -> None:
    """Write the report of a forecast as one HTML file.

    It opens from a mail or a stick, without a network.

    Example:
      wearahead report --out report.html
      wearahead report 3 --out forecast_3.html
    """
    from forecast.jobs.season import kept_forecast
    from reports.page import write_page

    with busy("writing the report"), writing(out):
        forecast = kept_forecast(address(ctx), number)
        write_page(forecast, out)
    rows = [{"forecast": forecast.number, "file": str(out), "bytes": out.stat().st_size}]
    show.tables({"reports": rows}, as_json=as_json)


def export(
    ctx: typer.Context,
    to: Annotated[Path, typer.Option(metavar="FOLDER", help="Where to; made if it is missing.")],
    number: Number = None,
    as_json: Json = False,
) -> None:
    """Write a forecast as sheets and a calendar.

    CSV, XLSX and iCalendar: a CSV file a result; season.xlsx with all of them and the pick lists;
    season.ics with the orders, the windows and the overhaul: a later forecast's file moves the same
    events. Texts that a spreadsheet would run are defused.

    Example:
      wearahead export --to season_2026
    """
    from forecast.jobs.season import kept_forecast
    from reports.agenda import write_agenda
    from reports.sheets import write_csv, write_xlsx

    with busy("writing the sheets"), writing(to):
        forecast = kept_forecast(address(ctx), number)
        paths = write_csv(forecast, to)
        rows: list[dict[str, object]] = [
            {"file": str(path), "rows": len(forecast.results[path.stem])} for path in paths
        ]
        rows.append({"file": str(write_xlsx(forecast, to / "season.xlsx")), "rows": None})
        rows.append({"file": str(write_agenda(forecast, to / "season.ics")), "rows": None})
    show.tables({"files": rows}, as_json=as_json)


@contextmanager
def writing(place: Path) -> Iterator[None]:
    """Say what the disk refused, and what to do about it."""
    try:
        yield
    except (FileExistsError, NotADirectoryError) as error:
        raise WearaheadError(
            f"cannot write {place}: a file stands where a folder is to be",
            "choose another place, or move that file away",
        ) from error
    except OSError as error:
        raise WearaheadError(
            f"cannot write {place}: {error.strerror or error}",
            "choose another place, or make room and write access there",
        ) from error


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "report", report)
    add(app, "export", export)
