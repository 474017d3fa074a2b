"""Where one reading says most: against exact algebra, and the sheet that imports back."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from forecast.jobs.measure import Measured
from forecast.planning.draws import Pieces, WearDraws
from forecast.planning.fleet import Fleet
from forecast.planning.measuring import Candidates, candidates, choose, flip
from forecast.records.season import STUDIES

DRAWS, MACHINES, PIECES = 3000, 6, 8
SEASON, MACHINE, PIECE, GAUGE, LIMIT, AHEAD = 0.10, 0.12, 0.20, 0.02, 1.0, 1500.0
RATE = 3e-4


def fleet(level_sd: float = SEASON, *, position: bool = True, seed: int = 3) -> Fleet:
    """Return pieces of several ages on a few machines, none of them read so far."""
    rng = np.random.default_rng(seed)
    level = np.log(RATE) + level_sd * rng.standard_normal(DRAWS)
    law = WearDraws(
        level=level,
        season_levels=level[None],
        machine_effect=MACHINE * rng.standard_normal((MACHINES, DRAWS)),
        piece_sd=PIECE,
        offset=0.05,
        offset_sd=0.0,
        limit_mm=np.full(DRAWS, LIMIT),
        future_sd=0.0,
        gauge_sd=GAUGE,
    )
    machine = np.repeat(np.arange(MACHINES), PIECES)
    age = np.tile(np.linspace(0.0, 1400.0, PIECES), MACHINES)
    rows = len(machine)
    pieces = Pieces(machine, age, age[:, None], np.full(rows, -1), np.zeros(rows, bool))
    named = [str(at) if position else "" for at in np.tile(np.arange(PIECES), MACHINES)]
    names = {"machine": [f"M{at}" for at in machine], "line": "", "place": "", "position": named}
    table = pd.DataFrame({**names, "kit": "", "piece": [f"p{at}" for at in range(rows)]})
    hours = np.full((MACHINES, 10), AHEAD / 10)
    in_use = np.ones((MACHINES, 11), bool)
    quantity = np.ones(rows, dtype=np.int64)
    return Fleet("T", "", table, pieces, quantity, machine, in_use, hours, law)


def expected(of: Fleet) -> np.ndarray:
    """Return the pieces that each path expects to reach the limit this season."""
    ends = 1.0 - of.law.survival(of.pieces, of.ahead(9))
    total: np.ndarray = ends.sum(axis=0)
    return total


def group(of: Fleet, keep: float = 0.9) -> Candidates:
    law = of.law
    assert isinstance(law, WearDraws)
    found = candidates(of, law.level[None], expected(of), keep=keep, seed=1)
    assert found is not None
    return found


def test_the_first_readings_tell_the_season_and_go_to_different_machines() -> None:
    """METHODS2 7: before any reading of the season the first ones are on different machines."""
    found = group(fleet())
    before = found.sd
    chosen = choose([found], 6, minutes=3.0, setup_minutes=0.0, prices=[1.0])
    assert len({int(found.machine[one.row]) for one in chosen}) == MACHINES
    assert sum(one.narrows_by for one in chosen) == pytest.approx(before - found.sd, rel=1e-9)
    assert found.sd < 0.75 * before  # the level was most of what nobody knew
    assert found.sd_before == before
    by = [one.narrows_by for one in chosen]
    assert by == sorted(by, reverse=True)


def test_young_pieces_tell_nothing() -> None:
    found = group(fleet())
    young = found.fleet.pieces.age == 0.0
    assert not found.readable[young].any()
    assert (found.narrows()[young] == 0.0).all()


def test_what_one_reading_narrows_against_simulation() -> None:
    """The spread of the total before, and after a reading, by regression on simulated readings."""
    of = fleet()
    found = group(of)
    row = int(found.narrows().argmax())
    law = of.law
    assert isinstance(law, WearDraws)
    rng = np.random.default_rng(11)
    piece = PIECE * rng.standard_normal((len(of.pieces), DRAWS))
    rate = np.exp(law.level + law.machine_effect[of.pieces.machine] + piece)
    depth = law.offset + rate * of.pieces.age[:, None]
    alive = depth < LIMIT
    ahead = depth + rate * AHEAD
    ends = np.where(alive, ahead >= LIMIT, 0.0).sum(axis=0)
    reading = depth[row] + GAUGE * rng.standard_normal(DRAWS)
    told = float(np.corrcoef(ends, reading)[0, 1] ** 2)
    # pieces that end for certain add nothing; what is left over is the chance of the rest
    by = found.sd_before**2 - (found.sd_before - found.narrows()[row]) ** 2
    assert by == pytest.approx(told * float(ends.var()), rel=0.25)


def test_a_rank_one_step_is_the_exact_conditional() -> None:
    """Two readings counted one after the other equal both counted at once."""
    found = group(fleet())
    rows = [int(found.narrows().argmax())]
    with_total, depth, noise = found._with_total.copy(), found._depth.copy(), found._noise
    other = int(np.flatnonzero(found.readable & (found.machine == found.machine[rows[0]]))[-1])
    rows.append(other if other != rows[0] else other - 1)
    cross = found._common[rows[0]] @ found._spread @ found._common[rows[1]]
    at = found.machine[rows[0]]
    cross += found._machine[rows[0]] * found._machine[rows[1]] * found._machine_variance[at]
    told = np.array([[depth[rows[0]] + noise, cross], [cross, depth[rows[1]] + noise]])
    gain = with_total[rows] @ np.linalg.solve(told, with_total[rows])
    before = found.sd**2
    for row in rows:
        found.take(row)
    assert before - found.sd**2 == pytest.approx(gain, rel=1e-9)


def test_a_set_that_nobody_tells_apart_is_read_by_lot() -> None:
    found = group(fleet(position=False))
    assert len(found.table) == MACHINES
    chosen = choose([found], 100, minutes=3.0, setup_minutes=30.0, prices=[1.0])
    assert 0 < len(chosen) <= 5 * MACHINES
    first = [one for one in chosen if one.row == chosen[0].row]
    assert [one.minutes for one in first[:4]] == [13.0, 13.0, 13.0, 3.0][: len(first)]


def test_a_known_season_sends_nobody() -> None:
    """Where single pieces give little, few are asked for, and only for a decision."""
    found = group(fleet(level_sd=1e-6), keep=0.9)
    chosen = choose([found], 100, minutes=3.0, setup_minutes=0.0, prices=[1.0])
    for one in chosen:
        assert one.may_flip >= 0.1 or one.narrows_by > 0


def test_flip_against_simulation() -> None:
    """METHODS2 7: the chance that a decision flips, and what that saves."""
    rng = np.random.default_rng(2)
    sd, slope, noise = 0.3, 1.4, 0.2**2
    for mean, cut in ((0.0, 0.05), (0.4, 0.1), (-0.2, 0.1)):
        truth = mean + sd * rng.standard_normal(400_000)
        seen = slope * truth + np.sqrt(noise) * rng.standard_normal(truth.size)
        share = slope * sd**2 / (noise + slope**2 * sd**2)
        after = mean + share * (seen - slope * mean)
        rho = slope * sd**2 / np.sqrt(noise + slope**2 * sd**2)
        chance, gain = flip(np.array([mean]), np.array([rho]), np.array([cut]))
        turned = (after > cut) != (mean > cut)
        assert chance[0] == pytest.approx(turned.mean(), abs=0.003)
        signed = np.where(turned, np.sign(after - cut) * (truth - cut), 0.0).mean()
        assert gain[0] == pytest.approx(signed, abs=0.002)


def test_the_walk_goes_machine_by_machine() -> None:
    rows = [("M2", "", "10", "T"), ("M1", "", "3", "T"), ("M2", "", "9", "T")]
    table = pd.DataFrame([(*row, 0.1, 0.2, 3.0) for row in rows], columns=STUDIES["measure_next"])
    walk = Measured(table, date(2026, 9, 6), ()).walk
    assert list(walk["position"]) == ["3", "9", "10"]
    assert list(walk.columns) == list(STUDIES["measure_next"])
