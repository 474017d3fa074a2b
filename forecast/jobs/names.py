"""Names that a person typed: known, or the nearest one told."""

from __future__ import annotations

import difflib
from collections.abc import Collection
from typing import Final

from forecast.errors import NotInStore
from forecast.records.snapshot import Snapshot

ALIKE: Final = str.maketrans("OoIlS", "00115")
"""Letters that are typed for digits."""


def nearest(name: str, known: Collection[str]) -> str | None:
    """Return the known name most like one that isn't known, if any is."""
    same = [each for each in sorted(known) if each.translate(ALIKE) == name.translate(ALIKE)]
    near = same or difflib.get_close_matches(name, sorted(known), 1, 0.3)
    return near[0] if near else None


def known_part_type(snapshot: Snapshot, part_type: str) -> None:
    """Refuse a part type that the logs do not know.

    Raises
    ------
    NotInStore
        With the nearest name.
    """
    known = [str(name) for name in snapshot.part_types["part_type"]]
    if part_type not in known:
        near = nearest(part_type, known)
        raise NotInStore(
            f"no part type {part_type!r} in the logs",
            f"Did you mean {near}?" if near else f"Known: {', '.join(known) or 'none yet'}.",
            nearest=near,
        )
