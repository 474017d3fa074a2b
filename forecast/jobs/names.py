"""Names that a person typed: known, or the nearest one told."""

from __future__ import annotations

import difflib

from forecast.errors import NotInStore
from forecast.records.snapshot import Snapshot


def known_part_type(snapshot: Snapshot, part_type: str) -> None:
    """Refuse a part type that the logs do not know.

    Raises
    ------
    NotInStore
        With the nearest name.
    """
    known = [str(name) for name in snapshot.part_types["part_type"]]
    if part_type not in known:
        near = difflib.get_close_matches(part_type, known, 1, 0.3)
        raise NotInStore(
            f"no part type {part_type!r} in the logs",
            f"Did you mean {near[0]}?" if near else f"Known: {', '.join(known) or 'none yet'}.",
            nearest=near[0] if near else None,
        )
