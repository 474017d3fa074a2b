"""What lies behind the logs: parameters, planted faults, spares used, the season's true end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict
from datetime import date

import numpy as np

from sample_logs import scene, tables
from sample_logs.future import future
from sample_logs.history import History
from sample_logs.rows import Change
from sample_logs.scene import MACHINES
from sample_logs.world import Bank


def spares(change: Change) -> int:
    """Return how many spares a row used."""
    if change.action == "replaced":
        return 1 if change.quantity is None else change.quantity
    trial = change.action == "fitted" and change.part_type == scene.TRIAL.part_type
    return int(trial)


def used_by_year(changes: Iterable[Change]) -> dict[str, dict[str, int]]:
    """Return spares used by year and part type."""
    used: dict[str, Counter[str]] = {}
    for change in changes:
        number = spares(change)
        if number:
            used.setdefault(str(change.day.year), Counter())[change.part_type] += number
    return {year: dict(sorted(counts.items())) for year, counts in sorted(used.items())}


def used_between_counts(
    changes: Iterable[Change], absent: Iterable[dict[str, object]]
) -> dict[tuple[int, str], int]:
    """Return spares used up to each stock count since the one before, logged or not."""
    used: Counter[tuple[int, str]] = Counter()
    rows = [(change.day, change.part_type, spares(change)) for change in changes]
    rows += [(date.fromisoformat(str(row["at"])), str(row["part_type"]), 1) for row in absent]
    for day, part_type, drawn in rows:
        number = sum(count < day for count in tables.COUNTS)
        if number < len(tables.COUNTS):
            used[number, part_type] += drawn
    return dict(used)


def _effects(bank: Bank, number: int) -> dict[str, float]:
    """Return each machine's true wear rate against the usual."""
    ratios = np.exp(bank.machine_effect[number])
    return {name: round(float(ratio), 4) for name, ratio in zip(MACHINES, ratios, strict=True)}


def truth_of(
    history: History, used: dict[str, dict[str, int]], planted: list[dict[str, object]], seed: int
) -> dict[str, object]:
    """Return all that tests may know."""
    world = history.world
    banks = [(world.sleeves, 0), (world.sleeves, 1), (world.strips, 0)]
    banks += [(bank, 0) for bank in world.pockets]
    return {
        "seed": seed,
        "note": "true parameters, planted faults and the season's true end; only tests read this",
        "laws": [asdict(law) for law in scene.LAWS],
        "machine_ratios": {
            bank.laws[number].part_type: _effects(bank, number) for bank, number in banks
        },
        "phases": scene.PHASES,
        "gauge_sd": scene.GAUGE_SD,
        "bedding": "offset x (1 - exp(-hours / 20))",
        "breakage": "Weibull in hours since fitting (a turned strip starts again); no season",
        "spares_used": used,
        "future": {
            "policy": "changed when broken, or in the first window at the limit; [[switch]] and "
            "[[down]] of season_2026.toml; from 2026-06-01: without the overhaul's change-outs",
            "until": "2026-11-08",
            **{
                after.isoformat(): future(world, history.running, after)
                for after, world in sorted(history.kept.items())
            },
        },
        "planted": planted,
    }
