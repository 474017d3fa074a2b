"""What embrittles plastics without loss of size: a thickness log cannot see it.

Each rule is a sentence to be shown beside a duty. Sources are named in the sentences' notes; a
rule warns, it judges no grade.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

HOT_WATER_C: Final = 60.0
"""Continuous hot water limit that a stock maker prints for PET."""

HOT_CAUSTIC_C: Final = 50.0
"""Saponification of PET by caustic soda was measured from 50 C up (activation 54 kJ/mol)."""

_FAMILIES: Final = (
    ("polyester", r"\b(PETP?|PBT|polyesters?)\b"),
    ("nylon", r"\b(PA ?\d+\w*|nylons?|polyamides?)\b"),
    ("acetal", r"\b(POM\w*|acetals?)\b"),
)
_CAUSTIC: Final = r"caustic|\blye\b|alkali|NaOH|sodium hydroxide|lime\b"
_WATER: Final = r"water|steam|condensate|wet\b|rinse|blanch"
_ACID: Final = r"\bacids?\b|acidic"
_OXIDISER: Final = r"hypochlorite|chlorine|peracetic|nitric|peroxide|oxidis"


@dataclass(frozen=True)
class Attack:
    """A medium that attacks a family of plastics.

    Attributes
    ----------
    what
        ``hot caustic``, ``caustic``, ``hot water``, ``strong acid`` or ``oxidiser``.
    limit_c
        Temperature from which it counts, C; NaN: at any.
    sentence, source
        To be shown.
    """

    what: str
    limit_c: float
    sentence: str
    source: str


def family(*names: str) -> str:
    """Return the family that a grade's name or description tells, or an empty text."""
    text = " ".join(names).replace("-", " ").replace("_", " ")
    found = [name for name, words in _FAMILIES if re.search(words, text, re.IGNORECASE)]
    return found[0] if found else ""


def attacks(of_family: str, medium: str, temperature_c: float | None) -> tuple[Attack, ...]:
    """Return what a medium does to a family of plastics at a temperature.

    Parameters
    ----------
    of_family
        From :func:`family`, or of a material.
    medium
        In words, as the fleet states it.
    temperature_c
        None where nobody stated it: the rules for hot media are then shown too.
    """
    nan = float("nan")
    found: list[Attack] = []

    def says(words: str) -> bool:
        return re.search(words, medium, re.IGNORECASE) is not None

    def reaches(limit: float) -> bool:
        return temperature_c is None or temperature_c >= limit

    if of_family == "polyester" and says(_CAUSTIC):
        hot = reaches(HOT_CAUSTIC_C)
        found.append(
            Attack(
                "hot caustic" if hot else "caustic",
                HOT_CAUSTIC_C if hot else nan,
                "caustic splits polyester chains; tension adds stress cracks. It turns brittle "
                "before it loses size: set an exposure limit and look for crazing",
                "resistance and stress-cracking studies of PET in caustic soda",
            )
        )
    if of_family == "polyester" and says(_WATER) and reaches(HOT_WATER_C):
        found.append(
            Attack(
                "hot water",
                HOT_WATER_C,
                "hot water and steam split polyester chains, about 3 times faster for each 10 C "
                "above 80 C: set an exposure limit beside the wear limit",
                "a stock maker's limit for PET; a 5-year ageing study",
            )
        )
    if of_family in ("nylon", "acetal") and says(_ACID):
        found.append(
            Attack(
                "strong acid",
                nan,
                f"strong acids attack {of_family}: ask the supplier for this acid",
                "a moulder's page (nylon), a trade page (acetal)",
            )
        )
    if of_family in ("nylon", "acetal", "polyester") and says(_OXIDISER):
        found.append(
            Attack(
                "oxidiser",
                nan,
                "oxidising cleaners can embrittle without loss of size: set an exposure limit",
                "common practice, no source",
            )
        )
    return tuple(found)
