"""How often the season's 90 % interval held what was used: 200 simulated fleets a cell.

Run from the checkout, with one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/bench/coverage.py

It writes ``coverage.txt`` beside this file. Seeds are 1000 to 1199 in every cell, fixed before the
first run; truths are drawn from the priors that the forecast states. A cell is what drives the
fleet (wear, breakage, both) and how many failures were seen so far.
"""

from __future__ import annotations

import os
import runpy
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
COUNT, DRAWS, FIRST_SEED, LEVEL = 200, 1000, 1000, 0.95
MANY: dict[str, Any] = runpy.run_path(str(HERE.parent / "many_fleets.py"))


def one(task: tuple[str, int, int]) -> dict[str, Any]:
    """Forecast one fleet and look at what was used."""
    from forecast.jobs.season import forecast_season
    from forecast.planning.plan import read_plan

    kind, cell, seed = task
    snapshot, text, used, behind = MANY["fleet_of"](kind, cell, seed)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.toml"
        path.write_text(text, encoding="utf-8")
        plan = read_plan(path, [f"draws.count={DRAWS}"])
    found = forecast_season(snapshot, plan).results
    total, order = found["season_totals"].iloc[0], found["purchases"]
    return behind | {
        "kind": kind,
        "cell": cell,
        "used": used,
        "mean": float(total["mean"]),
        "width": float(total["p95"] - total["p05"]),
        "holds": bool(total["p05"] <= used <= total["p95"]),
        "below": bool(used < total["p05"]),
        "enough": bool(order["quantity"].sum() >= used),
    }


def table(rows: list[dict[str, Any]], seconds: float) -> str:
    import pandas as pd

    every = pd.DataFrame(rows)
    day = datetime.now().date()
    lines = [
        f"Coverage of season forecasts on simulated fleets, {day}",
        f"{COUNT} fleets a cell, {DRAWS} paths each, seeds {FIRST_SEED} to "
        f"{FIRST_SEED + COUNT - 1}; {len(every)} fleets in {seconds / 60:.0f} min on "
        f"{os.cpu_count()} shared cores.",
        "Truths drawn from the priors the forecast states; a season's number of pieces used.",
        f"holds: inside the 90 % interval; below: under it; enough: the order for a service level "
        f"of {LEVEL:.0%} (no stock, no lead time) covered what was used.",
        "",
    ]
    for by in (["kind", "cell"], ["kind", "seasons"], ["kind"]):
        grouped = every.groupby(by, sort=False if by == ["kind", "cell"] else True)
        shown = grouped.agg(
            fleets=("used", "size"),
            failures=("failures", "mean"),
            used=("used", "mean"),
            forecast=("mean", "mean"),
            width=("width", "mean"),
            holds=("holds", "mean"),
            below=("below", "mean"),
            enough=("enough", "mean"),
        )
        lines += [shown.round(3).to_string(), ""]
    whole = every[["holds", "below", "enough"]].mean()
    lines.append(
        f"All {len(every)}: holds {whole['holds']:.3f}, below {whole['below']:.3f}, "
        f"enough {whole['enough']:.3f}"
    )
    return "\n".join(lines) + "\n"


def main() -> None:
    workers = int(sys.argv[1]) if len(sys.argv) > 1 else os.cpu_count() or 1
    tasks = [
        (kind, cell, FIRST_SEED + n)
        for kind in MANY["KINDS"]
        for cell in MANY["CELLS"]
        for n in range(COUNT)
    ]
    start = time.perf_counter()
    with ProcessPoolExecutor(workers) as pool:
        rows = list(pool.map(one, tasks, chunksize=10))
    text = table(rows, time.perf_counter() - start)
    (HERE / "coverage.txt").write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
