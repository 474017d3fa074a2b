"""The look shared by all figures: paper, ink, one beetroot; labels at line ends, no legend.

Colours are written as the light ones; the page's script exchanges them for the dark ones by role.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final, Literal

from reports import words

if TYPE_CHECKING:
    from plotly.graph_objects import Figure

PAPER: Final = "#FBF9F4"
AHEAD: Final = "#F4F0E7"
INK: Final = "#211E1B"
SOFT: Final = "#544E47"
LINE: Final = "#857D6F"
HAIR: Final = "#D6CFC1"
BEET: Final = "#8A2560"
EDGE: Final = "#A9668C"
BAND50: Final = "#D3A9BF"
BAND90: Final = "#F1E3EB"

SANS: Final = "Seravek, Gill Sans Nova, Calibri, Noto Sans, DejaVu Sans, sans-serif"
AXIS: Final[dict[str, Any]] = {
    "showgrid": False,
    "zeroline": False,
    "showline": True,
    "linecolor": LINE,
    "ticks": "inside",
    "tickcolor": LINE,
    "tickfont": {"size": 13, "color": SOFT},
    "tickangle": 0,
    "automargin": False,  # fitting margins to labels doubles the time to draw
    "ticklabeloverflow": "allow",  # as does looking whether they stand within the figure
    "fixedrange": True,
}
GRID: Final[dict[str, Any]] = {
    **AXIS,
    "showline": False,
    "ticks": "",
    "showgrid": True,
    "gridcolor": HAIR,
    "griddash": "2px,5px",
}


@dataclass(frozen=True)
class Bar:
    """One lying bar with its name before it and its words behind it.

    Attributes
    ----------
    name
        Of what it stands for.
    spans
        Its pieces from left to right: how each is painted (``open``, ``hatched`` or ``solid``), its
        length as a share of the longest bar of the figure, and what it is on being pointed at.
    said
        What it comes to.
    """

    name: str
    spans: tuple[tuple[Literal["open", "hatched", "solid"], float, str], ...]
    said: str


@dataclass(frozen=True)
class Drawing:
    """One figure of the report.

    Attributes
    ----------
    id
        Of its place in the page.
    title
        What it shows; the page writes it above the figure.
    content
        Data and layout as JSON.
    alternative
        What it says, in words and numbers.
    height
        In pixels.
    bars
        Of a figure that is nothing but lying bars: the page's style draws them, without data.
    part_type
        Which one it is about; empty if it is about no single one. The page shows only figures of
        the part type that its reader looks closer at.
    """

    id: str
    title: str
    content: str
    alternative: str
    height: int
    part_type: str = ""
    bars: tuple[Bar, ...] = ()


def base(
    height: int, *, right: int = 104, top: int = 30, left: int = 56, bottom: int = 26
) -> Figure:
    """Return an empty figure on paper, with room at the right for the labels of the lines.

    Parameters
    ----------
    height, right, top, left, bottom
        In pixels; :func:`room` tells what labels at the left need, a titled axis below needs 46.
    """
    from plotly.graph_objects import Figure

    return Figure(
        layout={
            "template": "none",
            "height": height,
            "autosize": True,
            "margin": {"l": left, "r": right, "t": top, "b": bottom},
            "paper_bgcolor": PAPER,
            "plot_bgcolor": PAPER,
            "font": {"family": SANS, "size": 13, "color": INK},
            "showlegend": False,
            "dragmode": False,
            "hovermode": "closest",
            "hoverlabel": {
                "bgcolor": PAPER,
                "bordercolor": INK,
                "font": {"family": SANS, "size": 13, "color": INK},
            },
            "xaxis": AXIS,
            "yaxis": GRID,
        }
    )


def drawing(figure: Figure, id: str, title: str, alternative: str, part_type: str = "") -> Drawing:
    """Freeze a figure; what could end the page's script element is escaped.

    Lines and labels that belong to one machine carry its name (``meta`` of a line, ``ids`` of
    points, ``name`` of a label), so that the page can show one machine alone.
    """
    content = str(figure.to_json()).replace("</", "<\\/").replace("<!--", "<\\u0021--")
    return Drawing(id, title, content, alternative, int(figure.layout.height), part_type)


def room(labels: Sequence[str]) -> int:
    """Return the pixels that labels beside an axis need."""
    return 16 + math.ceil(7.6 * max(map(len, labels), default=0))


def axis_title(text: str) -> dict[str, object]:
    """Return the title of an axis."""
    return {"text": text, "font": {"size": 13, "color": SOFT}, "standoff": 6}


def plain(text: object) -> str:
    """Return a name from the logs as plotly shows it: without markup of its own."""
    return str(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def calendar(figure: Figure, as_of: date, first: date, last: date) -> None:
    """Draw the signature of a time figure: the rule at ``as_of``, the ground ahead of it tinted."""
    after = as_of + timedelta(days=1)
    start = max(after, first)
    end = last + timedelta(days=1)
    figure.update_xaxes(range=[first.isoformat(), end.isoformat()], tickformat="%-d %b", nticks=6)
    figure.add_shape(
        type="rect",
        x0=start.isoformat(),
        x1=end.isoformat(),
        y0=0,
        y1=1,
        yref="paper",
        fillcolor=AHEAD,
        line_width=0,
        layer="below",
    )
    if after > first:
        figure.add_shape(
            type="line",
            x0=after.isoformat(),
            x1=after.isoformat(),
            y0=0,
            y1=1,
            yref="paper",
            line={"color": INK, "width": 1},
        )
        said, anchor = f"known ← {words.day(as_of)} → ahead", "center"
        if (after - first).days < 0.22 * (end - first).days:
            said, anchor = f"← {words.day(as_of)} → ahead", "left"
    else:
        said, anchor = f"all of it ahead of {words.day(as_of)}", "left"
    label(figure, start.isoformat(), 1, said, yref="paper", xanchor=anchor, yanchor="bottom")


def label(figure: Figure, x: object, y: object, text: str, **more: Any) -> None:
    """Write a label beside a point; by default to the right of it, in ink."""
    figure.add_annotation(
        **{
            "x": x,
            "y": y,
            "text": text,
            "showarrow": False,
            "xanchor": "left",
            "xshift": 6 if more.get("xanchor", "left") == "left" and "yanchor" not in more else 0,
            "font": {"size": 13, "color": INK},
            **more,
        }
    )


def apart(values: list[float], least: float) -> list[float]:
    """Move label heights apart until none is nearer to the next than ``least``; order is kept."""
    order = sorted(range(len(values)), key=values.__getitem__)
    placed = list(values)
    for before, after in pairwise(order):
        placed[after] = max(placed[after], placed[before] + least)
    shift = sum(placed) / len(placed) - sum(values) / len(values) if values else 0.0
    return [value - shift for value in placed]
