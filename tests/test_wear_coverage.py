"""The coming season's count of worn pieces, from readings to the 90 % band (METHODS2 1.4, 1.5)."""

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.rates import fit_wear_sums
from forecast.wear.sums import wear_sums

MACHINES, PIECES = 44, 8
ON = np.repeat(np.arange(MACHINES), PIECES)
NAMES = [f"M{m:02d}" for m in range(MACHINES)]
Array = npt.NDArray[np.float64]


def band_holds(seed: int, seasons: int, spread: float, early: int = 0) -> bool:
    """Fit past seasons (and `early` readings of the running one), forecast, compare with truth."""
    rng = np.random.default_rng(seed)
    effects = spread * rng.standard_normal(seasons + 1)
    on_machine = 0.12 * rng.standard_normal(MACHINES)
    names = [str(2020 + k) for k in range(seasons + (early > 0))]
    frames = []
    for season in range(seasons + (early > 0)):
        running = season == seasons
        machine = np.arange(early) % MACHINES if running else ON
        rate = np.log(0.3) + effects[season] + on_machine[machine]
        rate = np.exp(rate + 0.2 * rng.standard_normal(machine.size))
        offset = 0.08 + 0.04 * rng.standard_normal(machine.size)
        for x in (0.4,) if running else (1.1, 2.2):
            frame = {"machine": [NAMES[m] for m in machine]}
            frame["piece"] = [f"{season}-{i}" for i in range(machine.size)]
            frame |= {name: 1000 * x * (k == season) for k, name in enumerate(names)}
            noise = 0.03 * rng.standard_normal(machine.size)
            frames.append(pd.DataFrame(frame).assign(wear_mm=offset + rate * x + noise))
    fit = fit_wear_sums(*wear_sums(pd.concat(frames), names), names)
    rates = fit.draws(400, rng, machines=NAMES, seasons=names, running=names[-1] if early else None)

    def count(log_rate: Array, offset: float, offset_sd: float, piece_sd: float) -> Array:
        rate = np.exp(log_rate + piece_sd * rng.standard_normal(log_rate.shape))
        depth = offset + offset_sd * rng.standard_normal(rate.shape) + 2200 * rate
        return (depth >= 0.8).sum(axis=0)

    predicted = count(
        rates.level + rates.machine_effect[ON], rates.offset, rates.offset_sd, rates.piece_sd
    )
    truth = count((np.log(0.0003) + effects[-1] + on_machine[ON])[:, None], 0.08, 0.04, 0.2)[0]
    low, high = np.quantile(predicted, [0.05, 0.95])
    return bool(low <= truth <= high)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("seasons", "spread", "early"),
    [(1, 0.10, 0), (2, 0.10, 0), (3, 0.10, 0), (3, 0.05, 0), (3, 0.0, 0), (3, 0.10, 132)],
)
def test_season_band_holds_the_truth(seasons: int, spread: float, early: int) -> None:
    held = np.mean([band_holds(seed, seasons, spread, early) for seed in range(80)])
    assert held >= 0.83  # .90 less two standard errors of 80 repeats
