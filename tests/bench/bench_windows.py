"""Windows by the solver: 55 machines, 8 part types, 17 windows, and fewer crew hours than work.

Run as ``python tests/bench/bench_windows.py``; prints jobs, variables, seconds, the gap to the cost
that no order goes under, and the order that takes the most urgent first, with its own gap.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from forecast.planning.draws import Array, IntArray
from forecast.planning.solver import Job, best_order, easy_bound, share_over

MACHINES, TYPES, WINDOWS = 55, 8, 17
SETUP = 25.0


def jobs(machines: int, rng: np.random.Generator) -> list[Job]:
    """Invent work: pieces of a type on a machine that come due in some window."""
    found = []
    for machine in range(machines):
        for part in range(TYPES):
            due = int(rng.integers(0, WINDOWS - 2))
            hour = rng.uniform(0.5, 2.0)
            late = rng.uniform(2.0, 20.0)
            window = np.arange(WINDOWS)
            cost = np.where(window < due, hour * (due - window), late * (window - due))
            cost = cost.astype(float)
            cost[window < due - 2] = np.inf
            never = late * (WINDOWS - due) * 1.2
            pieces = int(rng.integers(1, 24))
            found.append(Job(machine, part, pieces, 3.0, 1, np.append(cost, never)))
    return found


def urgent_first(work: list[Job], crew: Array) -> tuple[IntArray, float]:
    """Fill the windows in turn: what would cost most if left goes first."""
    left = np.array([job.pieces for job in work])
    total = 0.0
    done: IntArray = np.zeros((len(work), len(crew) + 1), dtype=np.int64)
    for window, minutes in enumerate(crew):
        opened: set[int] = set()
        ready = [at for at, job in enumerate(work) if left[at] and job.cost[window] < np.inf]
        ready = [at for at in ready if window + 1 >= np.argmin(work[at].cost) + 1]
        for at in sorted(ready, key=lambda one: -work[one].cost[-1]):
            setup = 0.0 if work[at].machine in opened else SETUP
            some = int(min(left[at], max(minutes - setup, 0.0) // work[at].minutes))
            if some:
                minutes -= setup + some * work[at].minutes
                opened.add(work[at].machine)
                left[at] -= some
                done[at, window] = some
                total += some * work[at].cost[window]
    done[:, -1] = left
    total += sum(count * job.cost[-1] for count, job in zip(left, work, strict=True))
    return done, float(total)


def main() -> None:
    """Print a line a size and tightness: the table kept in ``bench_windows.txt``."""
    sys.stdout.write(
        "machines windows  jobs pieces  crew  variables  seconds    gap     cost  bound"
        "  most urgent first, gap\n"
    )
    for machines in (12, 55, 110):
        work = jobs(machines, np.random.default_rng(1))
        need = sum(job.pieces * job.minutes for job in work) + len(work) * SETUP
        for share, what in ((1.3, "loose"), (0.6, "tight")):
            crew = np.full(WINDOWS, share * need / WINDOWS)
            start = time.perf_counter()
            found = best_order(work, crew, SETUP, np.zeros((0, WINDOWS)))
            seconds = time.perf_counter() - start
            done, greedy = urgent_first(work, crew)
            pieces = sum(job.pieces for job in work)
            line = f"{machines:8d} {WINDOWS:7d} {len(work):5d} {pieces:6d} {what:>5s}"
            if found is None:
                bound, told = easy_bound(work), "no order in time"
            else:
                greedy += found.opening * opened(work, done)
                bound = found.bound
                told = f"{found.variables:9d} {seconds:8.1f} {found.gap:6.2%} {found.cost:8.0f}"
                told += f" {bound:6.0f}"
            told += f"  {greedy:17.0f}  {share_over(greedy, bound):5.2%}"
            told += "" if found is None or found.in_time else "  (ended by the clock)"
            sys.stdout.write(f"{line}  {told}\n")


def opened(work: list[Job], done: IntArray) -> int:
    """Return how often a plan opens a machine."""
    pairs = [(work[job].machine, window) for job, window in np.argwhere(done[:, :-1] > 0)]
    return len(set(pairs))


if __name__ == "__main__":
    main()
