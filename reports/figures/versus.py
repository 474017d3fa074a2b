"""Grades or batches side by side: each ratio with its range, around the rule of equals."""

from __future__ import annotations

from typing import Final

import pandas as pd

from reports import words
from reports.figures import look
from reports.tables import PLAIN

TIMES: Final = (0.1, 0.2, 0.5, 1, 2, 5, 10)


def ratios(rows: pd.DataFrame) -> tuple[look.Drawing, ...]:
    """Draw one point a comparison on a logarithmic scale; b against a.

    Parameters
    ----------
    rows
        Columns ``a``, ``b``, ``what``, ``ratio``, ``ratio_low``, ``ratio_high``.
    """
    numbers = rows.assign(
        **{name: rows[name].astype(float) for name in ("ratio", "ratio_low", "ratio_high")}
    )
    numbers = numbers[numbers["ratio"] > 0].reset_index(drop=True)
    if numbers.empty:
        return ()
    names = [
        f"{row['b']} against {row['a']}, {PLAIN.get(str(row['what']), row['what'])}"
        for _, row in numbers.iterrows()
    ]
    lines = [line for name in names for line in name.split(", ")]  # two lines a name
    low, high = numbers["ratio_low"], numbers["ratio_high"]
    real = ((low > 1) | (high < 1)).tolist()
    figure = look.base(80 + 34 * len(numbers), right=20, top=10, left=look.room(lines), bottom=46)
    figure.update_layout(
        xaxis={
            **look.GRID,
            "type": "log",
            "tickvals": list(TIMES),
            "ticktext": [words.digits(times, 1) for times in TIMES],
            "title": look.axis_title("b over a, times"),
        },
        yaxis={
            **look.AXIS, "range": [len(names) - 0.5, -0.5], "showline": False, "ticks": "",
            "tickvals": list(range(len(names))),
            "ticktext": [look.plain(name).replace(", ", ",<br>") for name in names],
        },
    )  # fmt: skip
    figure.add_shape(
        type="line", x0=1, x1=1, y0=0, y1=1, yref="paper", line={"color": look.INK, "width": 1}
    )
    for marked in (False, True):
        chosen = [k for k, differs in enumerate(real) if differs is marked]
        colour = look.BEET if marked else look.INK
        figure.add_scatter(
            x=numbers["ratio"].iloc[chosen].round(4).tolist(),
            y=chosen,
            mode="markers",
            marker={
                "size": 9,
                "color": look.BEET if marked else look.PAPER,
                "line": {"width": 1.5, "color": colour},
            },
            error_x={
                "type": "data",
                "array": (high - numbers["ratio"]).iloc[chosen].round(4).tolist(),
                "arrayminus": (numbers["ratio"] - low).iloc[chosen].round(4).tolist(),
                "color": colour,
                "thickness": 1.5,
                "width": 0,
            },
            customdata=[look.plain(names[k]) for k in chosen],
            hovertemplate="%{customdata}: %{x:.2f}<extra></extra>",
        )
    first = numbers.iloc[0]
    told = (
        f"{names[0]}: {words.digits(first['ratio'], 2)} times "
        f"({words.digits(first['ratio_low'], 2)} to {words.digits(first['ratio_high'], 2)})."
    )
    return (look.drawing(figure, "fig-versus", "How many times b over a", told),)
