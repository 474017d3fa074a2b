"""Take the README's picture anew: ``python docs/pictures.py REPORT.html`` (needs Chromium)."""

from __future__ import annotations

import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def main() -> None:
    """Photograph the first screen of a report."""
    report = Path(sys.argv[1]).resolve()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        page = browser.new_page(viewport={"width": 1280, "height": 860})
        page.goto(report.as_uri())
        page.wait_for_timeout(2500)
        page.screenshot(path=Path(__file__).parent / "report.png")
        browser.close()


if __name__ == "__main__":
    main()
