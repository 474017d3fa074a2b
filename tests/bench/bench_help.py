"""What ``wearahead --help`` takes beside a bare interpreter, started in the same run.

Run from the checkout: ``python tests/bench/bench_help.py``; .25 s is the aim on a quiet machine.
"""

from __future__ import annotations

import subprocess
import sys
import time

TIMES = 7


def least(*command: str) -> float:
    """Return the least of several times in seconds: what the others add is the machine's."""
    seconds = []
    for _ in range(TIMES):
        start = time.perf_counter()
        subprocess.run([sys.executable, *command], capture_output=True, check=True)
        seconds.append(time.perf_counter() - start)
    return min(seconds)


if __name__ == "__main__":
    bare, shown = least("-c", "pass"), least("-m", "cli", "--help")
    print(f"bare {bare:.3f} s, --help {shown:.3f} s, {shown / bare:.1f} times")  # noqa: T201
