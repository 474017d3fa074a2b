"""How often the season's 90 % interval held what was used: 200 simulated fleets a cell.

Run from the checkout, with one BLAS thread:

    OPENBLAS_NUM_THREADS=1 python tests/bench/coverage.py [WORKERS [MINUTES [ROWS.csv]]]

It writes ``coverage.txt`` beside this file, and every fleet to ROWS.csv if asked: the next run goes
on from there. Seeds are 1000 to 1199 in every cell, fixed before the first run; truths are drawn
from the priors that the forecast states. A cell is what drives the fleet (wear, breakage, both) and
how many failures were seen so far; cells of their own are seasons that do not differ, differ as
most do, and differ much, where the plan tells so. Every cell gets its first seed, then every one
its second: when the minutes are over, the table says how many fleets it holds.
"""

from __future__ import annotations

import dataclasses
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
COUNT, DRAWS, FIRST_SEED, LEVEL = 200, 4000, 1000, 0.95
EFFECTS = (0.0, 0.1, 0.3)
"""How far seasons differ where the plan tells it: sd of the log wear rate."""
MANY: dict[str, Any] = runpy.run_path(str(HERE.parent / "many_fleets.py"))


def cells() -> list[tuple[str, int, float | None]]:
    """Return what drives a fleet, how many failures it shows, and how far its seasons differ."""
    usual = [(kind, cell, None) for kind in MANY["KINDS"] for cell in MANY["CELLS"]]
    return usual + [(kind, 20, told) for kind in ("worn", "mixed") for told in EFFECTS]


def one(task: tuple[str, int, float | None, int]) -> dict[str, Any]:
    """Forecast one fleet and look at what was used."""
    from forecast.planning.plan import read_plan

    kind, cell, told, seed = task
    snapshot, text, used, behind = MANY["fleet_of"](kind, cell, seed, told)
    parts = snapshot.part_types.assign(lead_time_days=0)
    snapshot = dataclasses.replace(snapshot, part_types=parts)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plan.toml"
        path.write_text(text, encoding="utf-8")
        plan = read_plan(path, [f"draws.count={DRAWS}"])
    totals, order = MANY["said_of"](snapshot, plan)
    total = totals.iloc[0]
    behind.pop("readings")
    return behind | {
        "seed": seed,
        "kind": kind,
        "cell": cell,
        "seasons differ by": "drawn" if told is None else f"{told:.1f}",
        "used": used,
        "mean": float(total["mean"]),
        "p05": float(total["p05"]),
        "p95": float(total["p95"]),
        "width": float(total["p95"] - total["p05"]),
        "holds": bool(total["p05"] <= used <= total["p95"]),
        "below": bool(used < total["p05"]),
        "above": bool(used > total["p95"]),
        "some": bool(total["p05"] > 0),
        "enough": bool(order["quantity"].sum() >= used),
        "promised": float(order["chance_with"].max()),
    }


def table(rows: list[dict[str, Any]], seconds: float) -> str:
    """Lay out how often every cell held, and what the orders kept of what they promised."""
    import pandas as pd

    by_cell = ["kind", "cell", "seasons differ by"]
    every = pd.DataFrame(rows).sort_values(by_cell, kind="stable")
    done = int(every.groupby(by_cell).size().min())
    day = datetime.now().date()
    lines = [
        f"Coverage of season forecasts on simulated fleets, {day}",
        f"{done} of {COUNT} fleets a cell, {DRAWS} paths each, seeds {FIRST_SEED} to "
        f"{FIRST_SEED + done - 1}; {len(every)} fleets in {seconds / 60:.0f} min on "
        f"{os.cpu_count()} shared cores.",
        "Truths drawn from the priors the forecast states; a season's number of pieces used.",
        "holds: inside the 90 % interval; below, above: outside it; enough: the order for a",
        f"service level of {LEVEL:.0%} (no stock, no lead time) covered what was used; promised:",
        "the chance that the forecast gave for it; some: its interval begins above 0, so that",
        f"less can be used. Standard error of a share of {done} that is .9: "
        f"{math.sqrt(0.09 / done):.3f}.",
        "Where an interval begins at 0 it can only be missed above: there 95 % is right, not 90 %.",
        "In the kind worn nothing can break, which no forecast can know: it keeps what 'broken 0'",
        "shows for that, and so holds and covers more than asked, the more so with no failures.",
        "",
    ]
    for by in (by_cell, ["kind", "seasons"], ["kind"], ["some"]):
        grouped = every.groupby(by, sort=True)
        shown = grouped.agg(
            fleets=("used", "size"),
            failures=("failures", "mean"),
            used=("used", "mean"),
            forecast=("mean", "mean"),
            width=("width", "mean"),
            holds=("holds", "mean"),
            below=("below", "mean"),
            above=("above", "mean"),
            enough=("enough", "mean"),
            promised=("promised", "mean"),
        )
        lines += [shown.round(3).to_string(), ""]
    for name, own in (("All", every), ("That surely use some", every[every["some"]])):
        whole = own[["holds", "below", "above", "enough", "promised"]].mean()
        lines.append(
            f"{name}, {len(own)} fleets: holds {whole['holds']:.3f} (below {whole['below']:.3f}, "
            f"above {whole['above']:.3f}); orders enough {whole['enough']:.3f}, promised "
            f"{whole['promised']:.3f}, asked {LEVEL:.3f}"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Forecast the fleets, seed by seed, and write the table after each."""
    import pandas as pd

    workers = int(sys.argv[1]) if len(sys.argv) > 1 else os.cpu_count() or 1
    seconds = 60 * float(sys.argv[2]) if len(sys.argv) > 2 else math.inf
    kept = Path(sys.argv[3]) if len(sys.argv) > 3 else None
    rows: list[dict[str, Any]] = []
    before = 0.0
    if kept is not None and kept.exists():
        found = pd.read_csv(kept, dtype={"seasons differ by": str})
        rows, before = found.to_dict("records"), float(found["seconds"].max())
    start = time.perf_counter()
    text = table(rows, before) if rows else ""
    with ProcessPoolExecutor(workers) as pool:
        for n in range(len(rows) // len(cells()), COUNT):
            if time.perf_counter() - start > seconds:
                break
            tasks = [(*cell, FIRST_SEED + n) for cell in cells()]
            more = list(pool.map(one, tasks))
            spent = before + time.perf_counter() - start
            rows += [row | {"seconds": spent} for row in more]
            text = table(rows, spent)
            (HERE / "coverage.txt").write_text(text, encoding="utf-8")
            if kept is not None:
                pd.DataFrame(rows).to_csv(kept, index=False)
    sys.stdout.write(text)


if __name__ == "__main__":
    main()
