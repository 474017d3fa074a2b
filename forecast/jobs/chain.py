"""The part of the evidence that the logs tell: written, imported, doubted, corrected, aged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

import pandas as pd

from forecast.records.season import STUDIES
from forecast.records.words import percent
from forecast.store.traces import Spot, Trace

Row = Mapping[str, Any]

FOUND: Final = {"as_found": "as found", "as_left": "as left", "removed": "on the removed piece"}
ACTIONS: Final = {"fitted": "fitted", "removed": "removed", "replaced": "replaced"}
SMALL_MM: Final = 5e-5
"""A correction below this shows as none."""


@dataclass
class Chain:
    """Rows of the evidence while they are gathered.

    Attributes
    ----------
    spot
        Whose evidence it is.
    piece
        The piece or set that is in place, or was last.
    unit
        What the clock of its part type counts.
    """

    spot: Spot
    piece: str = ""
    unit: str = "h"
    rows: list[dict[str, object]] = field(default_factory=list)

    def add(
        self,
        step: str,
        says: str,
        *,
        at: object = None,
        value: object = None,
        ends: tuple[float | None, float | None] = (None, None),
        unit: str = "",
        source: str = "",
        piece: str | None = None,
    ) -> None:
        """Add one link: what it says, its number and unit, and where that comes from."""
        self.rows.append(
            {
                "machine": self.spot.machine,
                "place": self.spot.place,
                "position": self.spot.asked or self.spot.position,
                "piece": self.piece if piece is None else piece,
                "step": step,
                "at": at,
                "value": value,
                "value_low": ends[0],
                "value_high": ends[1],
                "unit": unit,
                "says": says,
                "from": source,
            }
        )

    def table(self) -> pd.DataFrame:
        """Return the rows with the columns of ``STUDIES["evidence"]``."""
        return pd.DataFrame(self.rows, columns=list(STUDIES["evidence"]), dtype=object)


def from_logs(
    chain: Chain, found: Trace, lives: pd.DataFrame, files: Sequence[Row], told: Row
) -> None:
    """Add what was logged, its imports, and the ages and depths that follow.

    Parameters
    ----------
    chain
        Takes the rows.
    found
        The trace of the spot.
    lives
        ``Snapshot.lives``.
    files
        The imports its rows came with.
    told
        What told the machine's hours.
    """
    for row in found.change_outs:
        quantity = float(row["quantity"])
        chain.add(
            "change_out", _changed(row), at=row["taken_at"], value=quantity, unit="pieces",
            source=_source(row), piece=str(row["piece"] or row["kit"] or ""),
        )  # fmt: skip
    for row in found.readings:
        chain.add(
            "reading", _read(chain.spot, row), at=row["taken_at"], value=plain(row["read_value"]),
            unit=str(row["unit"]), source=_source(row), piece=str(row["piece"]),
        )  # fmt: skip
    for file in files:
        withdrawn = "; withdrawn" if file["withdrawn"] else ""
        chain.add(
            "import",
            f"{file['rows_total']:,} rows: {file['accepted']:,} accepted, "
            f"{file['known']:,} known, {file['set_aside']:,} set aside{withdrawn}",
            at=file["imported_at"],
            value=int(file["import_no"]),
            source=str(file["file"]),
            piece="",
        )
    for row in found.readings:
        here = row["is_set"] or row["position"] == chain.spot.position
        if here and row["piece"] and row["wear_mm"] is not None:
            chain.add(
                "correction", _depth(row, chain.unit), at=row["taken_at"],
                value=float(row["wear_mm"]), unit="mm worn at 20 C",
                source=_source(row), piece=str(row["piece"]),
            )  # fmt: skip
    _ages(chain, found, lives, told)


def _changed(row: Row) -> str:
    """Say what a row of the change-out log says."""
    if not row["quantity"]:
        return "looked, nothing changed"
    said = [ACTIONS.get(str(row["action"]), str(row["action"]))]
    if row["quantity"] > 1:
        said[0] += f" {row['quantity']:,} pieces"
    if row["reason"]:
        said.append(str(row["reason"]).replace("_", " "))
    if row["piece"] or row["kit"]:
        said.append(str(row["piece"] or row["kit"]))
    if row["fitted_mm"] is not None:
        said.append(f"{row['fitted_mm']:.3f} mm when fitted")
    if row["age_at_fit"] is not None:
        said.append(f"{row['age_at_fit']:,.0f} old when fitted")
    if row["batch"]:
        said.append(f"batch {row['batch']}")
    if row["taken_from"] is not None:
        said.append(f"some time from {day(row['taken_from'])} on")
    return ", ".join(said)


def _read(spot: Spot, row: Row) -> str:
    """Say what a row of the readings log says, and whether it counts."""
    if row["value_mm"] is None:
        said = "found over the limit" if row["result"] == "over" else "found ok, below the limit"
    else:
        kind = str(row["reading_kind"]).replace("_", " ")
        value = row["read_value"] if row["read_value"] is not None else row["value_mm"]
        said = f"{float(value):g} {row['unit'] or 'mm'} {kind}"
    said += f", {FOUND.get(str(row['found_left']), row['found_left'])}"
    if row["is_set"] and row["written_at"]:
        said += f", position {row['written_at']}"
    if row["inspector"]:
        said += f", by {row['inspector']}"
    if row["piece"] and not row["is_set"] and row["written_at"] != row["position"]:
        where = (f"written at position {row['written_at']}", f"counts at {row['position']}")
        return f"{said}; {where[row['written_at'] == spot.position]}: exchanged"
    if not row["piece"]:
        if row["found_left"] == "as_left" and row["value_mm"] is not None:
            return f"{said}; the size it was fitted with, or set aside by a doubt"
        return f"{said}; does not count: no piece was known there, or a doubt keeps it out"
    return f"{said}; chosen because it looked bad" if row["is_suspect"] else said


def _depth(row: Row, unit: str) -> str:
    """Say how a value becomes a wear depth at 20 C."""
    moved = [
        f"{name} {float(row[part]):+.3f}"
        for name, part in (("unit slip", "slip_mm"), ("wet", "dry_less_mm"), ("heat", "heat_mm"))
        if row[part] is not None and abs(row[part]) > SMALL_MM
    ]
    value = float(row["value_mm"])
    said = f"{value:.3f} {'%' if row['reading_kind'] == 'percent' else 'mm'}"
    said += f" ({', '.join(moved)})" if moved else ""
    if row["new_mm"] is not None:
        unsure = row["new_sd_mm"]
        known = "" if unsure == 0 else ", sd unknown" if unsure is None else f", sd {unsure:.3f}"
        said += f" against {row['new_mm']:.3f} ({_new_from(row)}{known})"
    if row["counts_twice"]:
        said += ", twice: the limit is one of the diameter"
    same = row["new_mm"] is None and abs(value - float(row["wear_mm"])) < SMALL_MM
    said = f"{said} worn as read" if same else f"{said}: {float(row['wear_mm']):.3f} mm worn"
    if row["age"] is not None:
        said += f" at {row['age']:,.0f} {unit}"
    return f"{said}; not corrected: {row['not_corrected']}" if row["not_corrected"] else said


def _new_from(row: Row) -> str:
    return "fitted size logged" if row["new_from"] == "fitted_mm" else str(row["new_from"])


def _ages(chain: Chain, found: Trace, lives: pd.DataFrame, told: Row) -> None:
    """Add a row for each piece: how it began, how it ended, its age."""
    by_piece = {str(life["piece"]): life for life in records(lives)}
    for stay in found.stays:
        final = stay["in_place"] is not None
        here = chain.spot.unit or stay["position"] == chain.spot.position
        where = "" if here else f" in {stay['machine']} {stay['place']} {stay['position']}".rstrip()
        said = f"{_began(stay)}{where}"
        ends: tuple[float | None, float | None] = (None, None)
        if stay["end_moment"] is not None:
            said += f"; {_ended(stay)}"
        name = str(stay["piece"])
        if final and name in by_piece and not stay["in_place"]:
            life = by_piece[name]
            ends = (float(life["lower"]), float(life["upper"]))
            said += f"; {_life(life, chain.unit)}"
        if final and stay["in_place"]:
            said += f"; hours {_told(told, stay)}"
            if not stay["lives_logged"]:
                said += "; not every change-out is logged there: no life is counted"
        chain.add(
            "age", said, at=stay["start_moment"], value=plain(stay["age"]), ends=ends,
            unit=chain.unit,
            source=name, piece=name,
        )  # fmt: skip


def _began(stay: Row) -> str:
    when = day(stay["start_moment"])
    if stay["begun_by"] == "unlogged":
        return f"began between {day(stay['begun_from'])} and {_after(stay)}, taken {when}: unlogged"
    if stay["begun_by"] == "turned":
        return f"turned on {when}: wear starts again"
    if stay["begun_by"] == "watched":
        if stay["stated_age"] is None:
            return f"there when the watch began on {when}, age unknown"
        old = "new" if stay["stated_age"] == 0 else f"{stay['stated_age']:,.0f} old"
        return f"there when the watch began on {when}, {old} as the fleet log says"
    if stay["stay_no"] > 1:
        return f"fitted again on {when}"
    if stay["stated_age"]:
        return f"fitted on {when}, {stay['stated_age']:,.0f} old as logged"
    return f"fitted on {when}, new"


def _after(stay: Row) -> str:
    """Return the day of the reading after an unlogged change-out, taken midway between two."""
    start, before = stay["start_moment"], stay["begun_from"]
    return day(start + (start - before))


def _ended(stay: Row) -> str:
    when = day(stay["end_moment"])
    if stay["ended_by"] == "unlogged":
        return f"ended about {when} by a change-out that nobody logged"
    if stay["ended_by"] == "turned":
        return f"turned on {when}"
    if stay["ended_by"] == "watch ended":
        return f"the watch ended on {when}"
    reason = f", {str(stay['end_reason']).replace('_', ' ')}" if stay["end_reason"] else ""
    return f"out on {when}{reason}"


def _life(life: Row, unit: str) -> str:
    """Say how a life enters the life table."""
    low, high = float(life["lower"]), float(life["upper"])
    if life["mode"]:
        span = f"{low:,.0f}" if low == high else f"between {low:,.0f} and {high:,.0f}"
        return f"a life of {span} {unit}, ended {life['mode']}"
    if high == float("inf"):
        return f"lived {low:,.0f} {unit} at least: a life cut short"
    return (
        f"a life that ended between {low:,.0f} and {high:,.0f} {unit}, nobody knows of what: "
        "taken, by weight, for what logged ones of that age were"
    )


def _told(told: Row, stay: Row) -> str:
    """Say what told the hours of a machine."""
    if stay["meter_clock"] != "hours":
        return f"from its own meter of {stay['meter_clock']}"
    hours, metered, guessed = (float(told[name]) for name in ("hours", "metered", "guessed"))
    if hours <= 0:
        return "unknown: neither a meter nor `running` tells them"
    share = metered / hours
    said = "from the hour meter" if share > 0.995 else "from `running`"
    if 0.005 < share <= 0.995:
        said = f"{percent(share)} from the hour meter, the rest from `running`"
    return f"{said}, {guessed:,.0f} of them guessed" if guessed >= 1 else said


def _source(row: Row) -> str:
    return f"{row['file']} line {row['file_line']}, import {row['import_no']}"


def plain(value: Any) -> float | None:
    """Return a number, or None where there is none."""
    return None if value is None or value != value else float(value)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as mappings."""
    return [{str(name): cell for name, cell in row.items()} for row in frame.to_dict("records")]


def day(value: object) -> str:
    """Write a day as the logs do: 2026-08-30."""
    if isinstance(value, datetime):
        return value.date().isoformat()
    return value.isoformat() if isinstance(value, date) else str(value)
