"""How often a worn first side was turned, and how often a spare was taken instead.

That a piece has two sides says what a crew may do, not what it does: the logs tell. A line has a
habit of its own, which leans on that of the part type, which leans on "always" until first sides
have ended: each counts as much as :data:`LEAN` sides that ended.
"""

from __future__ import annotations

from typing import Final

import pandas as pd

from forecast.planning.fleet import Turned
from forecast.records.snapshot import Snapshot

LEAN: Final = 2.0


def turned_share(snapshot: Snapshot) -> Turned:
    """Return the chance that a first side is turned: when it is worn, and when changed before.

    Parameters
    ----------
    snapshot
        What is known: its frames ``part_types``, ``fitted`` and ``turned``.

    Returns
    -------
    mapping
        By part type and line, for part types with two sides.
    """
    parts, fitted, log = snapshot.part_types, snapshot.fitted, snapshot.turned
    shares = {}
    for name in _two_sided(parts):
        own = log[log["part_type"] == name]
        kinds = [own[own["planned"].astype(bool) == kind] for kind in (False, True)]
        for line in sorted(set(fitted.loc[fitted["part_type"] == name, "line"].map(_text))):
            worn, planned = (
                _leaning(rows[rows["line"].map(_text) == line], _leaning(rows, 1.0))
                for rows in kinds
            )
            shares[name, line] = (worn, planned)
    return shares


def turning_said(snapshot: Snapshot) -> list[tuple[str, str, str, str]]:
    """Return rows of ``assumed``: what, value, why and effect of each part type with two sides."""
    rows = []
    for name in _two_sided(snapshot.part_types):
        own = snapshot.turned[snapshot.turned["part_type"] == name]
        turned, ended = int(own["turned"].sum()), int(own["ended"].sum())
        lines = own.groupby(own["line"].map(_text), sort=True)["turned"].sum()
        where = [str(line) for line, count in lines.items() if count and line]
        on = f", all on {', '.join(where)}" if where and len(where) < len(lines) else ""
        why = (
            f"of {ended} first sides that ended unbroken {turned} were turned{on}; each line by "
            "its own habit, worn and planned apart"
            if ended
            else "it has two sides, and none has ended yet"
        )
        value = f"{turned} of {ended}" if ended else "always"
        rows.append((f"{name}: turned before a spare is used", value, why, "sets its demand"))
    return rows


def _two_sided(parts: pd.DataFrame) -> list[str]:
    two = pd.to_numeric(parts["sides"], errors="coerce") == 2
    return sorted({str(name) for name in parts.loc[two, "part_type"]})


def _leaning(rows: pd.DataFrame, share: float) -> float:
    turned, ended = float(rows["turned"].sum()), float(rows["ended"].sum())
    return (turned + LEAN * share) / (ended + LEAN)


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""
