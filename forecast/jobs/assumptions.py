"""What a forecast would say if seasons differed by another amount."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Final

import numpy as np

from forecast.planning.demand import DemandPaths
from forecast.planning.plan import Plan

SPREADS: Final = (0.0, 0.1, 0.2)
"""Season spreads beside the fitted one (sd of the log wear rate between seasons)."""

FEW_DRAWS: Final = 200
"""Paths of those runs: they tell how much it matters, not what to buy."""

Row = tuple[str, str, str, str]
"""What, value, why, effect."""


def spread_rows(
    plan: Plan,
    worn: Collection[str],
    run: Callable[[Sequence[float]], Mapping[str, DemandPaths]],
) -> list[Row]:
    """Return rows for ``assumed``: each part type's total if seasons differ by 0, 0.1 or 0.2.

    Parameters
    ----------
    plan
        With a ``season_spread`` of its own there is nothing to say.
    worn
        Part types with wear rates; the season moves no others.
    run
        Simulates spreads in turn on few paths, everything else as it is, and returns the demand
        by part type: path i is of spread i modulo their number.
    """
    if plan.season.season_spread is not None or not worn:
        return []
    found = run(SPREADS)
    rows = []
    for name in sorted(set(worn) & set(found)):
        total = found[name].total.sum(axis=1)
        sentences = []
        for at, spread in enumerate(SPREADS):
            of = total[at :: len(SPREADS)]
            low, high = np.quantile(of, [0.05, 0.95], method="inverted_cdf")
            sentences.append(f"{spread:g}: {of.mean():,.0f} ({low:,.0f}-{high:,.0f})")
        why = (
            f"the plan states no season_spread; {len(total) // len(SPREADS)} paths each, "
            "change-outs as planned here"
        )
        what = f"{name}: season total if seasons differ by"
        rows.append((what, "; ".join(sentences), why, "for comparison"))
    return rows
