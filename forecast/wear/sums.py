"""The sums a piece's readings enter the wear fit with: all that is needed of them.

A reading says y = d + rate x sum over seasons of (level of the season x hours run in it) + error.
Per piece the fit needs the number of readings, the sums of y and y2, and per season the sums of
hours x, of x y and of the products x x'. The store makes them in SQL; :func:`wear_sums` makes the
same in pandas, for readings in memory and as a check of the SQL.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

HOURS_IN_KH: Final = 1000.0
"""Sums hold thousands of hours, so that hours and millimetres are of one order."""

ONE_SEASON: Final = "all"
"""The season of readings that name none."""


@dataclass(frozen=True, eq=False)
class CellSums:
    """Sums of the readings of each piece, by season; hours in thousands, wear in mm.

    Attributes
    ----------
    pieces, machines
        Name of each piece; names of the machines, sorted.
    machine
        Index of each piece's machine [pieces].
    seasons
        Names of the seasons, in the order of the arrays' last axes.
    n, y, yy
        Number of readings, sum of wear, sum of its square [pieces].
    x, xy
        Sum of hours run in each season up to each reading, and of that times wear
        [pieces, seasons].
    xx
        Sum of the products of the hours in two seasons [pieces, seasons, seasons].
    last_hours, last_mm
        Hours since new (thousands, all seasons) and wear at the last reading [pieces]; NaN where
        not known.
    fitted_known
        Whether the size was measured when the piece was fitted: else its readings stand against
        the nominal size, and the offset contains the scatter of new parts [pieces].
    """

    pieces: tuple[str, ...]
    machines: tuple[str, ...]
    machine: IntArray
    seasons: tuple[str, ...]
    n: Array
    y: Array
    yy: Array
    x: Array
    xy: Array
    xx: Array
    last_hours: Array
    last_mm: Array
    fitted_known: npt.NDArray[np.bool_]

    def rows(self, pieces: Sequence[str]) -> IntArray:
        """Return where the named pieces stand.

        Raises
        ------
        ValueError
            If a piece has no readings in the fit.
        """
        index = pd.Index(self.pieces).get_indexer(pd.Index(list(pieces), dtype=object))
        if (index < 0).any():
            unknown = [str(name) for name, at in zip(pieces, index, strict=True) if at < 0]
            raise ValueError(f"no readings in the wear fit of piece(s) {', '.join(unknown[:5])}")
        return np.asarray(index, dtype=np.int64)

    def along(self, levels: Array) -> LineSums:
        """Return the sums on each piece's clock of equivalent hours.

        Parameters
        ----------
        levels
            How fast each season wears, relative to the others [seasons].
        """
        return LineSums(
            n=self.n,
            y=self.y,
            yy=self.yy,
            x=self.x @ levels,
            xy=self.xy @ levels,
            xx=np.einsum("pab,a,b->p", self.xx, levels, levels),
        )


@dataclass(frozen=True, eq=False)
class LineSums:
    """Sums for a straight line of wear y on one clock x, by piece."""

    n: Array
    y: Array
    yy: Array
    x: Array
    xy: Array
    xx: Array

    def spread(self) -> tuple[Array, Array, Array]:
        """Return the sums of squares about the means: of x, of x with y, of y [pieces each]."""
        return (
            np.maximum(self.xx - self.x**2 / self.n, 0.0),
            self.xy - self.x * self.y / self.n,
            np.maximum(self.yy - self.y**2 / self.n, 0.0),
        )


def wear_sums(
    readings: pd.DataFrame, seasons: Sequence[str] | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the sums that the store's views give, as frames ``wear`` and ``wear_cells``.

    Parameters
    ----------
    readings
        Columns ``machine``, ``piece``, ``wear_mm`` and the hours the piece had run since new:
        ``hours``, or one column a season.
    seasons
        Names of the seasons, oldest first, each a column of ``readings`` with the hours run in it
        up to the reading. None: all hours stand in ``hours`` and are one season.

    Returns
    -------
    tuple of DataFrame
        ``wear`` [piece, machine, n, sy, syy, last_age, last_mm], one row a piece, and
        ``wear_cells`` [piece, season, other, sx, sxy, sxx], as Snapshot holds them.

    Raises
    ------
    ValueError
        If a column is missing, a number is not finite, or a piece is on two machines.
    """
    names, hours = _hours(readings, seasons)
    wear = readings["wear_mm"].to_numpy(dtype=np.float64)
    if not (np.isfinite(wear).all() and np.isfinite(hours).all()):
        raise ValueError("hours and wear_mm should be finite numbers in every reading")
    codes, pieces = pd.factorize(readings["piece"].astype(str), sort=True)
    count = len(pieces)
    machine = _machine_of(readings, codes, count)
    last = _last_reading(codes, hours.sum(axis=1), wear, count)
    frame = pd.DataFrame(
        {
            "piece": np.asarray(pieces, dtype=object),
            "machine": machine,
            "n": np.bincount(codes, minlength=count),
            "sy": np.bincount(codes, wear, count),
            "syy": np.bincount(codes, wear * wear, count),
            "last_age": hours.sum(axis=1)[last],
            "last_mm": wear[last],
        }
    )
    return frame, _cell_frame(names, hours / HOURS_IN_KH, wear, codes, np.asarray(pieces))


def cell_sums(wear: pd.DataFrame, cells: pd.DataFrame, seasons: Sequence[str]) -> CellSums:
    """Put the frames of a Snapshot into arrays; seasons without any hours are left out.

    Parameters
    ----------
    wear, cells
        Frames ``wear`` and ``wear_cells`` of one part type and duty group; cells of other pieces
        are passed over.
    seasons
        The seasons' names, oldest first.

    Raises
    ------
    ValueError
        If a season of ``cells`` is not among ``seasons``, or a piece has two rows.
    """
    wear = wear.sort_values("piece", kind="stable")
    pieces = pd.Index(wear["piece"].astype(str))
    if not pieces.is_unique:
        raise ValueError(f"a piece has two rows of sums: {pieces[pieces.duplicated()][0]}")
    row = pieces.get_indexer(pd.Index(cells["piece"].astype(str)))
    first = pd.Index(list(seasons)).get_indexer(pd.Index(cells["season"].astype(str)))
    second = pd.Index(list(seasons)).get_indexer(pd.Index(cells["other"].astype(str)))
    if (first < 0).any() or (second < 0).any():
        raise ValueError(f"wear sums of a season that is not among {', '.join(seasons)}")
    mine = row >= 0
    row, first, second = row[mine], first[mine], second[mine]
    x = np.zeros((len(pieces), len(seasons)))
    xy = np.zeros_like(x)
    xx = np.zeros((len(pieces), len(seasons), len(seasons)))
    own = first == second
    x[row[own], first[own]] = cells["sx"].to_numpy(dtype=np.float64)[mine][own]
    xy[row[own], first[own]] = cells["sxy"].to_numpy(dtype=np.float64)[mine][own]
    products = cells["sxx"].to_numpy(dtype=np.float64)[mine]
    xx[row, first, second] = products
    xx[row, second, first] = products
    run = [k for k in range(len(seasons)) if x[:, k].sum() > 0]
    machine, machines = pd.factorize(wear["machine"].astype(str), sort=True)
    return CellSums(
        pieces=tuple(pieces),
        machines=tuple(map(str, machines)),
        machine=np.asarray(machine, dtype=np.int64),
        seasons=tuple(seasons[k] for k in run),
        n=_numbers(wear, "n"),
        y=_numbers(wear, "sy"),
        yy=_numbers(wear, "syy"),
        x=x[:, run],
        xy=xy[:, run],
        xx=xx[:, run][:, :, run],
        last_hours=_numbers(wear, "last_age") / HOURS_IN_KH,
        last_mm=_numbers(wear, "last_mm"),
        fitted_known=(
            wear["fitted_known"].to_numpy(dtype=bool)
            if "fitted_known" in wear.columns
            else np.ones(len(wear), dtype=bool)
        ),
    )


def _numbers(frame: pd.DataFrame, name: str) -> Array:
    """Return a column as floats; NaN where the frame has no such column."""
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return frame[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _hours(readings: pd.DataFrame, seasons: Sequence[str] | None) -> tuple[tuple[str, ...], Array]:
    """Return the seasons' names and the hours run in each [readings, seasons]."""
    columns = ["hours"] if seasons is None else list(seasons)
    needed = ["machine", "piece", "wear_mm", *columns]
    missing = [name for name in needed if name not in readings.columns]
    if missing:
        raise ValueError(f"the readings lack the column(s) {', '.join(missing)}")
    hours = readings[columns].to_numpy(dtype=np.float64)
    if (hours < 0).any():
        raise ValueError("hours should not be negative")
    return ((ONE_SEASON,) if seasons is None else tuple(seasons)), hours


def _machine_of(readings: pd.DataFrame, codes: IntArray, count: int) -> npt.NDArray[np.object_]:
    """Return the machine of each piece."""
    names = readings["machine"].astype(str).to_numpy(dtype=object)
    machine = np.empty(count, dtype=object)
    machine[codes] = names
    if (machine[codes] != names).any():
        raise ValueError("a piece stands on two machines; give its stays different names")
    return machine


def _last_reading(codes: IntArray, hours: Array, wear: Array, count: int) -> IntArray:
    """Return the row of the latest reading of each piece (of equal hours the deeper one)."""
    order = np.lexsort((wear, hours, codes))
    last = np.searchsorted(codes[order], np.arange(count), side="right") - 1
    return np.asarray(order[last], dtype=np.int64)


def _cell_frame(
    names: Sequence[str], x: Array, wear: Array, codes: IntArray, pieces: npt.NDArray[np.object_]
) -> pd.DataFrame:
    """Return the rows of ``wear_cells``: pairs of seasons in which a piece ran before a reading."""
    count = len(pieces)
    parts: list[pd.DataFrame] = []
    for first, season in enumerate(names):
        for second in range(first, len(names)):
            products = np.bincount(codes, x[:, first] * x[:, second], count)
            own = first == second
            nothing = np.zeros(count)
            part = pd.DataFrame(
                {
                    "piece": pieces,
                    "season": season,
                    "other": names[second],
                    "sx": np.bincount(codes, x[:, first], count) if own else nothing,
                    "sxy": np.bincount(codes, x[:, first] * wear, count) if own else nothing,
                    "sxx": products,
                }
            )
            parts.append(part[products > 0])
    cells = pd.concat(parts, ignore_index=True)
    return cells.sort_values(["piece", "season", "other"], kind="stable", ignore_index=True)
