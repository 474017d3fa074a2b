"""Numbers, days and chances as a planner writes them: sensible digits, units, '1 in 12'."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime
from fractions import Fraction
from typing import Final

MONTHS: Final = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
DAYS: Final = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
SIGNS: Final = {"EUR": "€", "USD": "$", "GBP": "£"}


def missing(value: object) -> bool:
    """Say whether a cell is empty: None, NaN, NaT or an empty text."""
    return value is None or value == "" or bool(value != value)


def number(value: object) -> float:
    """Read a cell as a number; NaN where it is empty."""
    return math.nan if missing(value) else float(str(value))


def as_date(value: object) -> date | None:
    """Read a cell as a day: a date, a timestamp or an ISO text; None where it is empty."""
    if missing(value):
        return None
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    return date.fromisoformat(str(value)[:10])


def count(value: object) -> str:
    """Pieces: whole from ten on, one decimal below ('1,240', '3.4')."""
    amount = number(value)
    if math.isnan(amount):
        return ""
    if abs(amount) >= 9.95 or abs(amount - round(amount)) < 0.05:
        return f"{amount:,.0f}"
    return f"{amount:.1f}"


def about(value: object) -> str:
    """Pieces that are only expected: three digits are enough ('1,210', '12,300')."""
    amount = number(value)
    if math.isnan(amount) or abs(amount) < 1000:
        return count(amount)
    step = 10 ** (math.floor(math.log10(abs(amount))) - 2)
    return f"{round(amount / step) * step:,.0f}"


def digits(value: object, figures: int = 3) -> str:
    """Keep so many significant digits of any number ('0.0476', '1,240', '12.5')."""
    amount = number(value)
    if math.isnan(amount):
        return ""
    if math.isinf(amount):
        return "no end"
    if amount == 0:
        return "0"
    places = figures - 1 - math.floor(math.log10(abs(amount)))
    return f"{round(amount, places):,.{max(0, places)}f}"


def hours(value: object) -> str:
    """Crew hours: one decimal below ten, none where it would be a zero ('5.8', '24', '0.5')."""
    amount = number(value)
    if math.isnan(amount):
        return ""
    text = f"{amount:,.0f}" if abs(amount) >= 9.95 else f"{amount:.1f}"
    return text.removesuffix(".0")


def money(value: object, currency: str) -> str:
    """Money, whole from one hundred on ('€12,400', 'CHF 12.50')."""
    amount = number(value)
    if math.isnan(amount):
        return ""
    sign = SIGNS.get(currency, f"{currency} " if currency else "")
    text = f"{abs(amount):,.0f}" if abs(amount) >= 100 or amount == 0 else f"{abs(amount):,.2f}"
    return f"{'-' if amount < 0 else ''}{sign}{text}"


def about_money(value: object, currency: str) -> str:
    """Money that is only expected: three digits are enough ('€17,200')."""
    amount = number(value)
    if math.isnan(amount) or abs(amount) < 10:
        return money(amount, currency)
    step = 10 ** max(0, math.floor(math.log10(abs(amount))) - 2)
    sign = SIGNS.get(currency, f"{currency} " if currency else "")
    return f"{'-' if amount < 0 else ''}{sign}{round(abs(amount) / step) * step:,.0f}"


def day(value: object, *, weekday: bool = False, year: bool = False) -> str:
    """Write a day: '6 Sep', 'Sun 6 Sep' or '6 Sep 2026'."""
    when = as_date(value)
    if when is None:
        return ""
    text = f"{when.day} {MONTHS[when.month - 1]}"
    text = f"{DAYS[when.weekday()]} {text}" if weekday else text
    return f"{text} {when.year}" if year else text


def one_in(chance: float) -> str:
    """Write a chance in words of counting: 0.08 is '1 in 12', 0.95 is '19 in 20'."""
    if math.isnan(chance):
        return ""
    if chance < 0.001:
        return "under 1 in 1,000"
    if chance > 0.999:
        return "over 999 in 1,000"
    if 0.2 < chance < 0.8:
        near = Fraction(chance).limit_denominator(5)
        return f"{near.numerator} in {near.denominator}"
    rare = min(chance, 1 - chance)
    cases = round(1 / rare)
    if cases > 20:
        step = 5 if cases < 100 else 50
        cases = round(cases / step) * step
    return f"{cases - 1 if chance > 0.5 else 1:,} in {cases:,}"


def percent(chance: float) -> str:
    """Write a chance in per cent, without a false 0 or 100 ('8 %', '0.4 %', 'over 99.9 %')."""
    if math.isnan(chance):
        return ""
    if chance < 0.001:
        return "under 0.1 %"
    if chance > 0.999:
        return "over 99.9 %"
    rare = min(chance, 1 - chance)
    return f"{100 * chance:.1f} %" if rare < 0.01 else f"{100 * chance:.0f} %"


def chance(value: object) -> str:
    """Write a chance both ways: '8 % (1 in 12)'; all but sure or all but never in one."""
    share = number(value)
    if math.isnan(share) or not 0.001 <= share <= 0.999:
        return percent(share)
    return f"{percent(share)} ({one_in(share)})"


def span(low: object, high: object) -> str:
    """Write a range of counts: '980 to 1,480'."""
    return f"{about(low)} to {about(high)}"


def plural(amount: float, one: str, many: str = "") -> str:
    """Write a count with its noun: '1 piece', '12 pieces'."""
    return f"{count(amount)} {one if round(amount, 1) == 1 else many or one + 's'}"


def listed(names: Sequence[str], most: int = 4) -> str:
    """Join names as people do: 'A, B and C', or 'A, B, C and 5 more'."""
    if len(names) > most:
        return f"{', '.join(names[: most - 1])} and {len(names) - most + 1} more"
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
