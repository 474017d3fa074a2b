"""Files mutated by seed, and imports that are killed: for the tests, and in full for the bench.

Not a test: ``runpy.run_path(...)`` gives the functions.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from datetime import date
from pathlib import Path

from forecast.errors import WearaheadError
from forecast.intake.importing import import_logs, imports
from forecast.intake.set_aside import set_aside
from forecast.store.opening import open_store

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
    """Import mutated files; return how many were taken. What is refused leaves nothing behind."""
    folder.mkdir(parents=True)
    rng, store, taken, rows = random.Random(seed), str(folder / "s.duckdb"), 0, 0  # noqa: S311
    for number in range(files):
        path = folder / f"{number}.csv"
        path.write_bytes(mutated(rng))
        try:
            (report,) = import_logs(store, [path], today=TODAY).files
        except WearaheadError as error:
            assert error.way_out, f"seed {seed}, file {number}: no way out in {error}"
            assert "report" not in error.way_out, f"seed {seed}, file {number}: {error}"
            continue
        taken += 1
        rows += report.accepted
        total = report.accepted + report.known + report.set_aside
        assert report.rows == total, f"seed {seed}, file {number}"
    if taken:
        assert len(imports(store)) == taken
        with open_store(store, views=False) as opened:
            kept = opened._connection.execute(
                "SELECT (SELECT count(*) FROM log_readings)"
                " + (SELECT count(*) FROM log_change_outs)"
                " + (SELECT count(*) FROM log_clocks) + (SELECT count(*) FROM log_fleet)"
            ).fetchone()
        assert kept == (rows,), f"seed {seed}"
        set_aside(store)
    return taken


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
    store, calm = str(folder / "s.duckdb"), str(folder / "calm.duckdb")
    here = Path(__file__).parent
    child = subprocess.Popen(
        [sys.executable, str(here / "killed.py"), str(fuse), store, TODAY.isoformat(),
         *map(str, files)],
        env={**os.environ, "PYTHONPATH": str(here.parent)},
    )  # fmt: skip
    try:
        code = child.wait(after or None)
    except subprocess.TimeoutExpired:
        child.send_signal(signal.SIGKILL)
        code = child.wait()
    assert code in (0, -signal.SIGKILL)
    import_logs(calm, files, today=TODAY)
    whole = tables(calm)
    if Path(store).exists() and Path(store).stat().st_size:
        found = tables(store) if has_tables(store) else [[]]
        assert found == whole or not any(found)
        if found == whole:
            return code != 0
    import_logs(store, files, today=TODAY)
    assert tables(store) == whole
    return code != 0


def has_tables(store: str) -> bool:
    """Say whether the store was begun at all when its maker died."""
    try:
        with open_store(store, views=False):
            return True
    except WearaheadError:
        return False
