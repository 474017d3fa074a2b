"""The whole job on the sample logs, into a folder of its own."""

from __future__ import annotations

import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Final

import typer

from cli import show
from cli.options import DEFAULT_STORE, Json, add, work
from cli.outputs import writing
from cli.seasons import summary
from forecast.errors import WearaheadError

PLAN: Final = "season_2026.toml"
BEFORE: Final = date(2026, 5, 11)
PAGES: Final = ("before-the-season.html", "report.html")
MADE: Final = "made-by-demo.txt"
LOGS: Final = (".csv", ".xlsx")


class Stages:
    """What was done, and in how many seconds; says each line when it is done."""

    def __init__(self, *, quiet: bool) -> None:
        self.rows: list[dict[str, object]] = []
        self._quiet = quiet

    @contextmanager
    def stage(self, what: str) -> Iterator[None]:
        """Time one stage."""
        start = time.perf_counter()
        yield
        seconds = round(time.perf_counter() - start, 1)
        self.rows.append({"stage": what, "seconds": seconds})
        if not self._quiet:
            typer.echo(f"{seconds:6.1f} s  {what}")


def demo(
    folder: Annotated[
        Path, typer.Option(metavar="DIR", help="Where to work; made if it is missing.")
    ] = Path("wearahead-demo"),
    as_json: Json = False,
) -> None:
    """Do the whole job on sample logs, in a folder of its own.

    44 graders that pack potatoes, two past seasons and the start of a third, with all the dirt
    that real logs have: imported, forecast before the season and while it runs, and reported.

    Example:
      wearahead demo
      wearahead demo --folder try-out
    """
    stages = Stages(quiet=as_json)
    start = time.perf_counter()
    with stages.stage("sample logs copied"), writing(folder):
        logs = lay_out(folder)
    pages = _forecast(folder, logs, stages, as_json=as_json)
    total = round(time.perf_counter() - start, 1)
    if as_json:
        reports = [{"file": str(page), "bytes": page.stat().st_size} for page in pages]
        show.tables({"stages": stages.rows, "reports": reports}, as_json=True)
        return
    typer.echo(f"{total:6.1f} s  in all\n")
    typer.echo(show.strong("The reports"))
    for page in pages:
        typer.echo(f"  {page}")
    typer.echo("\n" + show.strong("Go on from here"))
    typer.echo(f"  cd {folder}")
    typer.echo("  wearahead doubts")
    typer.echo("  wearahead wear SLEEVE-30")
    typer.echo(f"  wearahead season {PLAN} --set season.end=2026-11-22")


def lay_out(folder: Path) -> list[Path]:
    """Copy plan and logs into the folder and clear away the store of an earlier demo.

    A list of what the demo made stands in the folder; nothing else is ever replaced.

    Returns
    -------
    list of Path
        The logs to import, in the order of their names.

    Raises
    ------
    WearaheadError
        A file is in the way that the demo did not make.
    """
    from reports.files import write_whole

    sample = files("sample_logs")
    found = sorted((sample / "logs").iterdir(), key=lambda entry: entry.name)
    copies = {f"logs/{entry.name}": entry for entry in found} | {PLAN: sample / PLAN}
    store = (DEFAULT_STORE, f"{DEFAULT_STORE}.wal")
    names = [*copies, *store, *PAGES]
    made = folder / MADE
    own = made.read_text("utf-8").splitlines() if made.exists() else []
    strangers = [name for name in names if (folder / name).exists() and name not in own]
    if strangers:
        raise WearaheadError(
            f"{folder / strangers[0]} is in the way: the demo did not make it",
            "give the demo a folder of its own:  wearahead demo --folder DIR",
        )
    write_whole(made, "".join(f"{name}\n" for name in names).encode())
    for name in store:
        (folder / name).unlink(missing_ok=True)
    for name, entry in copies.items():
        write_whole(folder / name, entry.read_bytes())
    return [folder / name for name in copies if name.startswith("logs/") and name.endswith(LOGS)]


def _forecast(folder: Path, logs: list[Path], stages: Stages, *, as_json: bool) -> list[Path]:
    """Import, forecast twice and write both reports; print the running season's summary."""
    from forecast.intake.importing import import_logs
    from forecast.jobs.season import Asked, run_seasons
    from reports.page import write_page

    store, plan = str(folder / DEFAULT_STORE), folder / PLAN
    pages = [folder / name for name in PAGES]
    asked = [Asked(plan, BEFORE), Asked(plan)]
    with work(len(asked)) as watched:
        with stages.stage(f"{len(logs)} logs imported"):
            import_logs(store, logs, today=max(date.today(), _last_day(plan)), work=watched)
        with stages.stage("season forecast before it began, and while it runs"):
            found = run_seasons(store, asked, watched)
    for forecast, page in zip(found, pages, strict=True):
        with stages.stage(f"{page.name} written"), writing(page):
            write_page(forecast, page)
    if not as_json:
        typer.echo("\n" + summary(found[-1]) + "\n")
    return pages


def _last_day(plan: Path) -> date:
    """Return the plan's as_of: the last day of the sample logs."""
    day: date = tomllib.loads(plan.read_text("utf-8"))["season"]["as_of"]
    return day


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "demo", demo)
