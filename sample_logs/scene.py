"""The invented plant: its machines, parts, seasons and the truth that its logs hide.

A co-operative packs potatoes on 44 pocket-conveyor graders in four lines, round the clock for
fourteen weeks a year. Every number here is made up within the ranges the trade knows.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

MACHINES: Final = tuple(f"G{number:02d}" for number in range(1, 45))
LINES: Final = tuple("ABCD"[index // 11] for index in range(44))
SIZES: Final = ("35", "45", "55", "65")
SLEEVES, STRIPS, POCKETS = 24, 8, 180
GAUGE_SD: Final = 0.03
BEDDING_HOURS: Final = 20.0
"""The bedding-in offset is reached as 1 - exp(-hours / 20): 95 % of it after 60 h."""
LOGS_END: Final = date(2026, 8, 30)


@dataclass(frozen=True)
class Law:
    """How one part type wears and breaks.

    Attributes
    ----------
    part_type
        Name of the part type.
    rate
        Median wear rate in mm an hour; log rates are normal over machines and pieces.
    limit, alert
        Wear limit and the depth from which a piece is read again every week, mm.
    offset, offset_sd
        Bedding-in, mm.
    break_shape, break_scale
        Weibull law of breakage, hours from fitting.
    seasons
        Log rate of the seasons 2024, 2025 and 2026, less the usual.
    machine_sd, piece_sd
        Spread of log rates between machines, and between pieces of one machine.
    """

    part_type: str
    rate: float
    limit: float
    alert: float
    offset: float
    offset_sd: float
    break_shape: float
    break_scale: float
    seasons: tuple[float, float, float]
    machine_sd: float = 0.12
    piece_sd: float = 0.20


SLEEVE: Final = Law("SLEEVE-30", 0.23e-3, 1.00, 0.80, 0.06, 0.015, 1.6, 20_000, (0.05, -0.08, 0.07))
TRIAL: Final = Law("SLEEVE-30T", 0.16e-3, 1.00, 0.80, 0.05, 0.015, 1.6, 26_000, SLEEVE.seasons)
STRIP: Final = Law("STRIP-12", 0.32e-3, 1.30, 1.05, 0.08, 0.02, 2.0, 14_000, (0.08, -0.03, -0.05))
LINERS: Final = (
    Law("LINER-35", 0.28e-3, 1.00, 0.85, 0.07, 0.02, 1.8, 6_000, (-0.06, 0.07, 0.05)),
    Law("LINER-45", 0.29e-3, 1.00, 0.85, 0.07, 0.02, 1.8, 6_500, (0.04, 0.08, -0.06)),
    Law("LINER-55", 0.30e-3, 1.00, 0.85, 0.07, 0.02, 1.8, 7_000, (-0.09, 0.06, 0.02)),
    Law("LINER-65", 0.29e-3, 1.00, 0.85, 0.07, 0.02, 1.8, 7_500, (0.03, -0.05, 0.09)),
)
LAWS: Final = (SLEEVE, TRIAL, STRIP, *LINERS)
PHASES: Final = {"sandy": 0.04, "loam": 0.0, "wet clay": -0.04}
"""Raw material of a week, and what it adds to the log rate of every part."""

OVERHAUL_SHARE: Final = 0.72
"""In the overhaul, pieces read at this share of their limit or more are changed."""
TRIAL_MACHINES: Final = ("G13", "G15", "G18", "G20")
TRIAL_POSITIONS: Final = tuple(range(13, 25))
TURNING: Final = (2025, "B")
"""The season and line whose crew turned worn strips instead of changing them."""
START_AGES: Final = {
    "G37": 1150, "G38": 1150, "G39": 1420, "G40": 1420, "G41": 860, "G42": 860,
}  # fmt: skip
"""Hours on the machines' parts when the logs begin; all others began new, two are unknown."""
KIT_AGES: Final = {
    "G37": 560, "G38": 560, "G39": 700, "G40": 700, "G41": 430, "G42": 430,
}  # fmt: skip
UNKNOWN_START: Final = ("G43", "G44")


@dataclass(frozen=True)
class Season:
    """One lifting season of fourteen weeks, Monday to Sunday.

    Attributes
    ----------
    year
        Its name.
    start
        Its first Monday.
    weeks
        The raw material of each week: S sandy, L loam, C wet clay.
    switches
        Calibre changes: week whose Sunday brings it, the new size, on which machines.
    """

    year: int
    start: date
    weeks: str
    switches: tuple[tuple[int, str, str], ...]

    @property
    def days(self) -> tuple[date, ...]:
        """All 98 days."""
        return tuple(self.start + timedelta(days=day) for day in range(98))

    def phase(self, day: date) -> str:
        """Return the raw material of a day."""
        letter = self.weeks[(day - self.start).days // 7]
        return {"S": "sandy", "L": "loam", "C": "wet clay"}[letter]

    def sunday(self, week: int) -> date:
        """Return the Sunday that ends a week counted from 1."""
        return self.start + timedelta(days=7 * week - 1)


A, B, C, D = "G01-G11", "G12-G22", "G23-G33", "G34-G44"
SEASONS: Final = (
    Season(
        2024,
        date(2024, 8, 5),
        "LSCSLCSCLSLCSC",
        (
            (4, "45", A), (4, "45", B), (5, "45", C), (5, "45", D),
            (7, "55", A), (8, "55", B), (8, "55", C), (9, "55", D),
            (11, "65", A), (11, "65", B), (12, "65", C), (12, "65", D),
        ),
    ),
    Season(
        2025,
        date(2025, 8, 4),
        "SLCLSCCSLSCLCS",
        (
            (3, "45", A), (4, "45", B), (4, "45", C), (5, "45", D),
            (8, "55", A), (8, "55", B), (9, "55", C), (9, "55", D),
            (11, "65", A), (12, "65", B), (12, "65", C), (12, "65", D),
        ),
    ),
    Season(
        2026,
        date(2026, 8, 3),
        "SLCLSCLSCSLCLL",
        (
            (3, "45", A), (4, "45", "G12-G16"), (5, "45", "G17-G22"), (5, "45", C), (6, "45", D),
            (8, "55", A), (8, "55", B), (9, "55", C), (9, "55", D),
            (11, "65", A), (11, "65", B), (12, "65", C), (12, "65", D),
        ),
    ),
)  # fmt: skip

STOPS: Final = (
    ("line", "C", date(2024, 9, 17), date(2024, 9, 18), 11.0),
    ("line", "A", date(2025, 10, 7), date(2025, 10, 7), 0.0),
    ("machine", "G07", date(2025, 9, 8), date(2025, 9, 17), 0.0),
    ("machine", "G07", date(2026, 9, 7), date(2026, 9, 13), 0.0),
)
"""Where a line or machine ran other hours than the plant: from, until, hours a day."""


def span(machines: str) -> range:
    """Return the numbers (from 0) of the machines of a span such as ``G12-G16``."""
    first, last = machines.split("-")
    return range(MACHINES.index(first), MACHINES.index(last) + 1)


def overhaul_day(year: int, machine: int) -> date:
    """Return the working day in June or July on which a machine is overhauled."""
    first = date(year, 6, 9 if year == 2025 else 8)
    working_day = machine * 3 // 4
    return first + timedelta(days=working_day // 5 * 7 + working_day % 5)
