"""Where one reading says most: how far it narrows the season's total, and what it may flip.

The log of the hours left of every piece, and the depth that a gauge would read on it now, are
taken as normal and split into what all pieces share (the season's level, the levels read before),
what the pieces of one machine share, and the piece's own. A reading of depth D with the gauge
error s then takes cov(T, D)^2 / (s^2 + var D) off the variance of the season's total T; what it
says of one piece it says of the others through what they share, so the next reading is chosen
after the first one is counted (a rank-one step). Gradients are means over what is not known
(Stein's identity), not slopes at the middle. The total's own curvature and the bedding-in of
pieces to come are left out: the ranks hold, the level is 'about'.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.fleet import Fleet
from forecast.planning.seeds import generator
from forecast.planning.worn import lives_left, ways

LEAST_SHARE: Final = 0.005
"""A reading that narrows the total by less than this share of its spread is not worth the walk,
unless it may flip a decision (an editor's choice)."""

LEAST_FLIP: Final = 0.1
"""A chance to flip a decision from which a piece is worth a reading (an editor's choice)."""

LEAST_WEAR: Final = 2.0
"""Gauge errors that a piece should have worn: before that a reading tells nothing of its rate."""

LOTS: Final = 5
"""Positions drawn by lot in one set, at most."""

SHARES: Final = 3
"""Readings that share the opening of a machine: each of the first so many carries its part."""

_BLOCK: Final = 400_000  # numbers drawn at once


@dataclass(frozen=True, eq=False)
class Split:
    """What is drawn of some pieces, split into what they share and what is their own.

    Attributes
    ----------
    common
        [rows, factors] change with what all pieces share.
    machine
        [rows] change with what the pieces of its machine share.
    own
        [rows, draws] what is left.
    """

    common: Array
    machine: Array
    own: Array


@dataclass(eq=False)
class Candidates:
    """The pieces of one part type and duty group, and what a reading of each would say.

    Attributes
    ----------
    fleet
        The pieces.
    table
        One row a candidate: machine, place, position; the position is empty where one is to be
        drawn by lot from a set that nobody tells apart.
    machine
        [candidates] index of its machine.
    lots
        [candidates] how many positions can still be read: 1, or more of a set.
    readable
        [candidates] what can be measured, and has worn enough to tell.
    sd_before
        Spread of the season's total from what is not known of wear, in pieces.
    flips, gains
        [candidates] chance that a reading turns the decision to leave the piece in, and what that
        is worth: a turn near the point of indifference gains little. In pieces.
    """

    fleet: Fleet
    table: pd.DataFrame
    machine: IntArray
    lots: IntArray
    readable: BoolArray
    flips: Array
    gains: Array
    sd_before: float
    _variance: float
    _with_total: Array
    _depth: Array
    _noise: float
    _common: Array
    _spread: Array
    _machine: Array
    _machine_variance: Array
    _own: Array
    _known: list[Array] = field(default_factory=list)

    @property
    def sd(self) -> float:
        """Spread of the total after the readings taken so far."""
        return float(np.sqrt(max(self._variance, 0.0)))

    def narrows(self) -> Array:
        """Return by how many pieces (sd) one more reading of each row narrows the total."""
        gain = np.minimum(self._with_total**2 / (self._noise + self._depth), self._variance)
        by: Array = self.sd - np.sqrt(np.maximum(self._variance - gain, 0.0))
        return np.where(self.readable, by, 0.0)

    def take(self, row: int) -> None:
        """Count a reading of one row as known."""
        column = self._common @ (self._spread @ self._common[row])
        same = self.machine == self.machine[row]
        shared = self._machine_variance[self.machine[row]] * self._machine[row]
        column[same] += self._machine[same] * shared
        if self.table["position"].iloc[row]:  # the next lot is another piece
            column[row] += self._own[row]
        for known in self._known:
            column -= known * known[row]
        step = column / np.sqrt(self._noise + self._depth[row])
        tells = self._with_total[row] / np.sqrt(self._noise + self._depth[row])
        self._variance -= tells**2
        self._with_total = self._with_total - step * tells
        self._depth = np.maximum(self._depth - step**2, 0.0)
        self._known.append(step)
        self.lots[row] -= 1
        self.readable[row] &= self.lots[row] > 0


@dataclass(frozen=True)
class Chosen:
    """One reading to take.

    Attributes
    ----------
    group, row
        Which of the candidates, and which of its rows.
    narrows_by
        By how many pieces it narrows the season's total (sd), given the readings before it.
    may_flip
        Chance that it turns the decision about its piece.
    minutes
        Crew time, with its part of opening the machine.
    """

    group: int
    row: int
    narrows_by: float
    may_flip: float
    minutes: float


def candidates(
    fleet: Fleet, shared: Array, total: Array, *, keep: float, seed: int
) -> Candidates | None:
    """Return what readings of a fleet would say, or None where nothing wears to a limit.

    Parameters
    ----------
    fleet
        The pieces of one part type and duty group.
    shared
        [factors, draws] what all pieces share: the season's level, and those read before.
    total
        [draws] pieces of this part type that the season uses, as simulated on the same paths.
    keep
        Chance to last the season from which a piece is left in.
    seed
        Of the forecast.
    """
    worn, others = ways(fleet.law)
    if worn is None or not len(fleet.pieces):
        return None
    common = shared - shared.mean(axis=1, keepdims=True)
    spread = common @ common.T / common.shape[1]
    back = np.linalg.pinv(common, rcond=1e-6)  # levels that always move together count once
    effect = worn.machine_effect - worn.machine_effect.mean(axis=1, keepdims=True)
    effect = effect - (effect @ back) @ common
    by_machine = (effect**2).mean(axis=1)
    noise = worn.gauge_sd**2 if np.isfinite(worn.gauge_sd) else 0.0
    rows = len(fleet.pieces)
    ahead = fleet.hours.sum(axis=1)[fleet.unit]
    slope, wears, flips, gains = (np.zeros(rows) for _ in range(4))
    left_machine, depth_machine = np.zeros(rows), np.zeros(rows)
    left_own, depth_own, both_own = np.zeros(rows), np.zeros(rows), np.zeros(rows)
    depth_common = np.zeros((rows, len(common)))
    for part in _blocks(rows, worn.draws):
        pieces = fleet.pieces.take(part)
        lives = lives_left(worn, pieces, generator(seed, *_names(fleet), "measure", str(part[0])))
        left = np.log(np.maximum(lives.worn, 1.0))
        depth = np.maximum(worn.limit_mm - lives.rate * lives.worn, 0.0)
        wears[part] = depth.mean(axis=1) - worn.offset
        lasts = np.ones(len(part))
        for other in others:
            lasts = lasts * other.survival(pieces, ahead[part]).mean(axis=1)
        slope[part] = lasts * _slope(left, ahead[part])
        flips[part], gains[part] = _flips(left, depth, ahead[part], noise, keep)
        of_left = _split(left, common, back, effect[pieces.machine])
        of_depth = _split(depth, common, back, effect[pieces.machine])
        left_machine[part], depth_machine[part] = of_left.machine, of_depth.machine
        depth_common[part] = of_depth.common
        left_own[part] = (of_left.own**2).mean(axis=1)
        depth_own[part] = (of_depth.own**2).mean(axis=1)
        both_own[part] = (of_left.own * of_depth.own).mean(axis=1)
    weight = slope * fleet.quantity * ~fleet.pieces.due
    on_machine = np.bincount(
        fleet.pieces.machine, weight * left_machine, minlength=len(worn.machine_effect)
    )
    of_total = (total - total.mean()) @ back
    variance = of_total @ spread @ of_total + on_machine**2 @ by_machine
    variance += float((weight**2 * left_own / np.maximum(fleet.quantity, 1)).sum())
    found = _Rows(wears, depth_common, depth_machine, depth_own, weight * both_own, flips, gains)
    table, machine, lots, found = _by_candidate(fleet, found)
    pull = by_machine * on_machine
    with_total = found.common @ (spread @ of_total) + pull[machine] * found.machine
    readable = (lots > 0) & (found.wears >= LEAST_WEAR * np.sqrt(noise))
    return Candidates(
        fleet=fleet,
        table=table,
        machine=machine,
        lots=lots,
        readable=readable,
        flips=np.where(readable, found.flips, 0.0),
        gains=np.where(readable, found.gains, 0.0),
        sd_before=float(np.sqrt(variance)),
        _variance=float(variance),
        _with_total=with_total + found.with_own,
        _depth=np.einsum("ra,ab,rb->r", found.common, spread, found.common)
        + found.machine**2 * by_machine[machine]
        + found.own,
        _noise=float(max(noise, 1e-12)),
        _common=found.common,
        _spread=spread,
        _machine=found.machine,
        _machine_variance=by_machine,
        _own=found.own,
    )


@dataclass(frozen=True, eq=False)
class _Rows:
    """What a reading of each row would show: mean wear, loadings, own variance, with the total."""

    wears: Array
    common: Array
    machine: Array
    own: Array
    with_own: Array
    flips: Array
    gains: Array


def _by_candidate(fleet: Fleet, rows: _Rows) -> tuple[pd.DataFrame, IntArray, IntArray, _Rows]:
    """Return the candidates: positions one by one, and each set that nobody tells apart.

    Of such a set one piece is drawn by lot: it stands for the mean of the set, and what is its own
    includes that the pieces are of different ages.
    """
    names = fleet.table[["machine", "place", "position"]]
    live = fleet.in_use[fleet.unit, 0] & ~fleet.pieces.due
    told = (names["position"] != "").to_numpy()
    single = np.flatnonzero(told)
    loose = np.flatnonzero(~told & live)
    units, at = np.unique(fleet.unit[loose], return_inverse=True)
    share = np.zeros((len(units), len(loose)))
    share[at, np.arange(len(loose))] = fleet.quantity[loose]
    pieces = share.sum(axis=1)
    share /= np.maximum(pieces, 1)[:, None]
    wears = share @ rows.wears[loose]
    own = share @ (rows.own[loose] + rows.wears[loose] ** 2) - wears**2
    first = np.array([loose[fleet.unit[loose] == unit][0] for unit in units], dtype=np.int64)
    whole = np.concatenate([single, first])
    nothing = np.zeros(len(units))
    joined = _Rows(
        np.concatenate([rows.wears[single], wears]),
        np.vstack([rows.common[single], share @ rows.common[loose]]),
        np.concatenate([rows.machine[single], share @ rows.machine[loose]]),
        np.concatenate([rows.own[single], np.maximum(own, 0.0)]),
        np.concatenate([rows.with_own[single], nothing]),
        np.concatenate([rows.flips[single], nothing]),
        np.concatenate([rows.gains[single], nothing]),
    )
    lots = np.concatenate([live[single].astype(int), np.minimum(pieces, LOTS)]).astype(np.int64)
    table = names.iloc[whole].reset_index(drop=True)
    return table, fleet.pieces.machine[whole], lots, joined


def choose(
    groups: Sequence[Candidates],
    count: int,
    *,
    minutes: float,
    setup_minutes: float,
    prices: Sequence[float],
) -> list[Chosen]:
    """Choose readings, the most telling for a crew minute first.

    A reading is worth the pieces it takes off the spread of the season's total, and what it is
    expected to gain by turning the decision about its piece, at the price of a piece. The first
    readings on a machine carry the opening of it, so that those that lie together come first.

    Parameters
    ----------
    groups
        From :func:`candidates`; those taken are counted in them.
    count
        At most so many.
    minutes, setup_minutes
        Crew time of one reading, and of opening and closing a machine.
    prices
        Of a piece of each group; 1 where prices are not all known.
    """
    opened: dict[int, int] = {}
    found: list[Chosen] = []
    while len(found) < count:
        best: tuple[float, Chosen] | None = None
        for number, group in enumerate(groups):
            by = group.narrows()
            telling = (by >= LEAST_SHARE * group.sd) & (by > 0) | (group.flips >= LEAST_FLIP)
            telling &= group.readable
            if not telling.any():
                continue
            times = np.array([opened.get(int(at), 0) for at in group.machine])
            takes = minutes + np.where(times < SHARES, setup_minutes / SHARES, 0.0)
            worth = prices[number] * (by + group.gains) / np.maximum(takes, 0.1)
            row = int(np.where(telling, worth, -1.0).argmax())
            if best is None or worth[row] > best[0]:
                one = Chosen(
                    number, row, float(by[row]), float(group.flips[row]), float(takes[row])
                )
                best = float(worth[row]), one
        if best is None:
            break
        one = best[1]
        group = groups[one.group]
        at = int(group.machine[one.row])
        opened[at] = opened.get(at, 0) + 1
        group.take(one.row)
        found.append(one)
    return found


def flip(mean: Array, moves: Array, cut: Array) -> tuple[Array, Array]:
    """Return the chance that a reading turns a decision, and the gain, in units of the mean.

    The decision is taken where the mean of a forecast lies above a cut. A reading of slope a and
    noise v moves the mean of N(mean, s^2) by N(0, rho^2), rho = a s^2 / sqrt(v + a^2 s^2): it
    crosses the cut with the chance Phi(-z), z = |mean - cut| / rho, and where the loss grows with
    the distance from the cut, rho (phi(z) - z Phi(-z)) of it is saved.

    Parameters
    ----------
    mean, moves, cut
        Mean, rho and cut [pieces].
    """
    rho = np.maximum(moves, 1e-9)
    score = np.abs(mean - cut) / rho
    chance: Array = ndtr(-score)
    gain: Array = rho * (np.exp(-0.5 * score**2) / np.sqrt(2.0 * np.pi) - score * chance)
    return chance, np.maximum(gain, 0.0)


def _slope(left: Array, ahead: Array) -> Array:
    """Return how the chance to end within `ahead` falls with the log of the hours left."""
    mean, spread = left.mean(axis=1), np.maximum(left.std(axis=1), 1e-6)
    with np.errstate(divide="ignore"):
        score = (np.log(ahead) - mean) / spread
    score = np.clip(score, -40.0, 40.0)
    steep: Array = -np.exp(-0.5 * score**2) / (np.sqrt(2.0 * np.pi) * spread)
    return steep


def _flips(
    left: Array, depth: Array, ahead: Array, noise: float, keep: float
) -> tuple[Array, Array]:
    """Return chance and gain [rows] of turning 'leave it in for the season'.

    The gain is in chances to last, which is in pieces.
    """
    margin = left - np.log(np.maximum(ahead, 1e-6))[:, None]
    mean, spread = margin.mean(axis=1), margin.std(axis=1)
    off = depth - depth.mean(axis=1, keepdims=True)
    together = ((margin - mean[:, None]) * off).mean(axis=1)
    moves = np.abs(together) / np.sqrt((off**2).mean(axis=1) + noise + 1e-12)
    kept = np.sqrt(np.maximum(spread**2 - moves**2, 1e-12))
    score = float(ndtri(np.clip(keep, 1e-6, 1 - 1e-6)))
    chance, gain = flip(mean, moves, score * kept)
    steep = np.exp(-0.5 * score**2) / (np.sqrt(2.0 * np.pi) * kept)
    runs = ahead > 0
    return np.where(runs, chance, 0.0), np.where(runs, np.minimum(steep * gain, chance), 0.0)


def _split(values: Array, common: Array, back: Array, effect: Array) -> Split:
    """Split what was drawn [rows, draws] by least squares."""
    off = values - values.mean(axis=1, keepdims=True)
    loads = off @ back
    off = off - loads @ common
    power = (effect**2).mean(axis=1)
    machine = (off * effect).mean(axis=1) / np.maximum(power, 1e-12)
    return Split(loads, machine, off - machine[:, None] * effect)


def _blocks(rows: int, draws: int) -> Iterator[IntArray]:
    step = max(1, _BLOCK // draws)
    for at in range(0, rows, step):
        yield np.arange(at, min(at + step, rows))


def _names(fleet: Fleet) -> tuple[str, str]:
    return fleet.part_type, fleet.duty_group
