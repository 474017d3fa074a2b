"""Grades side by side: which pairs are compared, and what is left out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from forecast.errors import NotInStore
from forecast.jobs import beside
from forecast.records.season import EXHIBITS


def test_grades_that_did_the_same_job_are_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    grades = ["standard"] * 5 + ["trial"] * 2 + ["hard"] * 3 + ["", None]
    snapshot: Any = SimpleNamespace(lives=pd.DataFrame({"grade": grades}))
    asked: list[tuple[str, str]] = []

    def two_sides(seen: object, a: str, b: str) -> Any:
        assert seen is snapshot
        asked.append((a, b))
        if b == "hard":
            raise NotInStore("never in the same place")
        return SimpleNamespace(ratio=1.3 if a == "standard" else np.nan)

    def lives(sides: Any) -> Any:
        more = {"low": 0.6, "high": 3.3, "pairs": 4, "adjusted_for": ("machine",)}
        return SimpleNamespace(ratio=sides.ratio, extrapolated=True, **more)

    monkeypatch.setattr(beside, "two_sides", two_sides)
    monkeypatch.setattr(beside, "COMPARED", {"life": lives, "nothing": lambda sides: None})
    found = beside.grades_beside(snapshot)
    assert asked == [("standard", "hard"), ("standard", "trial"), ("hard", "trial")]
    assert tuple(found.columns) == EXHIBITS["versus"]
    row = found.iloc[0].to_dict()
    assert len(found) == 1  # "hard" never sat beside "standard"; a ratio of nothing has no row
    assert (row["a"], row["b"], row["what"], row["ratio"]) == ("standard", "trial", "life", 1.3)


def test_one_grade_has_nothing_beside_it() -> None:
    snapshot: Any = SimpleNamespace(lives=pd.DataFrame({"grade": ["standard", None]}))
    assert beside.grades_beside(snapshot).empty
