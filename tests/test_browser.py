"""The page in a real browser: no error, no request, figures drawn, tables that sort and filter."""

from __future__ import annotations

import runpy
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from forecast.records.season import EXHIBITS, RESULTS
from reports.page import write_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]
HOSTILE = "</script><script>window.hit = 1</script><img src=x onerror='window.hit = 2'>"
FLAGS = """--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking
--disable-component-update --disable-sync""".split()  # noqa: SIM905
FEW = """for (const row of document.querySelectorAll('tbody tr:nth-child(n+4)')) row.remove();"""
DRAWN = (
    "[...document.querySelectorAll('.plot')].every((plot) => plot.querySelector('svg.main-svg'))"
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(EXAMPLE(), tmp_path_factory.mktemp("page") / "report.html")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that the demo leaves: the reports of the sample logs."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    command = [sys.executable, "-m", "cli", "demo", "--folder", str(folder)]
    subprocess.run(command, check=True, capture_output=True)
    return folder


def until(page: Page, expression: str, seconds: float = 30.0) -> None:
    """Wait until an expression holds (the page's own policy forbids playwright's waiting)."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression):
        assert time.monotonic() < end, f"never came true: {expression}"
        page.wait_for_timeout(50)


class Seen:
    """A page that was opened, and what it complained of or asked for."""

    def __init__(self, browser: Browser, path: Path, **how: Any) -> None:
        self.page: Page = browser.new_context(**how).new_page()
        self.errors: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda said: self.errors.append(said.text))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("request", lambda asked: self.requests.append(asked.url))
        self.page.goto(path.as_uri())

    def drawn(self) -> None:
        """Wait until every figure is drawn."""
        until(self.page, "performance.getEntriesByName('all-drawn').length > 0", 60)
        assert self.page.evaluate(DRAWN)


@pytest.mark.parametrize("width", [390, 1280, 1920])
def test_drawn_without_error_request_or_sideways_scroll(
    browser: Browser, report: Path, width: int
) -> None:
    seen = Seen(browser, report, viewport={"width": width, "height": 900})
    seen.drawn()
    assert seen.errors == []
    assert seen.requests == [report.as_uri()]
    sizes = seen.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert sizes[0] <= sizes[1]


@pytest.mark.parametrize(
    ("name", "scheme", "width"),
    [
        ("report.html", "light", 390),
        ("report.html", "dark", 1280),
        ("before-the-season.html", "dark", 390),
        ("before-the-season.html", "light", 1280),
    ],
)
def test_the_sample_logs_reports_pass_axe(
    browser: Browser, demo: Path, name: str, scheme: str, width: int
) -> None:
    """axe-core, all its rules and the contrast of 7:1; of each table the first rows.

    Rows are made by one template: axe would judge the same cells thousands of times.
    """
    import axe_playwright_python

    axe = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text("utf-8")
    assert (demo / name).stat().st_size < 3_000_000
    how = {"color_scheme": scheme, "viewport": {"width": width, "height": 900}}
    seen = Seen(browser, demo / name, **how)
    seen.drawn()
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    assert seen.errors == []
    assert seen.requests == [(demo / name).as_uri()]
    seen.page.evaluate(FEW)
    seen.page.evaluate(axe)
    found = seen.page.evaluate("axe.run({rules: {'color-contrast-enhanced': {enabled: true}}})")
    assert found["violations"] == []
    assert {rule["id"] for rule in found["incomplete"]} <= {
        "color-contrast", "color-contrast-enhanced",  # cells under what sticks to the top
    }  # fmt: skip
    assert len(found["passes"]) > 30
    seen.page.context.close()


def test_the_keyboard_reaches_everything(browser: Browser, report: Path) -> None:
    page = Seen(browser, report).page
    focus = "document.activeElement.matches(':focus-visible') && document.activeElement"
    page.keyboard.press("Tab")
    assert page.evaluate(f"({focus}).textContent") == "To the letter"
    head = page.locator("#season_totals th button").nth(1)
    head.focus()
    page.keyboard.press("Enter")
    assert page.locator("#season_totals th").nth(1).get_attribute("aria-sort") == "ascending"
    fold = page.locator("summary", has_text="Wear paths: the figures' data")
    fold.focus()
    page.keyboard.press("Enter")
    assert page.locator("#wear_paths").is_visible()


def test_looking_closer_leaves_one_machine(browser: Browser, report: Path) -> None:
    seen = Seen(browser, report)
    seen.drawn()
    page = seen.page
    page.locator(".closer select[name=machine]").select_option("G07")
    machines = page.locator("#machines tbody tr:not([hidden]) td:first-child").all_text_contents()
    assert machines
    assert set(machines) == {"G07"}
    assert page.evaluate("location.hash") == "#machine=G07"
    assert page.locator(".whence").inner_text().endswith("wearahead evidence G07")
    page.locator(".closer button").click()
    until(page, "!document.body.classList.contains('close')")
    assert page.locator("#machines tbody tr:not([hidden])").count() > len(machines)
    assert seen.errors == []


def test_printed_nothing_is_wider_than_the_paper(browser: Browser, report: Path) -> None:
    """A4 less its margins is 687 px wide; whatever is wider would shrink every page."""
    seen = Seen(browser, report, viewport={"width": 687, "height": 900})
    seen.drawn()
    seen.page.emulate_media(media="print")
    seen.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    seen.page.wait_for_timeout(500)
    wider = """[...document.querySelectorAll('main table, main .plot, main p')]
      .filter((own) => own.getBoundingClientRect().right > 689).map((own) => own.outerHTML)"""
    assert seen.page.evaluate(wider) == []


def test_tables_sort_and_filter(browser: Browser, report: Path) -> None:
    page = Seen(browser, report).page
    column = "#season_totals tbody tr:not([hidden]) td:nth-child(2)"
    head = page.locator("#season_totals th").nth(1)

    def values() -> list[float]:
        return [float(text.replace(",", "")) for text in page.locator(column).all_inner_texts()]

    head.locator("button").click()
    assert head.get_attribute("aria-sort") == "ascending"
    assert values() == sorted(values())
    head.locator("button").click()
    assert head.get_attribute("aria-sort") == "descending"
    assert values() == sorted(values(), reverse=True)
    head = page.locator("#purchases th").nth(2)
    head.locator("button").click()
    days = page.locator("#purchases tbody td:nth-child(3)").all_inner_texts()
    assert len(days) > 3
    assert days == sorted(days, key=lambda text: datetime.strptime(text, "%d %b %Y"))
    page.locator("#to_change input").fill("G07")
    shown = page.locator("#to_change tbody tr:not([hidden])")
    assert shown.count() == shown.filter(has_text="G07").count() > 0


def test_a_table_is_copied_as_it_is_shown(browser: Browser, report: Path) -> None:
    """Sorted and filtered, cells apart by tabs: what a sheet takes when it is pasted."""
    seen = Seen(browser, report)
    page = seen.page
    page.evaluate("document.addEventListener('copy', () => { window.took = true; })")
    page.locator("#to_change input").fill("G07")
    page.locator("#to_change th button").first.click()
    button = page.locator("#to_change button.copy")
    button.click()
    until(page, "document.querySelector('#to_change button.copy').textContent === 'copied'")
    page.evaluate("document.body.append(document.createElement('textarea'))")
    page.locator("body > textarea").focus()
    page.keyboard.press("Control+V")
    pasted = page.locator("body > textarea").input_value().split("\n")
    rows = page.locator("#to_change tbody tr:not([hidden])")
    heads = page.locator("#to_change th").all_text_contents()
    assert pasted[0].split("\t") == [" ".join(text.split()) for text in heads]
    assert len(pasted) == 1 + rows.count() > 1
    for line, row in zip(pasted[1:], rows.all(), strict=True):
        cells = [" ".join(text.split()) for text in row.locator("td").all_text_contents()]
        assert [text.removeprefix("'") for text in line.split("\t")] == cells
    assert seen.errors == []


def test_hostile_texts_are_shown_as_texts(browser: Browser, tmp_path: Path) -> None:
    forecast = EXAMPLE()
    frames = {**forecast.results, **{name: forecast.exhibits[name] for name in EXHIBITS}}
    changed = {
        name: frame.replace({"SLEEVE-30": HOSTILE, "G07": HOSTILE})
        for name, frame in frames.items()
    }
    seen = Seen(browser, write_page(EXAMPLE(**changed), tmp_path / "hostile.html"))
    seen.drawn()
    assert seen.page.evaluate("window.hit") is None
    assert seen.errors == []
    cells = seen.page.locator(f"#{next(iter(RESULTS))} td").all_text_contents()
    assert cells.count(HOSTILE) == 1


def test_dark_and_print(browser: Browser, report: Path) -> None:
    seen = Seen(browser, report, color_scheme="dark", viewport={"width": 1280, "height": 900})
    seen.drawn()
    ground = "document.querySelector('.plot svg.main-svg').style.background"
    assert seen.page.evaluate(ground) == "rgb(29, 26, 24)"
    seen.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    until(seen.page, f"{ground} === 'rgb(255, 255, 255)'")
    widest = "Math.max(...[...document.querySelectorAll('.plot svg')].map((s) => s.clientWidth))"
    assert 0.74 * seen.page.evaluate(widest) <= 680  # the style prints figures at that scale
    seen.page.evaluate("dispatchEvent(new Event('afterprint'))")
    until(seen.page, f"{ground} === 'rgb(29, 26, 24)'")
    assert seen.page.pdf(prefer_css_page_size=True).startswith(b"%PDF")
    assert seen.errors == []


def test_the_letter_can_be_read_before_the_figures(browser: Browser, report: Path) -> None:
    page = Seen(browser, report).page
    paint = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0"
    until(page, f"({paint}) > 0")
    assert page.evaluate(paint) <= 1500  # half a second on a quiet machine
    assert "Buy 2,528 pieces" in page.locator("#letter").inner_text()
