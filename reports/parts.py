"""What a section of the report is made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from forecast.records.season import SeasonForecast
from reports.figures.look import Drawing
from reports.figures.windows import Grid
from reports.tables import Table, table


@dataclass(frozen=True)
class Figures:
    """A group of figures of one kind: how to read them, their data as tables, their size.

    ``thirds`` prints three side by side; on paper two stand side by side else.
    """

    read: str
    drawings: tuple[Drawing, ...]
    data: tuple[Table, ...] = ()
    size: Literal["small", "middle", "wide"] = "middle"
    thirds: bool = False


@dataclass(frozen=True)
class Folded:
    """A table behind its summary line."""

    summary: str
    table: Table
    open: bool = False


@dataclass(frozen=True)
class Section:
    """One section: what it says, then its parts in the order in which they are shown."""

    id: str
    title: str
    text: tuple[str, ...] = ()
    parts: tuple[Figures | Folded | Table | Grid, ...] = field(default=())
    notes: tuple[str, ...] = ()


def result_table(forecast: SeasonForecast, name: str, caption: str) -> Table:
    """Write a result or an exhibit as a table under its own name."""
    frame = forecast.results[name] if name in forecast.results else forecast.exhibits[name]
    return table(name, frame, caption, currency=forecast.currency)
