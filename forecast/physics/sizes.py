"""A measured size brought to 20 C and dry; clearance and close-in.

A dimension is defined at 20 C (ISO 1:2022). The macros in ``sql/macros`` hold the same formulas,
since corrections are made in views; a test compares the two on a grid.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import sqrt
from typing import Final

STEEL_CTE: Final = 11.5e-6
"""Expansion of steel gauges, 1/K."""

SIZE_AT: Final = 20.0
"""Temperature at which sizes are defined, C."""


def size_at_20c(
    size_mm: float,
    part_temperature_c: float,
    gauge_temperature_c: float = SIZE_AT,
    part_cte: float = 0.0,
    gauge_cte: float = STEEL_CTE,
) -> float:
    """Return the size at 20 C of a part that is free to grow.

    Parameters
    ----------
    size_mm
        As read from the gauge.
    part_temperature_c, gauge_temperature_c
        The part's own temperature, not the hall's, and the gauge's.
    part_cte, gauge_cte
        Linear expansion in 1/K.

    Returns
    -------
    float
        mm. ``L (1 + a_gauge (T_gauge - 20)) / (1 + a_part (T_part - 20))``.
    """
    gauge = 1 + gauge_cte * (gauge_temperature_c - SIZE_AT)
    return size_mm * gauge / (1 + part_cte * (part_temperature_c - SIZE_AT))


def pressed_bore_at_20c(
    bore_mm: float,
    part_temperature_c: float,
    part_cte: float,
    housing_mm: float,
    housing_cte: float,
) -> float:
    """Return the bore at 20 C of a bush pressed in a housing, which closes when it is hot.

    The bush's cross-section grows freely, its outside follows the housing (area rule).

    Parameters
    ----------
    bore_mm
        As read, mm.
    part_temperature_c
        Of bush and housing.
    part_cte, housing_cte
        Linear expansion in 1/K.
    housing_mm
        Bore of the housing at 20 C, mm.

    Raises
    ------
    ValueError
        If the bore does not fit inside the housing.
    """
    warm = part_temperature_c - SIZE_AT
    outside = (housing_mm * (1 + housing_cte * warm)) ** 2
    section = (outside - bore_mm**2) / (1 + part_cte * warm) ** 2
    if section <= 0 or section >= housing_mm**2:
        raise ValueError(f"a bore of {bore_mm} mm does not fit a housing of {housing_mm} mm")
    return sqrt(housing_mm**2 - section)


def dry_size(size_mm: float, swelling_percent: float) -> float:
    """Return the dry size of a part that has grown by ``swelling_percent`` of its length in water.

    Nylons grow by about 0.25 % for each per cent of water by mass.
    """
    return size_mm / (1 + swelling_percent / 100)


def clearance(bore_mm: float, shaft_mm: float) -> float:
    """Return the running clearance: the bore in place less the shaft, on the diameter, mm."""
    return bore_mm - shaft_mm


def close_in(interference_mm: float, housing_mm: float, bore_mm: float) -> float:
    """Return by how much the bore closes when a bush is pressed in.

    Parameters
    ----------
    interference_mm
        Outside diameter of the free bush less the housing's bore.
    housing_mm
        The housing's bore.
    bore_mm
        Bore of the free bush.

    Returns
    -------
    float
        mm, by the exact area rule; about ``interference D / d``.

    Raises
    ------
    ValueError
        If the bush has no bore left.
    """
    left = bore_mm**2 - (housing_mm + interference_mm) ** 2 + housing_mm**2
    if left <= 0:
        raise ValueError(f"an interference of {interference_mm} mm closes a bore of {bore_mm} mm")
    return bore_mm - sqrt(left)


def _grown(value_mm: float, new_mm: float) -> float:
    return value_mm - new_mm


def _shrunk(value_mm: float, new_mm: float) -> float:
    return new_mm - value_mm


_WEAR: Final[Mapping[str, Callable[[float, float], float]]] = {
    "remaining": _shrunk,
    "diameter": _shrunk,
    "bore": _grown,
    "clearance": _grown,
    "pitch": _grown,
}


def wear_from_reading(
    reading_kind: str, value_mm: float, fitted_mm: float | None, nominal_mm: float | None
) -> float:
    """Return the wear that a reading shows.

    Parameters
    ----------
    reading_kind
        ``wear_depth``; ``remaining`` or ``diameter``, which shrink with wear; ``bore``,
        ``clearance`` or ``pitch``, which grow.
    value_mm
        The reading at 20 C.
    fitted_mm
        The same measure when the piece was new and in place; None where nobody measured it.
    nominal_mm
        The drawing's size, used instead.

    Returns
    -------
    float
        mm; NaN where a size can be compared with nothing.

    Raises
    ------
    ValueError
        If the kind is unknown.
    """
    if reading_kind == "wear_depth":
        return value_mm
    if reading_kind not in _WEAR:
        raise ValueError(f"reading kind {reading_kind!r} is none of wear_depth, {', '.join(_WEAR)}")
    new = fitted_mm if fitted_mm is not None else nominal_mm
    return float("nan") if new is None else _WEAR[reading_kind](value_mm, new)
