"""The life table: what is fitted, with which prior, and what is said about it."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.checks import beside, duty_terms, other_families, wear_shapes
from forecast.jobs.fits import Fits, fit_all
from forecast.jobs.modes import Book
from forecast.records.season import STUDIES

HAND: dict[str, Any] = runpy.run_path(str(Path(__file__).parent / "one_snapshot.py"))
part_type, lives, snapshot = HAND["part_type"], HAND["lives"], HAND["snapshot"]


def watched(
    shape: float, scale: float, seed: int, count: int = 400, longest: float = 3000.0
) -> tuple[np.ndarray, np.ndarray]:
    """Ages and whether failed: watched to ages of up to ``longest``."""
    rng = np.random.default_rng(seed)
    life, end = scale * rng.weibull(shape, count), rng.uniform(0.3, 1, count) * longest
    return np.minimum(life, end), life <= end


def exactly(failures: int, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """So many failures among pieces of 400 to 2,000 h."""
    age = np.linspace(400, 2000, count)
    return age, np.random.default_rng(0).permutation(count) < failures


def coming(fits: Fits, pieces: dict[str, float], hours: float = 2000.0) -> float:
    """Failures expected of new pieces in the coming season, by duty group."""
    mode = fits.mode_fits["PAD"][0]
    total = 0.0
    for group, count in pieces.items():
        shape, scale = mode.of(group)
        total += count * float(np.mean(-np.expm1(-((hours / scale) ** shape))))
    return total


@pytest.mark.parametrize("failures", [0, 2, 40])
def test_forty_duty_groups_expect_as_many_failures_as_one(failures: int) -> None:
    """A prior set once a group would expect half a failure more in each of the forty."""
    age, failed = exactly(failures)
    whole = snapshot([part_type()], lives=lives(age, failed))
    group = np.array([f"duty {n % 40:02d}" for n in range(age.size)])
    split = snapshot([part_type()], lives=lives(age, failed, duty_group=group))
    one = coming(fit_all(whole), {"": 400.0})
    many = coming(fit_all(split), dict.fromkeys(sorted(set(group)), 10.0))
    assert 0.7 * one < many < 1.35 * one + 0.5


def test_every_row_has_a_state_and_the_prior_that_stands_behind_it() -> None:
    known = {"none": 0, "few": 5, "twenty": 25, "many": 80}
    frame = pd.concat([lives(*exactly(count), name=name) for name, count in known.items()])
    own = {"prior_shape_low": 1.5, "prior_shape_high": 3.5, "prior_source": "maker's tests"}
    parts = [part_type("none"), part_type("few", **own), part_type("twenty"), part_type("many")]
    table = fit_all(snapshot(parts, lives=frame)).life.set_index("part_type")
    assert table["state"].to_dict() == {
        "none": "lower_bound_only", "few": "leans_on_prior", "twenty": "fitted", "many": "fitted",
    }  # fmt: skip
    assert table["failures"].to_dict() == known
    assert (table["lives"] == 400).all()
    assert table["prior"].str.startswith("shape ").all()
    assert table.loc["few", "prior"].startswith("shape 2.3 (1.5-3.5): part type's own")
    assert "maker's tests" in table.loc["few", "prior"]
    nobody = table.loc["none"]
    assert nobody[["scale", "scale_high", "b10", "b10_high"]].isna().all()
    assert nobody["b10_low"] > 500
    for name in ("few", "twenty", "many"):
        row = table.loc[name]
        assert row["b10_low"] < row["b10"] < row["b10_high"]


def test_lives_that_disagree_with_the_prior_are_flagged_aloud() -> None:
    age, failed = watched(1.0, 6000, 1, 900)
    parts = [part_type(prior_shape_low=3.0, prior_shape_high=4.0)]
    fits = fit_all(snapshot(parts, lives=lives(age, failed)))
    assert fits.life["prior"].iloc[0].endswith("the logs disagree")
    said = fits.assumed[fits.assumed["what"] == "PAD broken: shape prior"]
    assert len(said) == 1
    assert "the logs disagree: they say about 1" in said["why"].iloc[0]
    check = fits.life_checks.set_index("check").loc["prior"]
    assert "ask why" in check["says"]
    agreed = fit_all(snapshot([part_type()], lives=lives(*watched(2.0, 6000, 1, 900))))
    assert not agreed.life["prior"].str.contains("disagree").any()
    assert "prior" not in set(agreed.life_checks["check"])


def test_a_type_without_a_prior_of_its_own_takes_that_of_the_others() -> None:
    others = [lives(*watched(3.4, 3000, n, 300), name=f"P{n}") for n in range(4)]
    few = lives(*exactly(3), name="NEW")
    parts = [part_type(f"P{n}") for n in range(4)] + [part_type("NEW")]
    found = fit_all(snapshot(parts, lives=pd.concat([*others, few]))).life.set_index("part_type")
    assert "other part types: pooled from 4 groups" in found.loc["NEW", "prior"]
    centre = float(found.loc["NEW", "prior"].split()[1])
    assert centre == pytest.approx(3.4, rel=0.15)
    two = fit_all(snapshot(parts[2:], lives=pd.concat([*others[2:], few]))).life
    assert two["prior"].str.contains("the default").all()


def test_other_ends_are_suspensions_of_a_mode() -> None:
    """Competing modes, one at a time."""
    rng = np.random.default_rng(5)
    ends = np.array([3000 * rng.weibull(2.5, 900), 5000 * rng.weibull(1.2, 900)])
    first = ends.argmin(axis=0)
    table = lives(ends.min(axis=0), np.ones(900, bool), mode=np.array(["broken", "seized"])[first])
    found = fit_all(snapshot([part_type()], lives=table)).life.set_index("mode")
    assert found["failures"].to_dict() == {"broken": (first == 0).sum(), "seized": first.sum()}
    assert found.loc["broken", "shape"] == pytest.approx(2.5, rel=0.1)
    assert found.loc["seized", "shape"] == pytest.approx(1.2, rel=0.1)


def test_groups_of_clearly_different_shape_keep_their_own() -> None:
    table = pd.concat([
        lives(*watched(1.1, 4000, 1), duty_group="wet", prefix="w"),
        lives(*watched(4.0, 2500, 2), duty_group="dry", prefix="d"),
    ])  # fmt: skip
    mode = fit_all(snapshot([part_type()], lives=table)).mode_fits["PAD"][0]
    assert np.median(mode.of("wet")[0]) == pytest.approx(1.1, rel=0.15)
    assert np.median(mode.of("dry")[0]) == pytest.approx(4.0, rel=0.15)
    alike = pd.concat([
        lives(*watched(2.0, 4000, 1), duty_group="wet", prefix="w"),
        lives(*watched(2.0, 2500, 2), duty_group="dry", prefix="d"),
    ])  # fmt: skip
    mode = fit_all(snapshot([part_type()], lives=alike)).mode_fits["PAD"][0]
    assert np.array_equal(mode.of("wet")[0], mode.of("dry")[0])


def test_checks_say_whether_machines_differ_and_the_law_fits() -> None:
    rng = np.random.default_rng(6)
    machine = np.repeat(np.arange(20), 40)
    life = 2000 * np.exp(0.5 * rng.standard_normal(20))[machine] * rng.weibull(3.0, 800)
    age = np.minimum(life, 4000)
    table = lives(age, life <= 4000, machine=[f"M{n}" for n in machine])
    fits = fit_all(snapshot([part_type()], lives=table))
    said = fits.life_checks.set_index("check")
    assert list(fits.life_checks) == list(STUDIES["life_checks"])
    assert "between machines; shape " in said.loc["machines", "says"]
    assert said.loc["machines", "value"] == pytest.approx(0.5, abs=0.15)
    assert fits.assumed["what"].eq("PAD broken: lives differ between machines by").any()
    assert {"rank line", "fit", "machines"} <= set(said.index)
    same = lives(*watched(3.0, 2000, 7, 800), machine=[f"M{n}" for n in machine])
    told = fit_all(snapshot([part_type()], lives=same)).life_checks.set_index("check")
    assert told.loc["machines", "says"] == "machines do not differ more than chance explains"
    assert told.loc["fit", "says"].startswith("a Weibull law fits:")


def test_beside_the_fit_stand_the_curve_without_a_law_and_other_families() -> None:
    age, failed = watched(2.5, 3000, 8)
    known = snapshot([part_type()], lives=lives(age, failed))
    row = beside(known, "PAD", ("broken",)).iloc[0]
    assert "Kaplan-Meier" in row["says"]
    assert row["value"] == pytest.approx(3000 * 0.105**0.4, rel=0.15)
    between = lives(age, failed)
    looked = np.floor(age / 300) * 300
    between["lower"] = np.where(failed, looked, age)
    between["upper"] = np.where(failed, looked + 300, np.inf)
    turnbull = beside(snapshot([part_type()], lives=between), "PAD", ("broken",)).iloc[0]
    assert "Turnbull" in turnbull["says"]
    table = other_families(known, "PAD", ("broken",))
    assert list(table) == list(STUDIES["life_families"])
    assert table["aic"].is_monotonic_increasing
    assert set(table["family"]) == {"weibull", "exponential", "lognormal", "gamma"}


def test_no_other_family_is_chosen_silently() -> None:
    """Lognormal lives: the table says so, and the forecast still draws a Weibull law."""
    rng = np.random.default_rng(9)
    life = 1500 * rng.lognormal(0, 0.5, 500)
    known = snapshot([part_type()], lives=lives(life, np.ones(500, bool)))
    assert other_families(known, "PAD", ("broken",))["family"].iloc[0] == "lognormal"
    fits = fit_all(known)
    shape, scale = fits.mode_fits["PAD"][0].of("")
    b10 = np.median(scale * (-np.log(0.9)) ** (1 / shape))
    assert b10 == pytest.approx(fits.life["b10"].iloc[0], rel=0.02)
    assert "fits badly" in fits.life_checks.set_index("check").loc["fit", "says"]


def test_what_duty_grade_and_size_do_to_life() -> None:
    rng = np.random.default_rng(10)
    count = 600
    pressure = np.where(np.arange(count) % 3 == 0, 1.0, 2.0)
    grade = np.where(np.arange(count) % 2, "B", "A")
    life = 3000 / pressure * np.where(grade == "B", 1.4, 1.0) * rng.weibull(2.2, count)
    age = np.minimum(life, 2500)
    table = lives(age, life <= 2500, grade=grade, machine=[f"M{n % 15}" for n in range(count)])
    duty = pd.DataFrame({
        "piece": table["piece"], "place": "x", "batch": "", "medium": "wash",
        "pressure_mpa": pressure, "speed_m_s": 0.3, "temperature_c": np.nan,
    })  # fmt: skip
    known = snapshot([part_type()], lives=table, piece_duties=duty)
    terms = duty_terms(known, "PAD", "broken").set_index("term")
    assert set(terms.index) == {"log_pressure", "grade=B"}
    row = terms.loc["log_pressure"]
    assert row["value_low"] < -1.0 < row["value_high"]
    assert row["means"].startswith("10 % more pressure: life changes by -8 % (")
    assert terms.loc["grade=B", "means"].startswith("grade B: 1.")
    assert duty_terms(snapshot([part_type()], lives=table), "PAD", "seized").empty


@pytest.mark.parametrize(
    ("chance_of", "early", "verdict"),
    [
        (0.0, False, "they agree"),
        (1.0, False, "other causes are mixed in"),
        (0.0, True, "parts changed early count as worn"),
    ],
)
def test_the_spread_of_wear_judges_the_fitted_shape(
    chance_of: float, early: bool, verdict: str
) -> None:
    """Rates that differ by 30 % alone give a shape near 4; breakage and early change do not."""
    rng = np.random.default_rng(4)
    wear = SimpleNamespace(state="fitted", machine_sd=0.18, piece_sd=0.24, bend=None)
    by_wear = 1500 * np.exp(-0.3 * rng.standard_normal(400))
    by_chance = 1500 * rng.exponential(size=400) / max(chance_of, 1e-9)
    age = 1500 * rng.exponential(size=400) if early else np.minimum(by_wear, by_chance)
    mode = np.where(by_chance < by_wear, "broken", "worn") if not early else "worn"
    book = Book()
    rows = lives(age, np.ones(400, bool)).assign(mode=mode)
    wear_shapes(book, {("PAD", ""): wear}, rows)  # type: ignore[dict-item]
    told = book.checks[0]
    assert "differ by 30 % would alone give a shape of 4.3" in told["says"]
    assert verdict in told["says"]
    assert told["value_low"] < told["value"] < told["value_high"]


def test_a_bent_law_bends_the_shape_that_wear_alone_gives() -> None:
    """Wear that goes with hours to the power 0.5: lives spread by twice what rates do."""
    bend = SimpleNamespace(power=np.array([0.4, 0.6]))
    wear = SimpleNamespace(state="fitted", machine_sd=0.18, piece_sd=0.24, bend=bend)
    rows = lives(np.array([900.0]), np.ones(1, bool)).assign(mode="worn")
    book = Book()
    wear_shapes(book, {("PAD", ""): wear}, rows)  # type: ignore[dict-item]
    assert "differ by 30 % would alone give a shape of 2.1" in book.checks[0]["says"]
