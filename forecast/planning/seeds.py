"""One stream of random numbers a name: never by worker, chunk or order."""

from __future__ import annotations

import hashlib

import numpy as np


def seed_of(seed: int, *names: str) -> np.random.SeedSequence:
    """Return the seed of a task from the season's seed and the task's own name.

    Adding a machine or a part type leaves the numbers of all others as they were.

    Parameters
    ----------
    seed
        Of the forecast.
    names
        What the task is about: part type, duty group, machine, ...
    """
    name = "\0".join((str(seed), *names))
    return np.random.SeedSequence(int.from_bytes(hashlib.sha256(name.encode()).digest(), "big"))


def generator(seed: int, *names: str) -> np.random.Generator:
    """Return the generator of a task; see :func:`seed_of`."""
    return np.random.Generator(np.random.PCG64(seed_of(seed, *names)))
