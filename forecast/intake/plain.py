"""Large plain text files: their rows go from the file into the log without a stop in between."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Final

from forecast.errors import LogError
from forecast.intake.files import Plain, Source, Staged, map_cells, reading
from forecast.intake.layout import WIDE
from forecast.intake.set_aside import state_habits
from forecast.store.store import Store

FROM_ROWS: Final = 50_000
"""Files of fewer rows are staged: that is as fast, and their rows are looked at once only."""

PARTS: Final = 4
"""Parts of a file that are read side by side, as ``queries/staged_plain`` has them."""


class Uneven(LogError):
    """The database reads other rows than the file has lines; the file is to be staged instead."""


@dataclass(frozen=True)
class Straight:
    """What was added straight from a file, and the rows that were not: staged, to be looked at."""

    accepted: int
    rest: Staged


def goes_straight(source: Source) -> bool:
    """Say whether a file is large, and plain enough to be added as it is read.

    It is not where its mapping changes cells, where columns are kept unused, or where rows come
    back to be mended.
    """
    mapping = source.mapping
    changed = mapping.units or mapping.constant or mapping.values or mapping.prefix
    return (
        source.plain is not None
        and source.plain.rows >= FROM_ROWS
        and not changed
        and not source.layout.extras
        and "set_aside_id" not in source.layout.staged
    )


def add_straight(
    store: Store, source: Source, number: int, today: date, add: Callable[[], int]
) -> Straight | None:
    """Add the rows of a large plain file, all but those that need a closer look.

    Every cell is read, trimmed and cast by the same statements as those of a staged file. Rows
    that cannot be read are staged afterwards, by their lines.

    Parameters
    ----------
    store
        Inside a commit.
    source
        One for which :func:`goes_straight` holds.
    number
        Of the import.
    today
        The import's day.
    add
        Adds the rows at hand and returns how many.

    Returns
    -------
    Straight or None
        None, and nothing is added, if some of its rows are known already: their repeats have to
        be counted first.

    Raises
    ------
    Uneven
        If the rows read are not those counted; the commit must be tried without this way.
    """
    plain, kind = source.plain, source.layout.kind.name
    assert plain is not None  # noqa: S101
    _at_hand(store, source, plain)
    map_cells(store, source)
    state_habits(store, source, source.mapping.dates or "", today)
    store.run(f"queries/typed_{kind}")
    store.run("queries/ready_plain")
    store.run("queries/fresh_plain")
    if store.rows("queries/holds_rows", log=f"log_{kind}")[0]["holds"]:
        store.run("queries/no_repeats")
        store.run(f"queries/known_{kind}", import_no=number)
        if store.rows("queries/known_found")[0]["found"]:
            return None
    store.run("queries/any_order")
    try:
        accepted = add()
    finally:
        store.run("queries/file_order")
    return Straight(accepted, _stage_rest(store, source, plain, number, accepted))


def number_copies(store: Store, source: Source, number: int) -> None:
    """Count up the rows that a file added straight has more than once, each its number."""
    kind = source.layout.kind.name
    store.run("queries/find_copies", log=f"log_{kind}", import_no=number)
    if store.rows("queries/copies_found")[0]["found"]:
        store.run(f"queries/number_{kind}", import_no=number)


def _at_hand(store: Store, source: Source, plain: Plain) -> None:
    """Make the rows of a file the rows at hand, read as they are asked for."""
    values = reading(source.layout, plain, numbered=False)
    names = [*source.layout.staged, "more1", "more2", "more3"]
    store.run(
        "queries/set_plain",
        path=values["path"],
        delimiter=values["delimiter"],
        newline=values["newline"],
        quote=values["quote"],
        skip=values["skip"],
        lines_a_part=-(-plain.rows // PARTS),
        odd_blanks=plain.odd_blanks,
    )
    store.run("queries/set_plain_columns", columns=dict.fromkeys(names, "VARCHAR"))
    store.run("queries/plain_part")
    store.run("queries/staged_plain")


def _stage_rest(store: Store, source: Source, plain: Plain, number: int, accepted: int) -> Staged:
    """Stage the rows that were not added."""
    if accepted == plain.rows:
        return Staged(0, 0, 0)
    store.run(
        "queries/missing_lines",
        log=f"log_{source.layout.kind.name}",
        import_no=number,
        first_line=source.first_line,
        last_line=source.first_line + plain.rows - 1,
    )
    store.run("queries/stage_missing")
    counts = store.rows("queries/staged_counts", pads=[WIDE])[0]
    staged, blank = int(str(counts["staged"])), int(str(counts["blank"]))
    if staged != plain.rows - accepted:
        raise Uneven(
            f"{source.file}: {plain.rows} rows were counted but {accepted + staged} read",
            "report this file: it shows a fault of the program",
        )
    return Staged(staged - blank, blank, 0)
