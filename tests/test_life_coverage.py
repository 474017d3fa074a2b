"""Intervals of a life model hold the truth as often as they say.

Few sets here; the table of 3,000 a row is ``bench/coverage_life.txt``. Bounds that the issue names
(.86 to .94; .85 to .95) are widened by two standard errors of the number of sets, no more.
"""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

MANY: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "many_lives.py"))
SETS = 400
NOISE = 2 * (0.9 * 0.1 / SETS) ** 0.5


def test_sets_have_as_many_failures_as_asked_for() -> None:
    rng = np.random.default_rng(3)
    shape, scale, age, failed = MANY["with_failures"](2, 50, rng)
    assert (failed.sum(axis=1) == 2).all()
    assert (age <= MANY["AGES"]).all()
    assert len(shape) == len(scale) == 50
    assert -np.expm1(-((MANY["AGES"] / MANY["scale_for"](5, 3.0)) ** 3)).sum() == pytest.approx(5)


@pytest.mark.slow
@pytest.mark.parametrize("expected", [3.3, 10.0, 30.0])
def test_likelihood_intervals_cover(expected: float) -> None:
    found = MANY["likelihood_cover"](expected, 2.0, 2000, 1)
    assert found["failures"] == pytest.approx(expected, rel=0.05)
    for of in ("shape", "b10"):
        assert 0.86 <= found[f"{of}_holds"] <= 0.94, found


@pytest.mark.slow
@pytest.mark.parametrize("failures", [0, 1, 2, 5])
def test_posterior_intervals_cover_truths_from_their_prior(failures: int) -> None:
    found = MANY["posterior_cover"](failures, SETS, 1)
    assert 0.85 - NOISE <= found["shape_holds"] <= 0.95 + NOISE, found
    for of in ("scale", "b10"):
        # without a failure only the lower end is told: it is the 5 % point
        low, high = (0.85, 0.95) if failures else (0.95, 1.0)
        assert low - NOISE <= found[f"{of}_holds"] <= high + NOISE, found


@pytest.mark.slow
@pytest.mark.parametrize("shape", [1.2, 2.0, 3.5])
def test_fixed_truths_are_held_less_well_but_not_lost(shape: float) -> None:
    """A truth at the edge of the prior: cover falls below what is said (bench), not to nothing."""
    found = MANY["fixed_cover"](shape, 5.0, SETS, 1)
    assert found["b10_holds"] >= 0.75, found
    assert found["shape_holds"] >= 0.75, found
