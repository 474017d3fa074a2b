"""Follows one position or set through the logs: what was written, and what it counts as."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from forecast.store.look import look
from forecast.store.opening import log_names
from forecast.store.store import Store, Value

Row = dict[str, Any]

NEVER_ACT: Final = frozenset(
    {
        "amended row",
        "clock disagrees",
        "impossible rate",
        "machine in two plants",
        "no piece in place",
        "not in the fleet",
        "rate jump",
        "silent machine",
        "stock used",
        "value against result",
        "worst first",
    }
)
"""Rules whose settlement moves no piece and no reading of the position itself; while a machine
counts as silent, its pieces are left out of the lives."""

MOST_SUPPOSED: Final = 6
"""Doubts that are looked at both ways: each takes a look at all the logs."""


@dataclass(frozen=True)
class Spot:
    """A position whose pieces are followed one by one, or a set.

    Attributes
    ----------
    machine, place, position, part_type
        ``position`` is empty for a set.
    unit
        The set's name, empty for a position.
    asked
        The position inside the set that was asked for, if any.
    quantity
        Positions of the set; 1 for a position.
    """

    machine: str
    place: str
    position: str
    part_type: str
    unit: str = ""
    asked: str = ""
    quantity: int = 1

    def where(self) -> dict[str, Value]:
        """Return what the statements want bound."""
        return {
            "machine": self.machine,
            "place": self.place,
            "position": self.position,
            "unit": self.unit,
        }


@dataclass(frozen=True)
class Trace:
    """What the logs hold of one spot, as one look sees it.

    Attributes
    ----------
    stays, change_outs, readings, doubts
        Rows of the statements ``queries/evidence_*``.
    """

    stays: list[Row]
    change_outs: list[Row]
    readings: list[Row]
    doubts: list[Row]

    @property
    def last(self) -> Row | None:
        """The stay of the piece or set that is in place, else of the last one that was."""
        final = [stay for stay in self.stays if stay["in_place"] is not None]
        standing = [stay for stay in final if stay["in_place"]] or final
        return standing[-1] if standing else None


def spots(store: Store) -> list[Row]:
    """Return every position and set that the logs know, after a look."""
    return store.rows("queries/evidence_spots")


def trace(store: Store, spot: Spot) -> Trace:
    """Return what the logs hold of one spot, after a look."""
    where, kind = spot.where(), {"part_type": spot.part_type}
    return Trace(
        stays=store.rows("queries/evidence_stays", **where),
        change_outs=store.rows("queries/evidence_change_outs", **where, **kind),
        readings=store.rows("queries/evidence_readings", **where),
        doubts=store.rows("queries/evidence_doubts", **where, **kind),
    )


def hours_told(store: Store, machine: str) -> Row:
    """Return the hours of a machine, and how many of them a meter counted or left to a guess."""
    return store.rows("queries/evidence_hours", machine=machine)[0]


def imports_of(store: Store, numbers: Sequence[int]) -> list[Row]:
    """Return the imports of these numbers."""
    return [row for row in store.rows("queries/imports") if row["import_no"] in numbers]


def other_way(store: Store, spot: Spot, found: Trace) -> Iterator[tuple[str, str, Trace]]:
    """Yield each doubt's id, how it is supposed to be settled, and the trace that would give.

    The store is left as it is: a view of this session stands before the decisions. What was looked
    at before is as that supposition has it afterwards, so this comes last in a session.

    Parameters
    ----------
    store
        Open for reading, looked at.
    spot
        Which.
    found
        Its trace as things stand.
    """
    acting = [doubt for doubt in found.doubts if doubt["rule"] not in NEVER_ACT]
    ids = dict.fromkeys((str(doubt["id"]), _other(doubt)) for doubt in acting)
    for subject, settled_as in list(ids)[:MOST_SUPPOSED]:
        store.run("queries/set_supposed", subject=subject, settled_as=settled_as)
        store.run("queries/suppose")
        for name in log_names():
            store.run(name)
        look(store)
        yield subject, settled_as, trace(store, spot)


def _other(doubt: Row) -> str:
    """Return the settlement that does not hold now."""
    state = str(doubt["state"])
    holds = str(doubt["by_default"]) if state == "open" else state
    return "as_logged" if holds == "as_proposed" else "as_proposed"
