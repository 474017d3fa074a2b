"""A figure as data: lines, points and bars on two axes, which the page's script draws as SVG.

The words are those that drawing libraries commonly take (``data`` of traces, ``layout`` with axes,
shapes and annotations), cut down to what ``reports/assets/figures.js`` draws; anything else is
refused here, where it is written, and not left out silently there.
"""

from __future__ import annotations

import json
import math
from datetime import date
from typing import Any, Final

TRACE: Final = frozenset(
    "type x y yaxis customdata hovertemplate ids meta error_x error_y marker "  # noqa: SIM905
    "mode line fill fillcolor cliponaxis width base orientation".split()
)
AXIS: Final = frozenset(
    "type range rangemode domain nticks tickformat tickvals ticktext ticks title "  # noqa: SIM905
    "showgrid showline showticklabels visible".split()
)
LAYOUT: Final = frozenset("height margin barmode bargap xaxis yaxis yaxis2".split())  # noqa: SIM905
SHAPE: Final = frozenset("type x0 x1 y0 y1 xref yref fillcolor layer line".split())  # noqa: SIM905
NOTE: Final = frozenset(
    "x y text xref yref xanchor yanchor xshift font halo name".split()  # noqa: SIM905
)


class Chart:
    """One figure while it is put together.

    Attributes
    ----------
    data
        Traces in the order in which they are painted: ``scatter`` (lines, points) and ``bar``.
    layout
        Height and margins in pixels, ``xaxis``, ``yaxis`` and perhaps ``yaxis2`` below it,
        ``shapes`` and ``annotations``. Dates are ISO texts (UTC); a logarithmic axis' ``range`` is
        in powers of ten, everything else in the data's own values.

    Raises
    ------
    ValueError
        By every method that adds: a property that the page's script does not draw.
    """

    def __init__(self, **layout: Any) -> None:
        self.data: list[dict[str, Any]] = []
        self.layout: dict[str, Any] = {"shapes": [], "annotations": []}
        self.update(**layout)

    def update(self, **layout: Any) -> None:
        """Set properties of the layout; an axis keeps what is not named."""
        _known(layout, LAYOUT)
        for name, value in layout.items():
            if name.endswith(("axis", "axis2")):
                _known(value, AXIS)
                self.layout[name] = {**self.layout.get(name, {}), **value}
            else:
                self.layout[name] = value

    def add_line(self, **trace: Any) -> None:
        """Add a line, points or both (``mode``)."""
        _known(trace, TRACE)
        self.data.append({"type": "scatter", **trace})

    def add_bars(self, **trace: Any) -> None:
        """Add bars, standing or (``orientation="h"``) lying."""
        _known(trace, TRACE)
        self.data.append({"type": "bar", **trace})

    def add_shape(self, **shape: Any) -> None:
        """Add a rule or a ground."""
        _known(shape, SHAPE)
        self.layout["shapes"].append(shape)

    def add_note(self, **note: Any) -> None:
        """Add a label."""
        _known(note, NOTE)
        self.layout["annotations"].append(note)

    def text(self) -> str:
        """Return the figure as JSON; the same figure gives the same text."""
        whole = {"data": self.data, "layout": self.layout}
        return json.dumps(_plain(whole), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _known(given: dict[str, Any], names: frozenset[str]) -> None:
    if unknown := set(given) - names:
        raise ValueError(f"the page draws no {', '.join(sorted(unknown))}")


def _plain(value: Any) -> Any:
    """Turn dates into ISO texts, numbers that are none into null; leave out what is not set."""
    if isinstance(value, dict):
        return {key: _plain(own) for key, own in value.items() if own is not None}
    if isinstance(value, list | tuple):
        return [_plain(own) for own in value]
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "item"):
        return _plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
