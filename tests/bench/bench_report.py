"""Measure reports in Chromium: size, first paint, all figures drawn.

``python tests/bench/bench_report.py REPORT.html...`` prints the load of the machine and a line a
report: bytes, seconds to the first paint and to the last figure (the least of five, and their
middle), and both over those of a page of one line: the machine's own pace, measured in the same
run.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FLAGS: Final = """--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-sync
--disable-background-networking --disable-component-update""".split()  # noqa: SIM905
TIMES: Final = """[performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0,
            performance.getEntriesByName('all-drawn')[0]?.startTime ?? 0]"""
RUNS: Final = 5
ONE_LINE: Final = """<!doctype html><title>one</title><p>one</p>
<script>requestAnimationFrame(() => setTimeout(() => performance.mark('all-drawn')));</script>"""


def seconds(browser: Browser, path: Path) -> tuple[list[float], list[float]]:
    """Seconds to the first paint and to the last figure of each run, in rising order."""
    found = []
    for _ in range(RUNS):
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.goto(path.as_uri())
        while not all(page.evaluate(TIMES)):
            page.wait_for_timeout(50)
        found.append(page.evaluate(TIMES))
        page.context.close()
    first, drawn = (sorted(value / 1000 for value in own) for own in zip(*found, strict=True))
    return first, drawn


def main() -> None:
    """Print a line a report."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        least = Path(folder) / "one.html"
        least.write_text(ONE_LINE, "utf-8")
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        pace = [own[0] for own in seconds(browser, least)]
        sys.stdout.write(
            f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; a page of one line: "
            f"first paint {pace[0]:.2f} s, done {pace[1]:.2f} s\n"
        )
        for path in (Path(name).resolve() for name in sys.argv[1:]):
            first, drawn = seconds(browser, path)
            said = [
                f"{what} {own[0]:.2f} s (middle {statistics.median(own):.2f} s, "
                f"{own[0] / base:.1f} times)"
                for what, own, base in (
                    ("first paint", first, pace[0]), ("all drawn", drawn, pace[1])
                )
            ]  # fmt: skip
            sys.stdout.write(f"{path.name}: {path.stat().st_size:,} bytes, {', '.join(said)}\n")
        browser.close()


if __name__ == "__main__":
    main()
