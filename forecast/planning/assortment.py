"""How many of each part type, when they share a target or a purse.

All part types together last on a path only if every one of them does, so that the cheap ones are
bought more surely than the dear ones. The paths are the same for all: what a season does to one it
may do to the others, and no independence is assumed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from forecast.planning.draws import Array, BoolArray, IntArray
from forecast.planning.supply import Lot

STEPS: Final = 150
"""Most steps from nothing to the largest order of a part type: more only cost time."""
EXCHANGES: Final = 30
"""Most exchanges of a step of one part type for more of another."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """One part type that takes part.

    Attributes
    ----------
    need
        [draws] pieces that an order placed now must bring; infinite where it comes too late.
    lasts
        [draws] whether the path needs none at all.
    lot
        How the maker sells it.
    most
        Largest order to consider.
    """

    need: Array
    lasts: BoolArray
    lot: Lot
    most: int

    def sizes(self) -> IntArray:
        """Return the orders to choose from: none, then whole packs up to the largest."""
        least = self.lot.whole(1.0)
        most = max(self.most, least)
        step = self.lot.pack * max(1, -(-(most - least) // (self.lot.pack * STEPS)))
        return np.unique(np.array([0, *range(least, most, step), most], dtype=np.int64))

    def held(self, pieces: int) -> BoolArray:
        """Return the paths that last with an order of so many pieces."""
        return self.need <= pieces if pieces else self.lasts

    @property
    def price(self) -> float:
        """Cost of a piece; 1 where nobody gave it, so that pieces are saved instead of money."""
        return self.lot.unit_cost if np.isfinite(self.lot.unit_cost) else 1.0


def choose(
    wanted: Mapping[str, Wanted], target: float, money: float = np.inf
) -> tuple[dict[str, int], float]:
    """Return the cheapest orders found that keep all part types together from running out.

    The step that raises a part type's own chance most for its money is taken until the paths on
    which nothing runs out are enough; then steps that turn out not to be needed are given back,
    the dearest first, and a step of one part type is exchanged for more of another where that is
    cheaper. With a purse, steps that it cannot pay for are passed over.

    Parameters
    ----------
    wanted
        By part type.
    target
        Share of the paths on which nothing may run out.
    money
        Most that the orders may cost.

    Returns
    -------
    tuple
        Pieces by part type, and the share of paths reached.
    """
    names = list(wanted)
    sizes = {name: wanted[name].sizes() for name in names}
    shares = {
        name: np.array([max(wanted[name].held(int(q)).mean(), 1e-9) for q in sizes[name]])
        for name in names
    }
    at = dict.fromkeys(names, 0)
    held = {name: wanted[name].held(0) for name in names}
    left = money
    while _all(held).mean() < target:
        best = _best(names, at, sizes, shares, wanted, left)
        if best is None:
            break
        name, to = best
        left -= _price(wanted[name], sizes[name], at[name], to)
        at[name] = to
        held[name] = wanted[name].held(int(sizes[name][to]))
    reached = float(_all(held).mean())
    _give_back(names, at, sizes, held, wanted, min(target, reached))
    for _ in range(EXCHANGES):
        if not _exchange(names, at, sizes, held, wanted, min(target, reached)):
            break
    return {name: int(sizes[name][at[name]]) for name in names}, float(_all(held).mean())


def _best(
    names: list[str],
    at: Mapping[str, int],
    sizes: Mapping[str, IntArray],
    shares: Mapping[str, Array],
    wanted: Mapping[str, Wanted],
    left: float,
) -> tuple[str, int] | None:
    """Return the part type and size whose rise of the log of its own chance is best for money."""
    best: tuple[float, str, int] | None = None
    for name in names:
        own, now = shares[name], at[name]
        if now + 1 >= len(own):
            continue
        price = wanted[name].price * (sizes[name][now + 1 :] - sizes[name][now])
        gain = np.where(price <= left, np.log(own[now + 1 :] / own[now]), 0.0)
        worth = gain / np.maximum(price, 1e-9)
        to = int(worth.argmax())
        if worth[to] > 0 and (best is None or worth[to] > best[0]):
            best = (float(worth[to]), name, now + 1 + to)
    return None if best is None else best[1:]


def _give_back(
    names: list[str],
    at: dict[str, int],
    sizes: Mapping[str, IntArray],
    held: dict[str, BoolArray],
    wanted: Mapping[str, Wanted],
    target: float,
) -> None:
    """Take back, step by step, what saves most money while the target holds."""
    while True:
        best: tuple[float, str, BoolArray] | None = None
        for name in names:
            if not at[name]:
                continue
            fewer = wanted[name].held(int(sizes[name][at[name] - 1]))
            rest = _all({**held, name: fewer}).mean()
            saved = _price(wanted[name], sizes[name], at[name] - 1, at[name])
            if rest >= target and (best is None or saved > best[0]):
                best = (saved, name, fewer)
        if best is None:
            return
        _, name, held[name] = best
        at[name] -= 1


def _exchange(
    names: list[str],
    at: dict[str, int],
    sizes: Mapping[str, IntArray],
    held: dict[str, BoolArray],
    wanted: Mapping[str, Wanted],
    target: float,
) -> bool:
    """Give one step of one part type for some of another, where most is saved; say if any was."""
    best: tuple[float, str, str, int] | None = None
    for name in names:
        if not at[name]:
            continue
        fewer = wanted[name].held(int(sizes[name][at[name] - 1]))
        saved = _price(wanted[name], sizes[name], at[name] - 1, at[name])
        for other in names:
            if other == name:
                continue
            alone = {each: own for each, own in held.items() if each != other} | {name: fewer}
            to = _least(wanted[other], sizes[other], at[other], _all(alone), target)
            if to is None:
                continue
            gain = saved - _price(wanted[other], sizes[other], at[other], to)
            if gain > 1e-9 and (best is None or gain > best[0]):
                best = (gain, name, other, to)
    if best is None:
        return False
    _, name, other, to = best
    at[name] -= 1
    at[other] = to
    for each in (name, other):
        held[each] = wanted[each].held(int(sizes[each][at[each]]))
    return True


def _least(
    one: Wanted, sizes: IntArray, start: int, others: BoolArray, target: float
) -> int | None:
    """Return the least size from one on with which the target holds, or None."""
    low, high = start, len(sizes) - 1
    if (one.held(int(sizes[high])) & others).mean() < target:
        return None
    while low < high:
        middle = (low + high) // 2
        if (one.held(int(sizes[middle])) & others).mean() >= target:
            high = middle
        else:
            low = middle + 1
    return low


def _price(one: Wanted, sizes: IntArray, start: int, end: int) -> float:
    return float(one.price * (sizes[end] - sizes[start]))


def _all(held: Mapping[str, BoolArray]) -> BoolArray:
    every: BoolArray = np.logical_and.reduce(list(held.values()))
    return every
