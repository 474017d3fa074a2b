"""Imports logs and kills itself at the n-th call of tell: python killed.py N STORE TODAY FILE..."""

import os
import signal
import sys
from datetime import date
from pathlib import Path

from forecast.intake.importing import import_logs
from forecast.work import Work


def main() -> None:
    """Run the import; SIGKILL at the call asked for, exit 0 if it comes to its end before."""
    fuse, store, today, *files = sys.argv[1:]
    calls = 0

    def tell(what: str, done: int, of: int) -> None:
        nonlocal calls
        calls += 1
        if calls == int(fuse):
            os.kill(os.getpid(), signal.SIGKILL)

    import_logs(
        store, [Path(file) for file in files], today=date.fromisoformat(today), work=Work(tell=tell)
    )


if __name__ == "__main__":
    main()
