"""How often the season's 90 % interval held what was used: 200 simulated fleets a cell.

Run from the checkout, with one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/bench/coverage.py [WORKERS [MINUTES]]

It writes ``coverage.txt`` beside this file. Seeds are 1000 to 1199 in every cell, fixed before the
first run; truths are drawn from the priors that the forecast states. A cell is what drives the
fleet (wear, breakage, both) and how many failures were seen so far. Every cell gets its first seed,
then every one its second: when the minutes are over, the table says how many fleets it holds.
"""

from __future__ import annotations

import math
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

    every = pd.DataFrame(rows).sort_values(["kind", "cell"], kind="stable")
    done = int(every.groupby(["kind", "cell"]).size().min())
    day = datetime.now().date()
    lines = [
        f"Coverage of season forecasts on simulated fleets, {day}",
        f"{done} of {COUNT} fleets a cell, {DRAWS} paths each, seeds {FIRST_SEED} to "
        f"{FIRST_SEED + done - 1}; {len(every)} fleets in {seconds / 60:.0f} min on "
        f"{os.cpu_count()} shared cores.",
        "Truths drawn from the priors the forecast states; a season's number of pieces used.",
        f"holds: inside the 90 % interval; below: under it; enough: the order for a service level "
        f"of {LEVEL:.0%} (no stock, no lead time) covered what was used.",
        "",
    ]
    for by in (["kind", "cell"], ["kind", "seasons"], ["kind"]):
        grouped = every.groupby(by, sort=by != ["kind", "cell"])
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
    seconds = 60 * float(sys.argv[2]) if len(sys.argv) > 2 else math.inf
    start = time.perf_counter()
    rows: list[dict[str, Any]] = []
    with ProcessPoolExecutor(workers) as pool:
        for n in range(COUNT):
            if time.perf_counter() - start > seconds:
                break
            tasks = [
                (kind, cell, FIRST_SEED + n) for kind in MANY["KINDS"] for cell in MANY["CELLS"]
            ]
            rows += pool.map(one, tasks)
            text = table(rows, time.perf_counter() - start)
            (HERE / "coverage.txt").write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
