"""Coverage of hours left on simulated fleets, by readings a piece: prints a table.

Run with ``OPENBLAS_NUM_THREADS=1 python tests/bench/hours_left.py``. 12 fleets of 300 pieces a row;
90 % intervals should hold 85 to 95 in 100.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from forecast.wear.rates import fit_wear

LIMIT, FLEETS = 1.2, 12


def one(seed: int, readings: int) -> tuple[float, float]:
    """Return the share of pieces whose interval holds the truth, and its median width."""
    rng = np.random.default_rng(seed)
    rows, left = [], []
    for machine, effect in enumerate(0.12 * rng.standard_normal(30)):
        for piece in range(10):
            last = rng.uniform(0.8, 2.2)
            hours = np.sort(np.append(rng.uniform(0.3, last, readings - 1), last))
            rate = 0.35 * np.exp(effect + 0.2 * rng.standard_normal())
            offset = 0.08 + 0.04 * rng.standard_normal()
            wear = offset + rate * hours + 0.03 * rng.standard_normal(readings)
            left.append(1000 * (LIMIT - offset - rate * last) / rate)
            name = f"P{machine:02d}-{piece:02d}"
            rows += [
                (f"M{machine:02d}", name, 1000 * x, y) for x, y in zip(hours, wear, strict=True)
            ]
    frame = pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])
    table = fit_wear(frame, 0.03).hours_to_limit(LIMIT)
    truth = np.array(left)
    in_time = truth > 50
    held = (table["low"] <= truth) & (truth <= table["high"])
    return float(held[in_time].mean()), float((table["high"] - table["low"])[in_time].median())


def main() -> None:
    for readings in (1, 2, 4, 8):
        found = np.array([one(1000 + seed, readings) for seed in range(FLEETS)])
        held, width = found.mean(axis=0)
        print(f"{readings} readings: holds {held:.3f}, width {width:.0f} h")  # noqa: T201


if __name__ == "__main__":
    main()
