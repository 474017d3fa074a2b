"""The import job: every file in one commit, every row accounted for."""

from __future__ import annotations

import importlib.metadata
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Final

from forecast.errors import LogError
from forecast.intake.files import Source, Staged, sources, stage
from forecast.intake.kinds import kind_named
from forecast.intake.layout import CAME_BACK
from forecast.intake.mapping import Mapping, mapping_beside, read_mapping
from forecast.intake.plain import Uneven, add_straight, goes_straight, number_copies
from forecast.intake.set_aside import state_kind, state_rules, type_rows
from forecast.store.opening import open_store
from forecast.store.store import Store, Value
from forecast.work import HERE, Work

MAPPING: Final = ".toml"
USUAL_DELAY_DAYS: Final = 1
"""How long after it happened something is usually reported; used in a backfill."""


@dataclass(frozen=True)
class FileReport:
    """What became of the rows of one file or sheet: rows = accepted + known + set_aside.

    Attributes
    ----------
    number
        Of the import.
    file, kind
        Its name and log kind.
    rows
        With anything in them.
    accepted, known, set_aside
        New; in the store before; refused.
    """

    number: int
    file: str
    kind: str
    rows: int
    accepted: int
    known: int
    set_aside: int


@dataclass(frozen=True)
class ImportReport:
    """What an import did.

    Attributes
    ----------
    files
        One report a file or sheet.
    backfill
        Rows were taken as known when they happened.
    said
        What a person should know, as sentences.
    """

    files: tuple[FileReport, ...]
    backfill: bool
    said: tuple[str, ...]


class _DryRun(Exception):
    """Carries the report out of a commit that is to be rolled back."""

    def __init__(self, report: ImportReport) -> None:
        super().__init__()
        self.report = report


@dataclass(frozen=True)
class _Task:
    """What is imported, and how."""

    sources: tuple[tuple[Source, str | None], ...]
    backfill: bool | None
    today: date
    folder: Path
    work: Work
    straight: bool = True


def import_logs(
    address: str,
    files: Sequence[Path],
    *,
    mapping: Path | None = None,
    kind: str | None = None,
    dry_run: bool = False,
    backfill: bool | None = None,
    today: date,
    work: Work = HERE,
) -> ImportReport:
    """Import log files: all of them, or none.

    Parameters
    ----------
    address
        The store; made if it is missing.
    files
        CSV, TSV, XLSX or Parquet.
    mapping
        A mapping for all of them; without it, ``NAME.toml`` beside ``NAME.csv`` is used.
    kind
        The log kind, where headers do not tell.
    dry_run
        Say what would happen, and keep nothing.
    backfill
        Take rows as known when they happened; None: if the store is empty.
    today
        The import's day; nothing that happened later is accepted.
    work
        Told before every statement.

    Raises
    ------
    LogError
        If one of the files cannot be imported; nothing of any is kept then.
    StoreError
        If the store cannot be written.
    """
    if kind is not None:
        kind_named(kind)
    files = _logs_among(files)
    stated = [_mapping_of(Path(file), mapping) for file in files]
    was_there = Path(address).exists()
    try:
        with (
            tempfile.TemporaryDirectory() as folder,
            open_store(address, write=True, views=False) as store,
        ):
            found: list[tuple[Source, str | None]] = []
            for number, (file, (habits, text, said)) in enumerate(zip(files, stated, strict=True)):
                work.tell(f"{Path(file).name}: looking", number, len(files))
                place = Path(folder) / str(number)
                place.mkdir()
                found += [
                    (source if index else _told(source, said), text)
                    for index, source in enumerate(sources(store, Path(file), habits, kind, place))
                ]
            _check_zones(store, found)
            task = _Task(tuple(found), backfill, today, Path(folder), work)
            report = _commit(store, task, dry_run=dry_run)
    except BaseException:
        _forget(address, was_there)
        raise
    if dry_run:
        _forget(address, was_there)
    return report


def imports(address: str) -> list[dict[str, Value]]:
    """Return every import, oldest first.

    Returns
    -------
    list
        One dictionary a file or sheet: ``import, at, file, kind, rows, accepted, known, set_aside,
        withdrawn``, then what it can be checked by: ``backfill``, ``sha256`` of the file, the text
        of its ``mapping``, the ``version`` that read it.
    """
    with open_store(address, views=False) as store:
        return [
            {
                "import": row["import_no"],
                "at": row["imported_at"],
                "file": row["file"],
                "kind": row["kind"],
                "rows": row["rows_total"],
                "accepted": row["accepted"],
                "known": row["known"],
                "set_aside": row["set_aside"],
                "withdrawn": row["withdrawn"],
                "backfill": row["backfill"],
                "sha256": row["sha256"],
                "mapping": row["mapping"],
                "version": row["version"],
            }
            for row in store.rows("queries/imports")
        ]


def _logs_among(files: Sequence[Path]) -> list[Path]:
    """Leave out the mappings that stand beside a log that is named too, as ``import *`` names."""
    named = [Path(file) for file in files]
    beside = {mapping_beside(file) for file in named if file.suffix.lower() != MAPPING}
    logs = [file for file in named if file not in beside]
    if not logs:
        raise LogError("no files to import", "name at least one")
    alone = [file for file in logs if file.suffix.lower() == MAPPING]
    if alone:
        raise LogError(
            f"{alone[0]} is a mapping, not a log",
            f"name the log that it is for:  wearahead import LOG --mapping {alone[0]}",
        )
    return logs


def _mapping_of(file: Path, asked: Path | None) -> tuple[Mapping, str | None, str]:
    """Return the mapping of a file, its text, and what to say of it."""
    beside = mapping_beside(file)
    path = asked or beside
    if path is None:
        return Mapping(), None, ""
    said = "" if asked else f"{file.name}: read with {path.name}, which stands beside it"
    mapping = read_mapping(path)
    return mapping, path.read_bytes().decode("utf-8-sig"), said


def _told(source: Source, said: str) -> Source:
    return Source(**{**source.__dict__, "said": (said, *source.said)}) if said else source


def _forget(address: str, was_there: bool) -> None:
    """Remove a store that was only made for an import that kept nothing."""
    if not was_there:
        for ending in ("", ".wal"):
            Path(f"{address}{ending}").unlink(missing_ok=True)


def _check_zones(store: Store, found: Sequence[tuple[Source, str | None]]) -> None:
    for zone in sorted({source.mapping.time_zone or "" for source, _ in found} - {""}):
        if not store.rows("queries/time_zones", name=zone)[0]["found"]:
            raise LogError(
                f"there is no time zone {zone!r}", 'for example: time_zone = "Europe/Paris"'
            )


def _commit(store: Store, task: _Task, *, dry_run: bool) -> ImportReport:
    state_rules(store)

    def job(store: Store) -> ImportReport:
        report = _all(store, task)
        if dry_run:
            raise _DryRun(report)
        return report

    try:
        return store.commit(job)
    except _DryRun as dry:
        return dry.report
    except Uneven:
        return _commit(store, replace(task, straight=False), dry_run=dry_run)


def _all(store: Store, task: _Task) -> ImportReport:
    """Import every source, inside one transaction."""
    first = store.rows("queries/next_import")[0]
    number = int(str(first["import_no"]))
    backfill = bool(first["is_first"]) if task.backfill is None else task.backfill
    said: list[str] = []
    if backfill:
        why = "first import into an empty store: " if task.backfill is None else ""
        said.append(
            f"{why}taken as a backfill: each row counts as known {USUAL_DELAY_DAYS} day after it "
            "happened, unless it says when it was reported"
            + ("; --no-backfill takes the import's day" if task.backfill is None else "")
        )
    reports = [
        _one(store, task, source, text, number + index, backfill, said)
        for index, (source, text) in enumerate(task.sources)
    ]
    task.work.tell("keeping", len(reports), len(reports))
    return ImportReport(tuple(reports), backfill, tuple(said))


def _one(
    store: Store,
    task: _Task,
    source: Source,
    mapping: str | None,
    number: int,
    backfill: bool,
    said: list[str],
) -> FileReport:
    """Import one source: staged, typed, added, set aside, counted."""
    kind, file, tell = source.layout.kind.name, source.file, task.work.tell
    of = source.plain.rows if source.plain else 0
    now = datetime.combine(task.today, time())

    def add() -> int:
        return store.run(
            f"queries/add_{kind}",
            import_no=number,
            file=file,
            backfill=backfill,
            imported_at=now,
            delay_days=USUAL_DELAY_DAYS,
        )

    state_kind(store, source)
    tell(f"{file}: reading", 0, of)
    straight = None
    if task.straight and goes_straight(source):
        with store.watched(lambda share: tell(f"{file}: reading", int(share * of), of)):
            straight = add_straight(store, source, number, task.today, add)
    accepted = straight.accepted if straight else 0
    rest = straight.rest if straight else stage(store, source, task.folder)
    staged = Staged(accepted + rest.rows, rest.blank, rest.skipped)
    faulty, proof = 0, ""
    if rest.rows or straight is None:
        tell(f"{file}: checking", accepted, staged.rows)
        faulty, proof = type_rows(store, source, task.today, accepted)
        store.run("queries/ready_typed")
        tell(f"{file}: comparing", accepted, staged.rows)
        store.run("queries/find_repeats")
        store.run(f"queries/known_{kind}", import_no=number)
        store.run("queries/fresh_typed")
        tell(f"{file}: adding", accepted, staged.rows)
        accepted += add()
        store.run("queries/add_known_rows", import_no=number)
    if straight:
        tell(f"{file}: counting repeats", staged.rows, staged.rows)
        number_copies(store, source, number)
    tell(f"{file}: setting aside", staged.rows, staged.rows)
    _set_aside(store, source, number, faulty, looked=bool(rest.rows) or straight is None)
    report = FileReport(
        number, file, kind, staged.rows, accepted, staged.rows - faulty - accepted, faulty
    )
    tell(f"{file}: counting", staged.rows, staged.rows)
    store.run(
        "queries/add_import",
        import_no=number,
        imported_at=now,
        file=file,
        kind=kind,
        sha256=source.sha256,
        mapping=mapping,
        version=_version(),
        backfill=backfill,
        rows_total=report.rows,
        accepted=report.accepted,
        known=report.known,
        set_aside=report.set_aside,
    )
    said += [
        *source.said,
        *([proof] if proof else []),
        *_counted(source, staged.blank, staged.skipped),
    ]
    return report


def _set_aside(store: Store, source: Source, number: int, faulty: int, *, looked: bool) -> None:
    """Close what this import mends, and keep what it refuses."""
    file, kind = source.file, source.layout.kind.name
    waiting = store.rows("queries/open_set_aside", file=file)[0]["found"]
    if waiting or CAME_BACK in source.layout.staged:
        if not looked:
            store.run("queries/none_staged")
            store.run("queries/none_typed")
        store.run(
            "queries/close_set_aside", import_no=number, file=file, log=f"log_{kind}", kind=kind
        )
    if faulty:
        store.run("queries/add_set_aside", import_no=number, file=file)


def _counted(source: Source, blank: int, skipped: int) -> list[str]:
    """Say which columns are kept unused, and which lines are no rows."""
    said = []
    if source.layout.extras:
        names = ", ".join(source.layout.extras)
        said.append(f"{source.file}: kept but not used: {names}")
    if blank:
        said.append(f"{source.file}: {_lines(blank, 'blank line')}")
    if skipped:
        said.append(f"{source.file}: {_lines(skipped, 'line')} skipped, as the mapping says")
    return said


def _version() -> str:
    try:
        return importlib.metadata.version("wearahead")
    except importlib.metadata.PackageNotFoundError:
        return "checkout"


def _lines(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"
