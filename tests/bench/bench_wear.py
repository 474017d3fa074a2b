"""Speed of the wear fit: 1 M readings of 50,000 pieces, after the sums (CPU time).

Run with ``OPENBLAS_NUM_THREADS=1 python -m pytest tests/bench/bench_wear.py -m slow -s``.
"""

import time

import numpy as np
import pandas as pd
import pytest

from forecast.wear.rates import fit_wear_sums
from forecast.wear.sums import wear_sums

PIECES, READINGS, MACHINES = 50_000, 20, 500


def million_readings(seasons: int) -> pd.DataFrame:
    """Return 20 readings a piece, each piece within one of the seasons."""
    rng = np.random.default_rng(1)
    piece = np.repeat(np.arange(PIECES), READINGS)
    machine = np.arange(PIECES) % MACHINES
    season = rng.integers(0, seasons, PIECES)
    log_rate = np.log(0.3) + 0.12 * rng.standard_normal(MACHINES)[machine]
    log_rate += 0.2 * rng.standard_normal(PIECES) + np.array([0.05, -0.05, 0.1, 0.0])[season]
    offset = 0.08 + 0.04 * rng.standard_normal(PIECES)
    hours = rng.uniform(0.2, 2.2, piece.size)
    wear = offset[piece] + np.exp(log_rate)[piece] * hours
    wear += 0.03 * rng.standard_normal(piece.size)
    frame = {"machine": machine[piece].astype(str), "piece": piece.astype(str), "wear_mm": wear}
    for k in range(seasons):
        frame[f"s{k}"] = np.where(season[piece] == k, 1000 * hours, 0.0)
    return pd.DataFrame(frame)


@pytest.mark.slow
@pytest.mark.parametrize(("seasons", "seconds"), [(1, 1.0), (4, 1.0)])
def test_a_million_readings(seasons: int, seconds: float) -> None:
    names = [f"s{k}" for k in range(seasons)]
    wear, cells = wear_sums(million_readings(seasons), names)
    took = []
    for _ in range(3):
        start = time.process_time()
        fit = fit_wear_sums(wear, cells, names)
        took.append(time.process_time() - start)
    print(f"{seasons} season(s): {min(took):.2f} s")  # noqa: T201
    assert fit.machine_sd == pytest.approx(0.12, rel=0.1)
    assert fit.piece_sd == pytest.approx(0.2, rel=0.05)
    assert min(took) <= seconds
