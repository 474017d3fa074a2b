"""The letter: about five sentences, every number from the forecast, honest at the edges."""

from __future__ import annotations

import math
import runpy
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from forecast.records.season import RESULTS
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
        "leave by Mon 31 Aug; SLEEVE-30T will come 5 days late even if ordered today. Without "
        "these orders LINER-45 is all but sure to run out; with them the greatest chance left is "
        "4 %, 1 in 25, that the store runs out of LINER-35. The rest of the season will ask for "
        "about 3,420 pieces, most of all 1,210 LINER-45 (984 to 1,440 in 9 of 10 cases). On Sun "
        "6 Sep change 403 pieces on 25 machines, 24 of 24 crew hours; 5.8 h of work do not fit. "
        "Expect about 150 unplanned stops (75 h); the worst week, from 2 Nov, has about 19 "
        "(10 to 31). In doubt: 2 questions the logs leave open, 3 rows set aside unread; too few "
        "failures to know the life of SLEEVE-30T and STRIP-12."
    )


def test_one_order_in_plain_words() -> None:
    one = purchases(
        ("P", 8, date(2026, 9, 4), date(2026, 10, 9), np.nan, 0.917, 0.96, "in_time", 0, "")
    )
    text = lead(EXAMPLE(purchases=one)).text()
    assert text.startswith(
        "Buy 8 pieces of 1 part type; the order, 8 P, has to leave by Fri 4 Sep. Without these "
        "orders P runs out with a chance of 8 % (1 in 12); with them the greatest chance left is "
        "4 %, 1 in 25, that the store runs out."
    )


def test_nothing_to_buy_and_unknown_chances() -> None:
    assert lead(EXAMPLE(purchases=purchases())).text().startswith("Nothing has to be bought")
    unknown = purchases(("P", 8, None, None, 96.0, math.nan, math.nan, "late", 3, ""))
    text = lead(EXAMPLE(purchases=unknown)).text()
    assert text.startswith("Buy 8 pieces of 1 part type for €96.00; P will come 3 days late")
    assert "chance" not in text.split("The rest")[0]


def test_the_overhaul_is_told_before_the_season() -> None:
    rows = [
        ("G01", "rollers", "3", "SLEEVE-30", 1, "change", 0.41, 0.1),
        ("G02", "rollers", "9", "SLEEVE-30", 1, "measure_again", 0.86, 0.2),
        ("G02", "rollers", "9", "SLEEVE-30", 1, "leave", 0.97, 0.5),
    ]
    overhaul = pd.DataFrame(rows, columns=list(RESULTS["overhaul"]))
    text = lead(EXAMPLE(overhaul=overhaul)).text()
    assert "Before the season change 1 piece on 1 machine and measure 1 piece again." in text


def test_the_next_window_is_the_first_with_work() -> None:
    rows, window = next_window(EXAMPLE())
    assert window == date(2026, 9, 6)
    assert set(rows["window"]) == {window}
