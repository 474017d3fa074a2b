"""The event engine against renewal theory, and the order of things in a day."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.planning.draws import Earliest, IntArray, Pieces, WearDraws, WeibullDraws, new_pieces
from forecast.planning.events import Events, simulate_pieces
from forecast.planning.policy import renewal_function

NONE: IntArray = np.zeros(0, dtype=np.int64)
Published = dict[tuple[str, str], tuple[float, float]]


def run(
    law: WeibullDraws | WearDraws | Earliest,
    pieces: Pieces,
    quantity: int,
    hours: np.ndarray,
    windows: IntArray = NONE,
    change_age: np.ndarray | None = None,
    planned_at: int = -1,
    seed: int = 1,
) -> Events:
    size = len(pieces)
    ages = np.full(len(windows), np.inf) if change_age is None else change_age
    return simulate_pieces(
        law,
        pieces,
        np.full(size, quantity, dtype=np.int64),
        hours,
        np.full(size, planned_at, dtype=np.int64),
        ages,
        windows,
        np.random.default_rng(seed),
    )


def fresh(size: int = 1) -> Pieces:
    return new_pieces(np.zeros(size, dtype=np.int64), 1)


def law(shape: float, scale: float, draws: int = 4000) -> WeibullDraws:
    return WeibullDraws(np.full(draws, shape), np.full(draws, scale))


def test_failures_follow_the_published_renewal_table(published: Published) -> None:
    """Tijms (2003), table 8.1.1, p. 312 (check H1): Weibull, mean 1, cv2 .25.

    The hours of a day are the steps between the printed times, so that each day's end is one.
    """
    times = [0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0, 2.5]
    name = "Weibull renewal function, mean 1, cv2=0.25 (shape 2.101349), t={:g}"
    hours = np.diff(times, prepend=0.0)
    events = run(law(2.101349, 1.129063, 1000), fresh(), 200, hours)
    cumulative = np.cumsum(events.unplanned, axis=1)
    error = cumulative.std(axis=0) / np.sqrt(len(cumulative)) / 200
    for at, time in enumerate(times):
        expected, tolerance = published["H1", name.format(time)]
        assert abs(cumulative[:, at].mean() / 200 - expected) < 4 * error[at] + tolerance


@pytest.mark.parametrize("shape", [0.8, 1.0, 2.2, 3.5])
def test_failures_follow_the_renewal_equation_for_many_shapes(shape: float) -> None:
    events = run(law(shape, 500.0, 500), fresh(), 100, np.full(60, 20.0))
    total = events.unplanned.sum(axis=1) / 100
    expected = renewal_function(shape, 500.0, [1200.0])[0]
    assert abs(total.mean() - expected) < 4 * total.std() / np.sqrt(len(total))


def test_many_equal_pieces_are_as_many_single_ones() -> None:
    together = run(law(2.2, 900.0), fresh(), 30, np.full(30, 20.0))
    alone = run(law(2.2, 900.0), fresh(30), 1, np.full(30, 20.0), seed=2)
    a, b = together.unplanned.sum(axis=1), alone.unplanned.sum(axis=1)
    error = np.hypot(a.std(), b.std()) / np.sqrt(len(a))
    assert abs(a.mean() - b.mean()) < 4 * error
    assert a.std() == pytest.approx(b.std(), rel=0.06)


def test_the_earliest_of_two_equal_modes_is_one_mode_of_their_sum() -> None:
    half = law(2.0, 900.0 * np.sqrt(2))
    both = run(Earliest((half, half)), fresh(), 20, np.full(40, 20.0))
    one = run(law(2.0, 900.0), fresh(), 20, np.full(40, 20.0), seed=3)
    a, b = both.unplanned.sum(axis=1), one.unplanned.sum(axis=1)
    assert abs(a.mean() - b.mean()) < 4 * np.hypot(a.std(), b.std()) / np.sqrt(len(a))


def test_change_outs_at_an_age_follow_the_renewal_of_cycles() -> None:
    """Age 200 h, windows each 100 h: planned per cycle S(200), failures as in long cycles."""
    windows = np.arange(4, 400, 5)
    events = run(
        law(2.5, 300.0, 300),
        fresh(),
        50,
        np.full(400, 20.0),
        windows,
        np.full(len(windows), 200.0),
        planned_at=1,
    )
    changed = events.changed.sum(axis=1).mean() / 50
    failed = events.unplanned.sum(axis=1).mean() / 50
    rng = np.random.default_rng(7)
    wanted_failed, wanted_changed = cycles(rng, 20_000)
    assert failed == pytest.approx(wanted_failed, rel=0.01)
    assert changed == pytest.approx(wanted_changed, rel=0.01)


def cycles(rng: np.random.Generator, size: int) -> tuple[float, float]:
    """Follow single pieces to 8,000 h: fail, or be changed at the first 100 h mark from 200 h."""
    clock = np.zeros(size)
    failed = changed = 0
    while len(clock):
        end = clock + 300.0 * rng.standard_exponential(len(clock)) ** (1 / 2.5)
        window = np.ceil((clock + 200.0) / 100.0 - 1e-9) * 100.0
        fails = (end < window) & (end < 8000.0)
        stays = (end >= window) & (window <= 8000.0)
        failed, changed = failed + fails.sum(), changed + stays.sum()
        clock = np.concatenate([end[fails], window[stays]])
    return failed / size, changed / size


def test_change_outs_come_at_the_end_of_the_windows_day() -> None:
    hours = np.full(10, 20.0)
    windows = np.array([4])
    events = run(law(2.0, 1e9), fresh(), 7, hours, windows, np.array([np.inf]), planned_at=0)
    assert (events.changed[:, 0] == 7).all()
    assert (events.planned(windows, 10)[:, 4] == 7).all()
    assert events.unplanned.sum() == 0


def test_a_set_on_the_shelf_does_not_age() -> None:
    events = run(law(1.0, 10.0), fresh(), 50, np.zeros(30))
    assert events.unplanned.sum() == 0


def test_no_event_falls_on_a_day_without_hours() -> None:
    hours = np.tile([20.0, 0.0, 12.0], 10)
    events = run(law(1.5, 60.0, 300), fresh(), 20, hours)
    assert events.unplanned[:, 1::3].sum() == 0
    assert events.unplanned[:, 2::3].sum() > 0


def test_a_piece_at_its_limit_ends_when_its_machine_runs() -> None:
    size, draws = 3, 50
    worn = WearDraws(
        level=np.full(draws, -8.0),
        season_levels=np.zeros((1, draws)),
        machine_effect=np.zeros((1, draws)),
        piece_sd=0.2,
        offset=0.05,
        offset_sd=0.01,
        limit_mm=np.ones(draws),
        future_sd=0.0,
        own_left=np.zeros((size, draws)),
    )
    rows = np.arange(size, dtype=np.int64)
    none = np.zeros(size, dtype=bool)
    pieces = Pieces(
        np.zeros(size, dtype=np.int64), np.full(size, 9.0), np.full((size, 1), 9.0), rows, none
    )
    idle = run(worn, pieces, 1, np.array([0.0, 0.0, 0.0]))
    assert idle.unplanned.sum() == 0
    later = run(worn, pieces, 1, np.array([0.0, 0.0, 20.0, 20.0]))
    assert later.unplanned.sum(axis=0).tolist() == [0, 0, size * draws, 0]
