"""What ages and depths of a forecast rest on, where a log did not tell them outright."""

from __future__ import annotations

from typing import Final

from forecast.records.snapshot import Snapshot

Row = tuple[str, str, str, str]
"""What, value, why, effect."""

LEAST: Final = 0.5
"""Below so many units of its clock nothing of an age was guessed."""


def ages_said(snapshot: Snapshot) -> list[Row]:
    """Return rows of ``assumed``: ages in place that lean on a guess, by part type.

    Parameters
    ----------
    snapshot
        What is known.
    """
    here = snapshot.fitted[snapshot.fitted["in_place"].astype(bool)]
    ages = snapshot.ages.merge(here[["piece", "part_type"]], on=["piece", "part_type"])
    rows: list[Row] = []
    for name, own in ages.groupby("part_type", sort=True):
        guessed = own[own["guessed"].astype(float) > LEAST]
        if len(guessed):
            most = float(guessed["guessed"].max())
            rows.append(
                (
                    f"{name}: ages across an unlogged change of the meter",
                    f"{len(guessed)} of {len(own)} pieces and sets, up to {most:,.0f}",
                    "the rate before the change, or after it; no running hours are logged there",
                    "their ages",
                )
            )
        unlogged = int(own["age_from"].str.contains("nobody logged").sum())
        if unlogged:
            rows.append(
                (
                    f"{name}: ages from a change-out that nobody logged",
                    f"{unlogged} of {len(own)} pieces",
                    "midway between two readings, unless a day was settled",
                    "their ages; `wearahead doubts` lists them",
                )
            )
    return rows


def corrections_said(snapshot: Snapshot) -> list[Row]:
    """Return rows of ``assumed``: readings corrected to 20 C and dry, and those that were not.

    Parameters
    ----------
    snapshot
        What is known.
    """
    rows: list[Row] = []
    for name, own in snapshot.corrections.groupby("part_type", sort=True):
        of, corrected = int(own["of_readings"].iloc[0]), int(own["corrected"].sum())
        if corrected:
            most = float(own["most_mm"].max())
            rows.append(
                (
                    f"{name}: readings brought to 20 C and dry",
                    f"{corrected:,} of {of:,}, by up to {most:.3f} mm",
                    "part, gauge or water called for it, and the part type says how",
                    "wear depths",
                )
            )
        for why, count in zip(own["not_corrected"], own["readings"], strict=True):
            if why:
                rows.append(
                    (
                        f"{name}: readings warm or wet, not corrected",
                        f"{int(count):,} of {of:,}",
                        str(why),
                        "heat or water counts as wear there",
                    )
                )
    return rows
