"""Hard knocks in full: 10,000 mutated files, kills at every statement and at 200 instants.

Run with ``python tests/bench/knocks.py [FILES] [INSTANTS]``; a breach ends it with its seed.
"""

from __future__ import annotations

import random
import runpy
import shutil
import sys
import tempfile
from pathlib import Path

KNOCKS = runpy.run_path(str(Path(__file__).parent.parent / "knocks.py"))
A_STORE = 25
"""Files that are imported into one store."""


def main(files: int, instants: int) -> None:
    """Run everything, and print what was counted."""
    with tempfile.TemporaryDirectory() as made:
        folder, taken = Path(made), 0
        for seed in range(files // A_STORE):
            taken += KNOCKS["knocked"](folder / "f", 100_000 + seed, files=A_STORE)
            shutil.rmtree(folder / "f")
        print(f"{files} mutated files: {taken} taken, {files - taken} refused with a way out")  # noqa: T201
        fuse = 1
        while KNOCKS["killed"](folder / f"s{fuse}", fuse=fuse):
            fuse += 1
        print(f"killed at each of {fuse - 1} statements: all or nothing, then complete")  # noqa: T201
        rng, died = random.Random(11), 0  # noqa: S311
        for number in range(instants):
            died += KNOCKS["killed"](folder / f"i{number}", after=rng.uniform(0.01, 1.0))
            shutil.rmtree(folder / f"i{number}")
        print(f"killed at {died} of {instants} instants: all or nothing, then complete")  # noqa: T201


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    main(*(numbers + [10_000, 200][len(numbers) :]))
