"""The first screen: a letter of about five sentences with the numbers in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words

LEANING: Final = ("leans_on_prior", "lower_bound_only", "no_fit")


class Strong(str):
    """A run of words that carries the number: set off in print, plain in the terminal."""

    __slots__ = ()

    @property
    def strong(self) -> bool:
        """True: the template asks every run."""
        return True


Sentence = tuple[str, ...]


@dataclass(frozen=True)
class Lead:
    """The letter.

    Attributes
    ----------
    title
        The season's name.
    dateline
        From which day it was written, about which days, and the forecast's number.
    sentences
        Each a tuple of runs; :class:`Strong` runs carry the numbers.
    """

    title: str
    dateline: str
    sentences: tuple[Sentence, ...]

    def text(self) -> str:
        """Return the letter as plain text, one sentence after the other."""
        return " ".join("".join(sentence) for sentence in self.sentences)


def lead(forecast: SeasonForecast) -> Lead:
    """Write the letter: what to buy, what it risks, what to do next, how sure, what is in doubt."""
    number = f"Forecast {forecast.number}. " if forecast.number is not None else ""
    dateline = (
        f"{number}Written from what was known on "
        f"{words.day(forecast.stamp.as_of, year=True)}, for the season from "
        f"{words.day(forecast.season_from)} to {words.day(forecast.season_until, year=True)}."
    )
    written = (
        _buy(forecast),
        _demand(forecast),
        _left_band(forecast),
        _overhaul(forecast),
        _next_window(forecast),
        _stops(forecast),
        _doubts(forecast),
    )
    return Lead(
        forecast.stamp.plan_name, dateline, tuple(sentence for sentence in written if sentence)
    )


def _buy(forecast: SeasonForecast) -> Sentence:
    every = forecast.results["purchases"]
    rows = every[every["quantity"].map(words.number) > 0]
    lost = every[every["state"] == "cannot_reach"]
    if rows.empty and lost.empty:
        enough = Strong("the shelf and the orders on their way are enough")
        return ("Nothing has to be bought: ", enough, ".")
    if rows.empty:
        return _no_order(lost)
    rows = rows.sort_values(["order_by", "part_type"], kind="stable")
    runs: list[str] = [
        "Buy ",
        Strong(words.plural(rows["quantity"].astype(float).sum(), "piece")),
        f" of {words.plural(rows['part_type'].nunique(), 'part type')}",
    ]
    cost = rows["cost"].astype(float).sum()
    if cost > 0:
        runs += [" for ", Strong(words.money(cost, forecast.currency))]
    soon, late = (rows[rows["state"] == state] for state in ("in_time", "late"))
    if not soon.empty:
        first = soon.iloc[0]
        day = Strong(words.day(first["order_by"], weekday=True))
        today = words.as_date(first["order_by"]) == forecast.stamp.as_of
        runs += [
            "; the first order, " if len(rows) > 1 else "; the order, ",
            Strong(f"{words.count(first['quantity'])} {first['part_type']}"),
            *((", has to leave ", Strong("today"), ", ", day)
              if today else (", has to leave by ", day)),
        ]  # fmt: skip
    if not late.empty:
        worst = words.number(late["days_late"].max())
        runs += [
            f"; {_names(late)} should have been ordered {words.plural(worst, 'day')} ago: ",
            Strong("order today"),
        ]
    sure = every[every["state"] != "cannot_reach"]
    said = (*runs, ". ", *_shortfall(rows[rows["state"] != "cannot_reach"], sure))
    return said if lost.empty else (*said, " ", *_no_order(lost))


def _names(rows: pd.DataFrame) -> str:
    return words.listed([str(name) for name in rows["part_type"]], 3)


def _no_order(rows: pd.DataFrame) -> Sentence:
    """Say for which part types no order is sure to be enough, and how likely each runs out."""
    named = rows.head(3) if len(rows) <= 3 else rows.head(2)
    runs = ["For ", f"{_names(rows)} ", Strong("no order comes in time"), " to be sure of enough"]
    for n, (_, row) in enumerate(named.iterrows()):
        if not words.missing(row["chance_with"]):
            name = "it" if len(rows) == 1 else Strong(str(row["part_type"]))
            said = _runs_out(name, row["chance_with"], verb=n == 0)
            runs += [": " if n == 0 else ", ", *said]
    return (*runs, ".")


def _runs_out(name: str, enough: object, *, verb: bool = True) -> Sentence:
    """Say with which chance a part type runs out."""
    chance = 1 - words.number(enough)
    if chance > 0.995:
        return (name, " is all but sure to run out")
    said = " runs out with a chance of " if verb else " with a chance of "
    return (name, said, Strong(words.chance(chance)))


def _shortfall(bought: pd.DataFrame, every: pd.DataFrame) -> Sentence:
    """Say what is risked without the orders and what remains with them.

    Of several orders of a part type each counts those before it: the last tells what remains.
    """
    risks = every[every["chance_with"].map(words.number).notna()]
    if risks.empty:
        return ()
    remaining = _least_sure(risks, "chance_with", "max")
    after = 1 - words.number(remaining["chance_with"])
    left: Sentence = (
        f"{remaining['part_type']} is the likeliest to run out, with a chance of ",
        Strong(words.chance(after)),
        ".",
    )
    if bought.empty or bought["chance_without"].map(words.missing).any():
        return left
    without = _least_sure(bought, "chance_without", "min")
    risk = _runs_out(Strong(str(without["part_type"])), without["chance_without"])
    return ("Without these orders ", *risk, "; with them ", *left)


def _least_sure(rows: pd.DataFrame, chance: str, of: str) -> pd.Series[Any]:
    """Find the part type that is least sure to be enough, of its orders the last or the first."""
    each = rows.assign(**{chance: rows[chance].astype(float)}).groupby("part_type", as_index=False)
    return each.agg({chance: of}).sort_values([chance, "part_type"], kind="stable").iloc[0]


def _demand(forecast: SeasonForecast) -> Sentence:
    rows = forecast.results["season_totals"]
    if rows.empty:
        return ()
    mean = rows["mean"].astype(float)
    top = rows.iloc[int(mean.argmax())]
    running = forecast.stamp.as_of >= forecast.season_from
    return (
        "The rest of the season" if running else "The season",
        " will ask for about ",
        Strong(words.about(mean.sum()) + " pieces"),
        ", most of all ",
        Strong(f"{words.about(top['mean'])} {top['part_type']}"),
        f" ({words.span(top['p05'], top['p95'])} in 9 of 10 cases).",
    )


def _left_band(forecast: SeasonForecast) -> Sentence:
    """Say which part types were used otherwise than an earlier forecast held likely."""
    rows = forecast.exhibits["so_far"]
    out = rows[rows["outside"].isin(["above", "below"])]
    if out.empty:
        return ()
    number = words.count(out["forecast"].iloc[0])
    runs: list[str] = [f"The season has left the range of forecast {number}: "]
    for n, (_, row) in enumerate(out.head(3).iterrows()):
        side = "more" if row["outside"] == "above" else "less"
        runs += [
            ", " if n else "",
            Strong(f"{words.count(row['used'])} {row['part_type']}"),
            f" were used by {words.day(row['until'])}, {side} than the "
            f"{words.span(row['low'], row['high'])} of 9 in 10 seasons",
        ]
    if len(out) > 3:
        runs.append(f"; {len(out) - 3} part types more did")
    return (*runs, ".")


def _overhaul(forecast: SeasonForecast) -> Sentence:
    rows = forecast.results["overhaul"]
    change = rows[rows["decision"] == "change"]
    if change.empty:
        return ()
    pieces = change["quantity"].astype(float).sum()
    again = rows.loc[rows["decision"] == "measure_again", "quantity"].astype(float).sum()
    runs: list[str] = [
        "Before the season change ",
        Strong(
            f"{words.plural(pieces, 'piece')} on "
            f"{words.plural(change['machine'].nunique(), 'machine')}"
        ),
    ]
    if again > 0:
        runs += [" and measure ", Strong(words.plural(again, "piece")), " again"]
    return (*runs, ".")


def _next_window(forecast: SeasonForecast) -> Sentence:
    rows, window = next_window(forecast)
    if window is None:
        return ()
    worn = rows[rows["because"] != "size"]
    runs: list[str] = [
        "On ", Strong(words.day(window, weekday=True)), " change ", Strong(work_in(rows)),
    ]  # fmt: skip
    frame = forecast.exhibits["windows"]
    crew = frame[frame["window"].map(words.as_date) == window]
    if not crew.empty:
        used, have, over = (words.number(crew.iloc[0][n]) for n in ("used", "crew_hours", "over"))
        if have > 0 and have != float("inf"):
            runs.append(f", {words.hours(min(used, have))} of {words.hours(have)} crew hours")
        if over >= 0.05:
            runs += ["; ", Strong(f"{words.hours(over)} h of work do not fit")]
    if worn.empty:
        every = forecast.results["to_change"]
        due, day = _first(every[every["because"] != "size"])
        if day is not None:
            runs.append(
                f"; the first worn pieces follow on {words.day(day, weekday=True)}, {work_in(due)}"
            )
    return (*runs, ".")


def work_in(rows: pd.DataFrame) -> str:
    """Say what a window's list holds: the machines that change size, the pieces to be renewed."""
    sets, worn = (rows[(rows["because"] == "size") == sized] for sized in (True, False))
    said = []
    if not sets.empty:
        said.append(f"the size on {words.plural(sets['machine'].nunique(), 'machine')}")
    if not worn.empty:
        pieces = words.plural(worn["quantity"].astype(float).sum(), "piece")
        said.append(f"{pieces} on {words.plural(worn['machine'].nunique(), 'machine')}")
    return " and ".join(said)


def next_window(forecast: SeasonForecast) -> tuple[pd.DataFrame, date | None]:
    """Return the change-out list of the first window with work in it, and its day."""
    return _first(forecast.results["to_change"])


def _first(rows: pd.DataFrame) -> tuple[pd.DataFrame, date | None]:
    days = rows["window"].map(words.as_date)
    known = sorted(day for day in days if day is not None)
    if not known:
        return rows, None
    return rows[days == known[0]], known[0]


def _stops(forecast: SeasonForecast) -> Sentence:
    rows = forecast.results["unplanned_stops"]
    stops = rows["stops_mean"].astype(float)
    if rows.empty or stops.sum() < 0.05:
        return ()
    worst = rows.iloc[int(stops.argmax())]
    hours = rows["hours_mean"].astype(float).sum()
    return (
        "Expect about ",
        Strong(words.plural(stops.sum(), "unplanned stop")),
        f" ({words.about(hours)} h); the worst week, from {words.day(worst['week'])}, has about "
        f"{words.about(worst['stops_mean'])} "
        f"({words.span(worst['stops_p05'], worst['stops_p95'])})",
        *_cost(forecast),
        ".",
    )


def _cost(forecast: SeasonForecast) -> Sentence:
    """Say what the season costs, where every part type has its price and one policy."""
    rows = forecast.results["costs"]
    total = rows["total"].astype(float)
    if rows.empty or total.isna().any() or rows["part_type"].duplicated().any():
        return ()
    return (
        "; parts, labour and stops together cost about ",
        Strong(words.about_money(total.sum(), forecast.currency)),
    )


def _doubts(forecast: SeasonForecast) -> Sentence:
    doubts, aside = forecast.results["doubts"], forecast.results["set_aside"]
    life = forecast.results["life"]
    leaning = life[life["state"].isin(LEANING)]["part_type"].drop_duplicates()
    standing = int((doubts["state"] == "open").sum())
    runs: list[str] = ["In doubt: "]
    if standing:
        runs += [Strong(words.plural(standing, "question")), " the logs leave open"]
    if len(aside):
        runs += [
            ", " if standing else "",
            Strong(words.plural(len(aside), "row")),
            " set aside unread",
        ]
    if len(leaning):
        runs += [
            "; " if len(runs) > 1 else "",
            "the known failures alone do not tell how long ",
            Strong(words.listed([str(name) for name in leaning], 3)),
            " lasts" if len(leaning) == 1 else " last",
        ]
    if len(runs) == 1:
        return ("The logs leave ", Strong("no question open"), ".")
    return (*runs, ".")
