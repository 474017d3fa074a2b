"""Two grades or two batches side by side, and what the difference is worth over a season."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from forecast.jobs.fits import fit_all
from forecast.jobs.kinds import COMPARED, By, two_sides
from forecast.jobs.worth import season_worth
from forecast.planning.plan import Plan, read_plan
from forecast.records.season import STUDIES
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.work import HERE, Work


def versus(
    address: str,
    a: str,
    b: str,
    by: By = "grade",
    plan: Path | None = None,
    work: Work = HERE,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Compare two grades or batches.

    Parameters
    ----------
    address
        The store.
    a, b
        Names of the grades or batches; ratios are b over a.
    by
        What A and B name.
    plan
        With a plan: what it would be worth over its season if the parts of kind a were of kind b.
    work
        Who computes, and whom to tell.

    Returns
    -------
    (table, said)
        Columns of ``STUDIES["versus"]``, one row a thing compared; and sentences for the reader.

    Raises
    ------
    NotInStore
        If no life is of one of the kinds, or the two never do the same job.
    PlanError
        If the plan has faults.
    """
    read = None if plan is None else read_plan(plan)
    with open_store(address) as store:
        snapshot = take_snapshot(store, None if read is None else read.season.as_of)
    sides = two_sides(snapshot, a, b, by)
    rows, said = [], []
    fits = None if read is None else fit_all(snapshot, season_spread=read.season.season_spread)
    for what, compare in COMPARED.items():
        found = compare(sides)
        if found is None:
            continue
        said += [f"{what}: {sentence}" for sentence in found.said]
        saved = (np.nan, np.nan)
        if read is not None and fits is not None and found.changed is not None:
            work.tell("what it is worth", 0, 0)
            saved = season_worth(
                snapshot, read, fits, found.changed(fits), sides.types_a, sides.types_b, work
            )
            said.append(_worth(what, b, read, *saved))
        rows.append(
            {
                "by": by,
                "a": a,
                "b": b,
                "what": what,
                "ratio": found.ratio,
                "ratio_low": found.low,
                "ratio_high": found.high,
                "pairs": found.pairs,
                "adjusted_for": ", ".join(found.adjusted_for),
                "extrapolated": found.extrapolated,
                "parts_saved": saved[0],
                "money_saved": saved[1],
            }
        )
    return pd.DataFrame(rows, columns=list(STUDIES["versus"])), tuple(said)


def _worth(what: str, b: str, plan: Plan, parts: float, money: float) -> str:
    """Say what it is worth, as expected."""
    if np.isnan(parts):
        return f"{what}: nothing of the kind is in service, so nothing is worth anything"
    less = "fewer" if parts >= 0 else "more"
    told = f"{what}: with {b} throughout, {plan.season.name} uses {abs(parts):,.0f} pieces {less}"
    if np.isnan(money):
        return f"{told}; the money is not known, as prices are missing"
    cost = "less" if money >= 0 else "more"
    return f"{told} and costs {abs(money):,.0f} {plan.season.currency} {cost}"
