"""The letter: about five sentences, every number from the forecast, honest at the edges."""

from __future__ import annotations

import runpy
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from cli.seasons import summary
from forecast.records.season import EXHIBITS, RESULTS, SeasonForecast
from reports.lead import lead, next_window

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("season_example.py")))["example"]


def purchases(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(RESULTS["purchases"]))


def test_the_letter_says_what_to_do_and_how_sure_it_is() -> None:
    letter = lead(EXAMPLE())
    assert letter.title == "Lifting season 2026"
    assert letter.dateline == (
        "Forecast 7. Written from what was known on 30 Aug 2026, "
        "for the season from 3 Aug to 8 Nov 2026."
    )
    assert letter.text() == (
        "Buy 2,528 pieces of 6 part types for €15,886; the first order, 400 LINER-35, has to "
        "leave by Mon 31 Aug; SLEEVE-30T should have been ordered 5 days ago: order today. "
        "Without these orders LINER-45 is all but sure to run out; with them LINER-35 is the "
        "likeliest to run out, with a chance of 4 % (1 in 25). The rest of the season will ask "
        "for about 3,420 pieces, most of all 1,210 LINER-45 (984 to 1,440 in 9 of 10 cases). On "
        "Sun 6 Sep change 403 pieces on 25 machines, 24 of 24 crew hours; 5.8 h of work do not "
        "fit. Expect about 150 unplanned stops (75 h); the worst week, from 2 Nov, has about 19 "
        "(10 to 31); parts, labour and stops together cost about €57,500. In doubt: 2 questions "
        "the logs leave open, 3 rows set aside unread; the known failures alone do not tell how "
        "long SLEEVE-30T and STRIP-12 last."
    )


def test_one_order_in_plain_words() -> None:
    one = purchases(
        ("P", 8, date(2026, 9, 4), date(2026, 10, 9), np.nan, 0.917, 0.96, "in_time", 0, "")
    )
    text = lead(EXAMPLE(purchases=one)).text()
    assert text.startswith(
        "Buy 8 pieces of 1 part type; the order, 8 P, has to leave by Fri 4 Sep. Without these "
        "orders P runs out with a chance of 8 % (1 in 12); with them P is the likeliest to "
        "run out, with a chance of 4 % (1 in 25)."
    )


def test_nothing_to_buy_and_unknown_chances() -> None:
    assert lead(EXAMPLE(purchases=purchases())).text().startswith("Nothing has to be bought")
    lost = purchases(("P", 0, None, None, 0.0, 0.5, 0.5, "cannot_reach", 0, ""))
    text = lead(EXAMPLE(purchases=lost)).text()
    assert text.startswith(
        "For P no order comes in time to be sure of enough: it runs out with a chance of 50 % "
        "(1 in 2). The rest of the season"
    )
    unknown = purchases(("P", 8, None, None, 96.0, np.nan, np.nan, "late", 3, ""))
    text = lead(EXAMPLE(purchases=unknown)).text()
    assert "for €96.00; P should have been ordered 3 days ago: order today." in text
    assert "chance" not in text.split("The rest")[0]


def test_the_last_of_several_orders_tells_what_remains() -> None:
    rows = purchases(
        ("S", 40, date(2026, 8, 30), date(2026, 9, 27), 10.0, 0.0, 0.0, "in_time", 0, ""),
        ("S", 40, date(2026, 9, 20), date(2026, 10, 18), 10.0, 0.0, 0.98, "in_time", 0, ""),
        ("T", 10, date(2026, 9, 20), date(2026, 10, 18), 10.0, 0.3, 0.9, "in_time", 0, ""),
    )
    text = lead(EXAMPLE(purchases=rows)).text()
    assert (
        "Without these orders S is all but sure to run out; with them T is the likeliest to run "
        "out, with a chance of 10 % (1 in 10)."
    ) in text


def test_what_no_order_saves_is_told_apart_from_what_orders_leave() -> None:
    rows = purchases(
        ("L35", 0, None, None, 0.0, 0.0, 0.0, "cannot_reach", 0, ""),
        ("L45", 0, None, None, 0.0, 0.31, 0.31, "cannot_reach", 0, ""),
        ("S", 80, date(2026, 8, 30), date(2026, 9, 27), 10.0, 0.5, 0.96, "in_time", 0, ""),
    )
    text = lead(EXAMPLE(purchases=rows)).text()
    assert "the order, 80 S, has to leave today, Sun 30 Aug." in text
    assert "with them S is the likeliest to run out, with a chance of 4 % (1 in 25). For" in text
    assert (
        "For L35 and L45 no order comes in time to be sure of enough: L35 is all but sure to run "
        "out, L45 with a chance of 69 % (2 in 3)." in text
    )


def test_the_overhaul_is_told_before_the_season() -> None:
    rows = [
        ("G01", "rollers", "3", "SLEEVE-30", 1, "change", 0.41, 0.1, True, 0.5, None, None),
        ("G02", "rollers", "9", "SLEEVE-30", 1, "measure_again", 0.86, 0.2, True, 0.0, None, None),
        ("G02", "rollers", "9", "SLEEVE-30", 1, "leave", 0.97, 0.5, True, 0.0, None, None),
    ]
    overhaul = pd.DataFrame(rows, columns=list(RESULTS["overhaul"]))
    text = lead(EXAMPLE(overhaul=overhaul)).text()
    assert "Before the season change 1 piece on 1 machine and measure 1 piece again." in text


def test_a_size_change_is_told_apart_from_worn_pieces() -> None:
    rows = [
        (date(2026, 9, 6), "G01", "pockets", "L45", "", 180, 180, 180, np.nan, "size", 5.0, 1, 1),
        (date(2026, 9, 6), "G02", "pockets", "L45", "", 180, 180, 180, np.nan, "size", 5.0, 1, 1),
        (date(2026, 9, 13), "G01", "rollers", "S", "3", 4, 3, 5, np.nan, "age", 0.5, 9, 0.9),
    ]
    sized = pd.DataFrame(rows, columns=list(RESULTS["to_change"]))
    text = lead(EXAMPLE(to_change=sized)).text()
    assert (
        "On Sun 6 Sep change the size on 2 machines, 24 of 24 crew hours; 5.8 h of work do" in text
    )
    assert "not fit; the first worn pieces follow on Sun 13 Sep, 4 pieces on 1 machine." in text


def test_the_next_window_is_the_first_with_work() -> None:
    rows, window = next_window(EXAMPLE())
    assert window == date(2026, 9, 6)
    assert set(rows["window"]) == {window}


def so_far(*rows: tuple[object, ...]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(EXHIBITS["so_far"]))


def with_so_far(*rows: tuple[object, ...]) -> SeasonForecast:
    whole: SeasonForecast = EXAMPLE()
    return replace(whole, exhibits={**whole.exhibits, "so_far": so_far(*rows)})


def test_demand_that_leaves_its_range_is_said_in_letter_and_summary() -> None:
    day = date(2026, 8, 23)
    out = with_so_far(
        ("LINER-35", day, 512, 400.0, 331, 470, "above", 3),
        ("SLEEVE-30", day, 40, 41.0, 30, 52, "", 3),
        ("STRIP-12", date(2026, 8, 16), 2, 9.0, 5, 14, "below", 3),
    )
    said = (
        "The season has left the range of forecast 3: 512 LINER-35 were used by 23 Aug, more than "
        "the 331 to 470 of 9 in 10 seasons, 2 STRIP-12 were used by 16 Aug, less than the 5 to 14 "
        "of 9 in 10 seasons."
    )
    assert said in lead(out).text()
    assert said in " ".join(summary(out).split())
    kept = with_so_far(("SLEEVE-30", day, 40, 41.0, 30, 52, "", 3))
    assert "has left the range" not in lead(kept).text()
