"""One value as the text of a CSV cell."""

from __future__ import annotations

from datetime import date, datetime

from forecast.records.acting import safe_cell


def cell(value: object) -> str:
    """Write one value as the text of a CSV cell; empty for None and NaN."""
    if value is None or value != value:
        return ""
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        return value.date().isoformat()
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    if isinstance(value, str):
        return safe_cell(value)
    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return "yes" if value else "no"
    amount = float(str(value))
    return f"{amount:.0f}" if amount.is_integer() and abs(amount) < 1e15 else repr(amount)
