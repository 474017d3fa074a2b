"""What each section of the report shows, in the order in which the report speaks."""

from __future__ import annotations

from typing import Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import costs, demand, life, policies, wear
from reports.figures.windows import crew_bars, windows_grid
from reports.lead import work_in
from reports.looking_back import in_hindsight, side_by_side
from reports.parts import Figures, Folded, Section, result_table
from reports.tables import Table, table

CAUTIONS: Final = (
    "This is a planning aid. It is not for lifting gear, people-carrying equipment, pressure "
    "parts, guards or any safety function: the life of such parts is set by their own codes and "
    "by licensed practice.",
    "The forecast holds only inside the range of load, speed, temperature, medium, grade, age and "
    "season length that the logs cover. Beyond it, it is an extrapolation.",
    "Pressure times speed values from tables come from other people's tests; pressure, speed and "
    "temperature each have limits of their own.",
    "Food contact: a worn part sheds particles into the product, and a wear limit does not control "
    "foreign bodies. Declarations belong to supplier and grade; they are not judged here.",
    "Hot caustic, hot water, steam and oxidisers can embrittle a part that loses no size. Use an "
    "exposure limit and look for crazing; never lengthen a polyester part's life on thickness.",
    "Change parts only under lock-out and tag-out with stored energy released. No date in this "
    "report is a permission to work.",
    "A reading taken hot, wet or just unloaded is not wear. What was corrected, and what could not "
    "be, stands among the assumptions.",
    "Few failures say little. Where there are fewer than about five of a mode, the result leans on "
    "a prior that is printed beside it; take its range, not its middle.",
    "Gaps in the logs, such as change-outs nobody wrote down or a meter that was reset, are filled "
    "by assumptions; they are listed above.",
    "Local codes, the machine builder's manual and the plant's safety officer overrule it.",
)


def sections(forecast: SeasonForecast) -> tuple[Section, ...]:
    """Lay out a forecast: every result stands in exactly one section, under its own name.

    What a forecast does not carry (a comparison, a record) has no section.
    """
    found = (
        _buy(forecast),
        _change(forecast),
        _asks(forecast),
        _stop(forecast),
        _before(forecast),
        _wears(forecast),
        _lasts(forecast),
        side_by_side(forecast),
        _doubt(forecast),
        in_hindsight(forecast),
        Section("before-you-act", "Before you act", notes=CAUTIONS),
    )
    return tuple(section for section in found if section is not None)


def _buy(forecast: SeasonForecast) -> Section:
    rows = forecast.results["purchases"]
    bought = rows["quantity"].map(words.number) > 0
    text = (
        "In the maker's lots. Order by is the last day on which an order still arrives before the "
        "shelf is likely to be empty; enough is the chance that nothing runs out before the "
        "season's end, without the order and with it (and with its part type's orders above it). "
        "Days late: that day has passed, but an order that leaves today is still enough. Too late "
        "to order: the shelf is likely to be empty before anything ordered now arrives; what is "
        "then on its way may be enough afterwards."
        if bought.any()
        else "Nothing has to be bought: the shelf and the orders on their way are enough."
    )
    curves = Figures(
        "How to read it: going right, more is bought; going up, it is more surely enough. Where "
        "the line lies flat, one more lot buys little.",
        demand.stock_curves(forecast),
        (result_table(forecast, "stock_curve", "What each lot buys: the figures' data"),),
        size="small",
    )
    left = result_table(
        forecast, "closing_stock", "What will be left on the shelf at the season's end"
    )
    parts = (
        result_table(forecast, "purchases", "To buy"),
        curves,
        Folded("What will be left", left),
    )
    said = (text, together) if (together := _together(forecast)) else (text,)
    return Section("what-to-buy", "What to buy", said, parts)


def _together(forecast: SeasonForecast) -> str:
    """Say how sure all part types together are, without and with the orders."""
    curve = forecast.results["stock_curve"]
    chances = curve.loc[curve["part_type"] == "*", "chance_no_stock_out"].astype(float).tolist()
    if not chances:
        return ""
    without, together = words.chance(chances[0]), words.chance(chances[-1])
    if without == together:
        return f"With or without the orders, none of them all runs out with a chance of {together}."
    return (
        f"With the orders none of them all runs out with a chance of {together}, without {without}."
    )


def _change(forecast: SeasonForecast) -> Section:
    rows = forecast.results["to_change"]
    title = "What to change, window by window"
    grid = windows_grid(forecast)
    if grid is None:
        none = "Nothing is planned to be changed in a window: parts run until they fail."
        return Section(
            "what-to-change", title, (none,), (result_table(forecast, "to_change", "To change"),)
        )
    text = (
        "How to read it: a square's area is the number of pieces, the number stands beside it. "
        "Under each window lie the crew's hours: filled what is used, hatched what does not fit."
    )
    crew = crew_bars(forecast)
    folded: list[Folded] = []
    for n, (window, own) in enumerate(rows.groupby(rows["window"].map(words.as_date), sort=True)):
        said = f"{words.day(window, weekday=True)}: change {work_in(own)}"
        if window in crew:
            said += f", {crew[window].said}"
        columns = [name for name in rows.columns if name != "window"]
        shown = table(
            "to_change", own, f"To change on {words.day(window, weekday=True)}",
            columns=columns, id="to_change" if n == 0 else f"to_change-{window}",
        )  # fmt: skip
        folded.append(Folded(said, shown, open=n == 0))
    return Section("what-to-change", title, (text,), (grid, *folded))


def _asks(forecast: SeasonForecast) -> Section:
    totals = result_table(forecast, "season_totals", "Pieces asked for until the season's end")
    bands = Figures(
        "How to read it: above, the pieces asked for so far; the line is what is expected, 9 in 10 "
        "seasons stay inside the band from start to end, half of them inside its darker core. "
        "Below, each week: outlined what is "
        "planned, solid what fails unplanned, hatched the overhaul; dotted, what shelf and orders "
        "on their way give: where the line crosses it, the shelf is empty.",
        demand.demand_bands(forecast),
        (
            result_table(forecast, "demand", "By week: the figures' data"),
            result_table(forecast, "middle_band", "The darker core, by week: the figures' data"),
            result_table(forecast, "used", "Used so far, by week: the figures' data"),
            result_table(forecast, "supply", "Shelf and orders on their way: the figures' data"),
        ),
    )
    text = (
        "Weeks don't add up to a season: a bad week here is often a good one there. For buying, "
        "use the totals of this table."
    )
    return Section("what-the-season-asks-for", "What the season asks for", (text,), (totals, bands))


def _stop(forecast: SeasonForecast) -> Section:
    stops = Figures(
        "How to read it: each bar is the number of stops to expect in that week; the thin line "
        "spans 9 in 10 cases.",
        demand.stops(forecast),
        (result_table(forecast, "unplanned_stops", "Unplanned stops by week: the figure's data"),),
        size="wide",
    )
    money = Figures(
        "How to read it: the longer the bar, the dearer; outlined are the pieces, hatched planned "
        "work, solid failures with their stops. Where the solid part is long, a planned change "
        "may pay.",
        costs.bars(forecast),
        size="wide",
    )
    listed = result_table(forecast, "costs", "What it costs, by part type and policy")
    text = (
        "A part that fails between two windows stops its machine. A planned change pays from that "
        "ratio of a failure's cost to a planned change's cost that stands in the last column."
    )
    parts: tuple[Figures | Table, ...] = (stops, money, listed)
    if not forecast.exhibits["policies"].empty:
        beside = Figures(
            "How to read it: each bar is one way to change the part type, reckoned in the long run "
            "over the hours that its positions have ahead; beet is the way that the season "
            "follows. Compare the bars with each other, not with the season's own costs: pieces "
            "in service are younger or older than in the long run, and those that are read are "
            "changed on their own wear. A wear depth supposes that every piece is read in every "
            "window.",
            policies.by_policy(forecast),
            (result_table(forecast, "policies", "Each policy in the long run: the figures' data"),),
            size="small",
        )
        parts = (*parts, beside)
    return Section("what-may-stop-us", "What may stop us", (text,), parts)


def _before(forecast: SeasonForecast) -> Section:
    rows = forecast.results["overhaul"]
    title, id = "Before the season", "before-the-season"
    listed = result_table(forecast, "overhaul", "At the overhaul, piece by piece")
    if rows.empty:
        none = (
            "The season is running: there is no overhaul left to plan."
            if forecast.stamp.as_of >= forecast.season_from
            else "The plan names no overhaul before the season."
        )
        return Section(id, title, (none,), (listed,))
    counts = rows.groupby("decision")["quantity"].sum().astype(float)
    said = [
        f"{words.plural(float(counts[decision]), 'piece')} {verb}"
        for decision, verb in (
            ("change", "to change"),
            ("measure_again", "to measure again"),
            ("leave", "to leave in"),
        )
        if decision in counts.index
    ]
    text = f"{words.listed(said)}. The chance beside each is that it lasts the season if left in."
    change = rows[rows["decision"] != "leave"]
    parts = (
        _counted(rows, "part_type", "Pieces at the overhaul, by part type"),
        Folded(
            "Machine by machine", _counted(rows, "machine", "Pieces at the overhaul, by machine")
        ),
        Folded(
            "To change or to measure again, piece by piece",
            table("overhaul", change, "To change or to measure again at the overhaul"),
        ),
        Folded(
            "To leave in, piece by piece",
            table(
                "overhaul", rows[rows["decision"] == "leave"], "To leave in", id="overhaul-leave"
            ),
        ),
    )
    return Section(id, title, (text,), parts)


def _counted(rows: pd.DataFrame, by: str, caption: str) -> Table:
    """Count the pieces of each decision."""
    counts = (
        rows.assign(quantity=rows["quantity"].astype(float))
        .pivot_table(index=by, columns="decision", values="quantity", aggfunc="sum", fill_value=0)
        .reindex(columns=["change", "measure_again", "leave"], fill_value=0)
        .reset_index()
    )
    kept = [name for name in counts.columns if name == by or (counts[name] > 0).any()]
    return table("overhaul", counts[kept], caption, id=f"overhaul-by-{by.replace('_', '-')}")


def _wears(forecast: SeasonForecast) -> Section:
    paths = Figures(
        "How to read it: each line is one piece, points are readings; ink is known, beet is ahead. "
        "The band is drawn for the piece nearest its limit, and 9 in 10 of its ways stay inside.",
        wear.wear_paths(forecast),
        (_path_table(forecast),),
    )
    rates = result_table(forecast, "wear", "Wear rates by part type and duty")
    machines = Figures(
        "How to read it: each point is one machine, slow ones left, fast ones right; the bar is "
        "its 90 % range. Solid points differ from the fleet by more than chance explains.",
        wear.machines(forecast),
        (result_table(forecast, "machines", "Machines against their fleet: the figures' data"),),
        thirds=True,
    )
    text = "Wear at 20 °C, against the limit at which a piece is changed."
    return Section("how-it-wears", "How it wears", (text,), (paths, rates, machines))


def _path_table(forecast: SeasonForecast) -> Table:
    frame = forecast.exhibits["wear_paths"]
    columns = ["part_type", "machine", "position", "kind", "at", "age", "wear_mm"]
    return table("wear_paths", frame, "Wear paths: the figures' data", columns=columns)


def _lasts(forecast: SeasonForecast) -> Section:
    paper = Figures(
        "How to read it: a point is a failure at its adjusted rank, a tick at the foot a piece "
        "still running; the line is the fit with its 90 % band, ink steps are the share gone "
        "without any model. A steep line means parts that last alike; the flatter it is, the less "
        "a planned change prevents.",
        life.weibull_paper(forecast),
        (result_table(forecast, "life_points", "Life plots: the figures' data"),),
    )
    text = (
        "Failures other than wear to the limit, by mode. Pieces still running, or taken out for "
        "another reason, count as having lasted at least so long."
    )
    fitted = result_table(
        forecast, "life", "Lives: shape, scale and the age at which 1 in 10 is gone"
    )
    return Section("how-long-it-lasts", "How long it lasts", (text,), (paper, fitted))


def _doubt(forecast: SeasonForecast) -> Section:
    text = (
        "A forecast is worth what it assumes. An open question acts by its default until somebody "
        "settles it; a row set aside waits for its mending and counts for nothing."
    )
    parts = (
        result_table(forecast, "assumed", "Assumed"),
        result_table(forecast, "doubts", "Questions the logs leave"),
        result_table(forecast, "set_aside", "Rows set aside"),
    )
    return Section("assumed-and-doubted", "What we assumed and still doubt", (text,), parts)


def taken_again(forecast: SeasonForecast) -> pd.DataFrame:
    """Return the inputs by which the forecast can be taken again, one a row."""
    stamp = forecast.stamp
    rows = [
        ("forecast", "" if forecast.number is None else str(forecast.number)),
        ("as of", words.day(stamp.as_of, year=True)),
        ("draws, seed", f"{stamp.draws:,}, {stamp.seed}"),
        ("last import, last decision", f"{stamp.last_import}, {stamp.last_decision}"),
        ("what was known", stamp.snapshot[:16]),
        ("inputs", stamp.digest()[:16]),
        ("versions", stamp.versions),
    ]
    return pd.DataFrame(rows, columns=["what", "value"])
