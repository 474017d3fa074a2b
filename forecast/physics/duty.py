"""Duty of a sliding part: pressure, speed, PV, and the wear a wear factor lets expect.

Each geometry is a :class:`Contact`. Archard's law (Archard 1953) with the specific wear rate k:
a volume V = k F s wears off under the force F over the sliding distance s. Divided by the nominal
area it is a depth, k p v t.
What these functions return is *expected*; what was measured is called ``wear_mm`` everywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
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


# --- geometries ----------------------------------------------------------------------


@dataclass(frozen=True)
class Contact:
    """How one part is loaded, and what its wear depth means.

    Attributes
    ----------
    pressure_mpa
        Mean pressure while in contact, MPa.
    speed_m_s
        Sliding speed, m/s; NaN where wear goes by strokes.
    share
        Part of the time (or of the surface) that is rubbed: the depth is k p v t times this.
    diametral
        By how much the measured size grows for 1 mm of depth: 1 for a thickness or an oval bore, 2
        for the diameter of a bore that wears all round.
    measures
        What the depth is, in words.
    """

    pressure_mpa: float
    speed_m_s: float
    share: float
    diametral: float
    measures: str

    @property
    def pv_mpa_m_s(self) -> float:
        """Pressure times speed, MPa m/s."""
        return self.pressure_mpa * self.speed_m_s

    def depth(self, specific_wear_rate: Numbers, hours: Numbers) -> Numbers:
        """Return the wear depth expected after hours loaded and moving, mm."""
        whole = wear_depth(specific_wear_rate, self.pressure_mpa, self.speed_m_s, hours)
        return _same_kind(np.asarray(whole) * self.share)

    def specific_wear_rate(self, rate_mm_h: Numbers) -> Numbers:
        """Return k in mm3/(N m) that explains a measured depth a running hour (mm/h)."""
        per_hour = wear_depth(1.0, self.pressure_mpa, self.speed_m_s, 1.0)
        return _same_kind(np.asarray(rate_mm_h, dtype=np.float64) / (per_hour * self.share))


def pad(force_n: float, width_mm: float, length_mm: float, speed_m_s: float) -> Contact:
    """Return the contact of a flat pad: the depth h = k p v t is the loss of its thickness."""
    p = float(pressure(force_n, diameter_mm=width_mm, length_mm=length_mm))
    return Contact(p, speed_m_s, 1.0, 1.0, "loss of the pad's thickness")


def guide_strip(
    force_n: float, width_mm: float, pad_mm: float, pitch_mm: float, speed_m_s: float
) -> Contact:
    """Return the contact of a fixed strip under passing pads.

    A point of the strip is rubbed only while a pad is over it (pad / pitch).

    Parameters
    ----------
    force_n
        On one pad, N.
    width_mm, pad_mm
        The pad's width and its length along the strip, mm.
    pitch_mm
        From one pad to the next, mm; not less than the pad.
    speed_m_s
        Of the chain.
    """
    if not 0 < pad_mm <= pitch_mm:
        raise ValueError(f"a pad of {pad_mm} mm does not fit a pitch of {pitch_mm} mm")
    p = float(pressure(force_n, diameter_mm=width_mm, length_mm=pad_mm))
    return Contact(p, speed_m_s, pad_mm / pitch_mm, 1.0, "depth of the groove in the strip")


def bush(force_n: float, diameter_mm: float, length_mm: float, rpm: float) -> Contact:
    """Return the contact of a fixed bush under a fixed load: the bore grows on one side."""
    p = float(pressure(force_n, diameter_mm=diameter_mm, length_mm=length_mm))
    return Contact(
        p, float(speed(diameter_mm, rpm)), 1.0, 1.0, "how far the shaft sinks; the bore gets oval"
    )


def turning_sleeve(force_n: float, diameter_mm: float, length_mm: float, rpm: float) -> Contact:
    """Return the contact of a sleeve that turns under its load: it wears all round.

    The volume is spread over pi d L instead of d L: a radial loss of k p s / pi, so the bore grows
    by 2 k p s / pi in diameter and stays round.
    """
    p = float(pressure(force_n, diameter_mm=diameter_mm, length_mm=length_mm))
    v = float(speed(diameter_mm, rpm))
    return Contact(p, v, 1.0 / math.pi, 2.0, "radial loss; the bore stays round")


def oscillating_bush(
    force_n: float, diameter_mm: float, length_mm: float, half_angle_deg: float, cycles_s: float
) -> Contact:
    """Return the contact of a bush that swings by +/- an angle.

    Mean speed 2 theta d f (theta in radians).

    Debris stays in the gap: a rate from a bush that turns on is a lower bound.
    """
    p = float(pressure(force_n, diameter_mm=diameter_mm, length_mm=length_mm))
    v = 2.0 * math.radians(half_angle_deg) * diameter_mm / 1000.0 * cycles_s
    return Contact(p, v, 1.0, 1.0, "how far the shaft sinks; debris stays in")


def thrust_washer(force_n: float, outer_mm: float, inner_mm: float, rpm: float) -> Contact:
    """Return the contact of a thrust washer: mean loss of thickness at the mean speed.

    p = 4 F / (pi (Do2 - Di2)), v = pi n (Do + Di) / 2; the rim runs at Do / Di times the speed of
    the inner edge, then the pressure spreads anew.
    """
    if not 0 < inner_mm < outer_mm:
        raise ValueError(f"a washer of {outer_mm} mm needs a smaller hole than {inner_mm} mm")
    p = 4.0 * force_n / (math.pi * (outer_mm**2 - inner_mm**2))
    v = float(speed((outer_mm + inner_mm) / 2.0, rpm))
    return Contact(p, v, 1.0, 1.0, "mean loss of the washer's thickness")


def stroke_wear(
    specific_wear_rate: Numbers, pressure_mpa: Numbers, stroke_m: Numbers, strokes: Numbers
) -> Numbers:
    """Return the depth of a plug or seat counted by strokes, mm: h = k p s n.

    Its clock is a cycle counter, not hours.
    """
    slid = np.asarray(stroke_m, dtype=np.float64) * strokes
    return _same_kind(np.asarray(specific_wear_rate) * pressure_mpa * slid)


def us_wear_factor(specific_wear_rate: Numbers) -> Numbers:
    """Return k (mm3/(N m)) in the unit of US charts, 1e-10 in3 min/(ft lbf h)."""
    one = convert(1e-10, "in3 min/(ft lbf h)", "mm3/(N m)")
    return _same_kind(np.asarray(specific_wear_rate, dtype=np.float64) / one)


def elongation_percent(measured_mm: float, pitch_mm: float, pitches: int) -> float:
    """Return by how many per cent a chain is longer than new, over several pitches under load."""
    new = pitch_mm * pitches
    if not new > 0:
        raise ValueError("pitch and number of pitches should be positive")
    return 100.0 * (measured_mm - new) / new


def _same_kind(value: npt.NDArray[np.float64] | np.float64) -> Numbers:
    """Return a plain float for a single number, else the array."""
    return float(value) if np.ndim(value) == 0 else np.asarray(value, dtype=np.float64)
