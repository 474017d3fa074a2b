"""The coming season's count of worn pieces, from readings to the 90 % band (METHODS2 1.4, 1.5)."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

MANY: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "many_seasons.py"))
FLEETS = 80


@pytest.mark.slow
@pytest.mark.parametrize("seasons", [1, 2, 3, 4])
def test_season_band_holds_nine_in_ten_with_the_spread_from_the_prior(seasons: int) -> None:
    """80 fleets, each with a spread of its own, 25 coming seasons each: .90 within .05.

    The standard error over fleets must be small beside the .05, or the statement says nothing.
    """
    held = np.array([MANY["share_held"](seed, seasons) for seed in range(FLEETS)])
    assert held.std(ddof=1) / np.sqrt(FLEETS) < 0.025
    assert 0.85 <= held.mean() <= 0.95


@pytest.mark.slow
def test_running_season_band_holds_with_its_own_first_readings() -> None:
    """132 readings at 400 h tell the season that runs; spread .10 after three seasons."""
    held = [MANY["share_held"](seed, 3, 0.10, early=132) for seed in range(FLEETS)]
    assert np.mean(held) >= 0.83  # .90 less two standard errors of 80 fleets
