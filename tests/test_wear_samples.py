"""Samples without positions, fitted by moments."""

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest

from forecast.wear.samples import fit_samples

TRUTH = {"offset": 0.08, "level": np.log(0.3), "offset_sd": 0.04, "piece_sd": 0.20}
MACHINE_SD, GAUGE_SD = 0.12, 0.03
AGES = (0.4, 0.76, 1.12, 1.48, 1.84, 2.2)
Array = npt.NDArray[np.float64]


def visits(
    seed: int,
    machines: int = 44,
    readings: int = 10,
    effects: tuple[float, ...] = (0.0,),
    ages: tuple[float, ...] = AGES,
) -> tuple[pd.DataFrame, pd.DataFrame, Array]:
    """METHODS2 3's case: six visits a machine and season, ten of its 180 pieces read at each."""
    rng = np.random.default_rng(seed)
    effect = MACHINE_SD * rng.standard_normal(machines)
    rows, cells = [], []
    for machine in range(machines):
        for season, level in enumerate(effects):
            for age in ages:
                rate = np.exp(TRUTH["level"] + level + effect[machine])
                rate = rate * np.exp(TRUTH["piece_sd"] * rng.standard_normal(readings))
                y = TRUTH["offset"] + TRUTH["offset_sd"] * rng.standard_normal(readings)
                y = y + rate * age + GAUGE_SD * rng.standard_normal(readings)
                visit = len(rows)
                sums = (readings, y.sum(), (y * y).sum())
                hours = 1000 * age
                rows.append((visit, f"M{machine:02d}", hours, hours**2, *sums, 0.0, 0.0))
                cells.append((visit, str(2024 + season), age))
    columns = ["visit", "machine", "age", "age_sq", "n", "sy", "syy"]
    frame = pd.DataFrame(rows, columns=[*columns, "replaced_share", "culled_share"])
    return frame, pd.DataFrame(cells, columns=["visit", "season", "x"]), effect


def test_moments_recover_the_truth() -> None:
    """METHODS2 3 A over 15 fleets: sd .0031 .0223 .0022 .0061 .0146 (offset, log rate, ...)."""
    found, held = [], 0
    for seed in range(15):
        samples, cells, _ = visits(seed)
        fit = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
        model = fit._model
        assert model is not None
        assert fit.state == "by_moments"
        values = (fit.offset, model.level[0], fit.offset_sd, fit.piece_sd, fit.machine_sd)
        found.append(values)
        held += abs(model.level[0] - TRUTH["level"]) < 1.645 * np.sqrt(model.covariance[0, 0])
    truth = [*TRUTH.values(), MACHINE_SD]
    sds = np.array([0.0031, 0.0223, 0.0022, 0.0061, 0.0146])
    assert (np.abs(np.mean(found, axis=0) - truth) < 3 * sds / np.sqrt(15)).all()
    assert (np.std(found, axis=0) < 1.6 * sds).all()
    assert held >= 10


def test_levels_of_three_seasons() -> None:
    effects = (0.10, -0.08, 0.02)
    samples, cells, _ = visits(3, effects=effects)
    fit = fit_samples(samples, cells, ["2024", "2025", "2026"], gauge_sd=GAUGE_SD)
    model = fit._model
    assert model is not None
    error = model.level - TRUTH["level"] - effects
    assert (np.abs(error) < 3 * np.sqrt(np.diag(model.covariance))).all()
    contrast = np.array([1.0, -1.0, 0.0])
    sd = np.sqrt(contrast @ model.covariance @ contrast)
    assert sd < 0.7 * np.sqrt(model.covariance[0, 0]), "machines cancel in a difference"
    assert abs(contrast @ error) < 3 * sd
    assert fit.season_spread == pytest.approx(0.09, abs=0.05)


def test_machines_are_found_and_shrunk() -> None:
    samples, cells, effect = visits(5)
    table = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD).machines
    assert np.corrcoef(np.log(table["rate_ratio"]), effect)[0, 1] > 0.93
    truth = np.exp(effect)
    covered = (table["ratio_low"] <= truth) & (truth <= table["ratio_high"])
    assert covered.mean() > 0.8
    assert table["pieces"].sum() == len(samples) * 10


def test_draws_and_demand() -> None:
    """Share of pieces over 1.0 mm at 2,200 h: its 90 % band holds the truth."""
    held = 0
    for seed in range(10):
        samples, cells, effect = visits(seed, machines=20)
        fit = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
        rng = np.random.default_rng(seed)
        machines = [f"M{m:02d}" for m in range(20)]
        rates = fit.draws(400, rng, machines=machines, seasons=["2024"], running="2024")

        def share(log_rate: Array, offset: float, offset_sd: float, sd: float) -> Array:
            noise = np.random.default_rng(1).standard_normal((2, 500, 1, 1))
            depth = offset + offset_sd * noise[0] + 2200 * np.exp(log_rate + sd * noise[1])
            return (depth >= 1.0).mean(axis=(0, 1))

        log_rate = rates.level + rates.machine_effect
        predicted = share(log_rate, rates.offset, rates.offset_sd, rates.piece_sd)
        true = share((TRUTH["level"] - np.log(1000) + effect)[:, None], 0.08, 0.04, 0.2)[0]
        low, high = np.quantile(predicted, [0.05, 0.95])
        held += low <= true <= high
    assert held >= 8


def test_culled_sets_are_left_out_and_said() -> None:
    samples, cells, _ = visits(6, machines=10)
    clean = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
    spoilt = samples.copy()
    spoilt.loc[:4, "culled_share"] = 0.05
    spoilt.loc[:4, "sy"] = 0.0
    fit = fit_samples(spoilt, cells, ["2024"], gauge_sd=GAUGE_SD)
    assert fit.mean_rate == pytest.approx(clean.mean_rate, rel=0.05)
    notes = [note for note in fit.assumed if note.what == "visits left out"]
    assert [note.value for note in notes] == ["5 of 60"]
    assert fit.n_readings == 55 * 10


def test_broken_pieces_replaced_make_a_mix_of_ages_that_is_reckoned_with() -> None:
    """A fifth of each set replaced at random: rate and piece sd as if the set were of one age.

    Taking the set's age for all its pieces would find the rate about a tenth too low and the
    pieces' sd at more than twice the truth.
    """
    rng = np.random.default_rng(8)
    effect = MACHINE_SD * rng.standard_normal(44)
    rows, cells, blind = [], [], []
    for machine in range(44):
        born = np.where(rng.random(180) < 0.2, rng.uniform(0.0, 2.0, 180), 0.0)
        rate = np.exp(TRUTH["level"] + effect[machine] + TRUTH["piece_sd"] * rng.normal(size=180))
        for age in (0.4, 0.8, 1.2, 1.6, 2.0):
            own = np.where(born < age, age - born, age)  # hours since each piece was fitted
            read = rng.choice(180, 10, replace=False)
            y = TRUTH["offset"] + TRUTH["offset_sd"] * rng.normal(size=10) + (rate * own)[read]
            y = y + GAUGE_SD * rng.normal(size=10)
            sums = (10, y.sum(), (y * y).sum(), ((born > 0) & (born < age)).mean(), 0.0)
            mean, square = 1e3 * own.mean(), 1e6 * (own**2).mean()
            rows.append((len(rows), f"M{machine:02d}", mean, square, *sums))
            cells.append((len(rows) - 1, "2024", own.mean()))
            blind.append((len(rows) - 1, "2024", age))
    columns = ["visit", "machine", "age", "age_sq", "n", "sy", "syy", "replaced_share"]
    samples = pd.DataFrame(rows, columns=[*columns, "culled_share"])
    names = ["visit", "season", "x"]
    fit = fit_samples(samples, pd.DataFrame(cells, columns=names), ["2024"], gauge_sd=GAUGE_SD)
    truth = np.exp(TRUTH["level"] + (MACHINE_SD**2 + TRUTH["piece_sd"] ** 2) / 2) / 1000
    assert fit.mean_rate_low < truth < fit.mean_rate_high
    assert fit.piece_sd == pytest.approx(TRUTH["piece_sd"], abs=0.04)
    blinded = samples.assign(age_sq=samples["age"] ** 2)
    wrong = fit_samples(blinded, pd.DataFrame(blind, columns=names), ["2024"], gauge_sd=GAUGE_SD)
    assert wrong.mean_rate_high < truth
    assert wrong.piece_sd > 0.3


def test_visits_of_unknown_age_are_left_out() -> None:
    samples, cells, _ = visits(6, machines=10)
    samples.loc[3, "age"] = np.nan
    fit = fit_samples(samples, cells[cells["visit"] != 3], ["2024"], gauge_sd=GAUGE_SD)
    assert fit.n_readings == 59 * 10


def test_without_gauge_sd_the_offset_contains_it() -> None:
    samples, cells, _ = visits(7)
    fit = fit_samples(samples, cells, ["2024"], gauge_sd=None)
    assert np.isnan(fit.gauge_sd)
    assert fit.offset_sd == pytest.approx(0.05, abs=0.008)
    assert fit.piece_sd == pytest.approx(0.20, abs=0.02)
    assert "gauge sd" in {note.what for note in fit.assumed}


def test_one_age_refuses_to_tell_offset_and_piece_sd() -> None:
    """METHODS2 3: with all readings at one age they cannot be told apart: borrowed, and said."""
    samples, cells, _ = visits(8, ages=(1.5,))
    fit = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
    assert fit.state == "few_readings"
    assert {"offset", "piece sd"} <= {note.what for note in fit.assumed}
    assert fit.mean_rate_low < 0.0003 * np.exp((0.12**2 + 0.2**2) / 2) < fit.mean_rate_high * 1.05


def test_few_machines_and_no_visits_have_states() -> None:
    samples, cells, _ = visits(9, machines=2)
    fit = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
    assert fit.state == "few_readings"
    assert fit.mean_rate_high / fit.mean_rate_low > 1.2
    none = fit_samples(samples.iloc[:0], cells.iloc[:0], ["2024"], gauge_sd=GAUGE_SD)
    assert none.state == "no_fit"
    assert np.isnan(none.mean_rate)
    with pytest.raises(ValueError, match="no pieces"):
        fit.hours_to_limit(1.0)
    with pytest.raises(ValueError, match="not among"):
        fit_samples(samples, cells, ["2031"], gauge_sd=GAUGE_SD)


def test_running_season_with_two_early_visits() -> None:
    """The first weeks of a season say little: its level stays near the others, and wide."""
    samples, cells, _ = visits(10, machines=12, effects=(0.0, 0.0))
    early, early_cells, _ = visits(11, machines=12, ages=(0.1, 0.2))
    early = early.assign(visit=early["visit"] + 10_000)
    early_cells = early_cells.assign(visit=early_cells["visit"] + 10_000, season="2026")
    seasons = ["2024", "2025", "2026"]
    fit = fit_samples(
        pd.concat([samples, early]), pd.concat([cells, early_cells]), seasons, gauge_sd=GAUGE_SD
    )
    rates = fit.draws(
        4000, np.random.default_rng(1), machines=["M00"], seasons=seasons, running="2026"
    )
    low, middle, high = np.quantile(rates.level + np.log(1000), [0.05, 0.5, 0.95])
    assert middle == pytest.approx(TRUTH["level"], abs=0.15)
    assert high - low > np.subtract(*np.quantile(rates.season_levels[0], [0.95, 0.05]))


def go_no_go(seed: int, limit: float, measured: int) -> tuple[pd.DataFrame, ...]:
    """Twelve pieces a visit; ``measured`` of those under the limit get a value, the rest ok/over.

    As people do: a piece over the limit is only noted, which cuts the top off the values.
    """
    rng = np.random.default_rng(seed)
    effect = MACHINE_SD * rng.standard_normal(30)
    rows, cells, bounds, bound_cells = [], [], [], []
    for machine in range(30):
        for age in (0.5, 1.0, 1.5, 2.0):
            rate = np.exp(TRUTH["level"] + effect[machine] + 0.2 * rng.standard_normal(12))
            y = TRUTH["offset"] + TRUTH["offset_sd"] * rng.standard_normal(12)
            y = y + rate * age + GAUGE_SD * rng.standard_normal(12)
            visit, name = f"v{machine}-{age}", f"M{machine:02d}"
            values = y[y < limit][:measured]
            sums = (len(values), values.sum(), (values**2).sum())
            if len(values):
                rows.append((visit, name, 1000 * age, 1e6 * age**2, *sums, 0.0, 0.0))
                cells.append((visit, "2024", age))
            others = [*y[y >= limit], *y[y < limit][measured:]]
            for value in others:
                ends = (limit, np.inf) if value >= limit else (-np.inf, limit)
                bounds.append((f"b{len(bounds)}", "", visit, name, 1000 * age, *ends, False))
                bound_cells.append((bounds[-1][0], "2024", age))
    columns = ["visit", "machine", "age", "age_sq", "n", "sy", "syy"]
    return (
        pd.DataFrame(rows, columns=[*columns, "replaced_share", "culled_share"]),
        pd.DataFrame(cells, columns=["visit", "season", "x"]),
        pd.DataFrame(
            bounds,
            columns=["bound", "piece", "visit", "machine", "age", "low_mm", "high_mm", "suspect"],
        ),
        pd.DataFrame(bound_cells, columns=["bound", "season", "x"]),
    )


def test_pieces_found_over_take_the_bias_out_of_the_values_under_the_limit() -> None:
    """At 2,000 h two pieces in five are over .7 mm: the values alone say far too little wear."""
    truth = np.exp(TRUTH["level"] + (MACHINE_SD**2 + TRUTH["piece_sd"] ** 2) / 2) / 1000
    alone, together = [], []
    for seed in range(6):
        samples, cells, bounds, bound_cells = go_no_go(seed, 0.7, 12)
        plain = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
        both = fit_samples(
            samples, cells, ["2024"], gauge_sd=GAUGE_SD, bounds=(bounds, bound_cells)
        )
        alone.append(plain.mean_rate / truth)
        together.append(both.mean_rate / truth)
        assert both.n_readings == 30 * 4 * 12
    assert np.mean(alone) < 0.85
    assert np.mean(together) == pytest.approx(1.0, abs=0.05)


def test_ok_far_below_the_limit_says_nothing() -> None:
    samples, cells, bounds, bound_cells = go_no_go(1, 9.0, 6)
    plain = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD)
    both = fit_samples(samples, cells, ["2024"], gauge_sd=GAUGE_SD, bounds=(bounds, bound_cells))
    assert both.mean_rate == pytest.approx(plain.mean_rate, rel=1e-9)
    assert both.piece_sd == pytest.approx(plain.piece_sd, rel=1e-9)


def test_visits_with_bounds_alone_count_by_their_weight() -> None:
    """A machine that was only ever gauged go / no-go gets a rate of its own all the same."""
    samples, cells, bounds, bound_cells = go_no_go(2, 0.5, 12)
    fast = bounds["machine"] == "M07"
    assert fast.any()
    kept = samples[samples["machine"] != "M07"]
    only = cells[cells["visit"].isin(kept["visit"])]
    told = fit_samples(kept, only, ["2024"], gauge_sd=GAUGE_SD, bounds=(bounds, bound_cells))
    assert "M07" in set(told.machines["machine"])
