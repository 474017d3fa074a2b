"""The evidence of one position: from the logs to the decision, link by link, and how it reads."""

from __future__ import annotations

import hashlib
import json
import runpy
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from syrupy.assertion import SnapshotAssertion
from typer.testing import CliRunner, Result

from cli.app import app
from cli.tracing import told
from forecast.errors import NotInStore
from forecast.jobs.evidence import evidence
from forecast.jobs.hours_left import pieces_left
from forecast.jobs.season import run_season
from forecast.jobs.spots import find_spot
from forecast.planning.plan import read_plan
from forecast.records.season import STUDIES
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot
from forecast.store.traces import spots

HERE = Path(__file__).parent
PLANT: Any = runpy.run_path(str(HERE / "small_plant.py"))
Logbook: Any = runpy.run_path(str(HERE / "logbook.py"))["Logbook"]
ORDER = """position change_out reading import doubt correction age rate shrinkage life limit
hours_left chance decision""".split()  # noqa: SIM905


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """The small plant with one forecast kept."""
    store, plan = PLANT["plant"](tmp_path_factory.mktemp("plant"))
    run_season(store, plan)
    return store, plan


@pytest.fixture(scope="module")
def third(plant: tuple[str, Path]) -> pd.DataFrame:
    """The evidence of a sleeve with three readings."""
    return evidence(plant[0], "G01", "rollers 3")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A machine with two sleeves, 20 h a day: one of them fell from 0.8 to 0.1 mm unlogged."""
    book = Logbook(tmp_path_factory.mktemp("book") / "store.duckdb")
    book.part_type(cte_um_per_m_k=100, held="free", nominal_mm=12)
    book.fleet("G1")
    book.run("G1", "2026-08-03", 28)
    for day, depth in (("05", 0.2), ("10", 0.5), ("15", 0.8), ("20", 0.1), ("25", 0.3)):
        book.reading("G1", f"2026-08-{day}", depth, position="1")
    book.reading(
        "G1", "2026-08-25", 11.9, position="2", reading_kind="remaining", part_temperature_c=40
    )
    book.change("G1", "2026-08-27", position="2", reason="broken", note="snapped")
    book.write()
    return book


@pytest.fixture(scope="module")
def fell(book: Any) -> pd.DataFrame:
    """The evidence of the sleeve that fell."""
    return evidence(book.address, "G1", "1")


def test_a_clock_that_counts_cycles_is_never_called_hours(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type(clock="cycles")
    book.fleet("G1", clock_per_hour=600)
    book.run("G1", "2026-08-03", 28)
    for day, depth in (("05", 0.1), ("15", 0.4), ("25", 0.7)):
        book.reading("G1", f"2026-08-{day}", depth, position="1")
    book.change("G1", "2026-08-27", position="2", reason="broken")
    book.write()
    for position in ("1", "2"):
        found = evidence(book.address, "G1", position)
        aged = found[found["step"].isin(["correction", "age", "life"])]
        assert aged["says"].str.contains(r"\d cycles").any()
        assert not aged["says"].str.contains(r"\d h\b").any()
        assert "h" not in set(aged["unit"])
    overview = evidence(book.address, "G1")
    assert set(overview["unit"]) == {"cycles"}
    shown = CliRunner().invoke(app, ["--store", str(book.address), "evidence", "G1"])
    assert "cycles" in shown.stdout and " h" not in shown.stdout.replace(" has", "")


def doubt_id(*said: str) -> str:
    """The id of a doubt: its rule, where, and when."""
    return hashlib.md5("|".join(said).encode(), usedforsecurity=False).hexdigest()[:8]


def step(rows: pd.DataFrame, name: str) -> pd.DataFrame:
    return rows[rows["step"] == name].reset_index(drop=True)


def run(store: str, *words: str) -> Result:
    plain = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    return CliRunner().invoke(app, ["--store", store, "evidence", *words], env=plain)


def test_the_chain_goes_from_the_logs_to_the_decision(
    plant: tuple[str, Path], third: pd.DataFrame
) -> None:
    assert tuple(third.columns) == STUDIES["evidence"]
    steps = list(dict.fromkeys(third["step"]))
    assert steps == [name for name in ORDER if name in steps]
    assert {"reading", "correction", "age", "rate", "shrinkage", "limit", "decision"} <= set(steps)
    sources = step(third, "reading")["from"]
    assert sources.tolist() == [f"readings.csv line {n}, import 4" for n in (4, 15, 26)]
    with open_store(plant[0]) as store:
        now = pieces_left(take_snapshot(store), read_plan(plant[1]), "SLEEVE-30")
    left = now.set_index("piece").loc["G01 rollers 3 #1"]
    told = step(third, "hours_left").iloc[0]
    assert (told["value"], told["value_low"], told["value_high"]) == pytest.approx(
        (left["left"], left["left_low"], left["left_high"])
    )
    chances = step(third, "chance").set_index("says")["value"].astype(float)
    assert chances["lasts to the next window of its machine"] == pytest.approx(
        left["chance_window"]
    )
    assert chances["lasts to the season's end"] == pytest.approx(left["chance_season"])
    decided = step(third, "decision")
    assert decided["from"].str.startswith("forecast 1 of 2026-08-02").all()
    assert "saw what was known on 2026-08-02" in decided["says"].iloc[0]
    change = decided[decided["value"] == "change"].iloc[0]
    assert "over the depth at which it is changed" in change["says"]


def test_the_shrunken_rate_lies_between_its_own_and_its_machine_s(third: pd.DataFrame) -> None:
    """One season, three readings: the fit's rate of a piece is drawn toward its machine's."""
    own = float(step(third, "rate").iloc[0]["value"])
    shrunk = step(third, "shrinkage")
    mean, ratio, fitted = (float(value) for value in shrunk["value"])
    assert sorted([own, fitted, mean * ratio])[1] == pytest.approx(fitted, rel=0.01)
    low, high = shrunk.iloc[2][["value_low", "value_high"]].astype(float)
    assert low < fitted < high


def test_a_set_is_followed_as_a_set_by_kit_place_or_position(plant: tuple[str, Path]) -> None:
    rows = evidence(plant[0], "G01", "pockets")
    assert set(step(rows, "age")["piece"]) == {"K35-G01"}
    assert "kept as a set" in rows["says"].iloc[0]
    assert len(step(rows, "reading")) == 15
    assert step(rows, "change_out")["says"].tolist() == ["replaced 2 pieces, broken"]
    assert step(rows, "rate").empty
    assert "broken" in " ".join(step(rows, "life")["says"])
    assert step(rows, "decision")["says"].str.len().all()
    going = evidence(plant[0], "G02", "17")
    assert going["position"].iloc[0] == "17"
    assert going["says"].iloc[0].startswith("position 17 is one of 40 positions of pockets")
    assert going["says"].str.contains("changes to another size").any()
    shelf = evidence(plant[0], "G01", "K45-G01")
    assert "not in place" in " ".join(step(shelf, "hours_left")["says"])


def test_without_a_forecast_the_chain_ends_earlier_and_says_so(fell: pd.DataFrame) -> None:
    last = fell.iloc[-1]
    assert last["step"] == "decision"
    assert last["says"].startswith("the chain ends here: no forecast is kept yet")
    assert step(fell, "hours_left").empty


def test_corrections_stand_one_by_one(book: Any) -> None:
    """A free 12 mm part at 40 C is 100e-6 x 20 x 11.9 = 0.024 mm too thick: 11.876 at 20 C."""
    rows = evidence(book.address, "G1", "2")
    told = step(rows, "correction").iloc[0]
    assert "heat -0.02" in told["says"]
    assert "against 12.000 (nominal" in told["says"]
    assert told["value"] == pytest.approx(12 - 11.9 / (1 + 2e-3), abs=1e-3)
    assert step(rows, "change_out").iloc[0]["says"] == "replaced, broken"
    ages = step(rows, "age").set_index("piece")["says"]
    assert "out on 2026-08-27, broken; a life of 490 h, ended broken" in ages["G1 rollers 2 #1"]
    assert "hours from `running`" in ages["G1 rollers 2 #2"]
    assert step(rows, "shrinkage")["says"].str.contains("no reading of this piece").any()


def test_a_doubt_says_what_the_other_settlement_would_change(book: Any, fell: pd.DataFrame) -> None:
    stands, other = step(fell, "doubt").to_dict("records")
    assert "unlogged change-out: 0.70 mm less" in stands["says"]
    assert stands["says"].endswith("open, taken as proposed")
    assert other["says"] == (
        "settled as logged: 1 piece so far instead of 2; the last one 500 h old instead of 200 h"
    )
    with open_store(book.address) as store:
        assert store.rows("queries/last_numbers")[0]["last_decision"] == 0, "nothing was decided"
    doubt = doubt_id("unlogged change-out", "G1", "rollers", "1", "2026-08-15", "2026-08-20")
    assert stands["from"] == f"doubt {doubt}"
    book.decide(doubt, "as_logged", "2026-08-30")
    book.write()
    rows = evidence(book.address, "G1", "1")
    stands, other = step(rows, "doubt").to_dict("records")
    assert stands["says"].endswith("settled as logged")
    assert other["says"].endswith("the last one 200 h old instead of 500 h")
    assert step(rows, "age")["value"].tolist() == [500.0]


def test_a_value_at_the_wrong_position_counts_where_it_belongs(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type()
    book.fleet("G1")
    book.run("G1", "2026-08-03", 28)
    for day, first, second in (("08", 0.1, 0.5), ("13", 0.55, 0.15), ("18", 0.6, 0.2)):
        book.reading("G1", f"2026-08-{day}", first, position="1")
        book.reading("G1", f"2026-08-{day}", second, position="2")
    doubt = doubt_id("swapped positions", "G1", "rollers", "1", "2", "2026-08-13")
    book.decide(doubt, "as_proposed", "2026-08-20")
    book.write()
    rows = evidence(book.address, "G1", "1")
    stands, other = step(rows, "doubt")["says"]
    assert stands.startswith("swapped positions") and stands.endswith("settled as proposed")
    assert other == "settled as logged: its last depth 0.600 mm instead of 0.200 mm"
    assert step(rows, "correction")["value"].tolist() == [0.1, 0.15, 0.2]
    told = step(rows, "reading")["says"]
    assert told.str.contains("written at position 2: exchanged").sum() == 2
    assert told.str.contains("counts at 2: exchanged").sum() == 2


def test_a_name_that_is_not_there_says_what_is(plant: tuple[str, Path]) -> None:
    ran = run(plant[0], "GO1", "3")
    assert (ran.exit_code, ran.stdout) == (1, "")
    assert "no machine 'GO1' in the fleet" in ran.stderr
    assert "Did you mean G01?" in ran.stderr
    with open_store(plant[0]) as store:
        take_snapshot(store)
        rows = spots(store)
    with pytest.raises(NotInStore, match="no position 'rollers 33' on machine G01") as unknown:
        find_spot(rows, "G01", "rollers 33")
    assert unknown.value.way_out == (
        "It has pockets, a set of 40 (K35-G01, K45-G01); rollers 1, 2, 3, 4, 5, 6."
    )
    with pytest.raises(NotInStore, match="has no place 'roller'") as elsewhere:
        find_spot(rows, "G01", "3", "roller")
    assert elsewhere.value.nearest == "rollers"


def test_a_position_of_two_places_asks_which() -> None:
    spot = {"machine": "G1", "part_type": "A", "is_set": False, "unit": "", "kit": ""}
    rows = [
        spot | {"place": place, "position": "6", "positions": ["6"], "in_place": False}
        for place in ("chain", "rollers")
    ]
    with pytest.raises(NotInStore, match="a position 6 in chain and in rollers") as asked:
        find_spot(rows, "G1", "06")
    assert '"chain 6"' in asked.value.way_out
    assert find_spot(rows, "G1", "chain 06").place == "chain"
    assert find_spot(rows, "G1", "6", "rollers").place == "rollers"


def test_parts_that_carry_people_get_no_forecast(tmp_path: Path) -> None:
    book = Logbook(tmp_path / "store.duckdb")
    book.part_type(carries_people=True)
    book.fleet("G1")
    book.run("G1", "2026-08-03", 5)
    book.reading("G1", "2026-08-05", 0.2, position="1")
    book.write()
    rows = evidence(book.address, "G1", "1")
    assert rows.iloc[-1]["says"].startswith("parts that carry people get no forecast")
    assert step(rows, "rate").empty


def test_it_reads_as_a_chain_in_80_columns(
    fell: pd.DataFrame, snapshot: SnapshotAssertion, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    shown = told(fell)
    assert [line for line in shown if len(line) > 80] == []
    assert "\n".join(shown) == snapshot


def test_the_decision_reads_in_80_columns(
    plant: tuple[str, Path], snapshot: SnapshotAssertion
) -> None:
    """From the limit on: what follows from the forecast, figures left to the other tests."""
    shown = run(plant[0], "G02", "pockets").stdout
    assert [line for line in shown.splitlines() if len(line) > 80] == []
    decided = shown.partition("What the latest forecast decided\n")[2]
    heads = [line for line in shown.splitlines() if line and not line.startswith(" ")]
    assert "\n".join(heads) + "\n" + decided == snapshot


def test_a_machine_alone_lists_what_sits_where(plant: tuple[str, Path]) -> None:
    shown = run(plant[0], "G01").stdout
    assert "  3: SLEEVE-30, read, 1,820 h" in shown
    assert "K45-G01: LINER-45, a set of 40, on the shelf" in shown
    assert shown.rstrip().splitlines()[-1].startswith("One of them: wearahead evidence G01 ")
    listed = json.loads(run(plant[0], "G01", "--json").stdout)["evidence"]
    assert len(listed) == 8
    assert {row["step"] for row in listed} == {"position"}
    assert all(tuple(row) == STUDIES["evidence"] for row in listed)
