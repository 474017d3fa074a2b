"""Two kinds of parts side by side, and the size of a trial that shows a difference."""

from __future__ import annotations

import csv
import runpy
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from forecast.errors import NotInStore
from forecast.jobs.fits import fit_all
from forecast.jobs.kinds import compare_lives, scaled_modes, two_sides
from forecast.jobs.sizes import season_hours, trial
from forecast.jobs.versus import versus
from forecast.jobs.worth import season_worth
from forecast.life.sizes import (
    WearSpread,
    success_run_power,
    wear_rate_power,
    zero_failure_hours,
)
from forecast.planning.plan import read_plan
from forecast.records.season import STUDIES
from forecast.wear.ratio import rate_ratio

TESTS = Path(__file__).parent
HAND: dict[str, Any] = runpy.run_path(str(TESTS / "one_snapshot.py"))
FLEETS: dict[str, Any] = runpy.run_path(str(TESTS / "fleets.py"))
Logbook = runpy.run_path(str(TESTS / "logbook.py"))["Logbook"]
part_type, lives, snapshot = HAND["part_type"], HAND["lives"], HAND["snapshot"]

OLD, NEW = "PAD", "PAD-T"
PARTS = [part_type(OLD, grade="old"), part_type(NEW, grade="new")]


def both(ratio: float, machines: int = 12, seed: int = 1, **places: str) -> Any:
    """Snapshot of ten old and ten new on each machine, new ones lasting ``ratio`` times as long."""
    rng = np.random.default_rng(seed)
    hard = np.exp(0.4 * rng.standard_normal(machines))
    frames, duties = [], []
    for name, kind, stretch in ((OLD, "old", 1.0), (NEW, "new", ratio)):
        for m in range(machines):
            life = 3000 * stretch * hard[m] * rng.weibull(2.2, 10)
            age = np.minimum(life, 2500.0)
            more = {"machine": f"M{m:02d}", "grade": kind, "prefix": f"/{m}/"}
            frames.append(lives(age, life <= 2500, name=name, **more))
            place = places.get(name, "rollers")
            duties.append(pd.DataFrame({"piece": frames[-1]["piece"], "place": place, "batch": ""}))
    nothing = {"medium": "", "pressure_mpa": np.nan, "speed_m_s": np.nan, "temperature_c": np.nan}
    return snapshot(
        PARTS, lives=pd.concat(frames), piece_duties=pd.concat(duties).assign(**nothing)
    )


def test_a_longer_life_is_found_machine_by_machine() -> None:
    found = compare_lives(two_sides(both(1.5), "old", "new"))
    assert found.low < 1.5 < found.high
    assert found.low > 1.0
    assert found.pairs == 12
    assert found.adjusted_for == ("machine",)
    assert not found.extrapolated
    other = compare_lives(two_sides(both(1.5), "new", "old"))
    assert other.ratio == pytest.approx(1 / found.ratio, rel=0.02)
    same = compare_lives(two_sides(both(1.0, seed=4), "old", "new"))
    assert same.low < 1.0 < same.high
    assert any("do not show a difference" in sentence for sentence in same.said)


def test_kinds_that_never_shared_a_place_need_form_and_size() -> None:
    apart = both(1.3, **{OLD: "left", NEW: "right"})
    sides = two_sides(apart, "old", "new")
    assert sides.alike == "form and size"
    assert "taken as alike by form and size" in " ".join(compare_lives(sides).said)
    unlike = [part_type(OLD, grade="old"), part_type(NEW, grade="new", size="30")]
    other = snapshot(unlike, lives=apart.lives, piece_duties=apart.piece_duties)
    with pytest.raises(NotInStore, match="they cannot be compared"):
        two_sides(other, "old", "new")


def test_names_are_known_or_the_nearest_is_told() -> None:
    with pytest.raises(NotInStore, match="no life of grade 'nev'") as caught:
        two_sides(both(1.0), "old", "nev")
    assert caught.value.nearest == "new"
    with pytest.raises(NotInStore, match="no life of batch 'B1'") as caught:
        two_sides(both(1.0), "B1", "B2", by="batch")
    assert "Give the batch of each fitted piece" in str(caught.value.way_out)


def test_a_kind_without_failures_gives_one_end_and_no_middle() -> None:
    known = both(1.3)
    cut = known.lives.assign(upper=np.where(known.lives["grade"] == "new", np.inf,
                                            known.lives["upper"]))  # fmt: skip
    cut["mode"] = np.where(np.isinf(cut["upper"]), "", cut["mode"])
    found = compare_lives(
        two_sides(snapshot(PARTS, lives=cut, piece_duties=known.piece_duties), "old", "new")
    )
    assert np.isnan(found.ratio) and np.isnan(found.high)
    assert found.low > 1.5
    assert found.changed is None
    assert any("only the low end" in sentence for sentence in found.said)


def test_a_kind_that_is_far_younger_is_extrapolated() -> None:
    known = both(1.3)
    young = known.lives["grade"] == "new"
    cut = known.lives.assign(
        lower=known.lives["lower"].where(~young, np.minimum(known.lives["lower"], 300.0)),
        upper=known.lives["upper"].where(~young | (known.lives["upper"] <= 300), np.inf),
    )
    cut["mode"] = np.where(np.isinf(cut["upper"]), "", cut["mode"])
    found = compare_lives(
        two_sides(snapshot(PARTS, lives=cut, piece_duties=known.piece_duties), "old", "new")
    )
    assert found.extrapolated


def test_batches_come_from_the_change_outs_and_the_answer_has_its_columns(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    for machine in ("G1", "G2", "G3"):
        book.fleet(machine, positions="4")
    book.run("*", "2026-08-03", 28)
    for machine in ("G1", "G2", "G3"):
        for position in "1234":
            batch = "old" if position in "12" else "new"
            book.change(machine, "2026-08-04", position=position, reason="planned", batch=batch)
            if batch == "old":
                book.change(machine, "2026-08-20", position=position, reason="broken", batch="new")
    book.write()
    table, said = versus(str(tmp_path / "store.duckdb"), "old", "new", by="batch")
    assert list(table) == list(STUDIES["versus"])
    row = table.iloc[0]
    assert (row["by"], row["what"], row["pairs"]) == ("batch", "life", 3)
    assert np.isnan(row["ratio"])
    assert row["ratio_low"] > 1.0
    assert said[0] == "life: 6 of old and 0 of new failed; 3 machines had both"


def test_what_a_longer_life_is_worth(tmp_path: Path) -> None:
    """Twice the life: fewer pieces, at the other kind's price; the same life: nothing."""
    known, text, _ = FLEETS["fleet"]("broken", 5)
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    prices = (
        "planned_cost=1.0", "unplanned_cost=5.0", "failure_stops=true", "stop_hours=0.5",
        "stop_hour_cost=8.0",
    )  # fmt: skip
    plan = read_plan(path, [f"defaults.{price}" for price in prices])
    fits = fit_all(known)
    pad = frozenset([FLEETS["PART"]])
    same = season_worth(known, plan, fits, scaled_modes(pad, np.ones(10))(fits), pad, pad)
    assert same == (0.0, 0.0)
    longer = season_worth(known, plan, fits, scaled_modes(pad, np.full(10, 2.0))(fits), pad, pad)
    shorter = season_worth(known, plan, fits, scaled_modes(pad, np.full(10, 0.5))(fits), pad, pad)
    assert longer[0] > 0 > shorter[0]
    assert longer[1] == pytest.approx((10 + 5 + 4) * longer[0], rel=1e-6)  # piece, labour, stop
    bare = season_worth(
        known, read_plan(path), fits, scaled_modes(pad, np.full(10, 2.0))(fits), pad, pad
    )
    assert bare[0] == pytest.approx(longer[0])
    assert np.isnan(bare[1])  # nobody priced a failure
    doubled = known.part_types.assign(unit_cost=20.0, part_type="OTHER")
    dear = pd.concat([known.part_types, doubled], ignore_index=True)
    priced = replace(known, part_types=dear)
    worth = season_worth(
        priced, plan, fits, scaled_modes(pad, np.full(10, 2.0))(fits), pad, frozenset(["OTHER"])
    )
    assert worth[0] == pytest.approx(longer[0])
    assert worth[1] < longer[1]


def test_f1_pairing_by_machine_shows_what_is_lost_without() -> None:
    """F1: Box, Hunter and Hunter (1978) p. 100, soles A and B on ten boys (R MASS::shoes).

    The published paired t on the difference; our ratio of rates on the logarithm, boys as
    machines, has the width of the paired t and not that of the unpaired one.
    """
    with (TESTS / "published" / "expected.csv").open(newline="") as file:
        expected = {row["quantity"]: row for row in csv.DictReader(file) if row["id"] == "F1"}
    with (TESTS / "published" / "F1_shoes.csv").open(newline="") as file:
        boys = list(csv.DictReader(file))
    worn = np.array([[float(boy[kind]) for kind in "AB"] for boy in boys])
    test = stats.ttest_rel(*worn.T)
    ends = test.confidence_interval(0.95)
    loose = stats.ttest_ind(*worn.T)
    for name, value in (
        ("paired t (A-B)", test.statistic),
        ("p two-sided", test.pvalue),
        ("mean difference", (worn[:, 0] - worn[:, 1]).mean()),
        ("95% CI low", ends.low),
        ("95% CI high", ends.high),
        ("trap: unpaired t", loose.statistic),
    ):
        row = expected[name]
        assert value == pytest.approx(float(row["expected"]), abs=float(row["abs_tol"])), name
    pieces = pd.DataFrame(
        [
            {"machine": machine, "piece": f"{n}{kind}", "hours": 1000.0, "grade": kind}
            | {"wear_mm": worn[n, "AB".index(kind)], "position": "1"}
            for n, machine in enumerate(f"M{n}" for n in range(10))
            for kind in "AB"
        ]
    )
    paired = rate_ratio(pieces, "A", "B", adjust=(), gauge_sd=1e-4)
    gap = np.diff(np.log(worn))[:, 0]
    reach = 1.645 * gap.std(ddof=1) / np.sqrt(10)
    assert paired.pairs == 10
    assert np.log([paired.low, paired.ratio, paired.high]) == pytest.approx(
        [gap.mean() - reach, gap.mean(), gap.mean() + reach], abs=0.002
    )
    assert paired.low > 1.0
    strangers = rate_ratio(
        pieces.assign(machine=pieces["piece"]), "A", "B", adjust=(), gauge_sd=1e-4
    )
    assert strangers.low < 1.0 < strangers.high


# --- the size of a trial -------------------------------------------------------------


def test_a_success_run_has_the_power_it_says() -> None:
    """By simulation; and parts of the old kind pass no more often than 1 - confidence."""
    rng = np.random.default_rng(1)
    pieces = np.array([10, 40, 120])
    allowed, power = success_run_power(pieces, 0.80, 0.93, 0.9)
    for n, most, chance in zip(pieces, allowed, power, strict=True):
        if most < 0:
            assert chance == 0
            continue
        assert np.mean(rng.binomial(n, 0.07, 40_000) <= most) == pytest.approx(chance, abs=0.01)
        assert np.mean(rng.binomial(n, 0.20, 40_000) <= most) <= 0.1 + 0.005
        assert stats.binom.cdf(most + 1, n, 0.20) > 0.1
    assert allowed[0] == -1 and allowed[2] > allowed[1] >= 0
    nothing, none = success_run_power(np.array([5]), 0.9, 0.99, 0.9)
    assert (nothing[0], none[0]) == (-1, 0.0)


def test_a_run_without_failure_has_the_power_it_says() -> None:
    rng = np.random.default_rng(2)
    hours, power = zero_failure_hours(np.array([5, 20]), 2.5, 1000.0, 1.5, 0.9)
    for n, long, chance in zip((5, 20), hours, power, strict=True):
        for stretch, share in ((1.0, 0.1), (1.5, chance)):
            life = 1000 * stretch * rng.weibull(2.5, (40_000, n))
            assert np.mean(life.min(axis=1) > long) == pytest.approx(share, abs=0.01)
    assert hours[1] < hours[0]
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1 but is 90"):
        zero_failure_hours(np.array([5]), 2.5, 1000.0, 1.5, 90)


def test_a_trial_of_wear_rates_has_the_power_it_says() -> None:
    rng = np.random.default_rng(3)
    spread = WearSpread(0.3e-3, 0.2, 0.03)
    power = wear_rate_power(np.array([3, 8]), 4, 1500.0, spread, 1.2, 0.9)
    for machines, chance in zip((3, 8), power, strict=True):
        sd = np.hypot(0.2, 0.03 / 0.45)
        own = rng.normal(0, sd, (20_000, 2, machines * 4)).mean(axis=2)
        gap = own[:, 0] - own[:, 1] + np.log(1.2)
        limit = stats.norm.ppf(0.9) * sd * np.sqrt(2 / (machines * 4))
        assert np.mean(gap > limit) == pytest.approx(chance, abs=0.012)


def test_a_trial_is_sized_from_the_logs() -> None:
    known, _, _ = FLEETS["fleet"]("mixed", 3)
    fits = fit_all(known)
    found = trial(known, fits, FLEETS["PART"], 30.0, 0.9)
    table = found.table
    assert list(table) == list(STUDIES["sample_size"])
    assert set(table["method"]) == {"success_run", "zero_failure", "wear_rate"}
    assert table["power"].between(0, 1).all()
    assert table["machines"].max() == 12
    for _, own in table[table["method"] == "wear_rate"].groupby("hours"):
        assert own.sort_values("machines")["power"].is_monotonic_increasing
    assert (table["hours"] > 0).all()
    runs = found.fewest[found.fewest["method"] == "wear_rate"]
    for row in runs.itertuples():
        own = table[(table["method"] == "wear_rate") & (table["hours"] == row.hours)]
        assert row.power >= 0.8 or row.power == own["power"].max()
        assert not (own.loc[own["machines"] < row.machines, "power"] >= 0.8).any()
    small = trial(known, fits, FLEETS["PART"], 5.0, 0.9).table
    merged = table.merge(small, on=["method", "machines", "hours"])
    wear = merged[merged["method"] == "wear_rate"]
    assert (wear["power_x"] > wear["power_y"]).all()


def test_a_season_is_as_long_as_the_machines_ran() -> None:
    days = [date(2025, 8, 4) + timedelta(days=n) for n in range(10)]
    running = pd.DataFrame(
        [{"machine": m, "line": "A", "day": day, "hours": hours, "planned": False}
         for m, hours in (("M1", 10.0), ("M2", 20.0), ("M3", 22.0)) for day in days]
    )  # fmt: skip
    seasons = pd.DataFrame({"season": ["2025"], "first_day": [days[0]], "last_day": [days[-1]]})
    assert season_hours(snapshot(PARTS, running=running, seasons=seasons)) == 200.0
    with pytest.raises(NotInStore, match="no PAD is in service"):
        trial(snapshot(PARTS), fit_all(snapshot(PARTS)), "PAD", 30, 0.9)
