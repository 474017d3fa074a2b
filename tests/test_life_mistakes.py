"""What wrong handling of lives would cost, and that it is not made: one test a mistake.

Each test shows both: the law that comes out of the mistake (as it was measured when the methods
were chosen), and that the way from the logs to the fit does not make it.
"""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.modes import lives_of
from forecast.life.lives import Lives
from forecast.life.spread import shared_by_machine
from forecast.life.weibull import fit_weibull

Logbook = runpy.run_path(str(Path(__file__).parent / "logbook.py"))["Logbook"]
MANY = 20_000
INF = np.inf


def law(lives: Lives) -> tuple[float, float]:
    fit = fit_weibull(lives)
    return fit.shape, fit.scale


def drawn(shape: float, scale: float, seed: int, count: int = MANY) -> np.ndarray:
    return scale * np.random.default_rng(seed).weibull(shape, count)


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Lives from logs of August 2026 (20 h a day), by the machine that tells each case apart."""
    book = Logbook(tmp_path_factory.mktemp("lives") / "store.duckdb")
    book.part_type()
    for number in range(1, 5):
        book.fleet(f"G{number}", start_state="450" if number == 4 else "new")
    book.run("*", "2026-08-03", 28)
    book.change("G1", "2026-08-13", position="1", reason="broken", taken_from="2026-08-10")
    book.change("G1", "2026-08-13", position="2", reason="broken")
    for position, reason in (("1", "planned"), ("2", "opportunistic")):
        book.change("G2", "2026-08-13", position=position, reason=reason)
    book.change("G3", "2026-08-13", position="1", reason="size_change")
    book.change("G4", "2026-08-13", position="1", reason="broken")
    lives: pd.DataFrame = book.snapshot().lives
    return lives


def kept(logged: pd.DataFrame, machine: str) -> Lives:
    return lives_of(logged[logged["machine"] == machine], "broken")


@pytest.mark.parametrize(("scale", "wrong"), [(6000.0, (2.16, 6385)), (2000.0, (2.40, 2402))])
def test_the_day_it_was_found_is_not_the_day_it_failed(
    scale: float, wrong: tuple[float, float], logged: pd.DataFrame
) -> None:
    """Inspections each 700 h, true shape 2."""
    life = drawn(2.0, scale, 1)
    before = np.floor(life / 700) * 700
    mistaken = law(Lives(before + 700, before + 700))
    assert mistaken == (pytest.approx(wrong[0], abs=0.05), pytest.approx(wrong[1], rel=0.02))
    right = law(Lives(before, before + 700))
    assert right == (pytest.approx(2.0, abs=0.05), pytest.approx(scale, rel=0.02))
    own = kept(logged, "G1")
    assert own.between.sum() == 1
    assert own.upper[own.between] - own.lower[own.between] == pytest.approx(3 * 20)


def test_half_way_between_inspections_is_no_failure_time_either(logged: pd.DataFrame) -> None:
    """Inspections each 700 h, true shape 3.5, scale 2,000: half-way gives 3.26."""
    life = drawn(3.5, 2000.0, 2)
    before = np.floor(life / 700) * 700
    assert law(Lives(before + 350, before + 350))[0] == pytest.approx(3.26, abs=0.06)
    assert law(Lives(before, before + 700))[0] == pytest.approx(3.5, abs=0.08)
    assert kept(logged, "G1").exact.sum() == 1  # only the one whose end has a time of its own


def test_ages_at_the_start_of_the_log_are_reckoned_with(logged: pd.DataFrame) -> None:
    """Parts 0 to 8,000 h old when logging began, true shape 2 and scale 6,000."""
    rng = np.random.default_rng(3)
    entry, life = rng.uniform(0, 8000, 3 * MANY), 6000 * rng.weibull(2.0, 3 * MANY)
    alive = life > entry
    life, entry = life[alive][:MANY], entry[alive][:MANY]
    end = np.minimum(life, entry + 2880)
    upper = np.where(life <= entry + 2880, end, INF)
    ignored = law(Lives(end, upper))
    assert ignored == (pytest.approx(2.69, abs=0.08), pytest.approx(7570, rel=0.03))
    right = law(Lives(end, upper, entry))
    assert right == (pytest.approx(2.0, abs=0.08), pytest.approx(6000, rel=0.03))
    own = kept(logged, "G4")
    assert sorted(own.entry[own.entry > 0]) == [450.0, 450.0]


def test_planned_change_outs_are_no_failures(logged: pd.DataFrame) -> None:
    """Changed at 3,500 h: counted as failures they give shape 6.7."""
    life = drawn(2.0, 6000.0, 4)
    end = np.minimum(life, 3500.0)
    mistaken = law(Lives(end, end))
    assert mistaken == (pytest.approx(6.73, abs=0.3), pytest.approx(3369, rel=0.02))
    right = law(Lives(end, np.where(life <= 3500, end, INF)))
    assert right == (pytest.approx(2.0, abs=0.08), pytest.approx(6000, rel=0.04))
    for machine in ("G2", "G3"):
        assert kept(logged, machine).failures == 0


def test_pieces_that_did_not_fail_are_lives_too(logged: pd.DataFrame) -> None:
    """The same lives without those that were changed or still run: shape 2.96."""
    life = drawn(2.0, 6000.0, 4)
    failed = life[life <= 3500]
    mistaken = law(Lives(failed, failed))
    assert mistaken == (pytest.approx(2.96, abs=0.08), pytest.approx(2501, rel=0.02))
    # every piece that ran is there: two changed and two running on each machine, or three
    assert [len(kept(logged, f"G{n}")) for n in range(1, 5)] == [4, 4, 3, 3]
    assert [kept(logged, f"G{n}").failures for n in range(1, 5)] == [2, 0, 0, 1]


def test_machines_that_differ_do_not_blunt_the_shape() -> None:
    """A hundred machines, standard deviation of log life .4, true shape 3.5: together 2.1."""
    rng = np.random.default_rng(6)
    machine = rng.integers(0, 100, MANY)
    life = 6000 * np.exp(0.4 * rng.standard_normal(100))[machine] * rng.weibull(3.5, MANY)
    found = shared_by_machine(Lives(life, life), machine)
    assert found.pooled_shape == pytest.approx(2.08, abs=0.25)
    assert found.shape == pytest.approx(3.5, abs=0.1)
    assert found.spread == pytest.approx(0.4, abs=0.08)
    assert found.differ
