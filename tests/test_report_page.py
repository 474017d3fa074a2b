"""The page: one file, nothing from outside, every result once, hostile texts as texts."""

from __future__ import annotations

import json
import re
import runpy
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pandas as pd
import pytest

from forecast.records.season import EXHIBITS, RESULTS
from reports.figures import costs, demand, life, look, policies, wear
from reports.figures.windows import windows_grid
from reports.page import LIBRARY, page, write_page
from reports.sections import sections
from reports.tables import table

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]
HOSTILE = "</script><script>alert(1)</script><!--<img src=x onerror=alert(2)>"


class Reader(HTMLParser):
    """Gathers what the tests ask of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[str] = []
        self.refers: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name in ("src", "href", "srcset", "action", "poster"):
                self.refers.append(value or "")


@pytest.fixture(scope="module")
def text() -> str:
    return page(EXAMPLE())


def test_the_sections_stand_in_their_order(text: str) -> None:
    titles = re.findall(r"<h2[^>]*>([^<]+)</h2>", text)
    assert titles == [
        "What to buy",
        "What to change, window by window",
        "What the season asks for",
        "What may stop us",
        "Before the season",
        "How it wears",
        "How long it lasts",
        "What we assumed and still doubt",
        "Before you act",
    ]
    assert len(sections(EXAMPLE())[-1].notes) == 10


def test_every_result_has_its_anchor_once(text: str) -> None:
    ids = Reader(text).ids
    assert len(ids) == len(set(ids))
    assert set(RESULTS) <= set(ids)


def test_an_empty_forecast_still_makes_a_page() -> None:
    empty = {
        name: pd.DataFrame(columns=list(columns)) for name, columns in (RESULTS | EXHIBITS).items()
    }
    ids = Reader(page(EXAMPLE(**empty))).ids
    assert set(RESULTS) <= set(ids)
    assert len(ids) == len(set(ids))


def test_nothing_comes_from_outside(text: str) -> None:
    reader = Reader(text)
    assert all(target.startswith("#") for target in reader.refers)
    assert {"link", "iframe", "img", "object", "embed"}.isdisjoint(reader.tags)
    assert "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'" in text
    style = text.split("<style>")[1].split("</style>")[0]
    assert "url(" not in style
    assert "@import" not in style


def test_the_same_forecast_gives_the_same_bytes_under_three_megabytes(
    text: str, tmp_path: Path
) -> None:
    path = write_page(EXAMPLE(), tmp_path / "report.html")
    assert path.read_text("utf-8") == text
    assert path.stat().st_size <= 3_000_000


def test_every_figure_has_words_and_data(text: str) -> None:
    plots = text.count('<div class="plot"')
    bars = text.count('<div class="bars"')  # figures of lying bars, which need no script
    assert plots == text.count('<script type="application/json"')
    assert plots + bars == text.count('<p class="said">')
    assert plots > 15
    for said in re.findall(r'<p class="said">([^<]*)</p>', text):
        assert re.search(r"[a-z]{3}", said)
        assert said.endswith(".")
    assert text.count("How to read it:") == 9  # eight groups of figures and the grid of windows
    assert text.count("data</summary>") == 10


def test_the_drawing_bundle_can_draw_every_figure(text: str) -> None:
    """The page carries the basic bundle of the library: points, lines and bars."""
    for content in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', text):
        assert {trace["type"] for trace in json.loads(content)["data"]} <= {"scatter", "bar"}
    assert "plotly.js (basic - minified)" in (files("reports") / LIBRARY).read_text("utf-8")[:80]
    assert (files("reports") / "assets/plotly-basic-4.1.1.LICENSE").is_file()


def test_colours_stand_out_in_both_modes() -> None:
    """WCAG 2.2, relative luminance: text 7:1, marks and edges 3:1, on the grounds they lie on."""
    style = (files("reports") / "assets/report.css").read_text("utf-8")
    modes = re.findall(r":root \{(.*?)\}", style, re.S)[:2]
    for colours in ({k: v for k, v in re.findall(r"--(\w+): (#\w{6})", own)} for own in modes):
        for role, least in {"ink": 7, "soft": 7, "beet": 7, "line": 3, "edge": 3}.items():
            assert contrast(colours[role], colours["paper"]) >= least, role
        for ground in ("ahead", "band90"):
            assert contrast(colours["ink"], colours[ground]) >= 7
            assert contrast(colours["beet"], colours[ground]) >= 4.5


def contrast(one: str, other: str) -> float:
    def light(colour: str) -> float:
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    first, second = sorted((light(one), light(other)), reverse=True)
    return (first + 0.05) / (second + 0.05)


def test_figures_are_whole_json(text: str) -> None:
    for content in re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', text):
        figure = json.loads(content)
        assert figure["data"]
        assert len(json.dumps(figure["layout"].get("template", {}))) < 100


def test_hostile_texts_stay_texts() -> None:
    forecast = EXAMPLE()
    changed = {
        name: forecast.results[name].replace({"SLEEVE-30": HOSTILE, "G07": HOSTILE})
        for name in RESULTS
    } | {
        name: forecast.exhibits[name].replace({"SLEEVE-30": HOSTILE, "G07": HOSTILE})
        for name in EXHIBITS
    }
    text = page(EXAMPLE(**changed))
    reader, plain = Reader(text), Reader(page(forecast))
    assert reader.tags.count("script") == plain.tags.count("script")
    assert "img" not in reader.tags
    assert "<!--<img" not in text
    assert "&lt;/script&gt;" in text


def test_a_table_says_ranges_and_chances_in_words() -> None:
    shown = table("life", EXAMPLE().results["life"], "Lives")
    heads = [column.label for column in shown.columns]
    first, last = shown.rows[0], shown.rows[-1]
    assert first[heads.index("1 in 10 gone, h")] == "3,520 (3,180 to 3,940)"
    assert last[heads.index("1 in 10 gone, h")] == "over 2,950"
    bought = table("purchases", EXAMPLE().results["purchases"], "To buy", currency="EUR")
    row = {c.name: cell for c, cell in zip(bought.columns, bought.rows[4], strict=True)}
    assert row["state"] == "5 days late"
    assert row["order_by"] == "1 Sep 2026"
    assert row["cost"] == "€384"
    assert row["chance_with"] == "96 % (24 in 25)"


def test_the_signature_of_a_time_figure() -> None:
    figure = json.loads(demand.stops(EXAMPLE())[0].content)
    rule = [shape for shape in figure["layout"]["shapes"] if shape["type"] == "line"]
    assert rule[0]["x0"] == "2026-08-31"
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert "known ← 30 Aug → ahead" in texts


def test_the_bands_end_where_the_table_does() -> None:
    forecast = EXAMPLE()
    drawn = {drawing.title: drawing for drawing in demand.demand_bands(forecast)}
    assert list(drawn) == list(forecast.results["season_totals"]["part_type"])
    used = forecast.exhibits["used"].groupby("part_type")["quantity"].sum()
    for _, row in forecast.results["season_totals"].iterrows():
        figure = json.loads(drawn[row["part_type"]].content)
        lines = [
            trace for trace in figure["data"] if trace.get("line", {}).get("color") == look.BEET
        ]
        assert lines[0]["y"][-1] == pytest.approx(row["mean"] + used[row["part_type"]], abs=0.01)


def test_two_bands_lie_one_in_the_other() -> None:
    forecast = EXAMPLE()
    bands = forecast.exhibits["middle_band"]
    for drawing in demand.demand_bands(forecast):
        figure = json.loads(drawing.content)
        filled = {t["fillcolor"]: t["y"] for t in figure["data"] if t.get("fill") == "tonexty"}
        assert list(filled) == [look.BAND90, look.BAND50]
        own = bands.loc[bands["part_type"] == drawing.part_type, "high"]
        core = filled[look.BAND50]
        assert core[-1] - core[0] == pytest.approx(own.iloc[-1])
        assert all(inner <= outer for inner, outer in zip(core, filled[look.BAND90], strict=True))
    none = EXAMPLE(middle_band=bands.iloc[:0])
    figure = json.loads(demand.demand_bands(none)[0].content)
    assert look.BAND50 not in [trace.get("fillcolor") for trace in figure["data"]]


def test_the_policy_that_is_followed_is_solid() -> None:
    forecast = EXAMPLE()
    rows = forecast.exhibits["policies"]
    for drawing in policies.by_policy(forecast):
        own = rows[rows["part_type"] == drawing.part_type]
        money = own["money"].astype(float)
        spans = [bar.spans[0] for bar in drawing.bars]
        assert [share for _, share, _ in spans] == pytest.approx(money / money.max(), abs=1e-4)
        assert [paint == "solid" for paint, _, _ in spans] == own["chosen"].tolist()
    dear = rows.head(2).assign(policy=["run_to_failure", "every_window"], chosen=[True, False])
    dear["money"] = [100.0, 5000.0]
    (drawing,) = policies.by_policy(EXAMPLE(policies=dear))
    assert [bar.name for bar in drawing.bars] == ["at failure"]


def test_what_a_part_type_costs_is_split_into_its_shares() -> None:
    forecast = EXAMPLE()
    rows = forecast.results["costs"]
    rows = rows[rows["total"].astype(float) > 0]
    (drawing,) = costs.bars(forecast)
    dearest = rows["total"].astype(float).max()
    for bar, (_, row) in zip(drawing.bars, rows.iterrows(), strict=True):
        whole = sum(share for _, share, _ in bar.spans)
        assert whole == pytest.approx(float(row["total"]) / dearest, abs=2e-3)


def test_the_curve_without_a_law_is_drawn_as_ink_steps() -> None:
    rows = [
        ("P", "broken", "curve", 100.0, 0.1, 0.05, 0.2),
        ("P", "broken", "curve", 200.0, 0.3, 0.2, 0.45),
        ("P", "broken", "running", 3.0, None, None, None),
    ]
    points = pd.DataFrame(rows, columns=list(EXHIBITS["life_points"]))
    drawn = json.loads(life.weibull_paper(EXAMPLE(life_points=points))[0].content)
    steps = [own for own in drawn["data"] if own.get("line", {}).get("color") == look.INK]
    assert steps[0]["x"] == [100.0, 200.0]
    assert steps[0]["line"]["shape"] == "hv"
    assert 10 ** drawn["layout"]["xaxis"]["range"][0] > 90  # a tick at 3 h does not stretch it


def test_points_stand_at_their_ranks_on_weibull_paper() -> None:
    rows = [
        ("P", "broken", "failed", 100.0, 0.1, None, None),
        ("P", "broken", "failed", 200.0, 0.6321205588, None, None),
    ]
    points = pd.DataFrame(rows, columns=list(EXHIBITS["life_points"]))
    drawing = life.weibull_paper(EXAMPLE(life_points=points))[0]
    failed = next(t for t in json.loads(drawing.content)["data"] if t["mode"] == "markers")
    assert failed["x"] == [100.0, 200.0]
    assert failed["y"] == pytest.approx([-2.2504, 0.0], abs=1e-4)
    assert drawing.alternative == "P, broken: 2 failures; no line was fitted."


def test_the_piece_nearest_its_limit_is_named() -> None:
    said = [drawing.alternative for drawing in wear.wear_paths(EXAMPLE())]
    assert said[0].startswith("SLEEVE-30: of 12 pieces drawn, G01 1 is nearest its limit of 1.2 mm")
    machines = [drawing.alternative for drawing in wear.machines(EXAMPLE())]
    assert "surely faster than the fleet" in machines[0]


def test_squares_are_as_large_as_their_count() -> None:
    grid = windows_grid(EXAMPLE())
    assert grid is not None
    marks = [mark for _, cells in grid.machines for cell in cells for mark in cell]
    largest = max(marks, key=lambda mark: float(mark.count))
    assert largest.side == 24.0
    for mark in marks:
        expected = 24.0 * (float(mark.count) / float(largest.count)) ** 0.5
        assert mark.side == pytest.approx(max(5.0, expected), abs=0.06)
    assert grid.crew[0].said == "24 of 24 h; 5.8 h do not fit"
    total = EXAMPLE().results["to_change"]["quantity"].sum()
    assert sum(float(mark.count) for mark in marks) == total
