"""Simulated fleets read over seasons, and how often the coming season's band holds its count.

The truth is known: log rates differ by machine (sd .12), piece (.2) and season; every new piece has
a bedding-in offset. A fleet is fitted once; the season to come is then drawn many times, since what
it will be like depends on no reading.
"""

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.wear.rates import fit_wear_sums
from forecast.wear.sums import wear_sums

MACHINES, PIECES = 44, 8
ON = np.repeat(np.arange(MACHINES), PIECES)
NAMES = [f"M{m:02d}" for m in range(MACHINES)]
HOURS, LIMIT = 2200, 0.8
PRIOR_SCALE, DRAWS, COMING = 0.15, 400, 25
Array = npt.NDArray[np.float64]


def prior_spread(rng: np.random.Generator) -> float:
    """Draw a spread between seasons from the half-normal prior that the forecast states."""
    return float(abs(PRIOR_SCALE * rng.standard_normal()))


def share_held(seed: int, seasons: int, spread: float | None = None, early: int = 0) -> float:
    """Return the share of coming seasons whose number of worn pieces is in the 90 % band.

    Parameters
    ----------
    seed
        Of everything drawn.
    seasons
        Logged and over, two readings a piece in each.
    spread
        Sd of the log rate between seasons; None: drawn from the prior, anew for each fleet.
    early
        Readings of the running season, which is then the one to forecast (it is only one).
    """
    rng = np.random.default_rng(seed)
    spread = prior_spread(rng) if spread is None else spread
    effects = spread * rng.standard_normal(seasons + 1)
    on_machine = 0.12 * rng.standard_normal(MACHINES)
    names = [str(2020 + k) for k in range(seasons + (early > 0))]
    frames = []
    for season in range(len(names)):
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
    to_forecast = names[-1] if early else None
    rates = fit.draws(DRAWS, rng, machines=NAMES, seasons=names, running=to_forecast)

    def worn(log_rate: Array, offset: float, offset_sd: float, piece_sd: float) -> Array:
        rate = np.exp(log_rate + piece_sd * rng.standard_normal(log_rate.shape))
        depth = offset + offset_sd * rng.standard_normal(rate.shape) + HOURS * rate
        return (depth >= LIMIT).sum(axis=0)

    counts = worn(
        rates.level + rates.machine_effect[ON], rates.offset, rates.offset_sd, rates.piece_sd
    )
    low, high = np.quantile(counts, [0.05, 0.95])
    to_come = effects[-1:] if early else spread * rng.standard_normal(COMING)
    level = np.log(0.0003) + to_come[None, :] + on_machine[ON][:, None]
    truth = worn(level, 0.08, 0.04, 0.2)
    return float(((low <= truth) & (truth <= high)).mean())
