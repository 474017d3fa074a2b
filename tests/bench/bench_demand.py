"""Season demand: 13,200 parts (and 10 million), 120 days, 2,000 draws, 55 own calendars.

Run as ``python tests/bench/bench_demand.py``; wants 3 s plain, 6 s with weekly windows and a wear
limit, and 10 million parts (twelve ages on each machine, by cohorts) in twice the plain time.
Each season is run several times in turn, and the least is told: what else a computer does only
adds.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from forecast.planning.cohorts import simulate_cohorts, suits_cohorts
from forecast.planning.draws import Earliest, LifeDraws, Pieces, WearDraws, WeibullDraws
from forecast.planning.events import simulate_pieces

MACHINES, POSITIONS, DAYS, DRAWS = 55, 240, 120, 2000
MANY, AGES = 10_000_000, 12
ROUNDS = 5

Taken = tuple[float, float, str]  # seconds on the clock, seconds of work, what came of it


def season(law: LifeDraws, age: np.ndarray, hours: np.ndarray, change_age: float) -> Taken:
    """Simulate every machine."""
    start, work = time.perf_counter(), time.process_time()
    windows = np.arange(6, DAYS, 7)
    unplanned = planned = 0.0
    for machine in range(MACHINES):
        own, clock = age[machine], np.cumsum(hours[machine])
        pieces = Pieces(
            np.full(POSITIONS, machine),
            own,
            own[:, None],
            np.full(POSITIONS, -1),
            np.zeros(POSITIONS, dtype=bool),
        )
        of_age = own[:, None] + clock[windows] >= change_age
        planned_at = np.where(of_age.any(axis=1), of_age.argmax(axis=1), -1)
        events = simulate_pieces(
            law,
            pieces,
            np.ones(POSITIONS, dtype=np.int64),
            hours[machine],
            planned_at,
            np.full(len(windows), change_age),
            windows,
            np.random.default_rng(machine),
        )
        unplanned += events.unplanned.sum() / DRAWS
        planned += events.changed.sum() / DRAWS
    told = f"{unplanned:7.0f} unplanned {planned:7.0f} planned"
    return time.perf_counter() - start, time.process_time() - work, told


def many(law: LifeDraws, hours: np.ndarray) -> Taken:
    """Simulate ten million pieces: a set of twelve ages on each machine."""
    start, work = time.perf_counter(), time.process_time()
    windows = np.arange(6, DAYS, 7)
    quantity = np.full(AGES, MANY // MACHINES // AGES)
    own = (np.arange(AGES) + 0.5) * 4800.0 / AGES
    unplanned = 0.0
    for machine in range(MACHINES):
        assert suits_cohorts(quantity)
        pieces = Pieces(
            np.full(AGES, machine),
            own,
            own[:, None],
            np.full(AGES, -1),
            np.zeros(AGES, dtype=bool),
        )
        events = simulate_cohorts(
            law,
            pieces,
            quantity,
            hours[machine],
            np.full(AGES, -1),
            np.full(len(windows), np.inf),
            windows,
            np.random.default_rng(machine),
        )
        unplanned += events.unplanned.sum() / DRAWS
    told = f"{unplanned:7.0f} unplanned"
    return time.perf_counter() - start, time.process_time() - work, told


def main() -> None:
    """Print the seconds of each kind of season."""
    rng = np.random.default_rng(0)
    age = rng.uniform(0, 4800, (MACHINES, POSITIONS))
    hours = np.where(rng.random((MACHINES, DAYS)) < 0.1, 0.0, rng.uniform(14, 24, (MACHINES, DAYS)))
    broken = WeibullDraws(
        rng.lognormal(np.log(2.2), 0.15, DRAWS), rng.lognormal(np.log(6000), 0.08, DRAWS)
    )
    worn = WearDraws(
        np.log(0.12e-3) + 0.1 * rng.standard_normal(DRAWS),
        np.full((1, DRAWS), np.log(0.12e-3)),
        0.12 * rng.standard_normal((MACHINES, DRAWS)),
        0.2,
        0.08,
        0.04,
        np.ones(DRAWS),
        0.05,
    )
    both = Earliest((worn, broken))
    seasons: dict[str, Callable[[], Taken]] = {
        "plain": lambda: season(broken, age, hours, np.inf),
        "10 million": lambda: many(broken, hours),
        "windows": lambda: season(broken, age, hours, 3500.0),
        "windows, limit": lambda: season(both, age, hours, 3500.0),
    }
    taken: dict[str, list[Taken]] = {name: [] for name in seasons}
    for _ in range(ROUNDS):
        for name, run in seasons.items():
            taken[name].append(run())
    plain = min(one[1] for one in taken["plain"])
    for name, runs in taken.items():
        wall, work = min(one[0] for one in runs), min(one[1] for one in runs)
        sys.stdout.write(
            f"{name:15s} {wall:6.2f} s, {work:5.2f} s of work ({work / plain:.1f}x plain)"
            f"   {runs[0][2]}\n"
        )


if __name__ == "__main__":
    main()
