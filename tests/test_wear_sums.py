"""The sums behind the wear fit against a direct computation, reading by reading."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.wear.sums import cell_sums, wear_sums

SEASONS = ("2024", "2025", "2026")


def readings(seed: int, pieces: int) -> pd.DataFrame:
    """Pieces read 1-4 times, running in any of three seasons; rows in no order."""
    rng = np.random.default_rng(seed)
    rows = []
    for piece in range(pieces):
        hours = np.zeros(3)
        for _ in range(rng.integers(1, 5)):
            hours = hours + rng.integers(0, 900, 3) * (rng.random(3) < 0.5)
            rows.append((f"M{piece % 3}", f"P{piece:03d}", *hours, round(rng.normal(0.3, 0.2), 2)))
    frame = pd.DataFrame(rows, columns=["machine", "piece", *SEASONS, "wear_mm"])
    return frame.sample(frac=1.0, random_state=seed)


@settings(max_examples=25)
@given(seed=st.integers(0, 10_000), pieces=st.integers(1, 12))
def test_sums_equal_a_direct_computation(seed: int, pieces: int) -> None:
    frame = readings(seed, pieces)
    wear, cells = wear_sums(frame, SEASONS)
    for _, piece in wear.iterrows():
        rows = frame[frame["piece"] == piece["piece"]]
        y = rows["wear_mm"].to_numpy()
        assert piece["machine"] == rows["machine"].iloc[0]
        assert piece["n"] == len(rows)
        assert piece["sy"] == pytest.approx(y.sum(), abs=1e-12)
        assert piece["syy"] == pytest.approx((y * y).sum(), abs=1e-12)
        hours = rows[list(SEASONS)].sum(axis=1)
        assert piece["last_age"] == hours.max()
        assert piece["last_mm"] == rows.loc[hours == hours.max(), "wear_mm"].max()
        for a, first in enumerate(SEASONS):
            for second in SEASONS[a:]:
                products = (rows[first] / 1000 * rows[second] / 1000).sum()
                cell = cells[
                    (cells["piece"] == piece["piece"])
                    & (cells["season"] == first)
                    & (cells["other"] == second)
                ]
                assert len(cell) == (products > 0)
                if len(cell):
                    assert cell["sxx"].iloc[0] == pytest.approx(products, rel=1e-12)
                if len(cell) and first == second:
                    assert cell["sx"].iloc[0] == pytest.approx(rows[first].sum() / 1000)
                    assert cell["sxy"].iloc[0] == pytest.approx((rows[first] / 1000 * y).sum())


def test_arrays_hold_what_the_frames_say() -> None:
    frame = readings(4, 9)
    wear, cells = wear_sums(frame, SEASONS)
    shuffled = cell_sums(wear.sample(frac=1.0, random_state=1), cells.iloc[::-1], SEASONS)
    sums = cell_sums(wear, cells, SEASONS)
    assert sums.pieces == tuple(wear["piece"])
    assert [sums.machines[m] for m in sums.machine] == list(wear["machine"])
    for name in ("n", "y", "yy", "x", "xy", "xx", "last_hours", "last_mm"):
        assert np.array_equal(getattr(sums, name), getattr(shuffled, name)), name
    assert np.array_equal(sums.xx, sums.xx.transpose(0, 2, 1))
    first = frame[frame["piece"] == sums.pieces[0]]
    x = first[list(SEASONS)].to_numpy() / 1000
    assert sums.x[0] == pytest.approx(x.sum(axis=0))
    assert sums.xx[0] == pytest.approx(x.T @ x)


def test_equivalent_hours_are_a_weighted_clock() -> None:
    frame = readings(7, 6)
    sums = cell_sums(*wear_sums(frame, SEASONS), SEASONS)
    levels = np.array([1.0, 1.5, 0.8])
    line = sums.along(levels)
    for row, piece in enumerate(sums.pieces):
        mine = frame[frame["piece"] == piece]
        clock = mine[list(SEASONS)].to_numpy() / 1000 @ levels
        assert line.x[row] == pytest.approx(clock.sum())
        assert line.xx[row] == pytest.approx((clock**2).sum())
        assert line.xy[row] == pytest.approx((clock * mine["wear_mm"]).sum())


def test_seasons_nobody_ran_in_are_left_out() -> None:
    frame = readings(2, 5).assign(**{"2025": 0.0})
    sums = cell_sums(*wear_sums(frame, SEASONS), SEASONS)
    assert sums.seasons == ("2024", "2026")
    assert sums.x.shape == (5, 2)


def test_faults_are_named() -> None:
    frame = readings(3, 4)
    with pytest.raises(ValueError, match=r"lack the column.*hours"):
        wear_sums(frame)
    with pytest.raises(ValueError, match="finite"):
        wear_sums(frame.assign(wear_mm=np.nan), SEASONS)
    with pytest.raises(ValueError, match="negative"):
        wear_sums(frame.assign(**{"2024": -1.0}), SEASONS)
    moved = frame.copy()
    moved.loc[moved.index[0], "piece"] = moved["piece"].iloc[-1]
    moved.loc[moved.index[0], "machine"] = "elsewhere"
    with pytest.raises(ValueError, match="two machines"):
        wear_sums(moved, SEASONS)
    wear, cells = wear_sums(frame, SEASONS)
    with pytest.raises(ValueError, match="two rows of sums: P000"):
        cell_sums(pd.concat([wear, wear.iloc[:1]]), cells, SEASONS)
    with pytest.raises(ValueError, match="not among 2024"):
        cell_sums(*wear_sums(frame, SEASONS), ("2024",))
