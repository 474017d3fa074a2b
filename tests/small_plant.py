"""A small plant as log files and a plan: four machines, sleeves that are read, loose pockets.

Not a test: ``runpy.run_path(...)["plant"](folder)`` writes and imports it. Run as a program it
forecasts, and kills itself: ``python small_plant.py STORE PLAN CALL MILLISECONDS`` sends SIGKILL
so long after that call of ``tell`` (numbered from 1).
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from forecast.intake.importing import import_logs
from forecast.jobs.season import run_season
from forecast.work import Work

START, AS_OF = date(2026, 5, 4), date(2026, 8, 2)
MACHINES = [f"G{n:02}" for n in range(1, 5)]

PLAN = """\
[season]
name = "Small season"
start = 2026-08-03
end = 2026-09-27
as_of = 2026-08-02
running_hours_per_day = 20.0
season_spread = 0.1
currency = "EUR"
[windows]
weekly = "sunday"
crew_hours = 20.0
machine_setup_minutes = 10
[[switch]]
from_part = "LINER-35"
to_part = "LINER-45"
machines = "G02"
on = 2026-08-09
[defaults]
policy = "at_wear"
planned_cost = 4.0
unplanned_cost = 60.0
minutes = 6
set_minutes = 20
[part_type."LINER-45"]
policy = "run_to_failure"
[draws]
count = 100
seed = 1
"""


def plant(folder: Path) -> tuple[str, Path]:
    """Write and import the logs; return the store's address and the plan file."""
    files, plan = written(folder)
    store = str(folder / "store.duckdb")
    import_logs(store, files, today=AS_OF + timedelta(days=1))
    return store, plan


def written(folder: Path) -> tuple[list[Path], Path]:
    """Write the logs and the plan."""
    rng = np.random.default_rng(7)
    logs = {
        "part_types": [
            "part_type,wear_limit_mm,gauge_sd_mm,unit_cost,lead_time_days",
            "SLEEVE-30,0.9,0.02,9.8,21",
            "LINER-35,0.9,0.02,3.6,21",
            "LINER-45,0.9,0.02,3.6,21",
        ],
        "fleet": ["machine,place,part_type,positions,from,start_state,serialised,kit"],
        "change_outs": ["machine,at,action,place,position,part_type,quantity,reason"],
        "readings": ["machine,at,place,position,part_type,value,chosen"],
        "running": ["date,running_hours,machine"],
        "stock": ["part_type,at,state,quantity", f"SLEEVE-30,{AS_OF},on_hand,60"],
    }
    for number, machine in enumerate(MACHINES):
        on, off = ("LINER-35", "LINER-45") if number < 2 else ("LINER-45", "LINER-35")
        logs["fleet"] += [
            f"{machine},rollers,SLEEVE-30,1-6,{START},new,yes,",
            f"{machine},pockets,{on},40,{START},new,no,K{on[-2:]}-{machine}",
            f"{machine},pockets,{off},40,{START},,no,K{off[-2:]}-{machine}",
        ]
        rates = 4e-4 * rng.lognormal(0, 0.2, 6)
        for week in (5, 9, 12):
            at, hours = START + timedelta(days=7 * week), 7 * week * 20.0
            for n, rate in enumerate(rates, 1):
                depth = 0.06 + rate * hours + 0.02 * rng.standard_normal()
                logs["readings"].append(
                    f"{machine},{at},rollers,{n},SLEEVE-30,{max(depth, 0):.3f},all"
                )
            for n in rng.choice(40, 5, replace=False) + 1:
                depth = 0.05 + 2e-4 * hours * rng.lognormal(0, 0.2)
                logs["readings"].append(f"{machine},{at},pockets,{n},{on},{depth:.3f},random")
        logs["change_outs"].append(f"{machine},2026-07-06,replaced,pockets,,{on},2,broken")
    logs["running"] += [
        f"{START + timedelta(days=n)},20.0,*" for n in range((AS_OF - START).days + 1)
    ]
    files = []
    for name, lines in logs.items():
        files.append(folder / f"{name}.csv")
        files[-1].write_text("\n".join(lines) + "\n", encoding="utf-8")
    plan = folder / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    return files, plan


def main() -> None:
    """Forecast; SIGKILL some time after the call asked for, exit 0 if it ends before."""
    store, plan, fuse, late = sys.argv[1:]
    calls = 0

    def tell(what: str, done: int, of: int) -> None:
        nonlocal calls
        calls += 1
        if calls == int(fuse):
            wait = int(late) / 1000.0
            threading.Timer(wait, os.kill, (os.getpid(), signal.SIGKILL)).start()

    run_season(store, Path(plan), work=Work(tell=tell))


if __name__ == "__main__":
    main()
