"""Measure the sample logs' reports in Chromium: size, first paint, all figures drawn.

``python tests/bench/bench_report.py REPORT.html...`` prints the load of the machine and a line a
report: bytes, seconds to the first paint and to the last figure (the least of five, and their
middle), and both over those of a page of the same library that draws one point: the machine's own
pace, measured in the same run.
"""

from __future__ import annotations

import base64
import gzip
import os
import statistics
import sys
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import sync_playwright

from reports.page import LIBRARY

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FLAGS = """--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
--disable-component-update --disable-sync""".split()  # noqa: SIM905
TIMES = """[performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0,
            performance.getEntriesByName('all-drawn')[0]?.startTime ?? 0]"""
RUNS = 5
ONE_POINT = """<!doctype html><p>one</p><div id="plot"></div>
<script type="text/plain" id="library">{packed}</script>
<script>requestAnimationFrame(() => setTimeout(async () => {{
  const text = atob(document.getElementById('library').textContent);
  const packed = Uint8Array.from(text, (one) => one.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  const own = document.createElement('script');
  own.textContent = await new Response(stream).text();
  document.head.append(own);
  Plotly.newPlot('plot', [{{ x: [1], y: [1] }}]);
  performance.mark('all-drawn');
}}));</script>"""


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
    library = (files("reports") / LIBRARY).read_bytes()
    packed = base64.b64encode(gzip.compress(library, 9, mtime=0)).decode()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        least = Path(folder) / "one.html"
        least.write_text(ONE_POINT.format(packed=packed), "utf-8")
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        pace = [own[0] for own in seconds(browser, least)]
        sys.stdout.write(
            f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; one point: "
            f"first paint {pace[0]:.2f} s, drawn {pace[1]:.2f} s\n"
        )
        for path in (Path(name).resolve() for name in sys.argv[1:]):
            said = [
                f"{what} {own[0]:.2f} s (middle {statistics.median(own):.2f} s, "
                f"{own[0] / base:.1f} times)"
                for what, own, base in zip(
                    ("first paint", "all drawn"), seconds(browser, path), pace, strict=True
                )
            ]
            sys.stdout.write(f"{path.name}: {path.stat().st_size:,} bytes, {', '.join(said)}\n")
        browser.close()


if __name__ == "__main__":
    main()
