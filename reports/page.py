"""One HTML file out of the sections: opens from a mail attachment, asks nothing of a network."""

from __future__ import annotations

import base64
import gzip
import re
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from forecast.records.season import SeasonForecast
from reports import words
from reports.figures.look import Drawing
from reports.figures.windows import Grid
from reports.files import write_whole
from reports.lead import lead
from reports.parts import Figures, Folded, Section
from reports.sections import sections, taken_again
from reports.tables import Table

if TYPE_CHECKING:
    from markupsafe import Markup

LIBRARY: Final = "assets/plotly-basic-4.1.1.min.js"
LONGEST_WHOLE: Final = 20
"""Letters of a name that is not broken over lines."""
MOST_LINKS: Final = 60
"""Rows of a table up to which its machines and part types are links that look closer."""


def page(forecast: SeasonForecast) -> str:
    """Write the report of one forecast as one HTML text.

    Parameters
    ----------
    forecast
        A whole forecast.

    Returns
    -------
    str
        The page with its style, its script, its figures and the library that draws them; the same
        forecast gives the same text.
    """
    from jinja2 import Environment, StrictUndefined

    shown = sections(forecast)
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.tests["figures"] = lambda part: isinstance(part, Figures)
    environment.tests["folded"] = lambda part: isinstance(part, Folded)
    environment.tests["grid"] = lambda part: isinstance(part, Grid)
    environment.tests["table"] = lambda part: isinstance(part, Table)
    environment.filters["kept"] = _kept
    environment.tests["strong"] = lambda run: getattr(run, "strong", False)
    return environment.from_string(_asset("templates/page.html")).render(
        lead=lead(forecast),
        sections=shown,
        stamp=forecast.stamp,
        ribbon=_ribbon(forecast),
        again=list(taken_again(forecast).itertuples(index=False, name=None)),
        drawings=_drawings(shown),
        closer=_closer(forecast),
        most_links=MOST_LINKS,
        style=_asset("assets/report.css"),
        script=_asset("assets/report.js"),
        bundle=_bundle() if _drawings(shown) else "",
    )


def write_page(forecast: SeasonForecast, path: Path) -> Path:
    """Write the report of one forecast; the file appears whole or not at all."""
    return write_whole(path, page(forecast).encode())


def _kept(text: str) -> Markup:
    """Escape a text, and keep short names with a hyphen ('STRIP-12') and '9 %' on one line."""
    from markupsafe import Markup, escape

    return Markup("").join(
        Markup("<span class=s>{}</span>").format(part)
        if n % 2 and len(part) <= LONGEST_WHOLE
        else escape(part)
        for n, part in enumerate(re.split(r"(\w+(?:-\w+)+|[\d.]+ %)", text))
    )


def _closer(forecast: SeasonForecast) -> dict[str, list[str]]:
    """Return the machines and part types that a reader can look closer at."""
    found: dict[str, set[str]] = {"machine": set(), "part_type": set()}
    for frame in (*forecast.results.values(), *forecast.exhibits.values()):
        for column, names in found.items():
            if column in frame.columns:
                names |= {str(name) for name in frame[column] if not words.missing(name)}
    return {column: sorted(names - {"*"}) for column, names in found.items()}


def _ribbon(forecast: SeasonForecast) -> dict[str, object]:
    """Return how much of the season is known, in per cent, for the rule under the title."""
    whole = (forecast.season_until - forecast.season_from).days + 1
    known = (forecast.stamp.as_of - forecast.season_from).days + 1
    share = min(1.0, max(0.0, known / whole))
    day = words.day(forecast.stamp.as_of)
    said = f"known ← {day} → ahead" if share > 0 else f"all of it ahead of {day}"
    return {"known": round(100 * share, 2), "said": said}


def _drawings(shown: tuple[Section, ...]) -> list[Drawing]:
    return [
        drawing
        for section in shown
        for part in section.parts
        if isinstance(part, Figures)
        for drawing in part.drawings
        if not drawing.bars
    ]


@cache
def _asset(name: str) -> str:
    return (files("reports") / name).read_text("utf-8")


@cache
def _bundle() -> str:
    """Return the drawing library, gzipped, as base64: about 0.5 MB.

    Its basic bundle (points, lines and bars; MIT, kept as published) is started in a sixth of the
    time that the whole one takes.
    """
    return base64.b64encode(gzip.compress(_asset(LIBRARY).encode(), 9, mtime=0)).decode()
