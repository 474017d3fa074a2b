"""Lives from counts only, and mean cumulative replacements."""

import csv
from math import gamma
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.stats

from forecast.life.counts import fit_counts, mean_cumulative, trend_test
from forecast.life.lives import Lives
from forecast.life.posterior import DEFAULT_PRIOR
from forecast.life.weibull import fit_weibull

Published = dict[tuple[str, str], tuple[float, float]]
DATA = Path(__file__).parent / "published"
INF = np.inf


def watched(
    rng: np.random.Generator,
    machines: int,
    positions: int,
    *,
    weeks: int = 34,
    shape: float = 2.2,
    scale: float = 3000.0,
    before: float = 0.0,
) -> tuple[pd.DataFrame, Lives]:
    """Weekly counts of 168 h, and the lives behind them; ``before`` hours ran unseen."""
    end, rows, ages, failed = weeks * 168.0, [], [], []
    for machine in range(machines):
        replaced = np.zeros(weeks, int)
        t = np.full(positions, -before) - (rng.uniform(0, 2 * scale, positions) if before else 0)
        while t.size:
            life = scale * rng.weibull(shape, t.size)
            at = t + life
            ages.append(np.minimum(life, end - t))
            failed.append(at < end)
            at = at[at < end]
            week = (at[at >= 0] // 168).astype(int)
            replaced += np.bincount(week, minlength=weeks)[:weeks]
            t = at
        rows += [(f"G{machine:02}", week, 168.0, positions, n) for week, n in enumerate(replaced)]
    age, event = np.concatenate(ages), np.concatenate(failed)
    table = pd.DataFrame(rows, columns=["machine", "week", "hours", "positions", "replaced"])
    return table, Lives(age, np.where(event, age, INF))


def test_many_counts_say_as_much_of_the_law_as_they_can() -> None:
    counts, lives = watched(np.random.default_rng(3), 30, 30, scale=4000)
    fit, serialised = fit_counts(counts), fit_weibull(lives)
    assert fit.state == "fitted"
    assert fit.failures == lives.failures > 900
    assert fit.shape == pytest.approx(2.2, rel=0.1)
    assert fit.scale == pytest.approx(4000, rel=0.04)
    assert fit.scale == pytest.approx(serialised.scale, rel=0.03)
    assert fit.mean_life == pytest.approx(fit.scale * gamma(1 + 1 / fit.shape))
    low, high = fit.interval("shape", 0.99)
    assert low < 2.2 < high
    wider = np.diff(np.log(fit.interval("shape"))) / np.diff(np.log(serialised.interval("shape")))
    assert 1 < wider[0] < 3  # counts tell less than lives do


def test_before_the_first_generation_fails_counts_are_lives() -> None:
    """While no piece of the second generation has failed, nothing is lost by counting."""
    rng = np.random.default_rng(5)
    life = np.sort(9000 * rng.weibull(3, 200))
    weeks = 12
    replaced = np.bincount((life[life < weeks * 168] // 168).astype(int), minlength=weeks)
    counts = pd.DataFrame(
        {
            "machine": "G01",
            "week": range(weeks),
            "hours": 168.0,
            "positions": 200,
            "replaced": replaced,
        }
    )
    week = np.repeat(np.arange(weeks), replaced)
    alive = 200 - replaced.sum()
    lives = Lives(
        np.concatenate([week * 168.0, np.full(alive, weeks * 168.0)]),
        np.concatenate([(week + 1) * 168.0, np.full(alive, INF)]),
    )
    one, two = fit_counts(counts), fit_weibull(lives)
    assert one.shape == pytest.approx(two.shape, rel=0.03)
    assert one.scale == pytest.approx(two.scale, rel=0.05)


def test_intervals_from_counts_cover() -> None:
    rng = np.random.default_rng(12)
    truth = {"shape": 2.2, "scale": 3000.0, "b10": 3000 * (-np.log(0.9)) ** (1 / 2.2)}
    held = []
    for _ in range(70):
        fit = fit_counts(watched(rng, 8, 8, weeks=17)[0])
        intervals = {of: fit.interval(of) for of in truth}
        held.append([low < truth[of] < high for of, (low, high) in intervals.items()])
    assert (np.mean(held, axis=0) > 0.80).all()  # 0.9 less three standard errors
    assert np.mean(held) < 0.97


def test_unknown_start_ages_need_the_stationary_start() -> None:
    """An old fleet taken for new looks as if wear were random; its mean life is right anyway."""
    counts, _ = watched(np.random.default_rng(5), 40, 20, scale=4000, before=20_000)
    wrong, right = fit_counts(counts), fit_counts(counts, start="stationary")
    assert wrong.shape < 1.3
    assert right.shape == pytest.approx(2.2, rel=0.25)
    assert right.state == "leans_on_prior"
    assert right.prior is DEFAULT_PRIOR
    low, high = right.interval("mean_life")
    assert low < 4000 * gamma(1 + 1 / 2.2) < high
    ages = right.ages()
    assert ages["quantity"].sum() == pytest.approx(800)


def test_known_start_ages_are_used() -> None:
    rng = np.random.default_rng(6)
    life = 3000 * rng.weibull(2.5, (20, 4000))
    rows = []
    for machine in range(20):
        start = 100.0 * machine
        left = life[machine][life[machine] > start][:40] - start
        replaced = np.bincount((left[left < 1680] // 168).astype(int), minlength=10)
        rows += [(f"M{machine:02}", w, 168.0, 40, n, start) for w, n in enumerate(replaced)]
    names = ["machine", "week", "hours", "positions", "replaced", "start_age"]
    counts = pd.DataFrame(rows, columns=names)
    fit = fit_counts(counts)
    assert fit.shape == pytest.approx(2.5, rel=0.15)
    assert fit_counts(counts, start="stationary").shape == fit.shape  # all of them are known
    first = fit.ages().groupby("machine")["age"].max()
    assert first["M19"] == pytest.approx(1900 + 1680)
    hidden = counts.assign(start_age=counts["start_age"].where(counts["machine"] != "M00"))
    assert fit_counts(hidden).shape == pytest.approx(fit.shape)  # M00 was new


def test_few_replacements_lean_on_the_prior() -> None:
    counts, _ = watched(np.random.default_rng(2), 4, 5, weeks=10)
    assert 0 < counts["replaced"].sum() < 20
    fit = fit_counts(counts, prior=DEFAULT_PRIOR)
    assert fit.state == "leans_on_prior"
    assert str(DEFAULT_PRIOR) == str(fit.prior)
    low, high = fit.interval("shape")
    assert low < fit.shape < high
    assert fit_counts(counts).state == "fitted"


def test_no_replacement_gives_the_lower_bound_that_lives_give() -> None:
    counts = pd.DataFrame(
        {"machine": "G01", "week": range(10), "hours": 50.0, "positions": 20, "replaced": 0}
    )
    assert fit_counts(counts).state == "no_fit"
    fit = fit_counts(counts, prior=DEFAULT_PRIOR)
    lives = fit_weibull(Lives([500.0] * 20, [INF] * 20), prior=DEFAULT_PRIOR)
    assert fit.state == "lower_bound_only"
    assert np.isnan([fit.shape, fit.scale, fit.mean_life]).all()
    low, high = fit.interval("b10")
    assert low == pytest.approx(lives.interval("b10")[0], rel=0.05)
    assert high == INF
    shape, scale = fit.draws(4000, 1)
    assert np.quantile(scale, [0.05, 0.5]) == pytest.approx(
        np.quantile(lives.draws(4000, 1)[1], [0.05, 0.5]), rel=0.06
    )
    assert (fit.draws(4000, 1)[0] == shape).all()
    assert fit.ages().to_dict("records") == [{"machine": "G01", "age": 500.0, "quantity": 20.0}]


def test_a_week_that_nobody_has_looked_at_only_adds_to_the_ages() -> None:
    """Taken for a week without a failure it would make parts look better than they are."""
    counts, _ = watched(np.random.default_rng(6), 8, 20, weeks=20)
    last = counts.groupby("machine")[["machine", "hours", "positions"]].tail(1)
    more = last.assign(week=20, replaced=np.nan)
    known, fit = fit_counts(counts), fit_counts(pd.concat([counts, more]))
    taken = fit_counts(pd.concat([counts, more.fillna(0.0)]))
    assert fit.failures == known.failures
    assert (fit.shape, fit.scale) == pytest.approx((known.shape, known.scale), rel=1e-4)
    assert fit.log_likelihood == pytest.approx(known.log_likelihood)
    assert taken.mean_life > 1.02 * fit.mean_life
    older = fit.ages()
    assert older["quantity"].sum() == pytest.approx(160)
    assert older["age"].max() == pytest.approx(known.ages()["age"].max() + 168)
    renewed = older[older["age"] == 84.0]["quantity"].sum()
    assert 1 < renewed < 20  # as many as the law expects


def test_nothing_ran() -> None:
    counts = pd.DataFrame(
        {"machine": "G01", "week": range(3), "hours": 0.0, "positions": 5, "replaced": 0}
    )
    fit = fit_counts(counts, prior=DEFAULT_PRIOR)
    assert fit.state == "no_fit"
    assert np.isnan(fit.interval("scale")).all()
    assert fit.ages()["age"].tolist() == [0.0]
    with pytest.raises(ValueError, match="state is no_fit"):
        fit.draws(10, 1)


def test_ages_follow_who_was_replaced() -> None:
    """Others leave the oldest first; new pieces came in the middle of their week."""
    counts = pd.DataFrame(
        {
            "unit": "G01/lining",
            "machine": "G01",
            "week": [1, 2, 3],
            "hours": 100.0,
            "positions": 10,
            "replaced": 0,
            "others": [4, 6, 3],
        }
    )
    ages = fit_counts(counts, prior=DEFAULT_PRIOR).ages()
    assert ages.columns.tolist() == ["unit", "machine", "age", "quantity"]
    assert ages["age"].tolist() == [50.0, 150.0, 250.0]
    assert ages["quantity"].tolist() == pytest.approx([3, 6, 1])  # week 3 took from those of week 1


def test_order_of_rows_gaps_and_dates_do_not_matter() -> None:
    counts, _ = watched(np.random.default_rng(4), 5, 10, weeks=12)
    counts["week"] = pd.Timestamp("2025-08-04") + pd.to_timedelta(7 * counts["week"], unit="D")
    fit = fit_counts(counts, prior=DEFAULT_PRIOR)
    mixed = counts.sample(frac=1, random_state=1)
    rest = pd.DataFrame(
        {
            "machine": counts["machine"].unique(),
            "week": pd.Timestamp("2026-01-05"),
            "hours": 0.0,
            "positions": 10,
            "replaced": 0,
        }
    )
    for other in (mixed, pd.concat([mixed, rest]), counts.assign(week=counts["week"].dt.date)):
        again = fit_counts(other, prior=DEFAULT_PRIOR)
        assert (again.shape, again.scale) == (fit.shape, fit.scale)
    late = counts[~((counts["machine"] == "G00") & (counts["week"] < "2025-08-18"))]
    assert fit_counts(late, prior=DEFAULT_PRIOR).ages()["quantity"].sum() == pytest.approx(50)


def test_more_replaced_than_there_are_positions_is_survived() -> None:
    counts = pd.DataFrame(
        {
            "machine": "G01",
            "week": range(8),
            "hours": 168.0,
            "positions": 4,
            "replaced": [0, 1, 6, 2, 3, 4, 3, 4],
        }
    )
    fit = fit_counts(counts)
    assert fit.state in ("fitted", "no_fit")
    assert fit.ages()["quantity"].sum() == pytest.approx(4)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda c: c.drop(columns="hours"), "counts lack hours"),
        (lambda c: c.assign(hours=-1.0), r"hours cannot be -1.0 \(machine G01, week 0\)"),
        (lambda c: c.assign(positions=0), "positions cannot be 0.0"),
        (lambda c: c.assign(replaced=np.inf), "replaced cannot be inf"),
        (lambda c: pd.concat([c, c.tail(1)]), "two rows for machine G01, week 2"),
    ],
)
def test_counts_that_cannot_be(change: object, message: str) -> None:
    counts = pd.DataFrame(
        {"machine": "G01", "week": range(3), "hours": 168.0, "positions": 4, "replaced": 1}
    )
    with pytest.raises(ValueError, match=message):
        fit_counts(change(counts))  # type: ignore[operator]
    with pytest.raises(ValueError, match="start must be 'new' or 'stationary' but is 'old'"):
        fit_counts(counts, start="old")  # type: ignore[arg-type]


def test_g1_mean_cumulative_function(published: Published) -> None:
    """G1: Meeker and Escobar (1998) table 16.2; robust variance as R's survfit(id=)."""
    with (DATA / "G1_three_systems.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    events = [(row["id"], float(row["t"]), "event") for row in rows if row["s"] == "1"]
    last = {row["id"]: float(row["t"]) for row in rows}
    ends = [(system, time, "end") for system, time in last.items()]
    found = mean_cumulative(pd.DataFrame(events + ends, columns=["system", "time", "kind"]))
    assert found["time"].tolist() == [1, 5, 8, 16]
    for row in found.itertuples():
        for quantity, value in (
            (f"MCF({row.time:g})", row.mcf),
            (f"robust variance({row.time:g})", row.variance),
        ):
            expected, tolerance = published["G1", quantity]
            assert value == pytest.approx(expected, abs=tolerance), quantity


def test_late_starts_and_gaps_count_only_while_watched() -> None:
    events = pd.DataFrame(
        [
            ("a", 0, "start"),
            ("a", 3, "event"),
            ("a", 10, "end"),
            ("b", 5, "start"),
            ("b", 6, "event"),
            ("b", 8, "end"),
            ("b", 9, "start"),
            ("b", 12, "end"),
            ("a", 9.5, "event"),
        ],
        columns=["system", "time", "kind"],
    )
    found = mean_cumulative(events)
    assert found["mcf"].tolist() == pytest.approx([1, 1.5, 2.0])
    assert found["variance"].iloc[0] == 0  # one system alone says nothing of the spread


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([("a", 1, "event")], "system 'a' has 1 starts but 0 ends"),
        ([("a", 5, "event"), ("a", 4, "end")], "system 'a' was not watched at its event at 5"),
        ([("a", 5, "failure")], "kind must be start, event or end but is 'failure'"),
    ],
)
def test_events_that_cannot_be(rows: list, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        mean_cumulative(pd.DataFrame(rows, columns=["system", "time", "kind"]))
    with pytest.raises(ValueError, match="events lack kind"):
        mean_cumulative(pd.DataFrame({"system": ["a"], "time": [1]}))


def paced(power: float, seed: int, systems: int = 25, each: float = 6.0) -> pd.DataFrame:
    """Events of systems watched to 1,000 h; those of power 1 come at a steady pace."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[str, float, str]] = []
    for n in range(systems):
        count = rng.poisson(each * rng.gamma(2.0, 0.5))
        rows += [(f"S{n}", 1000 * at, "event") for at in rng.uniform(size=count) ** (1 / power)]
        rows.append((f"S{n}", 1000.0, "end"))
    return pd.DataFrame(rows, columns=["system", "time", "kind"])


def test_trend_by_hand() -> None:
    """Sums about the middle of the watch, 7, 2 and 4, over the root of their squares."""
    events = [("A", 8.0), ("A", 9.0), ("B", 7.0), ("C", 9.0)]
    rows = [(*event, "event") for event in events] + [(name, 10.0, "end") for name in "ABC"]
    found = trend_test(pd.DataFrame(rows, columns=["system", "time", "kind"]))
    assert found.z == pytest.approx(13 / np.sqrt(69))
    assert found.chance == pytest.approx(scipy.stats.ttest_1samp([7, 2, 4], 0).pvalue)


def test_trend_is_found_where_there_is_one_and_seldom_where_there_is_none() -> None:
    """Systems that differ in their pace are no trend: one in twenty is the stated error."""
    steady = [trend_test(paced(1.0, seed)).chance < 0.05 for seed in range(400)]
    assert 0.025 < np.mean(steady) < 0.08
    rising = [trend_test(paced(1.6, seed)) for seed in range(40)]
    falling = [trend_test(paced(0.6, seed)) for seed in range(40)]
    assert np.mean([one.chance < 0.05 and one.z > 0 for one in rising]) > 0.9
    assert np.mean([one.chance < 0.05 and one.z < 0 for one in falling]) > 0.9
    assert rising[0].says.endswith("faster") and falling[0].says.endswith("slower")
