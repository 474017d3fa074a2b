"""What the worked systems share: a small plant with readings of one part type.

Not a test: ``runpy.run_path(...)["measured_plant"]`` gives the plant.
"""

from __future__ import annotations

import runpy
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from forecast.records.snapshot import Snapshot

LOGBOOK = runpy.run_path(str(Path(__file__).parents[1] / "logbook.py"))["Logbook"]
FIRST = date(2026, 8, 3)


def measured_plant(
    address: Path,
    rate_mm: float,
    *,
    machines: int = 4,
    positions: int = 4,
    weeks: tuple[int, ...] = (2, 4, 7),
    hours: float = 20.0,
    per_hour: float = 1.0,
    limit: float = 1.5,
    part: dict[str, Any] | None = None,
    fleet: dict[str, Any] | None = None,
) -> Snapshot:
    """Return what is known of a plant with pieces fitted new.

    They are read at the ends of some weeks, with a gauge of 0.02 mm sd.
    ``rate_mm`` is the truth a unit of the part's own clock, ``per_hour`` its units an hour; pieces
    differ by 10 %.
    """
    rng = np.random.default_rng(5)
    log = LOGBOOK(address)
    log.part_type("PART", limit, gauge_sd_mm=0.02, **(part or {}))
    for number in range(machines):
        name = f"M{number + 1}"
        log.fleet(name, "PART", f"{positions}", place="place", **(fleet or {}))
        log.run(name, FIRST.isoformat(), 7 * max(weeks), hours)
        for at in range(positions):
            own = rate_mm * float(np.exp(0.10 * rng.standard_normal()))
            for week in weeks:
                day = FIRST + timedelta(days=7 * week - 1)
                ran = 7 * week * hours * per_hour
                depth = own * ran + 0.02 * float(rng.standard_normal())
                log.reading(
                    name,
                    day.isoformat(),
                    round(max(depth, 0.0), 3),
                    place="place",
                    part_type="PART",
                    position=str(at + 1),
                    reading_kind="wear_depth",
                )
    return log.snapshot()
