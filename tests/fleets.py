"""Small simulated fleets with a known end: what a forecast should have said.

Not a test: ``runpy.run_path(...)["fleet"](kind, seed)`` gives one. Twelve machines with ten
positions each start new; one to three seasons are lived through with the forecast's own policy
(broken pieces are changed at once, pieces at their limit on the next Sunday), then the coming one.
Truths are drawn from the priors that the forecast states.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
import pandas as pd

from forecast.records.snapshot import COLUMNS, Snapshot
from forecast.wear.sums import wear_sums

Kind = Literal["worn", "broken", "mixed"]
KINDS: tuple[Kind, ...] = ("worn", "broken", "mixed")

PART = "PAD-20"
MACHINES, POSITIONS, WEEKS = 12, 10, 14
HOURS_A_DAY = 21.8
WEEK = 7 * HOURS_A_DAY
SEASON = WEEKS * WEEK
READ_WEEKS = (5, 12)
GAUGE_SD, OFFSET, OFFSET_SD = 0.03, 0.07, 0.02
MACHINE_SD, PIECE_SD = 0.12, 0.20
START = {2023: date(2023, 8, 7), 2024: date(2024, 8, 5), 2025: date(2025, 8, 4)}
COMING = date(2026, 8, 3)

PLAN = f"""\
[season]
name = "Simulated season"
start = {COMING}
end = {COMING + timedelta(days=7 * WEEKS - 1)}
as_of = {COMING - timedelta(days=1)}
running_hours_per_day = {HOURS_A_DAY}
[windows]
weekly = "sunday"
crew_hours = 1000.0
[defaults]
policy = "run_to_failure"
[draws]
count = 2000
seed = %d
"""


NOTHING = {name: pd.DataFrame(columns=list(columns)) for name, columns in COLUMNS.items()}
"""Every frame of a snapshot, empty."""


@dataclass(frozen=True)
class Truth:
    """What one fleet is made of; infinite limit or scale: the mode is not there."""

    limit: float
    rate: float
    levels: tuple[float, ...]
    shape: float
    scale: float


@dataclass
class Piece:
    """One piece, its hours by season and its readings."""

    name: str
    machine: int
    position: int
    rate: float
    offset: float
    break_age: float
    ran: list[float]
    worn: float = 0.0
    mode: str | None = None
    readings: list[tuple[date, list[float], float]] = field(default_factory=list)

    @property
    def age(self) -> float:
        return sum(self.ran)

    @property
    def depth(self) -> float:
        return self.offset + self.worn

    def run(self, hours: float, season: int, level: float) -> None:
        self.ran[season] += hours
        self.worn += self.rate * math.exp(level) * hours

    def read(self, day: date, rng: np.random.Generator) -> float:
        shown = self.depth + GAUGE_SD * float(rng.standard_normal())
        self.readings.append((day, list(self.ran), shown))
        return shown


def draw_truth(kind: Kind, seasons: int, rng: np.random.Generator) -> Truth:
    """Draw what a fleet is made of; the last level is the coming season's."""
    spread = abs(0.15 * float(rng.standard_normal()))
    levels = tuple(float(level) for level in spread * rng.standard_normal(seasons + 1))
    shape = float(np.exp(np.log(2.0) + 0.5 * rng.standard_normal()))
    rate = 0.3e-3 * float(np.exp(0.3 * rng.standard_normal()))
    limit = OFFSET + rate * SEASON * float(rng.uniform(1.3, 3.5))
    scale = SEASON * float(rng.uniform(1.5, 6.0)) / math.gamma(1 + 1 / shape)
    truth = Truth(limit, rate, levels, shape, scale)
    if kind == "worn":
        return replace(truth, scale=math.inf)
    return truth if kind == "mixed" else replace(truth, limit=math.inf)


def live(
    truth: Truth, seasons: int, rng: np.random.Generator
) -> tuple[list[Piece], list[Piece], int]:
    """Live through the past seasons and the coming one.

    Returns the pieces that ended in the past, those in place before the coming season (as they
    were then), and how many ended in the coming season.
    """
    ended, in_place, used = [], [], 0
    effect = np.exp(MACHINE_SD * rng.standard_normal(MACHINES))
    starts = list(START.values())[-seasons:]

    def new(machine: int, position: int, number: int) -> Piece:
        own = float(np.exp(PIECE_SD * rng.standard_normal()))
        life = -math.log(1 - float(rng.random()))
        broken = math.inf if math.isinf(truth.scale) else truth.scale * life ** (1 / truth.shape)
        return Piece(
            f"M{machine + 1:02d}/{position + 1:02d}/{number}",
            machine,
            position,
            truth.rate * float(effect[machine]) * own,
            OFFSET + OFFSET_SD * float(rng.standard_normal()),
            broken,
            [0.0] * (seasons + 1),
        )

    for machine in range(MACHINES):
        for position in range(POSITIONS):
            number = 1
            piece = new(machine, position, number)
            for season in range(seasons + 1):
                past = season < seasons
                if not past:
                    copy = replace(piece, ran=list(piece.ran), readings=list(piece.readings))
                    in_place.append(copy)
                for week in range(WEEKS):
                    left, gone = WEEK, []
                    while piece.break_age <= piece.age + left:
                        hours = piece.break_age - piece.age
                        piece.run(hours, season, truth.levels[season])
                        left -= hours
                        piece.mode = "broken"
                        gone.append(piece)
                        number += 1
                        piece = new(machine, position, number)
                    piece.run(left, season, truth.levels[season])
                    day = (starts[season] if past else COMING) + timedelta(days=7 * week + 6)
                    if piece.depth >= truth.limit:
                        piece.mode = "worn" if piece.read(day, rng) >= truth.limit else ""
                        gone.append(piece)
                        number += 1
                        piece = new(machine, position, number)
                    elif past and week in READ_WEEKS and math.isfinite(truth.limit):
                        piece.read(day, rng)
                    if past:
                        ended += gone
                    else:
                        used += len(gone)
    return ended, in_place, used


def fleet(kind: Kind, seed: int) -> tuple[Snapshot, str, dict[str, int]]:
    """Return a fleet as it is known before the coming season, a plan, and the spares it used.

    Parameters
    ----------
    kind
        What ends pieces: wear, breakage, or both.
    seed
        Of everything. Truths under which a pilot fleet uses fewer than 5 or more than 60 spares
        are drawn again.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    while True:
        seasons = int(rng.integers(1, 4))
        truth = draw_truth(kind, seasons, rng)
        if 5 <= live(truth, seasons, rng)[2] <= 60:
            break
    ended, in_place, used = live(truth, seasons, rng)
    return known(truth, seasons, ended, in_place), PLAN % seed, {PART: used}


def known(truth: Truth, seasons: int, ended: list[Piece], in_place: list[Piece]) -> Snapshot:
    """Return what the logs would tell of a fleet."""
    starts = list(START.values())[-seasons:]
    names = [str(start.year) for start in starts]
    frames = dict(NOTHING)
    wears = math.isfinite(truth.limit)
    part = dict.fromkeys(COLUMNS["part_types"]) | {
        "part_type": PART,
        "description": "Simulated pad",
        "clock": "hours",
        "wear_limit_mm": truth.limit if wears else 2.0,
        "limit_measure": "depth",
        "limit_low_mm": np.nan,
        "limit_high_mm": np.nan,
        "gauge_sd_mm": GAUGE_SD if wears else np.nan,
        "carries_people": False,
        "prior_shape": np.nan,
        "prior_shape_low": np.nan,
        "prior_shape_high": np.nan,
        "unit_cost": 10.0,
        "currency": "EUR",
        "lead_time_days": 14,
        "min_order": 1,
        "pack_size": 1,
    }
    frames["part_types"] = pd.DataFrame([part])
    last = [start + timedelta(days=7 * WEEKS - 1) for start in starts]
    frames["seasons"] = pd.DataFrame({"season": names, "first_day": starts, "last_day": last})
    place = {"part_type": PART, "duty_group": "", "grade": "", "place": "pads", "line": "A"}
    rows = [
        place | _where(piece) | {"kit": None, "in_place": True, "quantity": 1}
        | {"age": piece.age, "read": bool(piece.readings)}
        for piece in in_place
    ]  # fmt: skip
    frames["fitted"] = pd.DataFrame(rows)[list(COLUMNS["fitted"])]
    frames["fitted_cells"] = pd.DataFrame(
        [
            {"piece": piece.name, "season": name, "x": hours / 1000}
            for piece in in_place
            for name, hours in zip(names, piece.ran, strict=False)
        ]
    )
    frames["lives"] = pd.DataFrame(
        [
            place | _where(piece) | _life(piece) | {"entry": 0.0, "weight": 1.0}
            for piece in [*ended, *in_place]
        ]
    )[list(COLUMNS["lives"])]
    if wears:
        frames |= _readings(place, names, ended, in_place)
    run = [start + timedelta(days=day) for start in starts for day in range(7 * WEEKS)]
    machines = [f"M{machine + 1:02d}" for machine in range(MACHINES)]
    frames["running"] = pd.DataFrame(
        {"machine": np.repeat(machines, len(run)).tolist(), "line": "A", "day": run * MACHINES}
        | {"hours": HOURS_A_DAY, "planned": False}
    )
    return Snapshot(COMING - timedelta(days=1), 1, 0, "simulated", **frames)


def _where(piece: Piece) -> dict[str, object]:
    return {
        "machine": f"M{piece.machine + 1:02d}",
        "position": f"{piece.position + 1}",
        "piece": piece.name,
    }


def _life(piece: Piece) -> dict[str, object]:
    event = bool(piece.mode)
    return {
        "lower": piece.age,
        "upper": piece.age if event else math.inf,
        "mode": piece.mode or "",
        "ended": "logged" if event else "",
    }


def _readings(
    place: dict[str, str], names: list[str], ended: list[Piece], in_place: list[Piece]
) -> dict[str, pd.DataFrame]:
    """Return the frames that readings fill."""
    rows = [
        place | _where(piece) | {"at": pd.Timestamp(day), "wear_mm": shown, "correction_mm": 0.0}
        | {"age": sum(ran)} | dict(zip(names, ran, strict=False))
        for piece in [*ended, *in_place]
        for day, ran, shown in piece.readings
    ]  # fmt: skip
    readings = pd.DataFrame(rows)
    wear, cells = wear_sums(readings[["machine", "piece", "wear_mm", *names]], names)
    pieces = {piece.name: piece for piece in [*ended, *in_place]}
    current = {piece.name for piece in in_place}
    for column, value in place.items():
        wear[column] = value
    wear["position"] = [str(pieces[name].position + 1) for name in wear["piece"]]
    wear["age"] = [pieces[name].age for name in wear["piece"]]
    wear["in_place"] = wear["piece"].isin(current)
    wear["fitted_known"] = True
    drawn = readings[readings["piece"].isin(sorted(current)[:5])]
    return {
        "wear": wear[list(COLUMNS["wear"])],
        "wear_cells": cells[list(COLUMNS["wear_cells"])],
        "paths": drawn[list(COLUMNS["paths"])].reset_index(drop=True),
    }
