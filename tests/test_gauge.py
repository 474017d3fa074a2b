"""Gauge studies: the published one, and what must hold of any."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.wear.gauge import gauge_study, sums_of_squares

STUDY = Path(__file__).parent / "published" / "M1_gauge_10x3x3.csv"


def test_published_study(published: dict[tuple[str, str], tuple[float, float]]) -> None:
    """M1: 10 parts x 3 operators x 3 trials, AIAG MSA manual 4th ed., ANOVA (quoted)."""
    found = gauge_study(pd.read_csv(STUDY))
    total = float(np.hypot(found.gauge_sd, found.part_sd))
    values = {
        "EV": found.repeatability,
        "AV": found.reproducibility,
        "GRR": found.gauge_sd,
        "PV": found.part_sd,
        "TV": total,
        "%GRR": 100 * found.gauge_sd / total,
        "ndc (1.41 PV/GRR, before truncation)": 1.41 * found.part_sd / found.gauge_sd,
        "p interaction": found.interaction_p,
    }
    for name, value in values.items():
        expected, tolerance = published[("M1", name)]
        assert value == pytest.approx(expected, abs=tolerance), name
    assert found.pooled


def test_published_sums_of_squares(published: dict[tuple[str, str], tuple[float, float]]) -> None:
    """M1: the four sums of squares and F of the interaction."""
    anova = sums_of_squares(pd.read_csv(STUDY))
    values = {
        "SS part": anova.part,
        "SS operator": anova.operator,
        "SS interaction": anova.interaction,
        "SS repeatability": anova.repeatability,
        "F interaction": (anova.interaction / 18) / (anova.repeatability / 60),
    }
    for name, value in values.items():
        expected, tolerance = published[("M1", name)]
        assert value == pytest.approx(expected, abs=tolerance), name


def test_row_order_does_not_matter() -> None:
    study = pd.read_csv(STUDY)
    shuffled = study.sample(frac=1.0, random_state=3)
    assert gauge_study(shuffled).gauge_sd == pytest.approx(gauge_study(study).gauge_sd, rel=1e-12)


def test_strong_interaction_is_not_pooled() -> None:
    """An operator who reads only the large parts high: p < 0.25, and its variance counts."""
    rng = np.random.default_rng(5)
    rows = [
        (part, operator, part + (0.5 * part if operator == 1 else 0.0) + rng.normal(0, 0.01))
        for part in range(6)
        for operator in range(3)
        for _ in range(2)
    ]
    found = gauge_study(pd.DataFrame(rows, columns=["part", "operator", "value"]))
    assert not found.pooled
    assert found.repeatability == pytest.approx(0.01, rel=0.5)
    assert found.reproducibility > 0.3


def test_truth_of_a_large_study() -> None:
    rng = np.random.default_rng(6)
    part, operator = rng.normal(0, 0.5, 60), rng.normal(0, 0.1, 40)
    frame = pd.DataFrame(
        [
            (i, j, part[i] + operator[j] + rng.normal(0, 0.05))
            for i in range(60)
            for j in range(40)
            for _ in range(2)
        ],
        columns=["part", "operator", "value"],
    )
    found = gauge_study(frame)
    assert found.repeatability == pytest.approx(0.05, rel=0.05)
    assert found.reproducibility == pytest.approx(np.std(operator, ddof=1), rel=0.05)
    assert found.part_sd == pytest.approx(np.std(part, ddof=1), rel=0.05)


def test_unbalanced_studies_are_refused() -> None:
    study = pd.read_csv(STUDY)
    with pytest.raises(ValueError, match="equally often"):
        gauge_study(study.iloc[1:])
    with pytest.raises(ValueError, match="at least 2 parts"):
        gauge_study(study[study["operator"] == "A"])
    with pytest.raises(ValueError, match=r"column.*operator"):
        gauge_study(study.drop(columns="operator"))
    with pytest.raises(ValueError, match="finite"):
        gauge_study(study.assign(value=np.nan))
