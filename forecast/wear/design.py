"""From duty and grade to the columns of a regression, and from coefficients to words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]

SOURCES: Final[Mapping[str, tuple[str, ...]]] = {
    "log_pressure": ("pressure_mpa", "pressure"),
    "log_speed": ("speed_m_s", "speed"),
    "temperature": ("temperature_c",),
}
"""Columns that a term may be reckoned from."""

TELLABLE: Final = 1e-6
"""Of a column's length, what is left of it beside the others must be more than this."""


@dataclass(frozen=True, eq=False)
class Design:
    """The columns of a regression: a constant, then one a number and one a level beyond the first.

    Attributes
    ----------
    names
        The terms asked for.
    labels
        Of the columns beyond the constant: ``log_speed``, ``grade trial``.
    centres
        Subtracted from each number, so that the constant is the rate in the middle of the data.
    levels
        Of each name, the first being what the others are compared with.
    ranges
        Of each number.
    left_out
        Terms that can't be told, with the reason.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    centres: Mapping[str, float]
    levels: Mapping[str, tuple[str, ...]]
    ranges: Mapping[str, tuple[float, float]]
    left_out: tuple[str, ...]

    def matrix(self, known: pd.DataFrame) -> Array:
        """Return the columns for given covariates [rows, 1 + labels]."""
        columns = [np.ones(len(known))]
        columns += [self._column(known, label) for label in self.labels]
        return np.column_stack(columns)

    def _column(self, known: pd.DataFrame, label: str) -> Array:
        if label in self.centres:
            return np.asarray(known[label].to_numpy(np.float64) - self.centres[label])
        name, level = label.split(" ", 1)
        return np.asarray(known[name].astype(str) == level, dtype=np.float64)

    def outside(self, known: pd.DataFrame) -> npt.NDArray[np.bool_]:
        """Say which rows lie outside what was tested, in any term asked for."""
        out = np.zeros(len(known), dtype=bool)
        for name in self.names:
            if name in self.ranges:
                low, high = self.ranges[name]
                slack = 1e-9 * max(abs(low), abs(high), 1.0)
                values = known[name].to_numpy(np.float64)
                out |= ~((values >= low - slack) & (values <= high + slack))
            else:
                out |= ~known[name].astype(str).isin(self.levels[name]).to_numpy()
        return out

    def tested(self) -> pd.DataFrame:
        """Return the range of each number and the levels of each name: term, low, high."""
        rows: list[tuple[str, object, object]] = []
        for name in self.names:
            if name in self.ranges:
                ends = self.ranges[name]
                if name.startswith("log_"):
                    ends = (float(np.exp(ends[0])), float(np.exp(ends[1])))
                rows.append((name.removeprefix("log_"), *ends))
            else:
                rows += [(name, level, level) for level in self.levels[name]]
        return pd.DataFrame(rows, columns=["term", "low", "high"])

    def meaning(self, label: str, value: float, low: float, high: float) -> str:
        """Say what a coefficient means: '10 % more speed: 9.1 to 12 % more wear'."""
        if label.startswith("log_"):
            changes = [100.0 * (1.1**power - 1.0) for power in (low, high)]
            return f"10 % more {label.removeprefix('log_')}: {_change(*changes)}"
        if label in self.centres:
            changes = [100.0 * float(np.expm1(10.0 * slope)) for slope in (low, high)]
            unit = " C warmer" if label == "temperature" else f" more of {label}"
            return f"10{unit}: {_change(*changes)}"
        name, level = label.split(" ", 1)
        ratios = np.exp([value, low, high])
        return (
            f"{level} against {self.levels[name][0]}: {ratios[0]:.2f} times the wear "
            f"({ratios[1]:.2f} to {ratios[2]:.2f})"
        )


def _change(low: float, high: float) -> str:
    if low >= 0:
        return f"{low:.2g} to {high:.2g} % more wear"
    if high <= 0:
        return f"{-high:.2g} to {-low:.2g} % less wear"
    return f"between {-low:.2g} % less and {high:.2g} % more wear"


def covariates(rows: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Return the columns of the terms: numbers as floats, names as texts.

    Raises
    ------
    ValueError
        If a term has no column, or a number is missing or out of its range.
    """
    found: dict[str, object] = {}
    for name in names:
        column = next((c for c in (name, *SOURCES.get(name, ())) if c in rows.columns), None)
        if column is None:
            raise ValueError(f"no column for the term {name!r}")
        values = rows[column]
        if not pd.api.types.is_numeric_dtype(values) and name not in SOURCES:
            found[name] = values.fillna("").astype(str).to_numpy(dtype=object)
            continue
        numbers = pd.to_numeric(values, errors="coerce").to_numpy(np.float64)
        if name.startswith("log_") and column != name:
            numbers = np.log(np.where(numbers > 0, numbers, np.nan))
        if not np.isfinite(numbers).all():
            raise ValueError(f"the term {name!r} is not known of every piece")
        found[name] = numbers
    return pd.DataFrame(found, index=rows.index)


def design_of(known: pd.DataFrame, names: Sequence[str]) -> Design:
    """Choose the columns that the data can tell; see :class:`Design`."""
    centres: dict[str, float] = {}
    levels: dict[str, tuple[str, ...]] = {}
    ranges: dict[str, tuple[float, float]] = {}
    labels: list[str] = []
    for name in names:
        if known[name].dtype == object:
            levels[name] = tuple(sorted(set(known[name])))
            labels += [f"{name} {level}" for level in levels[name][1:]]
        else:
            values = known[name].to_numpy(np.float64)
            centres[name] = float(values.mean())
            ranges[name] = (float(values.min()), float(values.max()))
            labels.append(name)
    whole = Design(tuple(names), tuple(labels), centres, levels, ranges, ())
    kept, left_out = _tellable(whole.matrix(known), labels)
    same = [f"{name} does not vary" for name in levels if len(levels[name]) == 1]
    return Design(tuple(names), kept, centres, levels, ranges, (*same, *left_out))


def _tellable(matrix: Array, labels: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Keep the columns that are more than a mixture of those before them."""
    kept: list[str] = []
    left_out: list[str] = []
    basis = [matrix[:, 0] / np.linalg.norm(matrix[:, 0])]
    for label, column in zip(labels, matrix[:, 1:].T, strict=True):
        rest = column.copy()
        for _ in range(2):
            for known in basis:
                rest = rest - (known @ rest) * known
        length = float(np.linalg.norm(column))
        if length <= 1e-12 * np.sqrt(column.size):
            left_out.append(f"{label} does not vary")
        elif np.linalg.norm(rest) <= TELLABLE * length:
            left_out.append(f"{label} can't be told apart from the terms before it")
        else:
            kept.append(label)
            basis.append(rest / np.linalg.norm(rest))
    return tuple(kept), tuple(left_out)
