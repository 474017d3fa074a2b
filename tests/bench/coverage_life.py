"""How often 90 % intervals of shape, scale and B10 hold the truth: 3,000 simulated sets a row.

Run from the checkout, with one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/bench/coverage_life.py

It writes ``coverage_life.txt`` beside this file. One seed, fixed before the first run.
"""

from __future__ import annotations

import runpy
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
SETS, SEED = 3000, 1
FIXED_SETS = 1000
MANY: dict[str, Any] = runpy.run_path(str(HERE.parent / "many_lives.py"))


def shown(rows: list[dict[str, Any]]) -> str:
    import pandas as pd

    return pd.DataFrame(rows).round(3).to_string(index=False)


def table(sets: int) -> str:
    start = time.perf_counter()
    by_likelihood = [
        {"expected": expected} | MANY["likelihood_cover"](expected, 2.0, sets, SEED)
        for expected in (3.3, 10.0, 30.0)
    ]
    by_posterior = [
        {"seen": seen} | MANY["posterior_cover"](seen, sets, SEED) for seen in (0, 1, 2, 5)
    ]
    fixed = [
        {"truth": shape, "expected": expected}
        | MANY["fixed_cover"](shape, expected, FIXED_SETS, SEED)
        for shape in (1.2, 2.0, 3.5)
        for expected in (1.0, 5.0, 20.0)
    ]
    spent = (time.perf_counter() - start) / 60
    noise = 0.3 / sets**0.5
    return f"""\
Coverage of 90 % intervals of a life model, {datetime.now().date()}
{sets} sets of {MANY["PARTS"]} parts a row, seed {SEED}, {spent:.0f} min.
Standard error {noise:.3f}.

Without a prior (likelihood ratio below 30 failures, curvature on the log scale from 30 on); true
shape 2. Sets without a greatest likelihood are counted as no_fit and have no interval.
{shown(by_likelihood)}

Under the default prior, truths drawn from that prior; by failures seen. With none seen the
intervals of scale and B10 have a lower end only. flagged: 'the lives disagree with the prior'.
{shown(by_posterior)}

Under the default prior (centre 2), truths fixed; {FIXED_SETS} sets a row.
{shown(fixed)}
"""


def main() -> None:
    text = table(int(sys.argv[1]) if len(sys.argv) > 1 else SETS)
    (HERE / "coverage_life.txt").write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
