"""The two-level wear fit: truth recovered, an outside oracle, and honest states."""

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.offsets import offsets
from forecast.wear.rates import WearFit, fit_wear, fit_wear_sums
from forecast.wear.reml import matched_site, prepare, two_level
from forecast.wear.sums import ONE_SEASON, cell_sums, wear_sums

ORACLE: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "mixed_oracle.py"))

SEASONS = ("2024", "2025", "2026")
LEVEL, MACHINE_SD, PIECE_SD, OFFSET, OFFSET_SD, GAUGE_SD = np.log(0.3), 0.12, 0.20, 0.08, 0.04, 0.03
Array = npt.NDArray[np.float64]


def fleet(
    seed: int, effects: Array, machines: int = 40, pieces: int = 6, spanning: float = 0.4
) -> pd.DataFrame:
    """Pieces read four times a season; a share of them runs in two seasons."""
    rng = np.random.default_rng(seed)
    rows = []
    for machine, effect in enumerate(MACHINE_SD * rng.standard_normal(machines)):
        for piece in range(pieces * effects.size):
            first = piece % effects.size
            last = min(first + (rng.random() < spanning), effects.size - 1)
            rate = np.exp(LEVEL + effect + PIECE_SD * rng.standard_normal())
            offset = OFFSET + OFFSET_SD * rng.standard_normal()
            ran = np.zeros(effects.size)
            for season in range(first, last + 1):
                for hours in (0.5, 1.1, 1.7, 2.2):
                    ran[season] = hours
                    wear = offset + rate * (ran @ np.exp(effects))
                    wear += GAUGE_SD * rng.standard_normal()
                    rows.append(
                        (f"M{machine:02d}", f"P{machine:02d}-{piece:02d}", *1000 * ran, wear)
                    )
    return pd.DataFrame(rows, columns=["machine", "piece", *SEASONS[: effects.size], "wear_mm"])


def fitted(readings: pd.DataFrame, seasons: tuple[str, ...] = SEASONS) -> WearFit:
    return fit_wear_sums(*wear_sums(readings, seasons), seasons)


def test_truth_of_three_seasons_is_recovered() -> None:
    """Levels of seasons within 3 of their standard errors; spreads, offset and gauge close."""
    effects = np.array([0.10, -0.08, 0.02])
    fit = fitted(fleet(1, effects))
    model = fit._model
    assert model is not None
    error = model.level - LEVEL - effects
    assert (np.abs(error) < 3 * np.sqrt(np.diag(model.covariance))).all()
    for a, b in ((0, 1), (1, 2)):
        contrast = np.zeros(3)
        contrast[[a, b]] = 1, -1
        sd = np.sqrt(contrast @ model.covariance @ contrast)
        assert sd < 0.02, "machines are common to all seasons and cancel in a difference"
        assert abs(contrast @ error) < 3 * sd
    assert fit.machine_sd == pytest.approx(MACHINE_SD, abs=3 * MACHINE_SD / np.sqrt(80))
    assert fit.piece_sd == pytest.approx(PIECE_SD, rel=0.1)
    assert fit.offset == pytest.approx(OFFSET, abs=0.008)
    assert fit.offset_sd == pytest.approx(OFFSET_SD, rel=0.15)
    assert fit.gauge_sd == pytest.approx(GAUGE_SD, rel=0.04)
    assert fit.state == "fitted"
    assert fit.n_pieces == 40 * 18


def test_intervals_hold_the_truth() -> None:
    """90 % intervals of the mean rate over 20 fleets, and of pieces within one fleet."""
    held = 0
    for seed in range(20):
        fit = fitted(fleet(seed, np.zeros(1), machines=20, spanning=0.0), SEASONS[:1])
        mean = np.exp(LEVEL + (MACHINE_SD**2 + PIECE_SD**2) / 2) / 1000
        held += fit.mean_rate_low <= mean <= fit.mean_rate_high
    assert 15 <= held <= 20


def test_piece_rates_are_shrunk_and_covered() -> None:
    rng = np.random.default_rng(8)
    machine = np.repeat(np.arange(30), 20)
    log_rate = LEVEL + (MACHINE_SD * rng.standard_normal(30))[machine]
    log_rate += PIECE_SD * rng.standard_normal(600)
    offset = OFFSET + OFFSET_SD * rng.standard_normal(600)
    frames = [
        pd.DataFrame(
            {
                "machine": [f"M{m:02d}" for m in machine],
                "piece": [f"P{i:03d}" for i in range(600)],
                "hours": 1000 * hours,
                "wear_mm": offset + np.exp(log_rate) * hours + GAUGE_SD * rng.standard_normal(600),
            }
        )
        for hours in (0.6, 1.3, 1.8)
    ]
    fit = fit_wear(pd.concat(frames), gauge_sd=GAUGE_SD)
    truth = np.exp(log_rate) / 1000
    table = fit.pieces
    assert list(table["piece"]) == [f"P{i:03d}" for i in range(600)]
    covered = ((table["low"] <= truth) & (truth <= table["high"])).mean()
    assert 0.86 <= covered <= 0.94
    own_line = [
        np.polyfit(rows["hours"], rows["wear_mm"], 1)[0]
        for _, rows in pd.concat(frames).groupby("piece")
    ]
    assert np.std(table["rate"] - truth) < 0.75 * np.std(own_line - truth)


def test_mixed_model_as_oracle() -> None:
    """statsmodels MixedLM with *normal* slopes, to 3 digits where both models must agree."""
    for what, ours, theirs, within in ORACLE["compared"]():
        assert ours == pytest.approx(theirs, rel=within), what


def early(seed: int, hours: float) -> pd.DataFrame:
    """One season read at 900 and 2,000 h, the next read once, early (METHODS2 0(1))."""
    rng = np.random.default_rng(seed)
    machine = np.repeat(np.arange(44), 10)
    effect = (MACHINE_SD * rng.standard_normal(44))[machine]
    frames = []
    for season, ages in (("old", (0.9, 2.0)), ("new", (hours,))):
        rate = np.exp(LEVEL + effect + PIECE_SD * rng.standard_normal(440))
        offset = OFFSET + OFFSET_SD * rng.standard_normal(440)
        for age in ages:
            frame = {
                "machine": [f"M{m:02d}" for m in machine],
                "piece": [f"{season}{i:03d}" for i in range(440)],
                "old": 1000 * age * (season == "old"),
                "new": 1000 * age * (season == "new"),
                "wear_mm": offset + rate * age + GAUGE_SD * rng.standard_normal(440),
            }
            frames.append(pd.DataFrame(frame))
    return pd.concat(frames)


def test_early_single_readings_are_not_biased() -> None:
    """At 200 h a linearised fit reads +.048 in log rate; matched sites stay within the noise."""
    matched, errors = [], []
    for seed in range(16):
        sums = cell_sums(*wear_sums(early(seed, 0.2), ("old", "new")), ("old", "new"))
        data = prepare(sums, GAUGE_SD, OFFSET, OFFSET_SD)
        fit = two_level(data)
        ratio = fit.site_precision / fit.information
        assert ratio.max() < 5
        assert ratio[fit.information > 10].min() > 0.2
        matched.append(fit.level[1] - fit.level[0])
        errors.append(np.sqrt(np.array([1, -1]) @ fit.covariance @ np.array([1, -1])))
    error = float(np.mean(errors)) / 4
    assert abs(np.mean(matched)) < 2 * error
    assert error < 0.02


def test_sites_of_well_read_pieces_keep_their_precision() -> None:
    """METHODS2 1.2's trap: nodes off a piece's own mode give variance 0 and precision 1e7."""
    information = np.array([1.0, 30.0, 1e3, 1e5, 1e7])
    for shift in (-0.8, -0.3, 0.0, 0.3, 0.8):
        linear = information * np.exp(shift)
        precision, moved = matched_site(linear, information, np.zeros(5), 0.04)
        curvature = information * np.exp(2 * shift)
        assert (precision[1:] / curvature[1:] > 0.2).all()
        assert (precision[1:] / curvature[1:] < 5).all()
        assert moved[3:] / precision[3:] == pytest.approx([shift, shift], abs=1e-3)


def test_matched_site_equals_numerical_integration() -> None:
    grid = np.linspace(-3, 2, 200_001)
    for linear, information in ((0.5, 2.0), (8.0, 10.0), (-1.0, 3.0), (60.0, 40.0)):
        log_density = linear * np.exp(grid) - information * np.exp(2 * grid) / 2
        log_density -= 0.5 * (grid - 0.1) ** 2 / 0.04
        weight = np.exp(log_density - log_density.max())
        weight /= weight.sum()
        mean = (weight * grid).sum()
        variance = (weight * (grid - mean) ** 2).sum()
        precision, moved = matched_site(
            np.array([linear]), np.array([information]), np.array([0.1]), 0.04
        )
        assert 1 / (precision[0] + 25.0) == pytest.approx(variance, rel=1e-4)
        assert (moved[0] + 25.0 * 0.1) * variance == pytest.approx(mean, abs=1e-4)


def test_stated_gauge_is_used_and_wins() -> None:
    readings = fleet(3, np.zeros(1), machines=10)
    readings = readings.rename(columns={"2024": "hours"})
    assert fit_wear(readings, gauge_sd=0.05).gauge_sd == 0.05
    assert fit_wear(readings).gauge_sd == pytest.approx(GAUGE_SD, rel=0.15)
    with pytest.raises(ValueError, match="gauge_sd"):
        fit_wear(readings, gauge_sd=-1.0)


def test_machine_table() -> None:
    fit = fitted(fleet(4, np.array([0.0, 0.1])), SEASONS[:2])
    table = fit.machines
    assert list(table.columns) == ["machine", "rate_ratio", "ratio_low", "ratio_high", "pieces"]
    assert (table["ratio_low"] < table["rate_ratio"]).all()
    assert (table["rate_ratio"] < table["ratio_high"]).all()
    assert table["pieces"].sum() == fit.n_pieces
    truth = np.exp(MACHINE_SD * np.random.default_rng(4).standard_normal(40))
    assert np.corrcoef(table["rate_ratio"], truth)[0, 1] > 0.85
    covered = (table["ratio_low"] <= truth) & (truth <= table["ratio_high"])
    assert 0.8 <= covered.mean() <= 1.0


def some(rows: list[tuple[str, str, float, float]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])


def test_one_reading_has_a_state_and_says_what_is_assumed() -> None:
    fit = fit_wear(some([("M1", "P1", 1000.0, 0.4)]))
    assert fit.state == "few_readings"
    assumed = {note.what for note in fit.assumed}
    assert {"gauge sd", "offset", "offset sd", "machine sd", "piece sd"} <= assumed
    assert fit.mean_rate_high / fit.mean_rate_low > 2


@pytest.mark.parametrize(
    "rows",
    [
        [],
        [("M1", "P1", 0.0, 0.1), ("M2", "P2", 0.0, 0.2)],
        [("M1", "P1", 1000.0, -0.4), ("M1", "P2", 2000.0, -0.7)],
    ],
    ids=["none", "all new", "growing"],
)
def test_no_wear_gives_no_numbers(rows: list[tuple[str, str, float, float]]) -> None:
    fit = fit_wear(some(rows).astype({"hours": float, "wear_mm": float}))
    assert fit.state == "no_fit"
    assert np.isnan([fit.mean_rate, fit.machine_sd, fit.offset, fit.season_spread]).all()
    with pytest.raises(ValueError, match="no wear"):
        fit.draws(10, np.random.default_rng(1), machines=["M1"], seasons=["all"], running=None)


def test_single_readings_count() -> None:
    """One reading a piece at many ages: rate and offset come from the line through them."""
    rng = np.random.default_rng(12)
    rows = []
    for i, x in enumerate(rng.uniform(0.3, 2.5, 400)):
        rate = np.exp(LEVEL + PIECE_SD * rng.standard_normal())
        wear = OFFSET + OFFSET_SD * rng.standard_normal() + rate * x
        rows.append((f"M{i % 8}", f"P{i}", 1000 * x, wear + GAUGE_SD * rng.standard_normal()))
    fit = fit_wear(some(rows), gauge_sd=GAUGE_SD)
    assert fit.state == "fitted"
    assert fit.offset == pytest.approx(OFFSET, abs=0.025)
    assert 1000 * fit.mean_rate == pytest.approx(0.3 * np.exp(PIECE_SD**2 / 2), rel=0.08)
    assert "offset sd" in {note.what for note in fit.assumed}


def test_readings_on_exact_lines() -> None:
    rows = [
        (f"M{j}", f"P{j}{p}", 1000.0 * x, 0.1 + 0.3 * x)
        for j in range(4)
        for p in range(5)
        for x in (1, 2, 3)
    ]
    fit = fit_wear(some(rows))
    assert fit.mean_rate == pytest.approx(0.0003, rel=1e-4)
    assert fit.offset == pytest.approx(0.1, abs=1e-6)


def test_order_of_rows_does_not_change_a_bit() -> None:
    readings = fleet(6, np.array([0.0, 0.1]), machines=8)
    wear, cells = wear_sums(readings, SEASONS[:2])
    one = fit_wear_sums(wear, cells, SEASONS[:2])
    other = fit_wear_sums(wear.iloc[::-1], cells.sample(frac=1, random_state=1), SEASONS[:2])
    pd.testing.assert_frame_equal(one.pieces, other.pieces, check_exact=True)
    assert one.mean_rate == other.mean_rate


def test_pieces_that_leave_at_their_limit_do_not_pull_the_offset_down() -> None:
    """Stopping at a reading over the limit makes own lines too steep: the offset allows for it."""

    def readings(seed: int) -> pd.DataFrame:
        rng, rows = np.random.default_rng(seed), []
        for machine in range(30):
            effect = 0.12 * rng.normal()
            for piece in range(12):
                rate = 0.3 * np.exp(effect + 0.2 * rng.normal())
                offset = 0.07 + 0.02 * rng.normal()
                for age in np.arange(0.4, 4.4, 0.5):
                    depth = offset + rate * age + 0.03 * rng.normal()
                    rows.append((f"M{machine:02d}", f"{machine}-{piece}", 1000 * age, depth))
                    if depth >= 1.0:
                        break
        return pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])

    found, lines = [], []
    for seed in range(12):
        wear, cells = wear_sums(readings(seed))
        sums = cell_sums(wear, cells, (ONE_SEASON,))
        lines.append(offsets(sums.along(np.ones(1)), 0.03).mean)
        found.append(fit_wear_sums(wear, cells, (ONE_SEASON,), gauge_sd=0.03).offset)
    assert np.mean(lines) < np.mean(found) - 0.0005
    assert np.mean(found) == pytest.approx(0.07, abs=2 * 0.0023 / np.sqrt(12))
