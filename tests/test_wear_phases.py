"""Phases: contrasts shared by seasons, in the fit, in draws, and in the sums from the logs."""

import runpy
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.rates import WearFit, fit_wear_sums
from forecast.wear.seasons import Phases
from forecast.wear.sums import wear_sums

Array = npt.NDArray[np.float64]
Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]

CELLS = {f"{y} {phase}": (f"{y}", phase) for y in (2024, 2025, 2026) for phase in ("dry", "wet")}
LEVELS = {"2024": 0.06, "2025": -0.04, "2026": 0.0}
WET = 0.3


def readings(seed: int, machines: int = 30, pieces: int = 9) -> pd.DataFrame:
    """Pieces fitted new each season, some kept on; dry, then wet; the last season dry."""
    rng = np.random.default_rng(seed)
    rows = []
    for machine in range(machines):
        effect = 0.12 * rng.standard_normal()
        for number in range(pieces):
            start = number % 3
            rate = 0.3 * np.exp(effect + 0.2 * rng.standard_normal())
            offset = 0.08 + 0.04 * rng.standard_normal()
            ran = dict.fromkeys(CELLS, 0.0)
            for season in list(LEVELS)[start : start + 1 + (rng.random() < 0.4)]:
                for phase, hours in (("dry", 0.5), ("dry", 1.1), ("wet", 0.5), ("wet", 1.1)):
                    if (season, phase) == ("2026", "wet"):
                        continue
                    ran[f"{season} {phase}"] = hours
                    worn = sum(
                        x * np.exp(LEVELS[CELLS[cell][0]] + WET * (CELLS[cell][1] == "wet"))
                        for cell, x in ran.items()
                    )
                    wear = offset + rate * worn + 0.03 * rng.standard_normal()
                    hours_run = {cell: 1000 * x for cell, x in ran.items()}
                    name = f"P{machine:02d}-{number}"
                    rows.append({"machine": f"M{machine:02d}", "piece": name, "wear_mm": wear})
                    rows[-1] |= hours_run
    return pd.DataFrame(rows)


def fitted(table: pd.DataFrame) -> WearFit:
    return fit_wear_sums(*wear_sums(table, list(CELLS)), list(CELLS), phases=CELLS)


def test_contrast_of_a_phase_is_found_with_its_interval() -> None:
    """No bias beyond its error over 12 fleets; 90 % intervals hold it (METHODS2 1.2)."""
    found, held = [], 0
    for seed in range(12):
        phases = fitted(readings(seed, 20, 6)).phases
        assert phases["phase"].tolist() == ["wet"]
        assert phases["against"].tolist() == ["dry"]
        found.append(np.log(phases.loc[0, "ratio"]) - WET)
        held += phases.loc[0, "low"] <= np.exp(WET) <= phases.loc[0, "high"]
    assert abs(np.mean(found)) < 3 * np.std(found) / np.sqrt(12) + 0.002
    assert held >= 8


def test_the_coming_mix_of_phases_moves_the_level() -> None:
    fit = fitted(readings(3))
    cells = list(CELLS)

    def level(ahead: dict[str, float]) -> float:
        rng = np.random.default_rng(1)
        rates = fit.draws(2000, rng, machines=["M00"], seasons=cells, running="2026", ahead=ahead)
        return float(np.median(rates.level))

    dry, wet, half = level({"dry": 10.0}), level({"wet": 3.0}), level({"dry": 5.0, "wet": 5.0})
    assert wet - dry == pytest.approx(WET, abs=0.03)
    assert half - dry == pytest.approx(np.log((1 + np.exp(WET)) / 2), abs=0.02)
    assert dry == pytest.approx(np.log(0.3e-3), abs=0.12)


def test_a_phase_never_seen_is_drawn_not_taken_as_none() -> None:
    fit = fitted(readings(3))
    rng = np.random.default_rng(1)
    rates = fit.draws(
        4000, rng, machines=[], seasons=list(CELLS), running="2026", ahead={"frost": 1.0}
    )
    known = fit.draws(
        4000, rng, machines=[], seasons=list(CELLS), running="2026", ahead={"dry": 1.0}
    )
    assert rates.level.std() > known.level.std() + 0.05


def test_hours_left_of_pieces_over_two_phases_cover_the_truth() -> None:
    rng = np.random.default_rng(7)
    table = readings(11)
    fit = fitted(table)
    last = table.groupby("piece").last()
    own = fit.pieces["piece"]
    ran = last.loc[own, list(CELLS)].to_numpy()
    rates = fit.draws(
        800, rng, machines=sorted(set(table["machine"])), seasons=list(CELLS), running="2026"
    )
    left = fit.own_left(rates, pd.DataFrame({"piece": own}), ran, np.full(800, 2.0), rng)
    assert np.isfinite(left).all()
    paths = fit.path(rates, str(own.iloc[0]), ran[0], np.array([0.0, 100.0]), rng)
    assert paths.loc[0, "median"] == pytest.approx(last.loc[own.iloc[0], "wear_mm"], abs=0.06)


def test_one_phase_a_season_cannot_be_told_from_the_season() -> None:
    """Dry in 2024, wet in 2025: nobody can say whether the season or the phase did it."""
    table = readings(5, 12, 6)
    apart = {"2024 dry": ("2024", "dry"), "2025 wet": ("2025", "wet")}
    table = table[["machine", "piece", "wear_mm", *apart]]
    table = table[table[list(apart)].gt(0).sum(axis=1) == 1]
    fit = fit_wear_sums(*wear_sums(table, list(apart)), list(apart), phases=apart)
    assert fit.phases.empty
    assert any(note.what.startswith("wear in phase") for note in fit.assumed)


def test_logs_with_phases_give_cells_and_their_sums(tmp_path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    for first, phase in (("2026-08-03", "dry"), ("2026-08-13", "wet"), ("2026-08-23", "dry")):
        book.run("*", first, 10)
        for row in book.rows["log_running"][-10:]:
            row["phase"] = phase
    book.run("*", "2026-10-01", 5)
    for row in book.rows["log_running"][-5:]:
        row["phase"] = "frost"
    book.fleet("G1")
    for day, depth in (("08", 0.1), ("18", 0.3), ("28", 0.5)):
        book.reading("G1", f"2026-08-{day}", depth, position="1")
    snapshot = book.snapshot("2026-09-01")
    assert snapshot.cells.astype(str).to_numpy().tolist() == [
        ["2026 dry", "2026", "dry"],
        ["2026 wet", "2026", "wet"],
    ]
    # readings at noon: 5.5, 15.5 and 25.5 days of 20 h; dry hours of the last: 10 + 5.5 days
    dry, wet = np.array([0.11, 0.2, 0.31]), np.array([0.0, 0.11, 0.2])
    wear = np.array([0.1, 0.3, 0.5])
    cells = snapshot.wear_cells.set_index(["season", "other"])
    assert cells.loc[("2026 dry", "2026 dry"), "sx"] == pytest.approx(dry.sum())
    assert cells.loc[("2026 dry", "2026 dry"), "sxy"] == pytest.approx(dry @ wear)
    assert cells.loc[("2026 dry", "2026 dry"), "sxx"] == pytest.approx(dry @ dry)
    assert cells.loc[("2026 dry", "2026 wet"), "sxx"] == pytest.approx(dry @ wet)
    assert cells.loc[("2026 wet", "2026 wet"), "sxx"] == pytest.approx(wet @ wet)
    in_place = snapshot.fitted_cells.groupby("season")["x"].max().to_dict()
    assert in_place == pytest.approx({"2026 dry": 0.32, "2026 wet": 0.2})  # to 28 Aug
    # from 29 Aug to 1 Sep it ran dry, and nothing else is known of these days: they are not ahead
    assert snapshot.phases_ahead.to_numpy().tolist() == [["frost", 5.0]]
    assert snapshot.wear_seasons()["2026 wet"] == ("2026", "wet")


def test_days_ahead_that_name_no_phase_run_as_days_did_so_far() -> None:
    """Three weeks of wet planned tell nothing of the eleven after them."""
    share, contrast = np.array([0.25]), np.array([0.4])
    phases = Phases(
        ("wet",), "dry", contrast, np.zeros((1, 1)), np.zeros((1, 1)), share, {}
    )  # fmt: skip
    by_name = {"dry": np.zeros(1), "wet": contrast}

    def rate(ahead: dict[str, float] | None) -> float:
        return float(np.exp(phases.mixed(ahead, lambda phase: by_name[phase]))[0])

    wet = float(np.exp(0.4))
    usual = 0.75 + 0.25 * wet
    assert rate(None) == pytest.approx(usual)
    assert rate({"": 77.0}) == pytest.approx(usual)
    assert rate({"wet": 21.0}) == pytest.approx(wet)
    assert rate({"wet": 21.0, "": 77.0}) == pytest.approx((21 * wet + 77 * usual) / 98)


def test_two_offset_variances_for_known_and_unknown_fitted_size() -> None:
    """Pieces read against the nominal size scatter by the size of new parts as well."""
    rng = np.random.default_rng(4)
    rows, known = [], {}
    for machine in range(20):
        effect = 0.12 * rng.standard_normal()
        for piece in range(16):
            name = f"P{machine:02d}-{piece:02d}"
            known[name] = piece % 2 == 0
            rate = 0.3 * np.exp(effect + 0.15 * rng.standard_normal())
            sd = 0.03 if known[name] else 0.10
            offset = 0.08 + sd * rng.standard_normal()
            for hours in (0.6, 1.4, 2.2):
                wear = offset + rate * hours + 0.02 * rng.standard_normal()
                rows.append((f"M{machine:02d}", name, 1000 * hours, wear))
    table = pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])
    wear, cells = wear_sums(table)
    wear["fitted_known"] = wear["piece"].map(known)
    fit = fit_wear_sums(wear, cells, ["all"], gauge_sd=0.02)
    own = fit._own
    assert own is not None
    sds = dict(zip(own.sums.pieces, own.offset_sd, strict=True))
    assert sds["P00-00"] == pytest.approx(0.03, rel=0.25)
    assert sds["P00-01"] == pytest.approx(0.10, rel=0.25)
    assert fit.offset_sd == sds["P00-00"], "new pieces are measured when fitted"
    assert fit.offset == pytest.approx(0.08, abs=0.01)
