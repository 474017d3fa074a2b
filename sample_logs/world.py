"""The machines running: pieces that bed in, wear, break, are read and changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from sample_logs import scene
from sample_logs.scene import BEDDING_HOURS, GAUGE_SD, MACHINES, Law

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

NEW_BORE_MM: Final = 30.10
NEW_BORE_SD: Final = 0.02
LONGEST_HOURS: Final = 9_000.0
"""Hardly a piece lives so long: for machines of unknown age."""


class Bank:
    """All pieces of one place on all machines, as arrays [machine, position].

    Parameters
    ----------
    laws
        The part types that can sit here.
    positions
        How many pieces a machine has here.
    rng
        Where rates, offsets and lives are drawn from.
    """

    def __init__(self, laws: Sequence[Law], positions: int, rng: np.random.Generator) -> None:
        self.laws = tuple(laws)
        self.rng = rng
        shape = (len(MACHINES), positions)
        spread = np.array([law.machine_sd for law in laws])[:, None]
        self.machine_effect: Array = spread * rng.standard_normal((1, len(MACHINES)))
        self.kind: IntArray = np.zeros(shape, dtype=np.int64)
        self.log_rate: Array = np.zeros(shape)
        self.offset: Array = np.zeros(shape)
        self.age: Array = np.zeros(shape)
        self.worn: Array = np.zeros(shape)
        self.break_age: Array = np.zeros(shape)
        self.size: Array = np.zeros(shape)
        self.side: IntArray = np.ones(shape, dtype=np.int64)
        self.alerted: BoolArray = np.zeros(shape, dtype=np.bool_)
        self.renew(np.ones(shape, dtype=np.bool_))

    @property
    def depth(self) -> Array:
        """True wear depth in mm."""
        bedded: Array = self.offset * -np.expm1(-self.age / BEDDING_HOURS) + self.worn
        return bedded

    @property
    def limit(self) -> Array:
        """Wear limit in mm."""
        limits = np.array([law.limit for law in self.laws])
        return np.asarray(limits[self.kind], dtype=np.float64)

    def renew(self, where: BoolArray) -> None:
        """Fit new pieces."""
        machine, position = np.nonzero(where)
        n = len(machine)
        kind = self.kind[machine, position]
        value = {
            name: np.array([getattr(law, name) for law in self.laws])[kind]
            for name in ("rate", "piece_sd", "offset", "offset_sd", "break_shape", "break_scale")
        }
        at = (machine, position)
        self.log_rate[at] = (
            np.log(value["rate"])
            + self.machine_effect[kind, machine]
            + value["piece_sd"] * self.rng.standard_normal(n)
        )
        offset = value["offset"] + value["offset_sd"] * self.rng.standard_normal(n)
        self.offset[at] = np.maximum(offset, 0.01)
        life = -np.log1p(-self.rng.random(n))
        self.break_age[at] = value["break_scale"] * life ** (1 / value["break_shape"])
        self.size[at] = np.round(NEW_BORE_MM + NEW_BORE_SD * self.rng.standard_normal(n), 2)
        self.age[at] = self.worn[at] = 0.0
        self.side[at] = 1
        self.alerted[at] = False

    def begin_at(self, machine: int, ages: Callable[[int], Array]) -> None:
        """Let a machine's pieces start at some ages, as such pieces that are still in service.

        Parameters
        ----------
        machine
            Its number.
        ages
            Gives so many ages in hours; ages drawn evenly over a long span become those of a
            machine long in use, since a piece that would not have lived so long is drawn again.
        """
        row = np.zeros(self.age.shape, dtype=np.bool_)
        row[machine] = True
        while row.any():
            self.renew(row)
            self.age[row] = ages(int(row.sum()))
            self.worn[row] = np.exp(self.log_rate[row]) * self.age[row]
            row &= (self.depth >= self.limit) | (self.break_age <= self.age)

    def advance(self, hours: Array, level: float) -> list[tuple[int, int, float]]:
        """Run every machine; broken pieces are changed at once.

        Parameters
        ----------
        hours
            Hours run by each machine.
        level
            What season and raw material add to the log rate.

        Returns
        -------
        list
            Machine, position and the share of the stretch at which a piece broke.
        """
        run = hours[:, None]
        before = self.age.copy()
        self.age += run
        self.worn += np.exp(self.log_rate + level) * run
        broke = (self.age >= self.break_age) & (run > 0)
        left = np.clip(self.break_age - before, 0, None)[broke]
        machine, position = np.nonzero(broke)
        self.renew(broke)
        self.age[broke] = hours[machine] - left
        self.worn[broke] = np.exp(self.log_rate[broke] + level) * self.age[broke]
        share = left / hours[machine] if len(machine) else left
        return [
            (int(m), int(p), float(s)) for m, p, s in zip(machine, position, share, strict=True)
        ]

    def turn(self, machine: int, position: int) -> None:
        """Turn a strip: its second side is a new surface."""
        where = np.zeros(self.age.shape, dtype=np.bool_)
        where[machine, position] = True
        self.renew(where)
        self.side[where] = 2


class World:
    """The three places of all machines, and which calibre each machine carries.

    Parameters
    ----------
    seed
        Of everything that happens.
    """

    def __init__(self, seed: int) -> None:
        self.sleeves = Bank((scene.SLEEVE, scene.TRIAL), scene.SLEEVES, stream(seed, 1))
        self.strips = Bank((scene.STRIP,), scene.STRIPS, stream(seed, 2))
        self.pockets = tuple(
            Bank((law,), scene.POCKETS, stream(seed, 3 + size))
            for size, law in enumerate(scene.LINERS)
        )
        self.calibre: IntArray = np.zeros(len(MACHINES), dtype=np.int64)
        ages = stream(seed, 8)
        for number, name in enumerate(MACHINES):
            for bank in (self.sleeves, self.strips, *self.pockets):
                begun = scene.KIT_AGES if bank in self.pockets else scene.START_AGES
                if name in scene.UNKNOWN_START:
                    bank.begin_at(number, lambda n: ages.uniform(0, LONGEST_HOURS, n))
                elif name in begun:
                    hours = float(begun[name])
                    bank.begin_at(number, lambda n, hours=hours: np.full(n, hours))  # type: ignore[misc]

    def advance(self, hours: Array, season: int, phase: str) -> list[tuple[str, int, int, float]]:
        """Run every machine; return place, machine, position and moment of each breakage."""
        added = scene.PHASES[phase]
        broken = [
            (place, *event)
            for place, bank in (("rollers", self.sleeves), ("chain", self.strips))
            for event in bank.advance(hours, bank.laws[0].seasons[season] + added)
        ]
        for size, bank in enumerate(self.pockets):
            carried = np.where(self.calibre == size, hours, 0.0)
            level = bank.laws[0].seasons[season] + added
            broken += [("pockets", *event) for event in bank.advance(carried, level)]
        return broken

    def switch(self, machines: Sequence[int], size: str) -> None:
        """Put another calibre on some machines; the removed sets keep their age."""
        self.calibre[list(machines)] = scene.SIZES.index(size)


def stream(seed: int, number: int) -> np.random.Generator:
    """Return one of the independent streams of random numbers."""
    return np.random.default_rng([seed, number])


def read(depth: Array, rng: np.random.Generator) -> Array:
    """Return depths as the gauge shows them, in hundredths of a millimetre."""
    shown: Array = np.round(depth + GAUGE_SD * rng.standard_normal(depth.shape), 2)
    return shown
