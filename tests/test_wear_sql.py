"""The store's statements for wear sums give what `wear_sums` gives, exactly."""

import duckdb
import numpy as np
import pandas as pd

import sql
from forecast.wear.sums import wear_sums

SEASONS = ("2024", "2025", "2026")
SPANS = {"2024": (0.0, 2200.0), "2025": (2200.0, 4500.0), "2026": (4500.0, 5100.0)}


def aged_readings(seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One spell a piece on a machine whose meter ran from 0 to 5,100 h in three seasons."""
    rng = np.random.default_rng(seed)
    rows, spells = [], []
    for piece in range(40):
        start = float(rng.integers(0, 4000))
        for meter in np.sort(rng.integers(int(start) + 1, 5101, rng.integers(1, 5))):
            wear = round(float(rng.normal(0.1, 0.03) + 0.0003 * (meter - start)), 3)
            rows.append((piece, f"P{piece:02d}", f"M{piece % 4}", float(meter), start, wear))
        for number, (season, (low, high)) in enumerate(SPANS.items()):
            if high > start:
                spells.append((piece, number, season, 0.0, max(low, start), high, 1.0))
    readings = pd.DataFrame(
        rows, columns=["spell_no", "piece", "machine", "meter_hours", "start", "wear_mm"]
    )
    columns = ["spell_no", "season_no", "season", "base_hours", "low", "high", "clock_per_hour"]
    return readings, pd.DataFrame(spells, columns=columns)


def test_sql_and_pandas_agree() -> None:
    readings, spells = aged_readings(1)
    store = duckdb.connect()
    store.register("readings", readings)
    store.register("spells", spells)
    store.execute(
        "CREATE TABLE aged AS SELECT spell_no, piece, wear_mm::DECIMAL(9, 4) AS wear_mm, "
        "meter_hours::DECIMAL(14, 2) AS meter_hours, (meter_hours - start)::DECIMAL(14, 2) AS age, "
        "false AS is_set, false AS is_suspect, meter_hours AS moment, 1 AS import_no, "
        "'a' AS file, 1 AS file_line, 1 AS copy_no FROM readings"
    )
    store.execute(
        "CREATE TABLE spell_seasons AS SELECT *, season_no AS cell_no, season AS cell, "
        "season_no AS segment_no FROM (SELECT * REPLACE (base_hours::DECIMAL(14, 2) AS base_hours, "
        "low::DOUBLE AS low, high::DOUBLE AS high) FROM spells)"
    )
    store.execute(
        "CREATE TABLE pieces AS SELECT DISTINCT piece, machine, 'rollers' AS place, "
        "'1' AS position, 'SLEEVE' AS part_type, '' AS duty_group, start AS start_moment, "
        "0.0 AS age, true AS in_place, true AS fitted_known FROM readings"
    )
    store.execute("CREATE TABLE limits AS SELECT 'SLEEVE' AS part_type, 'grade' AS grade")
    wear_sql = store.execute(sql.statement("queries/snapshot_wear")).df()
    cells_sql = store.execute(sql.statement("queries/snapshot_wear_cells")).df()

    for season, (low, high) in SPANS.items():
        begun = np.maximum(readings["start"], low)
        readings[season] = np.maximum(np.minimum(readings["meter_hours"], high) - begun, 0.0)
    wear, cells = wear_sums(readings, SEASONS)
    by_piece = wear_sql.sort_values("piece", ignore_index=True)
    pd.testing.assert_frame_equal(
        by_piece[list(wear.columns)], wear, check_dtype=False, rtol=1e-12, atol=1e-12
    )
    ordered = cells_sql.sort_values(["piece", "season", "other"], ignore_index=True)
    pd.testing.assert_frame_equal(
        ordered[list(cells.columns)], cells, check_dtype=False, rtol=1e-12, atol=1e-12
    )
