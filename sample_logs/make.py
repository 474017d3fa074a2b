"""Make the sample logs anew: ``python -m sample_logs.make FOLDER``.

The same seed gives the same bytes. ``FOLDER/logs`` takes the logs, ``FOLDER/truth.json`` what
lies behind them: the parameters, the planted faults with file and line, and the season's end as
it came. Only tests read the truth.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

from sample_logs import dirt, tables
from sample_logs.history import History
from sample_logs.rows import Change, Reading
from sample_logs.scene import LINES
from sample_logs.sheets import (
    CHANGE_COLUMNS,
    READING_COLUMNS,
    Folder,
    change_row,
    reading_row,
    write_wide_sheet,
)
from sample_logs.truth import truth_of, used_between_counts, used_by_year
from sample_logs.world import stream

SEED: Final = 2024
STRIP_HEADINGS: Final = {
    "at": "Date read", "machine": "Grader", "position": "Strip no", "value": "Depth mm",
    "found_left": "State", "chosen": "Why read", "inspector": "By",
}  # fmt: skip
CHANGE_HEADINGS: Final = {
    "at": "Day", "machine": "Grader", "place": "Where", "position": "Pos.", "part_type": "Part",
    "action": "What", "quantity": "Qty", "reason": "Why", "fitted_mm": "New size mm",
    "kit": "Set", "at_from": "Since", "age_at_fit": "Age of set",
}  # fmt: skip
FREE_TEXT: Final = {
    "worn": ("worn out", "over gauge", "Worn"),
    "broken": ("snapped", "cracked", "broken lip"),
    "planned": ("overhaul",),
    "size_change": ("calibre change",),
}
ACTIONS: Final = {"replaced": "changed", "removed": "out", "fitted": "in", "turned": "turned"}
STRIP_MAPPING: Final = """\
# How line C writes its strip sheets.
kind = "readings"

[file]
delimiter = ";"
decimal = ","
dates = "day-month"

[columns]
"Date read" = "at"
"Grader" = "machine"
"Strip no" = "position"
"Depth mm" = "value"
"State" = "found_left"
"Why read" = "chosen"
"By" = "inspector"

[units]
value = "mm"

[constant]
part_type = "STRIP-12"
place = "chain"

[values.found_left]
"found" = "as_found"
"taken off" = "removed"

[values.chosen]
"turn" = "rotation"
"again" = "suspect"
"""
WIDE_MAPPING: Final = """\
# Line D's workbook: a title, positions across, the day only in a visit's first row.
kind = "readings"

[file]
sheet = "Sleeves"
header_row = 4
fill_down = ["at"]
skip = ["Mean"]

[columns]
"Read on" = "at"
"Grader" = "machine"
"By" = "inspector"

[units]
value = "mm"

[constant]
place = "rollers"
part_type = "SLEEVE-30"
chosen = "rotation"

[wide]
columns = "01..24"
to = "position"
values = "value"
"""


def main(folder: Path) -> None:
    """Make the logs and their truth.

    Parameters
    ----------
    folder
        Gets ``logs/`` and ``truth.json``.
    """
    history = History(SEED)
    history.run()
    used = used_by_year(history.changes)
    absent = dirt.plant(history, stream(SEED, 30))
    history.readings.sort(key=lambda reading: reading.day)
    history.changes.sort(key=lambda change: (change.day, change.minute))
    logs = Folder(folder / "logs", list(absent))
    logs.path.mkdir(parents=True, exist_ok=True)
    tables.part_types(logs)
    tables.fleet(logs)
    tables.clocks(logs, history, stream(SEED, 31))
    tables.running(logs, history)
    tables.stock(logs, used_between_counts(history.changes, absent))
    _readings(logs, history.readings)
    _changes(logs, history.changes)
    truth = json.dumps(truth_of(history, used, logs.planted, SEED), indent=1)
    (folder / "truth.json").write_text(truth + "\n", encoding="utf-8", newline="\n")


def _readings(logs: Folder, readings: list[Reading]) -> None:
    """Write every reading: who wrote what, where and how."""

    def put(name: str, place: str, keep: Callable[[Reading], bool], **how: object) -> None:
        rows = [
            reading_row(reading, bore=_bore(reading), unit=str(how.get("unit", "mm")))
            for reading in readings
            if reading.place == place and keep(reading)
        ]
        columns = READING_COLUMNS[{"rollers": "sleeves", "chain": "strips"}.get(place, place)]
        if "readings_2026" in name:
            columns = (*columns, "reported_at")
        logs.write(name, columns, rows, blank_after=(120, 121) if len(rows) > 500 else ())

    def weekly(year: int, lines: str = "ABCD") -> Callable[[Reading], bool]:
        return lambda r: r.day.year == year and r.chosen != "all" and LINES[r.machine] in lines

    for year in (2024, 2026):
        put(f"readings_{year}_sleeves.csv", "rollers", weekly(year))
        put(f"readings_{year}_strips.csv", "chain", weekly(year))
    for year in (2024, 2025, 2026):
        put(f"readings_{year}_pockets.csv", "pockets", weekly(year))
    for year in (2025, 2026):
        for place, name in (("rollers", "sleeves"), ("chain", "strips")):
            put(
                f"overhaul_{year}_{name}.csv",
                place,
                lambda r, year=year: r.day.year == year and r.chosen == "all",  # type: ignore[misc]
            )
    put(
        "readings_2025_sleeves.csv",
        "rollers",
        lambda r: weekly(2025)(r) and not _on_wide_sheet(r),
    )
    put("readings_2025_strips.csv", "chain", weekly(2025, "AD"))
    put("readings_2025_strips_line_b.csv", "chain", weekly(2025, "B"), unit="in")
    _strips_line_c(logs, [r for r in readings if r.place == "chain" and weekly(2025, "C")(r)])
    wide = [reading for reading in readings if _on_wide_sheet(reading)]
    name = "readings_2025_sleeves_line_d"
    write_wide_sheet(logs, f"{name}.xlsx", wide, "Line D, roller sleeves: wear depth in mm, 2025")
    _text(logs, f"{name}.toml", WIDE_MAPPING)


def _bore(reading: Reading) -> bool:
    """Line A measures the bore of its sleeves, the others the depth."""
    return reading.place == "rollers" and LINES[reading.machine] == "A"


def _on_wide_sheet(reading: Reading) -> bool:
    return (
        reading.place == "rollers"
        and reading.day.year == 2025
        and reading.chosen == "rotation"
        and LINES[reading.machine] == "D"
    )


def _strips_line_c(logs: Folder, readings: list[Reading]) -> None:
    """Write line C's strips with semicolons, decimal commas and day/month/year."""
    state = {"as_found": "found", "removed": "taken off"}
    why = {"rotation": "turn", "suspect": "again"}
    rows = []
    for reading in readings:
        row = reading_row(reading)
        row.cells |= {
            "at": reading.day.strftime("%d/%m/%Y"),
            "position": str(reading.position),
            "value": row.cells["value"].replace(".", ","),
            "found_left": state[reading.found_left],
            "chosen": why[reading.chosen],
        } | reading.raw
        rows.append(row)
    name = "readings_2025_strips_line_c"
    logs.write(f"{name}.csv", tuple(STRIP_HEADINGS), rows, headings=STRIP_HEADINGS, delimiter=";")
    _text(logs, f"{name}.toml", STRIP_MAPPING)


def _changes(logs: Folder, changes: list[Change]) -> None:
    for year in (2024, 2025, 2026):
        rows = [change_row(change) for change in changes if change.day.year == year]
        name = f"change_outs_{year}"
        if year != 2025:
            columns = (*CHANGE_COLUMNS, "reported_at") if year == 2026 else CHANGE_COLUMNS
            logs.write(f"{name}.csv", columns, rows, blank_after=(300,))
            continue
        for number, row in enumerate(rows):
            row.cells["action"] = ACTIONS[row.cells["action"]]
            words = FREE_TEXT.get(row.cells["reason"])
            if words:
                row.cells["reason"] = words[number % len(words)]
        logs.write(f"{name}.csv", CHANGE_COLUMNS, rows, headings=CHANGE_HEADINGS)
        named = "\n".join(f'"{heading}" = "{own}"' for own, heading in CHANGE_HEADINGS.items())
        reasons = "\n".join(
            f'"{word}" = "{reason}"' for reason, words in FREE_TEXT.items() for word in words
        )
        actions = "\n".join(f'"{word}" = "{action}"' for action, word in ACTIONS.items())
        _text(
            logs,
            f"{name}.toml",
            "# The crew's own words of 2025; what is not named here is set aside and asked about.\n"
            f'kind = "change_outs"\n\n[columns]\n{named}\n\n'
            f"[values.action]\n{actions}\n\n[values.reason]\n{reasons}\n",
        )


def _text(logs: Folder, name: str, text: str) -> None:
    (logs.path / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
