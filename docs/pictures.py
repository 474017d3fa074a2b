"""Take the pictures of README and DEVELOPERS.md anew: ``python docs/pictures.py`` (Chromium).

Runs ``wearahead demo`` in a folder of its own, photographs what it leaves, and puts what it says
of the season into README; with a report's name behind it, it only photographs that report.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from playwright.sync_api import Page

HERE = Path(__file__).parent
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SAID = "<!-- what the demo says: docs/pictures.py puts it here -->"
DRAWN = "performance.getEntriesByName('all-drawn').length > 0"
FIGURES = {
    "demand.png": "#what-the-season-asks-for figure[data-part='LINER-45']",
    "wear.png": "#how-it-wears figure[data-part='STRIP-12']",
    "life.png": "#how-long-it-lasts figure[data-part='STRIP-12']",
    "windows.png": "#what-to-change .grid",
}


def main() -> None:
    """Photograph the first screen, and one figure of each kind."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(sys.argv[1]) if len(sys.argv) > 1 else demo(Path(folder) / "demo")
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
            page = browser.new_page(viewport={"width": 1280, "height": 860})
            page.goto(report.resolve().as_uri())
            while not page.evaluate(DRAWN):
                page.wait_for_timeout(50)
            photograph(page)
            browser.close()


def demo(folder: Path) -> Path:
    """Return the report of the running season that the demo writes; README gets what it says."""
    command = [sys.executable, "-m", "cli", "demo", "--folder", str(folder)]
    plain = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1"}
    ran = subprocess.run(command, check=True, capture_output=True, text=True, env=plain)  # noqa: S603
    said = re.split(r" written\n| *[\d.]+ s  in all\n", ran.stdout)[-2].strip()
    said = said.split("\n\nWhat to change", 1)[0]
    readme = HERE.parent / "README.md"
    before, rest = readme.read_text("utf-8").split(f"{SAID}\n", 1)
    after = rest.split("\n```\n", 1)[1]
    readme.write_text(f"{before}{SAID}\n```text\n{said}\n```\n{after}", "utf-8")
    return folder / "report.html"


def photograph(page: Page) -> None:
    """Write the pictures beside this file."""
    page.screenshot(path=HERE / "report.png")
    page.evaluate("document.querySelector('.closer').style.position = 'static'")
    for name, where in FIGURES.items():
        page.locator(where).first.screenshot(path=HERE / name)


if __name__ == "__main__":
    main()
