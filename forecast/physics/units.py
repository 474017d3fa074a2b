"""The exact factor table: every unit a log or a formula may use, and inch fractions.

Factors are decimal fractions, so that 1/8 in is 3.175 mm and nothing else. Sources: the inch, foot
and pound-force by their definitions (25.4 mm, 0.3048 m, 4.4482216152605 N).
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Final

FACTORS: Final[dict[str, dict[str, Fraction]]] = {
    "length": {
        "mm": Fraction(1),
        "cm": Fraction(10),
        "m": Fraction(1000),
        "um": Fraction("0.001"),
        "in": Fraction("25.4"),
        "mil": Fraction("0.0254"),
    },
    "pressure": {
        "MPa": Fraction(1),
        "psi": Fraction("0.006894757293168361"),
        "kgf/cm2": Fraction("0.0980665"),
    },
    "speed": {"m/s": Fraction(1), "ft/min": Fraction("0.00508"), "m/min": Fraction(1, 60)},
    "pv": {
        "MPa m/s": Fraction(1),
        "psi ft/min": Fraction("0.006894757293168361") * Fraction("0.00508"),
        "N/cm2 m/min": Fraction(1, 6000),
    },
    "wear factor": {
        "mm3/(N m)": Fraction(1),
        "m2/N": Fraction(10**9),
        "in3 min/(ft lbf h)": Fraction("25.4") ** 3
        / (60 * Fraction("0.3048") * Fraction("4.4482216152605")),
    },
}
"""Factor to the first unit of each quantity: 1 of the unit is so many of the first."""

SPELLINGS: Final[dict[str, str]] = {
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "um": "um",
    "\u00b5m": "um",
    "\u03bcm": "um",
    "in": "in",
    "inch": "in",
    '"': "in",
    "mil": "mil",
}
"""How units of length are written in logs (in lower case), and which one is meant."""

_PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
_FRACTION = re.compile(r"(-?)(?:(\d{1,6})[ -])?(\d{1,4})/([1-9]\d{0,3})", re.ASCII)


def convert(value: float, unit: str, to: str) -> float:
    """Convert a value from one unit into another of the same quantity.

    Parameters
    ----------
    value
        In ``unit``.
    unit, to
        As in :data:`FACTORS`: ``convert(1, "in", "mm")`` is 25.4.

    Raises
    ------
    ValueError
        If a unit is not known, or the two do not measure the same quantity.
    """
    for factors in FACTORS.values():
        if unit in factors and to in factors:
            return float(Fraction(value) * factors[unit] / factors[to])
    known = ", ".join(name for factors in FACTORS.values() for name in factors)
    raise ValueError(f"cannot convert {unit!r} to {to!r}; known units: {known}")


def number(text: str) -> Fraction:
    """Read a number as logs write it: ``0.5``, ``1/8``, ``1 1/2``, ``1e-3``; exact.

    Raises
    ------
    ValueError
        If it is no number; a comma or a thousands mark is none.
    """
    cell = text.strip()
    fraction = _FRACTION.fullmatch(cell)
    if fraction:
        sign, whole, over, under = fraction.groups()
        size = int(whole or 0) + Fraction(int(over), int(under))
        return -size if sign else size
    if _PLAIN.fullmatch(cell) and abs(Decimal(cell).adjusted()) < 400:
        return Fraction(cell)
    raise ValueError(f"{text!r} is not a number")


def length_unit(text: str) -> str | None:
    """Return the unit of length that is meant, or None: ``length_unit('Inch')`` is ``'in'``."""
    return SPELLINGS.get(text.strip().lower())
