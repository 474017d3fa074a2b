"""Commands about logs: import, imports, withdraw, set-aside, doubts, settle."""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from cli import show
from cli.options import Json, add, address, busy, said_before, work
from cli.outputs import writing


class Kind(StrEnum):
    """The seven kinds of log."""

    part_types = "part_types"
    fleet = "fleet"
    change_outs = "change_outs"
    readings = "readings"
    clocks = "clocks"
    stock = "stock"
    running = "running"


class Verdict(StrEnum):
    """How a doubt is settled."""

    proposed = "proposed"
    logged = "logged"
    open = "open"


def import_(
    ctx: typer.Context,
    files: Annotated[list[Path], typer.Argument(metavar="FILE", help="CSV, TSV, XLSX, Parquet.")],
    kind: Annotated[
        Kind | None, typer.Option(help="What the files hold, if their header does not tell.")
    ] = None,
    mapping: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Names your columns; else NAME.toml beside NAME.csv."),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check and count only; nothing is kept.")
    ] = False,
    backfill: Annotated[
        bool | None,
        typer.Option(
            "--backfill/--no-backfill",
            help="Rows were known when they happened, not first today. Default: yes for the first "
            "import into an empty store.",
        ),
    ] = None,
    draft_mapping: Annotated[
        bool,
        typer.Option("--draft-mapping", help="Print a mapping to look over; import nothing."),
    ] = False,
    tab: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="With --draft-mapping: which tab of the workbook."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Read logs into the store.

    All files come in, or none if one cannot be read at all. The same file twice adds nothing. A
    row that cannot be read is set aside with its reason and stops nothing.

    Example:
      wearahead import readings.csv change_outs.csv
      wearahead import old_sheets.xlsx --draft-mapping > old_sheets.toml
      wearahead import old_sheets.xlsx --dry-run
    """
    if draft_mapping:
        from forecast.intake.draft import draft_mapping as drafted

        for file in files:
            typer.echo(drafted(file, tab), nl=False)
        return
    if tab is not None:
        raise typer.BadParameter(
            'it goes with --draft-mapping; a mapping names the tab to import: [file] sheet = "..."',
            param_hint="--tab",
        )
    from forecast.intake.importing import import_logs

    with work() as watched:
        report = import_logs(
            address(ctx),
            files,
            mapping=mapping,
            kind=None if kind is None else kind.value,
            dry_run=dry_run,
            backfill=backfill,
            today=date.today(),
            work=watched,
        )
    names = ("file", "kind", "rows", "accepted", "known", "set_aside")
    rows = [{name: getattr(file, name) for name in names} for file in report.files]
    show.tables({"files": rows}, as_json=as_json)
    for sentence in report.said:
        show.message(sentence)
    if dry_run:
        show.message("a dry run: nothing was kept")
    elif any(file.set_aside for file in report.files):
        show.message(f"see what was set aside:  {said_before(ctx)} set-aside")


def imports(ctx: typer.Context, as_json: Json = False) -> None:
    """List what was imported, file by file.

    Example:
      wearahead imports
    """
    from forecast.intake.importing import imports as found

    show.tables({"imports": found(address(ctx))}, as_json=as_json)


def withdraw(
    ctx: typer.Context,
    number: Annotated[int, typer.Argument(metavar="IMPORT", help="Its number in: imports.")],
    back: Annotated[bool, typer.Option("--back", help="Let it count again.")] = False,
    note: Annotated[str, typer.Option(help="Who said so, and why.")] = "",
    as_json: Json = False,
) -> None:
    """Take an import out whole, and back.

    Nothing is deleted: from today its rows stop counting, and what was known earlier stays as it
    was. Rows that another import brought too go on counting.

    Example:
      wearahead withdraw 3 --note "the wrong plant's sheet"
      wearahead withdraw 3 --back
    """
    from forecast.intake.withdrawing import withdraw as decide

    row = decide(address(ctx), number, today=date.today(), note=note, back=back)
    if as_json:
        show.tables({"imports": [row]}, as_json=True)
        return
    state = "counts again" if back else "is withdrawn"
    typer.echo(f"import {number} {state}: {row['file']}, {row['accepted']:,} rows")


def set_aside(
    ctx: typer.Context,
    file: Annotated[str, typer.Option(help="Only of files whose name holds this.")] = "",
    rule: Annotated[str, typer.Option(help="Only under this rule.")] = "",
    number: Annotated[
        int | None, typer.Option("--import", metavar="IMPORT", help="Only of this import.")
    ] = None,
    export: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write them as logs to mend: .csv, one a kind of log."),
    ] = None,
    as_json: Json = False,
) -> None:
    """List the rows that could not be read, and what to do.

    Mend the original and import it again; or export the rows with their reasons, mend the copy,
    and import that: what is mended leaves the list, and nothing is ever deleted.

    Example:
      wearahead set-aside --rule "not a date"
      wearahead set-aside --export mend.csv
    """
    from forecast.intake.set_aside import set_aside as found

    rows = found(address(ctx), number=number, file=file, rule=rule)
    if export is None:
        show.tables({"set_aside": rows}, as_json=as_json)
        return
    from forecast.intake.set_aside import to_mend
    from reports.sheets import write_dicts

    books = to_mend(address(ctx), number=number, file=file, rule=rule)
    written = []
    for kind, book in books.items():
        path = export if len(books) == 1 else export.with_stem(f"{export.stem}_{kind}")
        with writing(path):
            write_dicts(book, path)
        written.append({"file": str(path), "kind": kind, "rows": len(book)})
    if as_json:
        show.tables({"set_aside": rows, "files": written}, as_json=True)
        return
    typer.echo(show.text_table("files", written))
    if written:
        names = " ".join(str(row["file"]) for row in written)
        show.message(f"mend the cells that set_aside_column names, then:  wearahead import {names}")


def doubts(ctx: typer.Context, as_json: Json = False) -> None:
    """List what looks wrong in the logs, and what is proposed.

    Until you settle a doubt its default holds, and every forecast says so.

    Example:
      wearahead doubts
    """
    from forecast.intake.doubts import doubts as found

    with busy("reading the logs"):
        rows = found(address(ctx))
    if as_json:
        show.tables({"doubts": rows}, as_json=True)
        return
    typer.echo(show.cards(rows))
    if rows:
        first = str(rows[0]["id"])
        show.message(f"settle one:  {said_before(ctx)} settle {first} --as proposed")


def settle(
    ctx: typer.Context,
    id: Annotated[str, typer.Argument(metavar="ID", help="Of the doubt; a unique start will do.")],
    as_: Annotated[
        Verdict,
        typer.Option("--as", help="Take the proposal, keep what was logged, or open it again."),
    ],
    at: Annotated[
        datetime | None,
        typer.Option(metavar="DATE", formats=["%Y-%m-%d"], help="When it happened, if you know."),
    ] = None,
    note: Annotated[str, typer.Option(help="Who said so, and why.")] = "",
    as_json: Json = False,
) -> None:
    """Settle a doubt.

    Logs are never changed; the decision stands beside them, and can be taken back.

    Example:
      wearahead settle 3f2a91c0 --as proposed --note "asked the night shift"
    """
    from forecast.intake.doubts import settle as decide

    with busy("reading the logs"):
        row = decide(
            address(ctx),
            id,
            as_=as_.value,
            today=date.today(),
            at=None if at is None else at.date(),
            note=note,
        )
    if as_json:
        show.tables({"doubts": [row]}, as_json=True)
    else:
        typer.echo(show.cards([row]))


def add_to(app: typer.Typer) -> None:
    """Add the commands of this module."""
    add(app, "import", import_)
    add(app, "imports", imports)
    add(app, "withdraw", withdraw)
    add(app, "set-aside", set_aside)
    add(app, "doubts", doubts)
    add(app, "settle", settle)
