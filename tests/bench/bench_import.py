"""Import of many readings against a bare typed ``read_csv`` of the same file, in one run.

Run with ``python tests/bench/bench_import.py [ROWS] [FOLDER]``: prints both times, their ratio and
the peak memory of the import, which runs in a process of its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import duckdb

COLUMNS = {
    "machine": "VARCHAR",
    "at": "TIMESTAMP",
    "part_type": "VARCHAR",
    "place": "VARCHAR",
    "position": "VARCHAR",
    "value": "DECIMAL(18,6)",
    "unit": "VARCHAR",
    "reading_kind": "VARCHAR",
    "found_left": "VARCHAR",
    "gauge": "VARCHAR",
    "inspector": "VARCHAR",
    "clock_shows": "DECIMAL(16,3)",
}

SHEET = """
COPY (
    SELECT
        'G' || lpad((i % 440)::VARCHAR, 3, '0') AS machine,
        strftime(
            TIMESTAMP '2016-01-04' + to_days((i // 80000)::INTEGER) + to_minutes(i % 1400),
            '%Y-%m-%d %H:%M'
        ) AS at,
        'SLEEVE-30' AS part_type,
        'rollers' AS place,
        (1 + i // 440 % 180)::VARCHAR AS position,
        (0.1 + (i * 7919 % 1000) / 1000)::DECIMAL(6, 3)::VARCHAR AS value,
        'mm' AS unit,
        'wear_depth' AS reading_kind,
        'as_found' AS found_left,
        'C' || (i % 7)::VARCHAR AS gauge,
        'shift ' || (i % 3)::VARCHAR AS inspector,
        (i // 440)::DECIMAL(12, 1)::VARCHAR AS clock_shows
    FROM range({rows}) AS r (i)
) TO '{path}' (FORMAT CSV, HEADER)
"""


def bare(path: Path, store: Path) -> float:
    """Return the seconds of a typed read_csv into a table of the same columns."""
    limits = {"memory_limit": "1500MB", "temp_directory": f"{store}.tmp"}
    with duckdb.connect(str(store), config=limits) as connection:
        start = time.perf_counter()
        connection.execute(
            f"CREATE TABLE r AS FROM read_csv('{path}', header=true, auto_detect=false,"
            f" columns={COLUMNS}, delim=',', quote='\"', escape='\"')"
        )
        connection.execute("CHECKPOINT")
        return time.perf_counter() - start


def ours(path: Path, store: Path) -> tuple[float, float]:
    """Return seconds and peak MiB of an import in a process of its own."""
    start = time.perf_counter()
    command = [sys.executable, __file__, "--import", str(path), str(store)]
    ran = subprocess.run(command, check=True, capture_output=True, text=True)
    return time.perf_counter() - start, float(ran.stdout)


def import_here(path: Path, store: Path) -> None:
    """Import, and print the peak memory of this process in MiB."""
    from forecast.intake.importing import import_logs

    (report,) = import_logs(str(store), [path], today=date(2026, 8, 31)).files
    if report.rows != report.accepted + report.known + report.set_aside:
        raise SystemExit("rows are not accounted for")
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)  # noqa: T201


def main(rows: int, folder: Path | None) -> None:
    """Measure, and print one line."""
    with tempfile.TemporaryDirectory(dir=folder) as made:
        path = Path(made) / "readings.csv"
        duckdb.connect().execute(SHEET.format(rows=rows, path=path))
        first = bare(path, Path(made) / "bare.duckdb")
        seconds, peak = ours(path, Path(made) / "ours.duckdb")
        again = bare(path, Path(made) / "bare2.duckdb")
        whole = (first + again) / 2
        print(  # noqa: T201
            f"{rows:,} rows: read_csv {first:.1f} and {again:.1f} s, import {seconds:.1f} s"
            f" (ratio {seconds / whole:.2f}, {rows / seconds:,.0f} rows a second),"
            f" peak {peak:,.0f} MiB"
        )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--import"]:
        import_here(Path(sys.argv[2]), Path(sys.argv[3]))
    else:
        main(
            int(sys.argv[1]) if len(sys.argv) > 1 else 20_000_000,
            Path(sys.argv[2]) if len(sys.argv) > 2 else None,
        )
