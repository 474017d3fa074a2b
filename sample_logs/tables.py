"""The logs that are no events: part types, fleet, meters, running hours, stock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Final

import numpy as np

from sample_logs import scene
from sample_logs.history import History
from sample_logs.rows import kit_name
from sample_logs.scene import LAWS, LINERS, LINES, MACHINES, SEASONS
from sample_logs.sheets import Folder, Row, reported

PART_COLUMNS: Final = (
    "part_type", "description", "grade", "size", "form", "nominal_mm", "wear_limit_mm",
    "limit_low_mm", "limit_high_mm", "alert_mm", "limit_measure", "limit_source", "gauge_sd_mm",
    "size_sd_mm", "cte_um_per_m_k", "constraint", "sides", "prior_shape", "prior_shape_low",
    "prior_shape_high", "prior_source", "food_contact_doc", "unit_cost", "currency",
    "lead_time_days", "min_order", "pack_size",
)  # fmt: skip
BOUGHT: Final = {
    "SLEEVE-30": ("9.80", "21", "100", "25"),
    "SLEEVE-30T": ("14.20", "28", "50", "25"),
    "STRIP-12": ("23.50", "28", "20", "10"),
    "LINER-35": ("3.10", "35", "180", "60"),
    "LINER-45": ("3.30", "35", "180", "60"),
    "LINER-55": ("3.60", "35", "180", "60"),
    "LINER-65": ("3.90", "35", "180", "60"),
}
"""Price, lead time in days, least order and pack size."""
FLEET_COLUMNS: Final = (
    "machine", "line", "place", "part_type", "positions", "from", "start_state", "serialised",
    "logged", "past_policy", "kit", "pressure_mpa", "speed_m_s", "temperature_c", "medium",
)  # fmt: skip
REPLACED_METER: Final = ("G21", date(2025, 9, 28))
"""A new hour meter, written down."""
SWAPPED_METER: Final = ("G33", date(2024, 10, 6))
"""A new hour meter that nobody wrote down: it began at 0 with that week."""
COUNTS: Final = (
    date(2024, 7, 29), date(2024, 11, 12), date(2025, 7, 28), date(2025, 11, 11),
    date(2026, 7, 27), date(2026, 8, 28),
)  # fmt: skip
OPENING: Final = (240, 60, 80, 420, 420, 360, 360)
STOCK_WANTED: Final = (160, 40, 60, 600, 480, 360, 360)
"""What the winter orders fill the stock up to (they did not foresee the season 2026)."""
OPEN_ORDERS: Final = (
    ("SLEEVE-30", 50, "P26-301", date(2026, 8, 24), date(2026, 9, 18)),
    ("LINER-35", 480, "P26-302", date(2026, 8, 3), date(2026, 9, 4)),
    ("LINER-45", 360, "P26-303", date(2026, 8, 24), date(2026, 10, 2)),
    ("STRIP-12", 20, "P26-304", date(2026, 8, 17), date(2026, 9, 25)),
)
"""Orders not yet delivered; the last one was cancelled."""


def part_types(folder: Folder) -> None:
    """Write the part types."""
    own = {
        "SLEEVE-30": {
            "description": "Roller sleeve bearing 30 mm", "grade": "standard", "form": "sleeve",
            "limit_source": "play audible above 1.0 mm", "nominal_mm": "30.10",
            "size_sd_mm": "0.02", "cte_um_per_m_k": "80", "constraint": "free",
        },
        "SLEEVE-30T": {
            "description": "Roller sleeve bearing 30 mm, trial", "grade": "trial",
            "form": "sleeve", "limit_source": "play audible above 1.0 mm", "nominal_mm": "30.10",
            "size_sd_mm": "0.02", "cte_um_per_m_k": "80", "constraint": "free",
            "prior_shape": "2.0", "prior_shape_low": "1.2", "prior_shape_high": "3.3",
            "prior_source": "the supplier's bench runs, letter of March 2025",
        },
        "STRIP-12": {
            "description": "Chain guide strip 12 mm", "grade": "standard", "form": "strip",
            "limit_low_mm": "1.20", "limit_high_mm": "1.40", "sides": "2",
            "limit_source": "chain touches the bolt heads somewhere from 1.2 to 1.4 mm",
        },
    }  # fmt: skip
    liner = {
        "description": "Pocket liner for calibre {}", "grade": "standard", "form": "pocket",
        "limit_source": "bruises in the check sample", "food_contact_doc": "declaration 2024-03",
    }  # fmt: skip
    rows = []
    for law in LAWS:
        size = law.part_type.split("-")[1].rstrip("T")
        more = own.get(law.part_type) or liner | {"description": liner["description"].format(size)}
        cost, lead, least, pack = BOUGHT[law.part_type]
        rows.append(
            Row(
                {
                    "part_type": law.part_type,
                    "size": size,
                    "wear_limit_mm": f"{law.limit:.2f}",
                    "alert_mm": f"{law.alert:.2f}",
                    "limit_measure": "depth",
                    "gauge_sd_mm": f"{scene.GAUGE_SD:.2f}",
                    "unit_cost": cost,
                    "currency": "EUR",
                    "lead_time_days": lead,
                    "min_order": least,
                    "pack_size": pack,
                    **more,
                }
            )
        )
    folder.write("part_types.csv", PART_COLUMNS, rows)


def fleet(folder: Folder) -> None:
    """Write where parts sit."""
    folder.write("fleet.csv", FLEET_COLUMNS, _fleet_rows())


def _fleet_rows() -> Iterator[Row]:
    start = SEASONS[0].start.isoformat()
    for number, machine in enumerate(MACHINES):
        unknown = machine in scene.UNKNOWN_START
        state = "unknown" if unknown else str(scene.START_AGES.get(machine, "new"))
        kit_state = "unknown" if unknown else str(scene.KIT_AGES.get(machine, "new"))
        common = {
            "machine": machine,
            "line": LINES[number],
            "logged": "every_job",
            "past_policy": "at_wear",
            "temperature_c": "16",
            "medium": "damp soil",
        }
        rollers = {"place": "rollers", "serialised": "yes", "pressure_mpa": "0.35"}
        rollers["speed_m_s"] = "0.22"
        sits = [
            rollers
            | {"part_type": "SLEEVE-30", "positions": "01-24", "from": start, "start_state": state}
        ]
        if machine in scene.TRIAL_MACHINES:
            begins = scene.overhaul_day(2025, number).isoformat()
            sits.append(rollers | {"part_type": "SLEEVE-30T", "positions": "13-24", "from": begins})
        sits.append(
            {
                "place": "chain",
                "part_type": "STRIP-12",
                "positions": "1-8",
                "from": start,
                "start_state": state,
                "serialised": "yes",
                "pressure_mpa": "0.20",
                "speed_m_s": "0.45",
            }
        )
        for size, law in enumerate(LINERS):
            in_place = {"start_state": kit_state, "kit": kit_name(0, number)} if size == 0 else {}
            sits.append(
                {
                    "place": "pockets",
                    "part_type": law.part_type,
                    "positions": "180",
                    "from": start,
                    "serialised": "no",
                    **in_place,
                }
            )
        for cells in sits:
            yield Row(common | cells)


def clocks(folder: Folder, history: History, rng: np.random.Generator) -> None:
    """Write the hour meters, one replaced and noted, one replaced and not noted."""
    began = np.round(rng.uniform(9_000, 31_000, len(MACHINES)), 1)
    base = began.copy()
    rows = []
    for day, total in history.meters:
        hour = 12 if day.weekday() == 6 and any(day in season.days for season in SEASONS) else 9
        for number, machine in enumerate(MACHINES):
            cells = {"at": f"{day.isoformat()} {hour:02d}:00", "machine": machine}
            cells["reported_at"] = reported(day)
            tag = ""
            if (machine, day) == SWAPPED_METER:
                base[number] = -_week_before(history, day, number)
                tag = "hour meter replaced, not noted"
            cells["shows"] = f"{base[number] + total[number]:.1f}"
            if (machine, day) == REPLACED_METER:
                cells |= {"event": "replaced", "start_shows": "0.0", "note": "display dead"}
                base[number] = -total[number]
                tag = "hour meter replaced, noted"
            if machine == "G05" and day == date(2024, 9, 29):
                cells["shows"] = cells["shows"].replace(".", ".O")
                tag = "set aside: shows"
            rows.append(Row(cells, tag))
    columns = ("at", "machine", "shows", "event", "start_shows", "note", "reported_at")
    folder.write("clocks.csv", columns, rows, blank_after=(44, 88))


def _week_before(history: History, day: date, machine: int) -> float:
    earlier = [total[machine] for at, total in history.meters if at < day]
    return float(earlier[-1])


def running(folder: Folder, history: History) -> None:
    """Write hours and raw material by day, and what is planned for the next three weeks."""
    run, planned = [], []
    for day, (hours, phase) in history.running.items():
        cells = {"date": day.isoformat(), "phase": phase, "reported_at": reported(day)}
        rows = [Row(cells | {"machine": "*", "running_hours": f"{hours:.1f}"})]
        for kind, name, first, last, own in scene.STOPS:
            if first <= day <= last and day <= scene.LOGS_END:
                rows.append(Row(cells | {kind: name, "running_hours": f"{own:.1f}"}))
        if day <= scene.LOGS_END:
            run += rows
        elif day <= scene.LOGS_END + timedelta(days=21):
            for row in rows:
                row.cells["reported_at"] = "2026-08-28"
            planned += rows
    columns = ("date", "machine", "line", "running_hours", "phase", "reported_at")
    folder.write("running.csv", columns, run)
    folder.write("running_2026_planned.csv", columns, planned)


def stock(folder: Folder, used: Mapping[tuple[int, str], int]) -> None:
    """Write counts and orders.

    Parameters
    ----------
    folder
        Where to.
    used
        Spares used between two counts: by the number of the later count, and part type.
    """
    rows = []
    for kind, law in enumerate(LAWS):
        on_hand = OPENING[kind]
        pack = int(BOUGHT[law.part_type][3])
        for number, day in enumerate(COUNTS):
            if number in (2, 4):
                wanted = STOCK_WANTED[kind] + used.get((number, law.part_type), 0) - on_hand
                ordered = max(0, -(-wanted // pack) * pack)
                if ordered:
                    number_in_year = f"P{day.year % 100}-{101 + kind}"
                    dates = (date(day.year - 1, 12, 1 + kind), date(day.year, 5, 4 + kind))
                    rows += _order(law.part_type, ordered, number_in_year, *dates)
                    on_hand += ordered
            if number:
                on_hand -= used.get((number, law.part_type), 0)
            if number in (1, 3, 5) and on_hand < 0:
                bought = -(-(20 - on_hand) // pack) * pack
                dates = (date(day.year, 8, 10), date(day.year, 8, 24))
                rows += _order(law.part_type, bought, f"P{day.year % 100}-{201 + kind}", *dates)
                on_hand += bought
            rows.append(_stock(law.part_type, "on_hand", on_hand, {"at": day.isoformat()}))
    for part_type, quantity, order_no, at, due in OPEN_ORDERS:
        rows.append(_order(part_type, quantity, order_no, at, due)[0])
    dropped, quantity, order_no, _, due = OPEN_ORDERS[-1]
    cells = {"at": "2026-08-26", "due": due.isoformat(), "order_no": order_no}
    rows.append(_stock(dropped, "cancelled", quantity, cells))
    columns = ("at", "part_type", "state", "quantity", "due", "order_no", "condition")
    folder.write("stock.csv", columns, sorted(rows, key=lambda row: row.cells["at"]))


def _order(part_type: str, quantity: int, order_no: str, at: date, due: date) -> list[Row]:
    """Return the rows of an order: placed, and nothing of it outstanding on the day it came."""
    cells = {"due": due.isoformat(), "order_no": order_no}
    return [
        _stock(part_type, "on_order", quantity, cells | {"at": at.isoformat()}),
        _stock(part_type, "on_order", 0, cells | {"at": due.isoformat()}),
    ]


def _stock(part_type: str, state: str, quantity: int, more: dict[str, str]) -> Row:
    cells = {"part_type": part_type, "state": state, "quantity": str(quantity)}
    return Row(cells | {"condition": "new"} | more)
