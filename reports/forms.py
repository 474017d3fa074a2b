"""Forms that people carry to the machine and fill in: they import back as the logs they are.

Rows nobody filled in lack what their log requires, so that an import sets them aside instead of
taking them for work that was done.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, Final

from reports import words

LOCK_OUT: Final = (
    "Lock out, tag out and release stored energy before a machine is opened. No date here is a "
    "permission to work."
)
"""The foot of every printed form; :func:`reports.sheets.write_dicts` takes it as ``foot``."""


def inspection_sheet(
    places: Iterable[Mapping[Any, Any]], day: date, *, chosen: str = "random"
) -> list[dict[str, object]]:
    """Lay out an inspection sheet: a ``readings`` log without its values.

    Parameters
    ----------
    places
        What to measure, in the order of the walk: ``machine``, ``place``, ``position``,
        ``part_type``; more keys are passed over.
    day
        When it will be measured; mended on the sheet if it is another.
    chosen
        How the positions were chosen, as the readings log says it: ``random``, ``rotation``,
        ``all``. Eyes choose the worst, so the sheet names the positions.

    Returns
    -------
    list of dict
        Rows with equal keys; ``value`` (mm) and ``inspector`` are empty.
    """
    return [
        {
            "machine": row["machine"],
            "place": row.get("place", ""),
            "position": row.get("position", ""),
            "part_type": row["part_type"],
            "at": day,
            "value": None,
            "unit": "mm",
            "chosen": chosen,
            "inspector": None,
            "note": None,
        }
        for row in places
    ]


def go_no_go_sheet(to_change: Iterable[Mapping[Any, Any]]) -> list[dict[str, object]]:
    """Lay out a go/no-go sheet for one window: a ``change_outs`` log without its day.

    Parameters
    ----------
    to_change
        Rows of the result ``to_change`` of one window. A size change is two rows of a log; who
        knows the kits gives a row each, with ``kit`` and ``action`` (removed, fitted) beside.

    Returns
    -------
    list of dict
        Rows with equal keys: one a position where positions are told apart, else one a set.
        ``at`` is written in when the work is done; ``quantity`` stands where it is known, and is
        counted at the machine elsewhere. ``do`` says in words what to do: it is no column of the
        log and is kept unused.
    """
    rows: list[dict[str, object]] = []
    for row in to_change:
        named = [name.strip() for name in str(row["positions"] or "").split(",") if name.strip()]
        for position in named or [""]:
            rows.append(
                {
                    "machine": row["machine"],
                    "place": row["place"],
                    "position": position,
                    "part_type": row["part_type"],
                    "kit": row.get("kit") or None,
                    "at": None,
                    "action": row.get("action") or "replaced",
                    "quantity": 1 if position else None,
                    "reason": "size_change" if row["because"] == "size" else "planned",
                    "do": instruction(row, position),
                    "note": None,
                }
            )
    return rows


def instruction(row: Mapping[Any, Any], position: str = "") -> str:
    """Say one line of the change-out list as an instruction.

    Parameters
    ----------
    row
        Of the result ``to_change``.
    position
        The one position it is about; empty: all of the set.

    Returns
    -------
    str
        For example 'change every LINER-45 over 0.62 mm; expect 23 (15 to 31); take 31'.
    """
    part = str(row["part_type"])
    if row.get("action") == "removed":
        return f"take the {part} set off"
    if row["because"] == "size":
        return f"change the whole set to {part}, {words.count(row['quantity'])} pieces"
    over = row["change_over_mm"]
    depth = "" if words.missing(over) else f" over {words.digits(over, 2)} mm"
    if position:
        return f"change {part}{depth or ', whatever it shows'}"
    every = f"change every {part}{depth}" if depth else f"change {part} by the list"
    low, high = row["quantity_low"], row["quantity_high"]
    if words.missing(low) or words.missing(high) or low == high:
        return f"{every}; {words.plural(words.number(row['quantity']), 'piece')}"
    expected = words.count(row["quantity"])
    return f"{every}; expect {expected} ({words.span(low, high)}); take {words.count(high)}"
