"""Measure the sample logs' reports in Chromium: size, first paint, all figures drawn.

``python tests/bench/bench_report.py REPORT.html...`` prints a line a report: bytes, seconds to the
first paint and to the last figure (median of five), and both over those of a page of the same
library that draws one point: the machine's own pace, measured in the same run.
"""

from __future__ import annotations

import base64
import gzip
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


def seconds(browser: Browser, path: Path) -> tuple[float, float]:
    """Median seconds to the first paint and to the last figure."""
    found = []
    for _ in range(RUNS):
        page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
        page.goto(path.as_uri())
        while not all(page.evaluate(TIMES)):
            page.wait_for_timeout(50)
        found.append(page.evaluate(TIMES))
        page.context.close()
    first, drawn = (statistics.median(own) / 1000 for own in zip(*found, strict=True))
    return first, drawn


def main() -> None:
    """Print a line a report."""
    library = (files("reports") / LIBRARY).read_bytes()
    packed = base64.b64encode(gzip.compress(library, 9, mtime=0)).decode()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        least = Path(folder) / "one.html"
        least.write_text(ONE_POINT.format(packed=packed), "utf-8")
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        pace = seconds(browser, least)
        sys.stdout.write(f"one point: first paint {pace[0]:.2f} s, drawn {pace[1]:.2f} s\n")
        for name in sys.argv[1:]:
            path = Path(name).resolve()
            first, drawn = seconds(browser, path)
            sys.stdout.write(
                f"{path.name}: {path.stat().st_size:,} bytes, first paint {first:.2f} s "
                f"({first / pace[0]:.1f} times), all drawn {drawn:.2f} s "
                f"({drawn / pace[1]:.1f} times)\n"
            )
        browser.close()


if __name__ == "__main__":
    main()
