"""Which levels the readings can tell: one a season, and one contrast a phase for all seasons.

A cell is a season in one phase (raw material or cleaning regime, as ``running`` names it). Its
level is that of the season plus the contrast of the phase against the phase read most. Contrasts
are shared by all seasons: a running season's first phase tells of its later phases through them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from forecast.wear.offsets import Assumption
from forecast.wear.seasons import Phases
from forecast.wear.sums import CellSums

Array = npt.NDArray[np.float64]

LEAST_KH: Final = 0.5
"""A phase in which all pieces together ran fewer hours (thousands) has no contrast of its own."""


@dataclass(frozen=True, eq=False)
class PhaseLayout:
    """Coefficients of the cells' levels.

    Attributes
    ----------
    seasons, names
        Of the coefficients: seasons, then phases with a contrast.
    reference
        The phase read most.
    design
        [cells, coefficients].
    share
        Of the hours read in each of ``names``.
    cells, read
        Season and phase of every cell; the cells read, in the fit's order.
    notes
        Phases whose contrast can't be told.
    """

    seasons: tuple[str, ...]
    names: tuple[str, ...]
    reference: str
    design: Array
    share: Array
    cells: Mapping[str, tuple[str, str]]
    read: tuple[str, ...]
    notes: tuple[Assumption, ...]

    def phases(self, theta: Array, covariance: Array) -> Phases:
        """Return the contrasts given the season levels, from all coefficients and covariance."""
        count = len(self.seasons)
        slope = covariance[count:, :count] @ np.linalg.inv(covariance[:count, :count])
        left = covariance[count:, count:] - slope @ covariance[:count, count:]
        return Phases(
            names=self.names,
            reference=self.reference,
            contrast=theta[count:],
            slope=slope,
            covariance=np.asarray(left, dtype=np.float64),
            share=self.share,
            cells=self.cells,
            read=self.read,
        )


def phase_layout(sums: CellSums, cells: Mapping[str, tuple[str, str]]) -> PhaseLayout:
    """Lay out the coefficients that the sums can tell.

    Parameters
    ----------
    sums
        Of the readings, by cell.
    cells
        Season and phase of each cell; a cell that is not there is a season of its own.
    """
    pairs = [cells.get(name, (name, "")) for name in sums.seasons]
    seasons = tuple(dict.fromkeys(season for season, _ in pairs))
    hours = sums.x.sum(axis=0)
    ran: dict[str, float] = {}
    for (_, phase), amount in zip(pairs, hours, strict=True):
        ran[phase] = ran.get(phase, 0.0) + float(amount)
    reference = min(ran, key=lambda phase: (-ran[phase], phase))
    columns = [np.array([float(one == season) for one, _ in pairs]) for season in seasons]
    names: list[str] = []
    notes: list[Assumption] = []
    for phase in sorted(ran, key=lambda phase: (-ran[phase], phase)):
        if phase == reference:
            continue
        column = np.array([float(one == phase) for _, one in pairs])
        joined = np.column_stack([*columns, column])
        if ran[phase] >= LEAST_KH and np.linalg.matrix_rank(joined) == joined.shape[1]:
            columns.append(column)
            names.append(phase)
        else:
            why = "too few hours were read in it, or it stands for one season alone"
            notes.append(Assumption(f"wear in phase {phase or 'none'}", f"as in {reference}", why))
    total = float(hours.sum())
    return PhaseLayout(
        seasons=seasons,
        names=tuple(names),
        reference=reference,
        design=np.column_stack(columns),
        share=np.array([ran[name] / total for name in names]),
        cells=cells,
        read=sums.seasons,
        notes=tuple(notes),
    )
