"""Many small simulated fleets, quickly: truths drawn from the priors that the forecast states.

Not a test: ``runpy.run_path(...)["fleet_of"](kind, cell, seed)`` gives one. The fleets are those of
``fleets.py`` (twelve machines, ten positions each, one to three past seasons, the forecast's own
policy), stepped week by week as arrays. Truths are drawn until the past shows as many failures as
the cell asks for: a forecast that is calibrated is so given what it was shown.
"""

from __future__ import annotations

import math
import runpy
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

FLEETS: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "fleets.py"))
KINDS: tuple[str, ...] = FLEETS["KINDS"]
MACHINES, POSITIONS, WEEKS = FLEETS["MACHINES"], FLEETS["POSITIONS"], FLEETS["WEEKS"]
WEEK, SEASON = FLEETS["WEEK"], FLEETS["SEASON"]
SIZE = MACHINES * POSITIONS
CELLS = {0: (0, 0), 1: (1, 1), 2: (2, 2), 5: (3, 8), 20: (12, 30), 50: (35, 75)}
"""Failures so far: name of the cell, and the least and the most that belong to it."""


def draw_truth(kind: str, seasons: int, rng: np.random.Generator, told: float | None = None) -> Any:
    """Draw what a fleet is made of.

    Shape log-normal(2, .5); expected failures of a position over the past Gamma(.5, .05);
    season spread half-normal(.15), or as the plan tells it; a limit that takes between half a
    season and eight of them.
    """
    drawn = abs(0.15 * float(rng.standard_normal()))
    spread = drawn if told is None else told
    levels = tuple(float(level) for level in spread * rng.standard_normal(seasons + 1))
    shape = float(np.exp(np.log(2.0) + 0.5 * rng.standard_normal()))
    expected = float(rng.gamma(0.5, 1 / 0.05))
    scale = seasons * SEASON / max(expected, 1e-12) ** (1 / shape)
    rate = 0.3e-3 * float(np.exp(0.3 * rng.standard_normal()))
    limit = FLEETS["OFFSET"] + rate * SEASON * float(np.exp(rng.uniform(np.log(0.5), np.log(8.0))))
    if kind == "worn":
        scale = math.inf
    if kind == "broken":
        limit = math.inf
    return FLEETS["Truth"](limit, rate, levels, shape, scale)


class World:
    """All positions as arrays, and the pieces that ended."""

    def __init__(self, truth: Any, seasons: int, rng: np.random.Generator) -> None:
        self.truth, self.rng, self.seasons = truth, rng, seasons
        self.effect = np.exp(FLEETS["MACHINE_SD"] * rng.standard_normal(MACHINES))
        self.rate, self.offset, self.life, self.worn = (np.zeros(SIZE) for _ in range(4))
        self.ran = np.zeros((SIZE, seasons + 1))
        self.number = np.zeros(SIZE, dtype=int)
        self.ended: list[Any] = []
        self.readings: dict[tuple[int, int], list[Any]] = {}
        self.renew(np.arange(SIZE))

    def renew(self, at: np.ndarray) -> None:
        n, rng = len(at), self.rng
        own = np.exp(FLEETS["PIECE_SD"] * rng.standard_normal(n))
        self.rate[at] = self.truth.rate * self.effect[at // POSITIONS] * own
        self.offset[at] = FLEETS["OFFSET"] + FLEETS["OFFSET_SD"] * rng.standard_normal(n)
        more = rng.standard_exponential(n)
        scale, shape = self.truth.scale, self.truth.shape
        self.life[at] = scale * more ** (1 / shape) if math.isfinite(scale) else math.inf
        self.worn[at] = 0.0
        self.ran[at] = 0.0
        self.number[at] += 1

    def piece(self, at: int, mode: str | None) -> Any:
        machine, number = at // POSITIONS, int(self.number[at])
        name = f"M{machine + 1:02d}/{at % POSITIONS + 1:02d}/{number}"
        made = FLEETS["Piece"](
            name, machine, at % POSITIONS, self.rate[at], self.offset[at], self.life[at], []
        )
        made.ran = self.ran[at].tolist()
        made.mode = mode
        made.readings = self.readings.pop((at, number), [])
        return made

    def week(self, season: int) -> int:
        """Run a week; broken pieces are changed at once. Return how many broke."""
        left, pace = np.full(SIZE, WEEK), math.exp(self.truth.levels[season])
        count = 0
        while True:
            age = self.ran.sum(axis=1)
            run = np.clip(np.minimum(left, self.life - age), 0.0, None)
            broke = np.flatnonzero((self.life - age <= left) & (left > 0))
            self.ran[:, season] += run
            self.worn += self.rate * pace * run
            left = left - run
            if not len(broke):
                return count
            count += len(broke)
            self.ended += [self.piece(int(at), "broken") for at in broke]
            self.renew(broke)

    def window(self, day: Any, read: bool) -> int:
        """Read and change what is at its limit. Return how many were changed."""
        if not math.isfinite(self.truth.limit):
            return 0
        depth = self.offset + self.worn
        over = depth >= self.truth.limit
        shown = depth + FLEETS["GAUGE_SD"] * self.rng.standard_normal(SIZE)
        for at in np.flatnonzero(over | read):
            key = (int(at), int(self.number[at]))
            found = (day, self.ran[at].tolist(), float(shown[at]))
            self.readings.setdefault(key, []).append(found)
        for at in np.flatnonzero(over):
            self.ended.append(self.piece(int(at), "worn" if shown[at] >= self.truth.limit else ""))
        self.renew(np.flatnonzero(over))
        return int(over.sum())


def fleet_of(
    kind: str, cell: int, seed: int, told: float | None = None
) -> tuple[Any, str, int, dict[str, float]]:
    """Return a fleet as it is known before the coming season, a plan, the spares it then used.

    Parameters
    ----------
    kind
        ``worn``, ``broken`` or ``mixed``.
    cell
        A key of :data:`CELLS`; -1 takes the first fleet, whatever it shows.
    seed
        Of everything.
    told
        How far seasons differ, where the plan tells it; None draws it, and the plan is silent.

    Returns
    -------
    tuple
        Snapshot, plan text, pieces used in the coming season, and what is behind it: ``seasons``,
        ``failures`` (ends by themselves that were seen so far), the coming season's ``level``, and
        every one of the ``readings``: piece, day, depth.
    """
    more = [] if told is None else [round(1000 * told)]
    rng = np.random.default_rng([seed, KINDS.index(kind), 7 + cell, *more])
    low, high = CELLS.get(cell, (0, SIZE))
    while True:
        seasons = int(rng.integers(1, 4))
        truth = draw_truth(kind, seasons, rng, told)
        if _hopeless(truth, seasons, high):
            continue
        world = World(truth, seasons, rng)
        failures = _past(world, seasons, high)
        if low <= failures <= high:
            break
    ended = world.ended
    in_place = [_as_known(world, at) for at in range(SIZE)]
    world.readings.clear()
    used = 0
    for week in range(WEEKS):
        used += world.week(seasons)
        used += world.window(FLEETS["COMING"] + timedelta(days=7 * week + 6), read=False)
    snapshot = FLEETS["known"](truth, seasons, ended[:failures], in_place)
    behind = {
        "seasons": seasons,
        "failures": failures,
        "level": truth.levels[-1],
        "readings": [
            (piece.name, day, shown)
            for piece in [*ended[:failures], *in_place]
            for day, _, shown in piece.readings
        ],
    }
    text = FLEETS["PLAN"] % seed
    if told is not None:
        text = text.replace("[windows]", f"season_spread = {told}\n[windows]", 1)
    return snapshot, text, used, behind


def _hopeless(truth: Any, seasons: int, high: int) -> bool:
    """Whether the past would surely show too many failures: spares the simulation, not a truth."""
    broken = SIZE * -math.expm1(-((seasons * SEASON / truth.scale) ** truth.shape))
    slow = truth.rate * math.exp(min(truth.levels[:-1]) - 1.2) * seasons * SEASON
    worn = SIZE if FLEETS["OFFSET"] + slow > truth.limit + 0.1 else 0
    return max(broken, worn) > 4 * high + 20 and max(broken, worn) > high + 12 * math.sqrt(high + 9)


def _past(world: World, seasons: int, high: int) -> int:
    failures = 0
    starts = list(FLEETS["START"].values())[-seasons:]
    for season, start in enumerate(starts):
        for week in range(WEEKS):
            failures += world.week(season)
            day = start + timedelta(days=7 * week + 6)
            failures += world.window(day, read=week in FLEETS["READ_WEEKS"])
            if failures > high:
                return failures
    return failures


def _as_known(world: World, at: int) -> Any:
    key = (at, int(world.number[at]))
    kept = list(world.readings.get(key, []))
    made = world.piece(at, None)
    made.readings = kept
    return made


def said_of(snapshot: Any, plan: Any) -> tuple[Any, Any]:
    """Return the totals and orders of a season's forecast, without all it shows beside them.

    They are those of ``forecast_season``: a test holds both against each other.
    """
    from forecast.jobs.fits import fit_all
    from forecast.jobs.running import stock_now
    from forecast.jobs.simulating import live_through, make_ready
    from forecast.planning.buying import purchases
    from forecast.planning.demand import season_totals

    spread, seed = plan.season.season_spread, plan.draws.seed
    fits = fit_all(snapshot, season_spread=spread, seed=seed, tables=False)
    lived = live_through(make_ready(snapshot, plan, fits=fits), snapshot, plan)
    stock, _ = stock_now(snapshot)
    bought = purchases(lived.paths, stock, snapshot.part_types, plan, lived.days)
    return season_totals(lived.paths), bought
