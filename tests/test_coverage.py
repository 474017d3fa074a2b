"""A season's 90 % interval holds the spares that a simulated fleet then used."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

FLEETS: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "fleets.py"))
COUNT, AT_LEAST = 20, 16


def same(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    return one.equals(other)


@pytest.mark.parametrize("kind", FLEETS["KINDS"])
def test_a_fleet_hangs_together(kind: str) -> None:
    snapshot, plan, used = FLEETS["fleet"](kind, 1)
    again, plan_again, used_again = FLEETS["fleet"](kind, 1)
    assert (plan, used) == (plan_again, used_again)
    assert same(snapshot.lives, again.lives)
    assert len(snapshot.fitted) == 120
    ran = snapshot.fitted_cells.groupby("piece")["x"].sum() * 1000
    age = snapshot.fitted.set_index("piece")["age"]
    assert np.allclose(ran.reindex(age.index), age)
    modes = set(snapshot.lives["mode"]) - {""}
    assert modes <= {"worn": {"worn"}, "broken": {"broken"}, "mixed": {"worn", "broken"}}[kind]
    assert snapshot.wear.empty == (kind == "broken")
    total = snapshot.lives.assign(at=snapshot.lives["lower"])
    spans = total["piece"].str.rsplit("/", n=1).str[0]
    seasons = len(snapshot.seasons)
    lived = total.groupby(spans)["at"].sum()
    assert np.allclose(lived, seasons * FLEETS["SEASON"])


@pytest.mark.slow
@pytest.mark.parametrize("kind", FLEETS["KINDS"])
def test_the_interval_holds_the_truth(kind: str, tmp_path: Path) -> None:
    from forecast.jobs.season import forecast_season
    from forecast.planning.plan import read_plan

    rows = []
    for seed in range(COUNT):
        snapshot, text, used = FLEETS["fleet"](kind, seed)
        path = tmp_path / f"{kind}_{seed}.toml"
        path.write_text(text, encoding="utf-8")
        totals = forecast_season(snapshot, read_plan(path)).results["season_totals"]
        for row in totals.itertuples():
            truth = used[str(row.part_type)]
            rows.append(
                {
                    "kind": kind,
                    "seed": seed,
                    "seasons": len(snapshot.seasons),
                    "failures": int((snapshot.lives["mode"] == "broken").sum()),
                    "truth": truth,
                    "p05": row.p05,
                    "mean": round(float(row.mean), 1),
                    "p95": row.p95,
                    "holds": bool(row.p05 <= truth <= row.p95),
                }
            )
    table = pd.DataFrame(rows)
    message = table.to_string(index=False)
    print(message)  # noqa: T201
    assert len(table) == COUNT
    assert int(table["holds"].sum()) >= AT_LEAST, f"\n{message}"
