"""Files mutated by seed, and imports that are killed: for the tests, and in full for the bench.

Not a test: ``runpy.run_path(...)`` gives the functions.
"""

from __future__ import annotations

import functools
import json
import os
import random
import select
import signal
import subprocess
import sys
import tempfile
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path
from unittest.mock import patch

from forecast.errors import WearaheadError
from forecast.intake.importing import FileReport, import_logs, imports
from forecast.intake.set_aside import set_aside
from forecast.store.opening import open_store
from forecast.store.store import Store

TODAY = date(2026, 8, 31)
READINGS = (
    "machine,at,part_type,place,position,value,result,found_left,note\n"
    + "".join(
        f"G{i % 3:02d},2026-08-{i % 28 + 1:02d} 10:{i % 60:02d},SLEEVE-30,rollers,{i},0.{i:02d},"
        f',as_found,"shift {i}"\n'
        for i in range(60)
    )
).encode()
CHANGES = (
    "machine;at;action;part_type;place;position;reason\n"
    + "".join(
        f"G{i % 3:02d};{i % 28 + 1:02d}/08/2026;replaced;SLEEVE-30;rollers;{i % 24};worn\n"
        for i in range(20)
    )
).encode()
BITS = (b'"', b",", b";", b"\n", b"\r", b"\r\n", b"\t", b"\x00", b"\xff", b"\xe4", b"1/8", b"-",
        b"1e400", b"'; DROP TABLE imports; --", b"=1+1", b"\xef\xbb\xbf", b"2026-02-30", b"nan",
        b"x" * 3000, "ß‮🛠".encode(), b"machine", b"9" * 40)  # fmt: skip


def mutated(rng: random.Random) -> bytes:
    """Return a sound log with some bytes, bits of text, lines and its end changed."""
    content = bytearray(rng.choice((READINGS, CHANGES)))
    if rng.random() < 0.15:
        return content.decode().encode(rng.choice(("utf-16", "utf-32", "cp1252", "utf-8-sig")))
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(content) + 1) if rng.random() < 0.9 else rng.randrange(40)
        match rng.randrange(5):
            case 0:
                content[at:at] = rng.choice(BITS)
            case 1:
                content[at : at + rng.randrange(1, 12)] = b""
            case 2:
                content[at : at + 1] = bytes([rng.randrange(256)])
            case 3:
                line = content.find(b"\n", at)
                content[at:at] = content[at : line + 1] * 2
            case 4 if rng.random() < 0.2:
                del content[at:]
    return bytes(content)


def knocked(folder: Path, seed: int, files: int = 1) -> int:
    """Import mutated files; return how many were taken. What is refused leaves nothing behind.

    One store stays open for all of them: what is knocked is the reading, not the opening.
    """
    folder.mkdir(parents=True)
    rng, store = random.Random(seed), str(folder / "s.duckdb")  # noqa: S311
    with open_store(store, write=True, views=False) as opened:

        def held(address: str, **options: object) -> AbstractContextManager[Store]:
            assert address == store
            return nullcontext(opened)

        with patch("forecast.intake.importing.open_store", held):
            reports = [_knock(folder, store, mutated(rng), f"{seed}.{n}") for n in range(files)]
        kept = opened._connection.execute(
            "SELECT (SELECT count(*) FROM log_readings)"
            " + (SELECT count(*) FROM log_change_outs)"
            " + (SELECT count(*) FROM log_clocks) + (SELECT count(*) FROM log_fleet)"
        ).fetchone()
    taken = [report for report in reports if report is not None]
    assert kept == (sum(report.accepted for report in taken),), f"seed {seed}"
    assert len(imports(store)) == len(taken)
    set_aside(store)
    return len(taken)


def _knock(folder: Path, store: str, content: bytes, name: str) -> FileReport | None:
    """Import one file; None if it was refused with a way out."""
    path = folder / f"{name}.csv"
    path.write_bytes(content)
    try:
        (report,) = import_logs(store, [path], today=TODAY).files
    except WearaheadError as error:
        assert error.way_out, f"seed {name}: no way out in {error}"
        assert "report" not in error.way_out, f"seed {name}: {error}"
        return None
    assert report.rows == report.accepted + report.known + report.set_aside, f"seed {name}"
    return report


def tables(store: str) -> list[list[tuple]]:
    """Return everything that an import keeps."""
    kept = []
    with open_store(store, views=False) as opened:
        for name in ("log_readings", "log_change_outs", "set_aside", "known_rows", "imports"):
            opened._connection.execute(f"FROM {name} ORDER BY ALL")
            kept.append(opened._connection.fetchall())
    return kept


def killed(folder: Path, fuse: int = 0, after: float = 0.0) -> bool:
    """Kill an import at a statement or an instant; it leaves nothing or all, and is then completed.

    Returns
    -------
    bool
        Whether it was killed.
    """
    folder.mkdir(parents=True)
    files = [folder / "readings.csv", folder / "change_outs.csv"]
    for path, content in zip(files, (READINGS, CHANGES), strict=True):
        path.write_bytes(content + (b",,,\n" if path == files[0] else b";;\n"))
    store, whole = str(folder / "s.duckdb"), undisturbed(tuple(files))
    code = _child(fuse, store, files, after)
    assert code in (0, -signal.SIGKILL)
    if Path(store).exists() and Path(store).stat().st_size:
        found = tables(store) if has_tables(store) else [[]]
        assert found == whole or not any(found)
        if found == whole:
            return code != 0
    import_logs(store, files, today=TODAY)
    assert tables(store) == whole
    return code != 0


def undisturbed(files: tuple[Path, ...]) -> list[list[tuple]]:
    """Return what an import of the files keeps that nothing disturbs; they are always the same."""
    if not _WHOLE:
        with tempfile.TemporaryDirectory() as made:
            calm = f"{made}/calm.duckdb"
            import_logs(calm, files, today=TODAY)
            _WHOLE.extend(tables(calm))
    return _WHOLE


_WHOLE: list[list[tuple]] = []


@functools.cache
def _forks() -> subprocess.Popen[str]:
    """Return the process that forks the children; it ends when this one does."""
    here = Path(__file__).parent
    return subprocess.Popen(
        [sys.executable, str(here / "killed.py")],
        env={**os.environ, "PYTHONPATH": str(here.parent)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def _child(fuse: int, store: str, files: list[Path], after: float) -> int:
    """Import in a child, killed at a statement or ``after`` seconds; return its exit code."""
    forks = _forks()
    assert forks.stdin is not None
    assert forks.stdout is not None
    job = {"fuse": fuse, "store": store, "today": TODAY.isoformat(), "files": list(map(str, files))}
    print(json.dumps(job), file=forks.stdin, flush=True)
    child = int(forks.stdout.readline())
    if after and not select.select([forks.stdout], [], [], after)[0]:
        os.kill(child, signal.SIGKILL)
    return int(forks.stdout.readline())


def has_tables(store: str) -> bool:
    """Say whether the store was begun at all when its maker died."""
    try:
        with open_store(store, views=False):
            return True
    except WearaheadError:
        return False
