"""Many simulated sets of lives at once, and how often 90 % intervals held what they were made of.

Not a test: ``tests/test_life_coverage.py`` runs it small, ``tests/bench/coverage_life.py`` in full.
Each set is sixty parts of which those that still run have ages between a third of the oldest and
the oldest.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from forecast.life.intervals import likelihood_interval, wald_interval
from forecast.life.likelihood import maximise
from forecast.life.lives import Lives
from forecast.life.priors import DEFAULT_PRIOR, EVENTS, HOURS
from forecast.life.weibull import WALD_FROM, fit_weibull

PARTS = 60
LEVEL = 0.90
TENTH = -np.log(0.9)
AGES = np.linspace(1 / 3, 1, PARTS)


def watched(shape: np.ndarray, scale: np.ndarray, rng: np.random.Generator) -> Any:
    """Ages at the end of watching and whether failed then: [sets, parts] each."""
    life = scale[:, None] * rng.standard_exponential((len(shape), PARTS)) ** (1 / shape[:, None])
    return np.minimum(life, AGES), life < AGES


def scale_for(expected: float, shape: float) -> float:
    """Return the scale with which so many of the parts are expected to fail, by halving."""
    low, high = 1e-3, 1e6
    for _ in range(100):
        middle = np.sqrt(low * high)
        more = -np.expm1(-((AGES / middle) ** shape)).sum() > expected
        low, high = (middle, high) if more else (low, middle)
    return float(middle)


def likelihood_cover(expected: float, shape: float, sets: int, seed: int) -> dict[str, Any]:
    """Cover of shape and B10 by the likelihood's intervals, as a fit without a prior picks them.

    Sets without a greatest likelihood have no interval and are counted apart.
    """
    rng = np.random.default_rng([seed, round(10 * expected), round(10 * shape)])
    scale = scale_for(expected, shape)
    age, failed = watched(np.full(sets, shape), np.full(sets, scale), rng)
    lives = Lives(age.ravel(), np.where(failed, age, np.inf).ravel())
    group = np.repeat(np.arange(sets), PARTS)
    maxima = maximise(lives, group, sets)
    out: dict[str, Any] = {
        "failures": failed.sum(axis=1).mean(),
        "sets": int(maxima.found.sum()),
        "no_fit": int((~maxima.found).sum()),
    }
    for of, truth in (("shape", shape), ("b10", scale * TENTH ** (1 / shape))):
        ends = [
            np.where(maxima.failures >= WALD_FROM, by_wald, by_ratio)[maxima.found]
            for by_ratio, by_wald in zip(
                likelihood_interval(lives, group, maxima, of, LEVEL),
                wald_interval(maxima, of, LEVEL),
                strict=True,
            )
        ]
        out[f"{of}_holds"] = float(((ends[0] <= truth) & (truth <= ends[1])).mean())
    return out


def with_failures(failures: int, sets: int, rng: np.random.Generator) -> Any:
    """Draw truths from the prior, until so many sets show exactly so many failures.

    Shape log-normal, expected failures by the largest age gamma: as the prior says. Returns shape,
    scale, and what was watched.
    """
    kept: list[Any] = []
    while sum(len(each[0]) for each in kept) < sets:
        shape = DEFAULT_PRIOR.centre * np.exp(DEFAULT_PRIOR.log_sd * rng.standard_normal(20_000))
        expected = np.maximum(rng.gamma(EVENTS, 1 / HOURS, shape.size), 1e-12)
        few = expected < 8 * (failures + 3) * (3.0**shape) / PARTS  # the others fail far too often
        shape, scale = shape[few], expected[few] ** (-1 / shape[few])
        age, failed = watched(shape, scale, rng)
        right = failed.sum(axis=1) == failures
        kept.append((shape[right], scale[right], age[right], failed[right]))
    return tuple(np.concatenate(column)[:sets] for column in zip(*kept, strict=True))


def posterior_cover(failures: int, sets: int, seed: int) -> dict[str, Any]:
    """Cover by posterior intervals, truths drawn from the prior; with 0 failures by lower ends."""
    rng = np.random.default_rng([seed, failures])
    return _held(*with_failures(failures, sets, rng))


def fixed_cover(shape: float, expected: float, sets: int, seed: int) -> dict[str, Any]:
    """Cover by the intervals of a fit under the default prior, one truth for all sets."""
    rng = np.random.default_rng([seed, round(10 * expected), round(10 * shape)])
    shapes = np.full(sets, shape)
    scales = np.full(sets, scale_for(expected, shape))
    return _held(shapes, scales, *watched(shapes, scales, rng))


def _held(shape: Any, scale: Any, age: Any, failed: Any) -> dict[str, Any]:
    """How often the default fit's intervals hold the truth."""
    truths = {"shape": shape, "scale": scale, "b10": scale * TENTH ** (1 / shape)}
    held: dict[str, list[bool]] = {of: [] for of in truths}
    flagged = 0
    for n in range(len(shape)):
        lives = Lives(age[n], np.where(failed[n], age[n], np.inf))
        fit = fit_weibull(lives, prior=DEFAULT_PRIOR)
        flagged += fit.far_from_prior
        for of, truth in truths.items():
            low, high = fit.interval(of, LEVEL)
            held[of].append(bool(low <= truth[n] <= high))
    out: dict[str, Any] = {"failures": failed.sum(axis=1).mean(), "sets": len(shape)}
    out |= {f"{of}_holds": float(np.mean(each)) for of, each in held.items()}
    return out | {"flagged": flagged / len(shape)}
