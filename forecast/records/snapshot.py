"""All that is known on one day, as frames: the neck between logs and models.

Ages and hours are on the part type's own clock (running hours by default), lengths in mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from typing import Final

import pandas as pd

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "part_types": (
        "part_type",
        "description",
        "grade",
        "size",
        "form",
        "clock",
        "wear_limit_mm",
        "limit_measure",
        "limit_low_mm",
        "limit_high_mm",
        "alert_mm",
        "gauge_sd_mm",
        "sides",
        "carries_people",
        "prior_shape",
        "prior_shape_low",
        "prior_shape_high",
        "prior_source",
        "unit_cost",
        "currency",
        "lead_time_days",
        "min_order",
        "pack_size",
    ),
    "seasons": ("season", "first_day", "last_day"),
    "fitted": (
        "machine",
        "line",
        "place",
        "position",
        "part_type",
        "duty_group",
        "piece",
        "kit",
        "in_place",
        "quantity",
        "age",
        "read",
    ),
    "lives": (
        "piece",
        "machine",
        "part_type",
        "duty_group",
        "grade",
        "lower",
        "upper",
        "entry",
        "weight",
        "mode",
        "ended",
    ),
    "wear": (
        "piece",
        "machine",
        "position",
        "part_type",
        "duty_group",
        "grade",
        "n",
        "sy",
        "syy",
        "last_age",
        "last_mm",
        "age",
        "in_place",
        "fitted_known",
    ),
    "fitted_cells": ("piece", "season", "x"),
    "wear_cells": ("piece", "season", "other", "sx", "sxy", "sxx"),
    "samples": (
        "visit",
        "machine",
        "part_type",
        "duty_group",
        "kit",
        "day",
        "age",
        "age_sq",
        "n",
        "sy",
        "syy",
        "replaced_share",
        "culled_share",
    ),
    "sample_cells": ("visit", "season", "x"),
    "bounds": (
        "bound",
        "piece",
        "visit",
        "machine",
        "position",
        "part_type",
        "duty_group",
        "day",
        "age",
        "low_mm",
        "high_mm",
        "suspect",
        "replaced_share",
        "culled_share",
    ),
    "bound_cells": ("bound", "season", "x"),
    "unaged": (
        "visit",
        "machine",
        "place",
        "position",
        "part_type",
        "duty_group",
        "piece",
        "day",
        "ran",
        "n",
        "sy",
        "syy",
        "replaced_share",
        "culled_share",
    ),
    "unaged_cells": ("visit", "season", "x"),
    "growth": (
        "reading",
        "machine",
        "piece",
        "part_type",
        "duty_group",
        "at",
        "wear_mm",
        "cell",
        "hours",
    ),
    "gauge": ("part_type", "sd_mm", "told_by", "repeats_mm", "pairs"),
    "new_sizes": ("piece", "part_type", "reading_kind", "new_mm", "sd_mm", "told_by"),
    "pace": ("machine", "part_type", "clock", "per_hour", "metered"),
    "ages": (
        "piece",
        "machine",
        "part_type",
        "stated",
        "metered",
        "told",
        "guessed",
        "age_from",
    ),
    "corrections": (
        "part_type",
        "not_corrected",
        "readings",
        "of_readings",
        "corrected",
        "most_mm",
    ),
    "counts": (
        "unit",
        "machine",
        "part_type",
        "duty_group",
        "kit",
        "week",
        "hours",
        "positions",
        "mode",
        "replaced",
        "others",
        "start_age",
    ),
    "paths": (
        "part_type",
        "piece",
        "machine",
        "position",
        "at",
        "age",
        "wear_mm",
        "correction_mm",
    ),
    "running": ("machine", "line", "day", "hours", "planned"),
    "stock": ("part_type", "state", "quantity", "due", "at"),
    "used": ("part_type", "machine", "place", "position", "day", "planned", "quantity"),
    "turned": ("part_type", "line", "planned", "turned", "ended"),
    "doubts": (
        "id",
        "rule",
        "machine",
        "position",
        "part_type",
        "at",
        "what",
        "proposal",
        "default",
        "state",
        "note",
    ),
    "set_aside": ("import", "file", "line", "column", "value", "rule", "hint"),
    "piece_duties": (
        "piece",
        "place",
        "batch",
        "medium",
        "pressure_mpa",
        "speed_m_s",
        "temperature_c",
    ),
    "cells": ("cell", "season", "phase"),
    "phases_ahead": ("phase", "days"),
    "duties": (
        "machine",
        "place",
        "part_type",
        "duty_group",
        "medium",
        "pressure_mpa",
        "speed_m_s",
        "temperature_c",
    ),
    "duty_limits": (
        "part_type",
        "pressure_limit_mpa",
        "speed_limit_m_s",
        "pv_limit_mpa_m_s",
        "max_temperature_c",
        "max_age",
        "max_age_days",
        "oldest_age",
        "oldest_days",
    ),
}
"""The columns of each frame; a Snapshot is refused if one is missing."""


@dataclass(frozen=True, eq=False)
class Snapshot:
    """What is known on one day.

    Attributes
    ----------
    day
        The day; nothing known later is in any frame.
    last_import, last_decision
        Up to which import and decision the logs were seen.
    digest
        sha256 of the frames, in hexadecimal.
    part_types
        One row a part type, the version valid on the day.
    seasons
        The spans in which the machines ran, oldest first; the last one may still be running.
    fitted
        What is in service: one row a piece (``quantity`` 1), or one row a set whose pieces are not
        serialised (``position`` empty, ``quantity`` pieces). ``in_place`` is false for a kit on
        the shelf. ``age`` is NaN where unknown; ``read`` says that the piece has readings.
    fitted_cells
        Hours (thousands) each row of ``fitted`` has run in each season so far.
    lives
        One row a piece of known age: failed at ``lower`` = ``upper`` with ``mode``, found failed
        between them, or still alive at ``lower`` (``upper`` infinite, ``mode`` empty). ``ended``
        is ``logged`` or ``unlogged`` where a change-out ended it, else empty. An unlogged one lies
        between ``lower`` and a finite ``upper``, without a mode: nobody knows its reason.
    wear
        One row a piece with readings: ``n`` readings, sums ``sy`` (mm) and ``syy`` (mm2).
    wear_cells
        Its sums by season: ``sx`` = sum of hours run in ``season`` up to each reading, ``sxy`` =
        sum of that times wear, ``sxx`` = sum of products with the hours in ``other`` (season <=
        other; ``sx`` and ``sxy`` only where both are the same). Hours in thousands.
    samples, sample_cells
        Readings without a position: one row a visit. ``age`` and ``age_sq`` are means over the
        pieces of the set (those replaced are younger), ``x`` the mean hours run in each season
        (thousands); ``culled_share`` of the set was replaced because somebody chose the piece.
    bounds, bound_cells
        Readings that were only found ok (``low_mm`` -inf, ``high_mm`` the limit) or over (the limit
        and inf): of a ``piece``, or of a set's pieces at a ``visit``; ``age`` NaN where unknown,
        ``x`` the hours run in each season (thousands). The fits may use them; ``suspect`` ones
        serve their own piece only. Shares replaced are those of a set, as in ``samples``.
    unaged, unaged_cells
        Readings of pieces and sets of unknown age, one row a piece or set and day: ``n`` readings
        with sums ``sy``, ``syy``, ``ran`` hours after the watch began, ``x`` the same by season.
        The age is ``ran`` plus a start age, the same at every visit of a piece, which depths may
        tell.
    growth
        Readings of pieces read three times and more (of each part type the 1000 read last), one row
        a ``reading`` and ``cell`` in which the piece has run ``hours``.
    gauge
        Sd of one reading of each part type, and what tells it: ``stated``, repeated readings
        (``pairs`` of them, whose own sd is ``repeats_mm``), or nothing (NaN).
    new_sizes
        Against which new size the sizes read on a piece were taken: measured when fitted,
        ``fitted_mm``, the mean of new parts or nominal; ``sd_mm`` is how far it may be off (0: it
        was measured; NaN: nobody knows).
    pace
        What the clock of a part type counts in a running hour on each machine (1 for hours),
        ``metered`` or as the fleet states it; NaN where nothing tells.
    ages
        How the age of each piece and set was got, in words (``age_from``) and parts that add up to
        it: ``stated`` when it was fitted, ``metered``, ``told`` by running hours, ``guessed``
        across an unlogged change of the meter. NaN where unknown.
    corrections
        How many ``readings`` of all ``of_readings`` of a part type could not be brought to 20 C
        and dry for a reason (``not_corrected``, empty: none), and how many were ``corrected``, by
        ``most_mm`` at most.
    counts
        Weeks of sets whose pieces are not serialised: ``replaced`` for ``mode``, ``others`` for
        any other reason, of ``positions`` that ran ``hours``; ``replaced`` NaN where nobody has
        looked since. ``start_age`` NaN where unknown.
    paths
        Readings of the pieces nearest their limit: what the report draws.
    running
        Hours a machine ran (logged) or will run (planned), by day.
    stock
        ``on_hand`` (counted on the day ``at``) and ``on_order`` (with ``due``).
    used
        Spare pieces used so far, by day; ``planned`` where nothing had ended (never for sets:
        their ``position`` is empty, and the logs do not tell).
    turned
        Of part types with two sides, by line: first sides that ``ended`` unbroken, and how many of
        them were ``turned``; ``planned`` where they were changed before they were worn.
    doubts, set_aside
        As FORMATS lists them; doubts in state ``open`` act by their default.
    piece_duties
        Place, batch and duty of each piece with a life or readings; NaN or empty where nobody
        stated it.
    cells, phases_ahead
        The seasons in their phases (raw material, cleaning regime), in the order in which they
        began: what ``season`` means in every frame of cells. Machine days planned in each phase.
    duties, duty_limits
        Duty of each part type by machine and place; what its grade was tested for, with its
        exposure limits and the oldest piece in place. NaN where nobody stated it.
    """

    day: date
    last_import: int
    last_decision: int
    digest: str
    part_types: pd.DataFrame
    seasons: pd.DataFrame
    fitted: pd.DataFrame
    fitted_cells: pd.DataFrame
    lives: pd.DataFrame
    wear: pd.DataFrame
    wear_cells: pd.DataFrame
    samples: pd.DataFrame
    sample_cells: pd.DataFrame
    counts: pd.DataFrame
    paths: pd.DataFrame
    running: pd.DataFrame
    stock: pd.DataFrame
    used: pd.DataFrame
    doubts: pd.DataFrame
    set_aside: pd.DataFrame
    piece_duties: pd.DataFrame = field(default_factory=lambda: _empty("piece_duties"))
    cells: pd.DataFrame = field(default_factory=lambda: _empty("cells"))
    phases_ahead: pd.DataFrame = field(default_factory=lambda: _empty("phases_ahead"))
    duties: pd.DataFrame = field(default_factory=lambda: _empty("duties"))
    duty_limits: pd.DataFrame = field(default_factory=lambda: _empty("duty_limits"))
    bounds: pd.DataFrame = field(default_factory=lambda: _empty("bounds"))
    bound_cells: pd.DataFrame = field(default_factory=lambda: _empty("bound_cells"))
    unaged: pd.DataFrame = field(default_factory=lambda: _empty("unaged"))
    unaged_cells: pd.DataFrame = field(default_factory=lambda: _empty("unaged_cells"))
    growth: pd.DataFrame = field(default_factory=lambda: _empty("growth"))
    gauge: pd.DataFrame = field(default_factory=lambda: _empty("gauge"))
    new_sizes: pd.DataFrame = field(default_factory=lambda: _empty("new_sizes"))
    pace: pd.DataFrame = field(default_factory=lambda: _empty("pace"))
    ages: pd.DataFrame = field(default_factory=lambda: _empty("ages"))
    corrections: pd.DataFrame = field(default_factory=lambda: _empty("corrections"))
    turned: pd.DataFrame = field(default_factory=lambda: _empty("turned"))

    def wear_seasons(self) -> dict[str, tuple[str, str]]:
        """Return season and phase of each cell, in order; the seasons where no cells are told."""
        if len(self.cells):
            rows = self.cells[["cell", "season", "phase"]].astype(str).to_numpy()
            return {cell: (season, phase) for cell, season, phase in rows}
        return {str(name): (str(name), "") for name in self.seasons["season"]}

    def __post_init__(self) -> None:
        for own in fields(self):
            if own.name in COLUMNS:
                frame: pd.DataFrame = getattr(self, own.name)
                missing = [name for name in COLUMNS[own.name] if name not in frame.columns]
                if missing:
                    raise ValueError(f"snapshot frame {own.name!r} lacks {', '.join(missing)}")


def _empty(name: str) -> pd.DataFrame:
    """Return a frame without rows: what hand-made snapshots need not name."""
    return pd.DataFrame(columns=list(COLUMNS[name]))
