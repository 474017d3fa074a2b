"""Imports logs in children that kill themselves at the n-th call of tell, or are killed.

A job a line on stdin, as JSON: fuse, store, today, files. The child's number is printed when it
starts, its exit code (minus the signal's number) when it is gone. No database is opened here, so
that a fork is safe, and a child is spared the loading of everything.
"""

import json
import os
import signal
import sys
from datetime import date
from pathlib import Path

from forecast.intake.importing import import_logs
from forecast.work import Work


def bring(fuse: int, store: str, today: str, files: list[str]) -> None:
    """Run the import; SIGKILL at the call asked for."""
    calls = 0

    def tell(what: str, done: int, of: int) -> None:
        nonlocal calls
        calls += 1
        if calls == fuse:
            os.kill(os.getpid(), signal.SIGKILL)

    import_logs(
        store, [Path(file) for file in files], today=date.fromisoformat(today), work=Work(tell=tell)
    )


def main() -> None:
    """Do the jobs as they come."""
    for line in sys.stdin:
        child = os.fork()
        if not child:
            code = 1
            try:
                bring(**json.loads(line))
                code = 0
            finally:
                os._exit(code)
        print(child, flush=True)  # noqa: T201
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
