"""Life against duty, grade and size; lifelines' accelerated life as the second opinion."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from forecast.life.covariates import fit_life_covariates
from forecast.life.likelihood import log_likelihood
from forecast.life.lives import Lives

INF = np.inf


def duties(
    count: int = 800, machine_sd: float = 0.0, machines: int = 40, seed: int = 1
) -> tuple[Lives, pd.DataFrame, np.ndarray]:
    """Mixed lives: life falls with pressure and heat, grade B lasts 1.5 times as long; shape 2.5.

    Pressure, heat and medium are the machine's, the grade is the piece's.
    """
    rng = np.random.default_rng(seed)
    machine = np.repeat(np.arange(machines), count // machines)
    pressure = np.log(rng.uniform(0.5, 3.0, machines))[machine]
    heat = rng.uniform(15, 60, machines)[machine]
    grade = np.where(rng.random(count) < 0.3, "B", "A")
    medium = np.array(["dry", "wet", "wash"])[np.arange(machines) % 3][machine]
    level = 8.5 - 0.9 * pressure - 0.02 * (heat - 40) + np.log(1.5) * (grade == "B")
    level += 0.2 * (medium == "wet") + (machine_sd * rng.standard_normal(machines))[machine]
    life = np.exp(level) * rng.weibull(2.5, count)
    entry = np.where(rng.random(count) < 0.2, 0.3 * life, 0.0)
    end = np.maximum(rng.uniform(1000, 12_000, count), entry + 1)
    looked = rng.random(count) < 0.3
    before = np.maximum(np.floor(life / 336) * 336, entry)
    lower = np.where(life > end, end, np.where(looked, before, life))
    upper = np.where(life > end, INF, np.where(looked, np.floor(life / 336) * 336 + 336, life))
    frame = pd.DataFrame(
        {"log_pressure": pressure, "temperature": heat, "medium": medium, "grade": grade}
    )
    return Lives(lower, upper, entry), frame, machine


@pytest.mark.filterwarnings("ignore")
def test_estimates_and_plain_errors_are_those_of_another_program() -> None:
    """lifelines 0.30 WeibullAFTFitter: all four kinds of rows; it stops up to 2e-5 early."""
    from lifelines import WeibullAFTFitter

    lives, frame, _ = duties()
    fit = fit_life_covariates(lives, frame)
    assert fit.state == "fitted"
    assert fit.terms == (
        "constant", "log_pressure", "temperature", "medium=dry", "medium=wash", "grade=B",
    ) or set(fit.terms[3:5]) < {"medium=dry", "medium=wash", "medium=wet"}  # fmt: skip
    columns = frame[["log_pressure", "temperature"]].assign(lower=lives.lower, upper=lives.upper)
    for term in fit.terms[3:]:
        name, level = term.split("=")
        columns[term.replace("=", "_")] = (frame[name] == level).astype(float)
    columns["entry"] = lives.entry
    unit = 1000.0
    columns[["lower", "upper", "entry"]] /= unit
    other = WeibullAFTFitter().fit_interval_censoring(columns, "lower", "upper", entry_col="entry")
    theirs = other.summary["coef"]
    errors = other.summary["se(coef)"]
    for n, term in enumerate(fit.terms[1:], 1):
        key = ("lambda_", term.replace("=", "_"))
        assert fit.estimate[n] == pytest.approx(theirs[key], abs=2e-4), term
        assert fit.plain_error[n] == pytest.approx(errors[key], rel=2e-3), term
    assert fit.shape == pytest.approx(np.exp(theirs["rho_", "Intercept"]), rel=1e-4)
    seen = lives.exact.sum()
    assert fit.log_likelihood >= other.log_likelihood_ - seen * np.log(unit) - 1e-6


def test_coefficients_come_back_and_read_as_factors_of_life() -> None:
    lives, frame, machine = duties(count=4000)
    table = fit_life_covariates(lives, frame, machine).table(0.99).set_index("term")
    for term, truth in (("log_pressure", -0.9), ("temperature", -0.02), ("grade=B", np.log(1.5))):
        row = table.loc[term]
        assert row["low"] < truth < row["high"], term
        assert row["life_ratio"] == pytest.approx(np.exp(row["estimate"]))
    assert np.exp(table.loc["log_shape", "estimate"]) == pytest.approx(2.5, rel=0.05)


def test_errors_allow_for_machines_being_alike() -> None:
    """What is the machine's own is known far less well; what varies within machines is not."""
    lives, frame, machine = duties(count=4000, machine_sd=0.3)
    table = fit_life_covariates(lives, frame, machine).table().set_index("term")
    wider = table["standard_error"] / table["plain_error"]
    assert wider["constant"] > 3
    assert wider["log_pressure"] > 3
    assert wider["grade=B"] < 2
    strangers, *_ = duties(count=4000, machine_sd=0.0)
    alone = fit_life_covariates(strangers, frame, np.arange(4000)).table().set_index("term")
    assert alone["standard_error"]["constant"] == pytest.approx(
        alone["plain_error"]["constant"], rel=0.1
    )


def test_the_sandwich_is_that_of_the_machines_scores() -> None:
    """Slopes by differences, machine by machine."""
    lives, frame, machine = duties(count=200, machine_sd=0.3, machines=10)
    own = frame[["log_pressure"]]
    fit = fit_life_covariates(lives, own, machine)
    centred = own["log_pressure"].to_numpy() - own["log_pressure"].mean()
    rows = np.arange(len(lives))

    def each(at: np.ndarray) -> np.ndarray:
        scale = at[0] + at[1] * centred
        values = log_likelihood(lives, rows, np.full(len(lives), at[2]), scale)
        return np.bincount(machine, values)

    step = 1e-4
    scores = np.column_stack(
        [(each(fit.estimate + d) - each(fit.estimate - d)) / (2 * step) for d in step * np.eye(3)]
    )
    assert np.abs(scores.sum(axis=0)).max() < 1e-2
    bend = np.array(
        [
            [
                sum(
                    a * b * each(fit.estimate + a * step * da + b * step * db).sum()
                    for a in (1, -1)
                    for b in (1, -1)
                )
                / (-4 * step**2)
                for da in np.eye(3)
            ]
            for db in np.eye(3)
        ]
    )
    inverse = np.linalg.inv(bend)
    expected = inverse @ scores.T @ scores @ inverse * 10 / 9
    assert fit.covariance == pytest.approx(expected, rel=0.02, abs=1e-6)
    assert fit.plain_error == pytest.approx(np.sqrt(np.diag(inverse)), rel=0.01)


def test_what_lies_outside_the_lives_is_said() -> None:
    lives, frame, machine = duties()
    fit = fit_life_covariates(lives, frame, machine)
    inside = {"log_pressure": 0.5, "temperature": 40.0, "medium": "wet", "grade": "B"}
    known = fit.predict(inside)
    assert known.outside == ()
    assert known.low < known.scale < known.high
    assert known.scale == pytest.approx(1.5 * fit.predict(inside | {"grade": "A"}).scale, rel=0.2)
    hot = fit.predict(inside | {"temperature": 95.0})
    assert len(hot.outside) == 1
    assert hot.outside[0].startswith("temperature 95 lies outside 1")
    assert hot.high / hot.low > known.high / known.low
    new = fit.predict(inside | {"grade": "C"})
    assert new.outside == ("grade 'C' was never seen",)
    assert np.isnan(new.scale)
    with pytest.raises(ValueError, match="no value given for grade"):
        fit.predict({"log_pressure": 0.5, "temperature": 40.0, "medium": "wet"})


def test_what_cannot_be_told_apart_is_left_out_and_named() -> None:
    lives, frame, machine = duties()
    twin = frame.assign(size=np.where(frame["grade"] == "B", "35", "45"), speed=1.0)
    fit = fit_life_covariates(lives, twin, machine)
    assert fit.left_out == ("size=35: goes with the others", "speed: never changes")
    alone = fit_life_covariates(lives, frame, machine)
    assert fit.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-6)


def test_too_few_failures_give_a_state_and_no_number() -> None:
    lives, frame, machine = duties(200)
    none = Lives(lives.lower, np.full(len(lives), INF), np.minimum(lives.entry, lives.lower))
    fit = fit_life_covariates(none, frame, machine)
    assert fit.state == "no_fit"
    assert np.isnan(fit.estimate).all()
    with pytest.raises(ValueError, match="there are 200 lives but 199 rows of covariates"):
        fit_life_covariates(lives, frame.iloc[1:])
    with pytest.raises(ValueError, match="covariate temperature has no value in row 3"):
        fit_life_covariates(lives, frame.assign(temperature=frame["temperature"].where(
            frame.index != 3)))  # fmt: skip
