"""How wear grows: in a straight line with hours or not, and machines whose rate changed on a day.

The forecast follows the law that the readings choose, and takes one rate a piece throughout. This
finds the law and says where the readings tell of a change, so that it can stand beside every
forecast.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from forecast.jobs.modes import Key
from forecast.records.snapshot import Snapshot
from forecast.records.words import percent
from forecast.wear.law import WearLaw, rate_changes, wear_law
from forecast.wear.offsets import GAUGE_SD
from forecast.wear.rates import WearFit

BEDDED_IN: Final = 100.0
"""Hours from which on readings tell of the law of wear: bedding-in before looks like a power."""


@dataclass(frozen=True, eq=False)
class Growth:
    """How the wear of one part type and duty group grows.

    Attributes
    ----------
    part_type, duty_group
        Of what.
    law
        Straight line or power of hours.
    changes
        ``machine``, ``at``, ``ratio``, ``low``, ``high``, ``pieces``: rates that changed on a day.
    """

    part_type: str
    duty_group: str
    law: WearLaw
    changes: pd.DataFrame

    def changed(self) -> Iterator[tuple[str, str, str]]:
        """Say of each machine whose rate changed: its name, by how much, and how that is known."""
        for row in self.changes.itertuples():
            ratio = f"{row.ratio:.2f} times its rate before ({row.low:.2f} to {row.high:.2f})"
            since = f"since {row.at:%Y-%m-%d}, by {row.pieces} pieces"
            yield str(row.machine), ratio, since


def growths(snapshot: Snapshot, fits: Mapping[Key, WearFit]) -> tuple[Growth, ...]:
    """Return how wear grows in every part type and duty group with a rate.

    Parameters
    ----------
    snapshot
        Its frame ``growth`` has the readings.
    fits
        The wear fits: hours count as those of an average season and phase.
    """
    found = []
    readings = snapshot.growth
    groups = readings["duty_group"].fillna("").astype(str)
    for (name, group), fit in sorted(fits.items()):
        if not fit.usable:
            continue
        own = _steady(readings[(readings["part_type"] == name) & (groups == group)], fit)
        gauge = fit.gauge_sd if fit.gauge_sd == fit.gauge_sd else GAUGE_SD
        law = wear_law(own[own["hours"] >= BEDDED_IN], gauge)
        found.append(Growth(name, group, law, rate_changes(own, gauge)))
    return tuple(found)


def growth_assumed(found: tuple[Growth, ...]) -> list[tuple[str, str, str, str]]:
    """Return rows of ``assumed``: what, value, why, effect.

    A part type whose readings can't tell its law is left out: its state says how little they tell.
    """
    rows = []
    for own in found:
        named = f"{own.part_type} {own.duty_group}".strip()
        law = own.law
        if law.power == law.power:
            told = f"{law.power:.2f} ({law.low:.2f} to {law.high:.2f})"
            off = f"{percent(abs(law.beyond))} too {'much' if law.beyond > 0 else 'little'}"
            bends = law.chosen == "power"
            rows.append(
                (
                    f"{named}: wear grows",
                    f"as hours to the power {told}" if bends else "in a straight line",
                    law.why if bends else f"power {told}: {law.why}",
                    "hours left follow that power; at 1.5 times the longest age read a straight "
                    f"line would forecast {off}"
                    if bends
                    else "hours left are in proportion to the wear left",
                )
            )
        rows += [
            (
                f"{named} on {machine}: one rate throughout",
                ratio,
                f"found in the readings {since}",
                "pieces read since then carry it; others get the machine's mean of all readings",
            )
            for machine, ratio, since in own.changed()
        ]
    return rows


def _steady(rows: pd.DataFrame, fit: WearFit) -> pd.DataFrame:
    """Return one row a reading, its hours counted as those of an average season and phase."""
    pace = dict(zip(cells := sorted(set(rows["cell"])), fit.season_pace(cells), strict=True))
    rows = rows.assign(hours=rows["hours"] * rows["cell"].map(pace).astype(float))
    keys = ["reading", "machine", "piece", "at", "wear_mm"]
    steady: pd.DataFrame = rows.groupby(keys, sort=True)["hours"].sum().reset_index()
    return steady
