"""Lives seen whole, cut short, or known only to have ended between two inspections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False, init=False)
class Lives:
    """Lives of pieces, one row each, in hours of the piece's own clock.

    Parameters
    ----------
    lower
        Age up to which the piece is known to have lived.
    upper
        Age at which it is known to have failed: equal to ``lower`` where the failure was seen,
        infinite where the piece was taken out or is still alive (a suspension), else the age at
        the inspection that found it failed (``lower`` is then the inspection before, or 0).
    entry
        Age at which watching began; 0 (the default) for a piece watched from new. What failed
        before that age could not be seen, and the likelihood allows for it.
    weight
        Number of equal lives a row stands for; 1 by default.

    Raises
    ------
    ValueError
        With the row and value, for an age that is missing or negative, ``upper`` below ``lower``,
        an exact failure at age 0, entry above ``lower`` or not below ``upper``, weight not
        positive.
    """

    lower: Array
    upper: Array
    entry: Array
    weight: Array

    def __init__(
        self,
        lower: npt.ArrayLike,
        upper: npt.ArrayLike,
        entry: npt.ArrayLike | None = None,
        weight: npt.ArrayLike | None = None,
    ) -> None:
        rows = np.shape(lower)
        columns = {
            "lower": _column(lower, "lower"),
            "upper": _column(upper, "upper"),
            "entry": _column(np.zeros(rows) if entry is None else entry, "entry"),
            "weight": _column(np.ones(rows) if weight is None else weight, "weight"),
        }
        size = columns["lower"].size
        for name, column in columns.items():
            if column.size != size:
                raise ValueError(f"lower has {size} rows but {name} has {column.size}")
        _refuse_faulty_rows(**columns)
        for name, column in columns.items():
            column.setflags(write=False)
            object.__setattr__(self, name, column)

    @property
    def exact(self) -> BoolArray:
        """Rows whose failure was seen."""
        return np.asarray(self.lower == self.upper)

    @property
    def suspended(self) -> BoolArray:
        """Rows that had not failed when last seen."""
        return np.asarray(np.isinf(self.upper))

    @property
    def between(self) -> BoolArray:
        """Rows that failed somewhere between two inspections."""
        return np.asarray(~self.exact & ~self.suspended)

    @property
    def failures(self) -> float:
        """Number of failures, seen or found."""
        return float(self.weight[~self.suspended].sum())

    @property
    def count(self) -> float:
        """Number of lives: the sum of the weights."""
        return float(self.weight.sum())

    @property
    def oldest(self) -> float:
        """Largest age seen (0 for no lives): the last finite end of any row."""
        ends = np.where(self.suspended, self.lower, self.upper)
        return float(ends.max(initial=0.0))

    @property
    def exposure(self) -> float:
        """Hours watched; a failure between inspections counts up to the later one."""
        ends = np.where(self.suspended, self.lower, self.upper)
        return float(self.weight @ (ends - self.entry))

    def only(self, keep: BoolArray) -> Lives:
        """Return the rows where ``keep`` is true."""
        return Lives(self.lower[keep], self.upper[keep], self.entry[keep], self.weight[keep])

    def __len__(self) -> int:
        return int(self.lower.size)

    def __str__(self) -> str:
        kinds = (
            (self.exact, "exact"),
            (self.between, "between inspections"),
            (self.suspended, "suspensions"),
            (self.entry > 0, "entered late"),
        )
        counted = [
            f"{_number(self.weight[rows].sum())} {words}" for rows, words in kinds if rows.any()
        ]
        text = f"{_number(self.count)} {'life' if self.count == 1 else 'lives'}"
        return f"{text}: {', '.join(counted)}" if counted else text


def _column(values: npt.ArrayLike, name: str) -> Array:
    """Copy values into a float array of one dimension."""
    column = np.array(values, dtype=np.float64)
    if column.ndim != 1:
        raise ValueError(f"{name} must be one-dimensional but has shape {column.shape}")
    return column


def _refuse_faulty_rows(lower: Array, upper: Array, entry: Array, weight: Array) -> None:
    """Raise ValueError for the first row that cannot be a life."""
    _refuse(~np.isfinite(lower) | (lower < 0), "lower must be finite and not negative", lower)
    _refuse(np.isnan(upper), "upper must be an age, or infinite", upper)
    _refuse(upper < lower, "upper must not lie below lower", upper, lower)
    _refuse(upper <= 0, "a failure must have an age above 0", upper)
    _refuse(~np.isfinite(entry) | (entry < 0), "entry must be finite and not negative", entry)
    _refuse(entry > lower, "entry must not lie above lower", entry, lower)
    _refuse(entry >= upper, "entry must lie below upper", entry, upper)
    _refuse(~np.isfinite(weight) | (weight <= 0), "weight must be finite and positive", weight)


def _refuse(faulty: BoolArray, rule: str, value: Array, beside: Array | None = None) -> None:
    if faulty.any():
        row = int(np.argmax(faulty))
        against = "" if beside is None else f" against {beside[row]:g}"
        raise ValueError(f"{rule}, but row {row} has {value[row]:g}{against}")


def _number(count: float) -> str:
    return f"{count:.0f}" if float(count).is_integer() else f"{count:.1f}"
