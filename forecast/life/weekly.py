"""Weekly counts of replacements, and the ages they leave behind.

Where pieces have no identity, only numbers are known: so many of a unit's positions were replaced
in a week in which it ran so many hours. The filter here carries the expected number of pieces of
each age (cohorts, by the week they were fitted) from week to week under a given law.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.special import gammaln

from forecast.life.lives import Array

if TYPE_CHECKING:
    import pandas as pd

Start = Literal["new", "stationary"]

_COLUMNS: Final = ("machine", "week", "hours", "positions", "replaced")
_START_AGES: Final = 24  # points that stand for unknown start ages
_OLDEST_START: Final = 5.0  # cumulative hazard of the oldest of them


@dataclass(frozen=True, eq=False)
class Weeks:
    """Counts laid out by unit and week; weeks in which nothing ran nor was replaced are left out.

    Attributes
    ----------
    units
        One row a unit: ``machine``, and ``unit`` where the counts have it.
    hours, positions, replaced, others
        [units, weeks]; ``replaced`` NaN where nobody has looked yet; ``others`` were replaced for
        another reason.
    start
        [units] age of all pieces of the unit before its first week; NaN where not known.
    """

    units: pd.DataFrame
    hours: Array
    positions: Array
    replaced: Array
    others: Array
    start: Array

    @property
    def oldest(self) -> float:
        """The largest age a piece can have reached."""
        reached = np.nan_to_num(self.start) + self.hours.sum(axis=1)
        return float(reached.max(initial=0.0))


@dataclass(frozen=True, eq=False)
class Followed:
    """What the filter found under each law.

    Attributes
    ----------
    log_likelihood
        [laws].
    age, quantity
        [laws, units, cohorts] at the end of the last week, oldest first.
    """

    log_likelihood: Array
    age: Array
    quantity: Array


def lay_out(counts: pd.DataFrame) -> Weeks:
    """Check counts and lay them out by unit and week.

    Parameters
    ----------
    counts
        One row a unit and week: machine, week, hours, positions, replaced (NaN: nobody has looked
        yet); optional unit (one machine with several sets of pieces), others, start_age.

    Returns
    -------
    Weeks
        Units and weeks in order; a week that a unit lacks counts as not run.

    Raises
    ------
    ValueError
        With the column or row, for what is missing, negative, not a number, or given twice.
    """
    missing = [name for name in _COLUMNS if name not in counts.columns]
    if missing:
        raise ValueError(f"counts lack {', '.join(missing)}; they have {', '.join(counts.columns)}")
    keys = ["unit", "machine"] if "unit" in counts.columns else ["machine"]
    counts = counts.sort_values([*keys, "week"], kind="stable")
    unit = counts.groupby(keys, sort=True).ngroup().to_numpy()
    week = (
        counts["week"]
        .map({when: number for number, when in enumerate(sorted(counts["week"].unique()))})
        .to_numpy(np.int64)
    )
    _refuse_twice(counts, [*keys, "week"])
    units = counts[keys].drop_duplicates().reset_index(drop=True)
    shape = len(units), int(week.max(initial=-1)) + 1

    def spread(name: str, fill: float = 0.0) -> Array:
        table = np.full(shape, fill)
        table[unit, week] = _numbers(counts, name)
        return table

    hours, replaced = spread("hours"), spread("replaced")
    others = spread("others") if "others" in counts.columns else np.zeros(shape)
    start = np.full(len(units), np.nan)
    if "start_age" in counts.columns:
        first = counts.groupby(keys, sort=True)["start_age"].first()  # skips what is missing
        start = first.to_numpy(np.float64)
    positions = _carried(spread("positions", np.nan))
    used = ((hours > 0) | (replaced > 0) | (others > 0)).any(axis=0)
    return Weeks(
        units, hours[:, used], positions[:, used], replaced[:, used], others[:, used], start
    )


def follow(weeks: Weeks, shape: Array, scale: Array, start: Start) -> Followed:
    """Carry the ages through the weeks under each law, and weigh the laws by the counts.

    In a week of ``hours`` a piece of age t fails with chance q = 1 - exp(H(t) - H(t + hours)); the
    number replaced is taken as binomial about the mean of q. Replaced pieces leave the cohorts in
    proportion to their odds q / (1 - q); pieces replaced for other reasons leave the oldest first.
    New ones come in the middle of the week. Where the number of positions changes, ages keep
    their proportions. A week that nobody has looked at tells nothing: as many are replaced in it
    as the law expects.

    Parameters
    ----------
    weeks
        The counts.
    shape, scale
        [laws].
    start
        What units whose start age is not known are taken to hold before their first week:
        ``new`` pieces, or the ages of a fleet that has long been ``stationary``.

    Returns
    -------
    Followed
        By law.
    """
    age, quantity = _begin(weeks, shape, scale, start)
    k, eta = shape[:, None, None], scale[:, None, None]
    hazard = (age / eta) ** k
    log_likelihood = np.zeros(shape.size)
    first = age.shape[2] - weeks.hours.shape[1]
    for week in range(weeks.hours.shape[1]):
        there = slice(0, first + week)
        hours, positions = weeks.hours[:, week], weeks.positions[:, week]
        replaced, others = weeks.replaced[:, week], weeks.others[:, week]
        n = quantity[:, :, there]
        n *= (positions / np.maximum(n.sum(axis=2), 1e-12))[:, :, None]
        age[:, :, there] += hours[:, None]
        later = (age[:, :, there] / eta) ** k
        q = -np.expm1(hazard[:, :, there] - later)
        hazard[:, :, there] = later
        expected = (n * q).sum(axis=2)
        looked = ~np.isnan(replaced)
        log_likelihood += _chance_of(replaced[looked], positions[looked], expected[:, looked])
        gone = np.where(looked, replaced, expected)
        _take(n, n * (q / np.maximum(1 - q, 1e-3) + 1e-12), gone)
        _take_oldest(n, others)
        quantity[:, :, first + week] = np.maximum(positions - n.sum(axis=2), 0.0)
        age[:, :, first + week] = hours / 2
    return Followed(log_likelihood, age, quantity)


def _begin(weeks: Weeks, shape: Array, scale: Array, start: Start) -> tuple[Array, Array]:
    """Ages and quantities before the first week, with room for a cohort a week."""
    laws, (units, steps) = shape.size, weeks.hours.shape
    unknown = np.isnan(weeks.start) if start == "stationary" else np.zeros(units, np.bool_)
    first = _START_AGES if unknown.any() else 1
    age, quantity = np.zeros((2, laws, units, first + steps))
    age[:, :, 0] = np.nan_to_num(weeks.start)
    quantity[:, :, 0] = 1.0
    if unknown.any():
        oldest = scale * _OLDEST_START ** (1 / shape)
        ages = np.outer(oldest, (np.arange(first)[::-1] + 0.5) / first)  # oldest first
        alive = np.exp(-((ages / scale[:, None]) ** shape[:, None]))
        age[:, unknown, :first] = ages[:, None, :]
        quantity[:, unknown, :first] = (alive / alive.sum(axis=1, keepdims=True))[:, None, :]
    return age, quantity * weeks.positions[:, :1] if steps else quantity


def _chance_of(replaced: Array, positions: Array, expected: Array) -> Array:
    """Log chance of the counts of one week, all units together: [laws]."""
    share = np.clip(expected / positions, 1e-12, 1 - 1e-9)
    kept = np.maximum(positions - replaced, 0.0)
    ways = gammaln(positions + 1) - gammaln(replaced + 1) - gammaln(kept + 1)
    return np.asarray((replaced * np.log(share) + kept * np.log1p(-share) + ways).sum(axis=1))


def _take(n: Array, weight: Array, number: Array) -> None:
    """Take a number out of the cohorts in proportion to weight, from none more than it has."""
    if not number.any():
        return
    total = np.maximum(weight.sum(axis=2, keepdims=True), 1e-300)
    taken = number[:, :, None] * weight / total
    for _ in range(3):
        over = np.maximum(taken - n, 0.0).sum(axis=2, keepdims=True)
        if over.max() < 1e-9:
            break
        taken = np.minimum(taken, n)
        room = n - taken
        taken += over * room / np.maximum(room.sum(axis=2, keepdims=True), 1e-12)
    n -= np.minimum(taken, n)


def _take_oldest(n: Array, number: Array) -> None:
    """Take a number out of the cohorts, the oldest (first) ones before the others."""
    if number.any():
        older = np.cumsum(n, axis=2) - n
        n -= np.clip(number[:, None] - older, 0.0, n)


def _numbers(counts: pd.DataFrame, name: str) -> Array:
    values = counts[name].to_numpy(np.float64)
    faulty = ~(np.isfinite(values) & (values >= 0 if name != "positions" else values > 0))
    if name == "replaced":
        faulty &= ~np.isnan(values)
    if faulty.any():
        row = int(np.argmax(faulty))
        where = f"machine {counts['machine'].iloc[row]}, week {counts['week'].iloc[row]}"
        raise ValueError(f"{name} cannot be {values[row]} ({where})")
    return values


def _refuse_twice(counts: pd.DataFrame, keys: list[str]) -> None:
    twice = counts.duplicated(keys)
    if twice.any():
        row = counts.loc[twice, keys].iloc[0]
        what = ", ".join(f"{key} {row[key]}" for key in keys)
        raise ValueError(f"counts hold two rows for {what}")


def _carried(positions: Array) -> Array:
    """Fill weeks a unit lacks with the number of positions before, else after, them."""
    for column in range(1, positions.shape[1]):
        gap = np.isnan(positions[:, column])
        positions[gap, column] = positions[gap, column - 1]
    for column in range(positions.shape[1] - 2, -1, -1):
        gap = np.isnan(positions[:, column])
        positions[gap, column] = positions[gap, column + 1]
    return positions
