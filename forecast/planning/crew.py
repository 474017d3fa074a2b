"""Crew time: how long a change-out takes."""

from __future__ import annotations

from forecast.planning.plan import PartPlan


def work_minutes(part: PartPlan, pieces: int, whole_set: bool) -> float:
    """Return the crew minutes for some pieces of a part type; a whole set may have its own.

    With minutes for a set and none for a piece, part of a set takes as long as the whole.
    """
    if part.set_minutes is not None and (whole_set or not part.minutes):
        return part.set_minutes
    return part.minutes * pieces
