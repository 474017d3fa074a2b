"""Two thousand Weibull groups of about fifty mixed lives against lifelines, one group at a time.

Run from the root of the repository: ``python tests/bench/bench_groups.py [groups] [sample]``.
lifelines fits a sample of the groups; the printed ratio is of groups a second, in one run.
"""

import os
import sys
import time
import warnings

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import numpy as np

from forecast.life.likelihood import log_likelihood, maximise
from forecast.life.lives import Lives


def mixed_groups(groups: int, rng: np.random.Generator) -> tuple[Lives, np.ndarray]:
    """Groups of 30 to 75 lives: seen failures, suspensions, found at inspections, late entries."""
    size = rng.integers(30, 76, groups)
    group = np.repeat(np.arange(groups), size)
    shape = rng.uniform(1.0, 4.0, groups)[group]
    life = 4000 * rng.weibull(shape)
    end = rng.uniform(500, 6000, group.size)
    entry = np.where(rng.random(group.size) < 0.2, rng.uniform(0, 400, group.size), 0.0)
    life, end = np.maximum(life, entry + 1), np.maximum(end, entry + 1)
    inspected = rng.random(group.size) < 0.4
    before = np.maximum(np.floor(life / 336) * 336, entry)
    lower = np.where(life >= end, end, np.where(inspected, before, life))
    upper = np.where(
        life >= end, np.inf, np.where(inspected, np.floor(life / 336) * 336 + 336, life)
    )
    return Lives(lower, upper, entry), group


def main(groups: int = 2000, sample: int = 60) -> None:
    """Time both, check that no fit of ours is below lifelines', print the ratio."""
    rng = np.random.default_rng(20261125)
    lives, group = mixed_groups(groups, rng)
    maximise(lives, group)  # warm
    ours = []
    for _ in range(5):
        start = time.perf_counter()
        maxima = maximise(lives, group)
        ours.append(time.perf_counter() - start)
    rate = groups / min(ours)
    print_line(f"{lives}")
    print_line(
        f"ours: {groups} groups in {min(ours):.3f} s ({rate:,.0f} groups/s), "
        f"{maxima.found.sum()} fitted"
    )
    picked = rng.choice(np.flatnonzero(maxima.found), sample, replace=False)
    spent, worst, furthest = one_by_one(lives, group, maxima, picked)
    print_line(f"lifelines: {sample} groups in {spent:.2f} s ({sample / spent:.1f} groups/s)")
    print_line(f"largest log-likelihood by which lifelines is ahead: {worst:.1e}")
    print_line(f"largest relative difference of shape or scale: {furthest:.1e}")
    print_line(f"ratio: {rate * spent / sample:,.0f}")


def one_by_one(
    lives: Lives, group: np.ndarray, maxima: object, picked: np.ndarray
) -> tuple[float, float, float]:
    """Seconds lifelines takes for the picked groups, and how the fits compare."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from lifelines import WeibullFitter

        spent, worst, furthest = 0.0, -np.inf, 0.0
        for g in picked:
            part = lives.only(group == g)
            start = time.perf_counter()
            fitter = WeibullFitter().fit_interval_censoring(
                part.lower, part.upper, entry=part.entry, timeline=[1.0]
            )
            spent += time.perf_counter() - start
            theirs = np.log([fitter.rho_]), np.log([fitter.lambda_])
            ahead = log_likelihood(part, None, *theirs)[0] - maxima.log_likelihood[g]
            worst = max(worst, float(ahead))
            far = np.abs([theirs[0][0] - maxima.log_shape[g], theirs[1][0] - maxima.log_scale[g]])
            furthest = max(furthest, float(far.max()))
    return spent, worst, furthest


def print_line(text: str) -> None:
    """Write one line to standard output."""
    sys.stdout.write(text + "\n")


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:]))
