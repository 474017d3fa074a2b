"""Duty of a sliding part: pressure, speed, PV, and the wear a wear factor lets expect.

Archard's law (Archard 1953) with the specific wear rate k: a volume V = k F s wears off under the
force F over the sliding distance s. Divided by the nominal area it is a depth, k p v t.
What these functions return is *expected*; what was measured is called ``wear_mm`` everywhere.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from forecast.physics.units import FACTORS, convert

Array = npt.NDArray[np.float64]
Numbers = float | Array

SECONDS_AN_HOUR: Final = 3600.0
WEAR_FACTORS: Final = FACTORS["wear factor"]
"""Units in which wear factors are printed; the first is ours."""


def pressure(force_n: Numbers, *, diameter_mm: Numbers, length_mm: Numbers) -> Numbers:
    """Return the mean pressure on the projected area of a bush or pad, in MPa.

    Parameters
    ----------
    force_n
        Load, N.
    diameter_mm, length_mm
        Bore and length of a bush, or the two sides of a pad, mm.

    Raises
    ------
    ValueError
        If an area is not positive.
    """
    area = np.asarray(diameter_mm, dtype=np.float64) * length_mm
    if not np.all(area > 0):
        raise ValueError(f"the area should be positive, got {diameter_mm} mm x {length_mm} mm")
    return _same_kind(np.asarray(force_n) / area)


def speed(diameter_mm: Numbers, revolutions_per_minute: Numbers) -> Numbers:
    """Return the sliding speed at a diameter that turns, in m/s (pi d n)."""
    turns_a_second = np.asarray(revolutions_per_minute, dtype=np.float64) / 60.0
    return _same_kind(math.pi * np.asarray(diameter_mm) / 1000.0 * turns_a_second)


def pv(pressure_mpa: Numbers, speed_m_s: Numbers) -> Numbers:
    """Return PV, pressure times sliding speed, in MPa m/s."""
    return _same_kind(np.asarray(pressure_mpa, dtype=np.float64) * speed_m_s)


def wear_depth(
    specific_wear_rate: Numbers, pressure_mpa: Numbers, speed_m_s: Numbers, hours: Numbers
) -> Numbers:
    """Return the wear depth expected of a surface that is always in contact, in mm.

    A fixed bush under a load that does not turn grows by this on one side. A sleeve that turns
    under its load wears all round: its bore grows by 2/pi of it in diameter.

    Parameters
    ----------
    specific_wear_rate
        k, mm3/(N m).
    pressure_mpa, speed_m_s
        Mean pressure and sliding speed.
    hours
        Hours loaded and moving (not calendar hours).
    """
    seconds = np.asarray(hours, dtype=np.float64) * SECONDS_AN_HOUR
    return _same_kind(np.asarray(specific_wear_rate) * pressure_mpa * speed_m_s * seconds)


def specific_wear_rate(value: float, unit: str) -> float:
    """Return a printed wear factor as a specific wear rate in mm3/(N m).

    Parameters
    ----------
    value
        The number in front of the unit.
    unit
        One of :data:`WEAR_FACTORS`, with the exponent that stands in the table's head in front
        of it: ``"1e-10 in3 min/(ft lbf h)"``, ``"1e-6 mm3/(N m)"``.

    Raises
    ------
    ValueError
        If the unit is not known, or the value is not a positive number. Tables that print no
        exponent are the usual trap: it must be asked for, it can't be guessed.
    """
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"a wear factor should be a positive number, got {value}")
    exponent, _, name = unit.strip().partition(" ")
    try:
        factor = float(exponent)
    except ValueError:
        factor, name = 1.0, unit.strip()
    if name not in WEAR_FACTORS:
        known = ", ".join(WEAR_FACTORS)
        raise ValueError(f"unknown unit of a wear factor {unit!r}; known are {known}")
    return convert(value * factor, name, "mm3/(N m)")


def _same_kind(value: npt.NDArray[np.float64] | np.float64) -> Numbers:
    """Return a plain float for a single number, else the array."""
    return float(value) if np.ndim(value) == 0 else np.asarray(value, dtype=np.float64)
