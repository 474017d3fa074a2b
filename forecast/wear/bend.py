"""Hours to the limit where wear follows a power of hours.

The fits are straight lines, which are right to a few per cent within the ages read whatever the
law is; beyond them they run off, and the limit often lies beyond. Here a piece's line is exchanged
for the curve that agrees with it where the piece was read, and the life of a new piece for
the curve's. Depth = offset + rise x (age / longest age read) ^ power, the age counted in hours of
an average season; machine, piece and season move the rise, as they move the rate of a line.

What the planner takes on is a straight line still, from the depth today (or bedded in) to the limit
at the hour at which the curve is there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

LEAST: Final = 0.02
"""Share of a line's wear, or of a limit, below which a curve's wear is not believed."""


@dataclass(frozen=True, eq=False)
class Bend:
    """A power law beside the straight line through the same readings.

    Attributes
    ----------
    longest
        The longest age read, h in an average season.
    youngest
        The youngest, as a share of it.
    line
        Offset (mm) and rise to the longest age (mm) of the straight line.
    power
        [powers] equally likely ones.
    offset, rise
        [powers] of the curve with that power, mm.
    """

    longest: float
    youngest: float
    line: tuple[float, float]
    power: Array
    offset: Array
    rise: Array

    def deal(self, n: int, rng: np.random.Generator) -> Bent:
        """Deal the powers evenly to n paths."""
        which = rng.permutation(np.arange(n) % self.power.size)
        return Bent(
            self.longest,
            self.youngest,
            self.line[1],
            self.power[which],
            self.offset[which] - self.line[0],
            self.rise[which],
        )


@dataclass(frozen=True, eq=False)
class Bent:
    """A power for each path.

    Attributes
    ----------
    longest, youngest
        As in :class:`Bend`.
    line_rise
        Rise of the straight line to the longest age, mm.
    power, shift, rise
        [draws] power, offset beyond that of the line (mm), rise to the longest age (mm).
    """

    longest: float
    youngest: float
    line_rise: float
    power: Array
    shift: Array
    rise: Array

    def slower(self, limit_mm: Array, offset: float) -> Array:
        """Return by how much (log) a straight line to the limit is slower than that of the fit.

        [draws], for new pieces: the line ends where the curve of a median piece does.

        Parameters
        ----------
        limit_mm
            [draws].
        offset
            Of the straight line, mm.
        """
        gap = np.maximum(limit_mm - offset, LEAST * np.abs(limit_mm))
        log_age = np.log(self._above(gap) / self.rise) / self.power
        return np.asarray(log_age - np.log(gap / self.line_rise), dtype=np.float64)

    def curve(self, log_rate: Array, mean_age: Array, age_sd: Array) -> Array:
        """Return the rise [pieces, draws] of the curves that agree best with lines where read.

        Parameters
        ----------
        log_rate
            [pieces, draws] less the level of the season.
        mean_age, age_sd
            [pieces] h, of a piece's readings: two ages with this mean and sd stand for them.
        """
        wear, square = np.zeros(log_rate.shape), np.zeros(log_rate.shape)
        for age in (mean_age - age_sd, mean_age + age_sd):
            share = np.clip(age / self.longest, self.youngest, 1.0)[:, None]
            grown = share**self.power
            wear += self._above(np.exp(log_rate) * self.line_rise * share) * grown
            square += grown**2
        return np.asarray(wear / square, dtype=np.float64)

    def depth(self, rise: Array, offset: Array, age: Array) -> Array:
        """Return depths (mm) at ages given as shares of the longest age read."""
        return np.asarray(offset + self.shift + rise * age**self.power, dtype=np.float64)

    def age_at(self, rise: Array, offset: Array, depth_mm: Array) -> Array:
        """Return the ages, as shares of the longest age read, at which depths are reached."""
        worn = np.maximum(depth_mm - offset - self.shift, 0.0)
        return np.asarray((worn / rise) ** (1.0 / self.power), dtype=np.float64)

    def ages(self, worn: Array) -> Array:
        """Return ages as shares of the longest age read.

        Parameters
        ----------
        worn
            Hours times the rate of their season (mm/h): what a middling piece on a middling
            machine wears in them in a straight line, mm.
        """
        return np.asarray(worn / self.line_rise, dtype=np.float64)

    def _above(self, worn: Array) -> Array:
        """Return what a curve wore where a line wore so much, never next to nothing."""
        return np.maximum(worn - self.shift, LEAST * worn)
