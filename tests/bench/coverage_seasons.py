"""How often the coming season's 90 % band held its count of worn pieces, by seasons logged.

Run from the checkout, with one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/bench/coverage_seasons.py [FLEETS [WORKERS]]

It writes ``coverage_seasons.txt`` beside this file. Each fleet's spread between seasons is drawn
from the half-normal(0.15) prior that the forecast states; seeds are 5000 and on, fixed before the
first run and none of them used by a test.
"""

from __future__ import annotations

import runpy
import sys
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
FIRST_SEED, SEASONS, EARLY = 5000, (1, 2, 3, 4), 132
MANY: dict[str, Any] = runpy.run_path(str(HERE.parent / "many_seasons.py"))


def one(task: tuple[int, int, int]) -> float:
    """Return the share of coming seasons held, of one fleet."""
    seed, seasons, early = task
    return float(MANY["share_held"](seed, seasons, None, early))


def main() -> None:
    import numpy as np

    fleets = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    workers = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    lines = [
        f"Coverage of the season's count of worn pieces, {datetime.now().date()}",
        f"{fleets} fleets a row (44 machines, 352 pieces a season), seeds {FIRST_SEED} to "
        f"{FIRST_SEED + fleets - 1}; {MANY['COMING']} coming seasons a fleet, one where it runs.",
        "Spread between seasons drawn for each fleet from the half-normal(0.15) prior.",
        "",
        f"{'seasons logged':<34}{'held':>6}{'st. error':>11}",
    ]
    with ProcessPoolExecutor(workers) as pool:
        for early in (0, EARLY):
            for seasons in SEASONS:
                tasks = [(FIRST_SEED + n, seasons, early) for n in range(fleets)]
                held = np.array(list(pool.map(one, tasks, chunksize=10)))
                error = held.std(ddof=1) / np.sqrt(fleets)
                name = f"{seasons}" + (f", and {early} readings of the next" if early else "")
                lines.append(f"{name:<34}{held.mean():>6.3f}{error:>11.3f}")
                sys.stdout.write(lines[-1] + "\n")
                sys.stdout.flush()
    (HERE / "coverage_seasons.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
