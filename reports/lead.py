"""The first screen: a letter of about five sentences with the numbers in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

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
        _overhaul(forecast),
        _next_window(forecast),
        _stops(forecast),
        _doubts(forecast),
    )
    return Lead(
        forecast.stamp.plan_name, dateline, tuple(sentence for sentence in written if sentence)
    )


def _buy(forecast: SeasonForecast) -> Sentence:
    rows = _bought(forecast)
    if rows.empty:
        return (
            "Nothing has to be bought: ",
            Strong("the shelf and the orders on their way are enough"),
            ".",
        )
    rows = rows.sort_values(["order_by", "part_type"], kind="stable")
    first = rows.iloc[0]
    pieces, cost = rows["quantity"].astype(float).sum(), rows["cost"].astype(float).sum()
    runs: list[str] = [
        "Buy ",
        Strong(words.plural(pieces, "piece")),
        f" of {words.plural(len(rows), 'part type')}",
    ]
    if cost > 0:
        runs += [" for ", Strong(words.money(cost, forecast.currency))]
    late = rows[rows["days_late"].map(words.number) > 0]
    soon = rows[~rows.index.isin(late.index)]
    if not soon.empty:
        first = soon.iloc[0]
        runs += [
            "; the first order, " if len(rows) > 1 else "; the order, ",
            Strong(f"{words.count(first['quantity'])} {first['part_type']}"),
            ", has to leave by ",
            Strong(words.day(first["order_by"], weekday=True)),
        ]
    if not late.empty:
        worst = words.number(late["days_late"].max())
        names = words.listed([str(name) for name in late["part_type"]], 3)
        runs += [
            f"; {names} will come ",
            Strong(f"{words.plural(worst, 'day')} late"),
            " even if ordered today",
        ]
    return (*runs, ". ", *_shortfall(rows))


def _shortfall(rows: pd.DataFrame) -> Sentence:
    """Say what is risked without the orders and what remains with them."""
    without = rows.sort_values(["chance_without", "part_type"], kind="stable").iloc[0]
    remaining = rows.sort_values(["chance_with", "part_type"], kind="stable").iloc[0]
    before, after = (
        1 - words.number(row[column])
        for row, column in ((without, "chance_without"), (remaining, "chance_with"))
    )
    if before != before or after != after:
        return ()
    name = Strong(str(without["part_type"]))
    runs: list[str] = ["Without these orders ", name]
    if before > 0.995:
        runs += [" is all but sure to run out"]
    else:
        runs += [" runs out with a chance of ", Strong(words.chance(before))]
    left = "" if remaining["part_type"] == name else f" of {remaining['part_type']}"
    return (
        *runs,
        f"; with them the greatest chance left is {words.percent(after)}, ",
        Strong(words.one_in(after)),
        f", that the store runs out{left}.",
    )


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
    pieces = rows["quantity"].astype(float).sum()
    frame = forecast.exhibits["windows"]
    crew = frame[frame["window"].map(words.as_date) == window]
    runs: list[str] = [
        "On ",
        Strong(words.day(window, weekday=True)),
        " change ",
        Strong(
            f"{words.plural(pieces, 'piece')} on "
            f"{words.plural(rows['machine'].nunique(), 'machine')}"
        ),
    ]
    if not crew.empty:
        used, have, over = (words.number(crew.iloc[0][n]) for n in ("used", "crew_hours", "over"))
        if have > 0 and have != float("inf"):
            runs.append(f", {words.hours(used)} of {words.hours(have)} crew hours")
        if over >= 0.05:
            runs += ["; ", Strong(f"{words.hours(over)} h of work do not fit")]
    return (*runs, ".")


def next_window(forecast: SeasonForecast) -> tuple[pd.DataFrame, date | None]:
    """Return the change-out list of the first window with work in it, and its day."""
    rows = forecast.results["to_change"]
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
        f"({words.span(worst['stops_p05'], worst['stops_p95'])}).",
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
            "too few failures to know the life of ",
            Strong(words.listed([str(name) for name in leaning])),
        ]
    if len(runs) == 1:
        return ("The logs leave ", Strong("no question open"), ".")
    return (*runs, ".")


def _bought(forecast: SeasonForecast) -> pd.DataFrame:
    rows = forecast.results["purchases"]
    return rows[rows["quantity"].map(words.number) > 0]
