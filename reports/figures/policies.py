"""What each policy would come to beside the one that the season follows."""

from __future__ import annotations

from typing import Final

import pandas as pd

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures import look
from reports.tables import PLAIN

SHORT: Final = {
    "run_to_failure": "at failure",
    "at_age": "at an age",
    "at_wear": "at a depth",
    "every_window": "each window",
}
DEAREST: Final = 3.0
"""Times the next dearest from which a policy that nobody follows would dwarf the others' bars."""


def by_policy(forecast: SeasonForecast) -> tuple[look.Drawing, ...]:
    """Draw one figure a part type: a bar a policy, the one that is followed solid.

    One that costs a multiple of all others stands in the table alone.
    """
    rows = forecast.exhibits["policies"]
    return tuple(
        _bars(str(part), _drawn(own), forecast.currency, n)
        for n, (part, own) in enumerate(rows.groupby("part_type", sort=False))
    )


def _drawn(rows: pd.DataFrame) -> pd.DataFrame:
    money = rows["money"].astype(float)
    chosen = pd.Series([bool(value) for value in rows["chosen"]], index=rows.index)
    most = money[rows["policy"] != "every_window"].max()
    kept = chosen | ~(money > DEAREST * most)
    return rows[kept].reset_index(drop=True)


def _bars(part: str, rows: pd.DataFrame, currency: str, n: int) -> look.Drawing:
    names = [SHORT.get(str(policy), str(policy)) for policy in rows["policy"]]
    money = rows["money"].astype(float)
    said = [
        f"{words.about_money(cost, currency)}, {words.about(failed)} fail"
        for cost, failed in zip(money, rows["failed"].astype(float), strict=True)
    ]
    drawn = tuple(
        look.Bar(
            name, (("solid" if own else "open", round(cost / float(money.max()), 4), text),), text
        )
        for name, own, cost, text in zip(names, map(bool, rows["chosen"]), money, said, strict=True)
    )
    told = _told(part, rows, currency)
    return look.Drawing(f"fig-policies-{n}", part, "", told, 0, part, drawn)


def _told(part: str, rows: pd.DataFrame, currency: str) -> str:
    money = rows["money"].astype(float)
    least = rows.iloc[int(money.argmin())]
    named = PLAIN.get(str(least["policy"]), str(least["policy"]))
    own = rows[[bool(value) for value in rows["chosen"]]]
    text = f"{part}: {named} costs least, about {words.about_money(least['money'], currency)}"
    if own.empty or own.index[0] == least.name:
        return f"{text}; the season follows it."
    one = own.iloc[0]
    other = PLAIN.get(str(one["policy"]), str(one["policy"]))
    return f"{text}; the season follows {other}, {words.about_money(one['money'], currency)}."
