"""Readings that are no plain value at a position: ok and over, samples, the worst, repeats."""

import math
import runpy
from pathlib import Path

import numpy as np
import pytest

from forecast.jobs.fits import fit_all
from forecast.store.snapshots import take_snapshot

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]

RATE, SPREAD = 0.001, np.linspace(-0.2, 0.2, 20)
"""mm/h of the mean liner, and by how much the twenty of a set differ from it."""


def sampled(book) -> None:
    """Six sets of twenty, visited four times: three at random, and the three worst as suspect."""
    for number in range(1, 7):
        book.fleet(f"S{number}", "LINER", "20", place="pockets", serialised="no")
        here = {"part_type": "LINER", "place": "pockets"}
        for visit, day in enumerate((8, 14, 20, 26)):
            hours = (day - 3 + 0.5) * 20
            depths = np.round(0.05 + RATE * hours * (1 + SPREAD), 4)
            # near, at and beyond the middle of the set, in turn: their mean is the set's
            random = [depths[at] for at in (visit, 9 + (number + visit) % 2, 19 - visit)]
            random[1] = round(3 * float(depths.mean()) - random[0] - random[2], 4)
            for depth in random:
                book.reading(f"S{number}", f"2026-08-{day:02d}", depth, chosen="random", **here)
            for depth in depths[-3:]:
                book.reading(f"S{number}", f"2026-08-{day:02d}", depth, chosen="suspect", **here)


def repeated(book) -> None:
    """Ten positions read twice a day: of one type by one person, of the other by two."""
    for name, part, persons, apart in (
        ("R1", "ONE", ("JM", "JM"), 0.02),
        ("R2", "TWO", ("JM", "KL"), 0.04),
    ):
        book.fleet(name, part, "10")
        for position in range(1, 11):
            first = 0.2 + 0.01 * position
            for person, depth in zip(persons, (first, first + apart), strict=True):
                book.reading(name, "2026-08-13", round(depth, 2), part_type=part,
                             position=str(position), inspector=person)  # fmt: skip
    # the same row twice is one more reading, and says nothing of the gauge
    again = {"part_type": "ONE", "position": "1", "inspector": "JM"}
    book.reading("R1", "2026-08-13", 0.21, copy_no=2, **again)


@pytest.fixture(scope="module")
def looked(tmp_path_factory):
    """The snapshot, and the table of aged readings."""
    book = Logbook(tmp_path_factory.mktemp("readings") / "store.duckdb")
    book.part_type()
    book.part_type("LINER", 2.0, gauge_sd_mm=0.001)
    book.part_type("ONE", gauge_sd_mm=None)
    book.part_type("TWO", gauge_sd_mm=0.05)
    book.run("*", "2026-08-03", 28)
    book.fleet("G1")
    book.reading("G1", "2026-08-08", None, position="1", result="ok")
    book.reading("G1", "2026-08-18", None, position="1", result="over", chosen="suspect")
    book.reading("G1", "2026-08-18", None, position="2", result="not_measured")
    book.reading("S1", "2026-08-26", None, part_type="LINER", place="pockets", result="ok")
    sampled(book)
    repeated(book)
    with book.looked() as store:
        snapshot = take_snapshot(store)
        return snapshot, store._connection.execute("SELECT * FROM aged").df()


def test_ok_and_over_bound_the_wear_from_above_and_from_below(looked):
    snapshot, _ = looked
    bounds = snapshot.bounds.set_index("machine")
    assert len(bounds) == 3, "what was not measured says nothing"
    piece = bounds.loc["G1"].sort_values("age")
    assert piece["piece"].tolist() == ["G1 rollers 1 #1"] * 2
    assert piece["age"].tolist() == pytest.approx([5.5 * 20, 15.5 * 20])
    assert piece["low_mm"].tolist() == [-math.inf, 1.0]
    assert piece["high_mm"].tolist() == [1.0, math.inf]
    assert piece["suspect"].tolist() == [False, True]
    cells = snapshot.bound_cells.set_index("bound")["x"]
    assert cells[piece["bound"]].tolist() == pytest.approx([0.11, 0.31])
    of_set = bounds.loc["S1"]
    assert (of_set["visit"], of_set["high_mm"]) == ("S1 S1 pockets LINER 2026-08-26", 2.0)
    assert not snapshot.wear["piece"].str.startswith("G1").any(), "a bound is no reading"


def test_the_worst_read_first_do_not_make_the_fleet_look_worse(looked):
    """Taken with the random ones, the three worst of twenty would add a tenth to the rate.

    They lie 0.18 above the mean of their set (0.2, 0.179 and 0.158 of it): half of the readings,
    so the mean of all lies 0.0895 of the wear too high.
    """
    snapshot, aged = looked
    aged = aged[aged["part_type"] == "LINER"]
    means = aged.groupby(["machine", "reading_day"])["wear_mm"].mean()
    hours = aged.groupby(["machine", "reading_day"])["age"].first().astype(float)
    naive = np.polyfit(hours, means.astype(float), 1)[0]
    assert naive / RATE == pytest.approx(1 + SPREAD[-3:].mean() / 2, abs=0.003)
    samples = snapshot.samples
    assert samples["n"].tolist() == [3] * 24, "the suspect ones serve their own pieces only"
    assert (samples["sy"] / 3).tolist() == pytest.approx(0.05 + RATE * samples["age"], abs=1e-4)
    (fit,) = fit_all(snapshot, only="LINER").wear_fits.values()
    assert fit.mean_rate == pytest.approx(RATE, rel=0.02)
    assert naive > fit.mean_rate_high, "what the worst would have made of it lies outside"


def test_the_gauge_is_told_by_repeats_and_what_is_stated_wins(looked):
    """Two readings of one size that differ by d have a variance of d2 / 2."""
    snapshot, _ = looked
    gauge = snapshot.gauge.set_index("part_type")
    one = gauge.loc["ONE"]
    assert (one["told_by"], one["pairs"]) == ("repeats", 10)
    assert one["sd_mm"] == pytest.approx(0.02 / math.sqrt(2))
    two = gauge.loc["TWO"]
    assert (two["told_by"], two["pairs"]) == ("stated", 10)
    assert two["repeats_mm"] == pytest.approx(0.04 / math.sqrt(2))
    assert two["sd_mm"] == 0.05
    used = snapshot.part_types.set_index("part_type")["gauge_sd_mm"]
    assert used[["ONE", "TWO"]].tolist() == pytest.approx([0.02 / math.sqrt(2), 0.05])
    read = snapshot.wear.set_index("piece")["n"]
    assert (read["R1 rollers 1 #1"], read["R1 rollers 2 #1"]) == (3, 2), "true repeats both count"
