"""How far two measurements of one part differ: a gauge study by analysis of variance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]

POOLING_LEVEL: Final = 0.25
"""An interaction with a larger p-value is pooled with the repeatability (the usual convention)."""


@dataclass(frozen=True)
class GaugeStudy:
    """Where the scatter of measurements comes from; all sds in the unit measured.

    Attributes
    ----------
    repeatability
        One operator measures the same part again.
    reproducibility
        Another operator measures it (with the operator x part interaction, if it counts).
    gauge_sd
        Both together: what a reading in the logs carries.
    part_sd
        How far the parts themselves differ.
    interaction_p
        p-value of the operator x part interaction; above 0.25 it is pooled.
    pooled
        Whether it was.
    """

    repeatability: float
    reproducibility: float
    gauge_sd: float
    part_sd: float
    interaction_p: float
    pooled: bool


@dataclass(frozen=True)
class Anova:
    """Sums of squares of a balanced crossed study, with their degrees of freedom."""

    part: float
    operator: float
    interaction: float
    repeatability: float
    parts: int
    operators: int
    trials: int


def gauge_study(measurements: pd.DataFrame) -> GaugeStudy:
    """Split the scatter of repeated measurements into gauge, operator and part.

    Parameters
    ----------
    measurements
        Columns ``part``, ``operator``, ``value``: every operator measures every part equally
        often, at least twice.

    Raises
    ------
    ValueError
        If the study is not balanced, or has fewer than two parts, operators or trials.
    """
    anova = sums_of_squares(measurements)
    parts, operators, trials = anova.parts, anova.operators, anova.trials
    free_interaction = (parts - 1) * (operators - 1)
    free_repeat = parts * operators * (trials - 1)
    p_value = _interaction_p(anova, free_interaction, free_repeat)
    pooled = p_value > POOLING_LEVEL
    if pooled:
        repeat = (anova.interaction + anova.repeatability) / (free_interaction + free_repeat)
        interaction = repeat
    else:
        repeat = anova.repeatability / free_repeat
        interaction = anova.interaction / free_interaction
    between_operators = (anova.operator / (operators - 1) - interaction) / (parts * trials)
    between_parts = (anova.part / (parts - 1) - interaction) / (operators * trials)
    mixed = (interaction - repeat) / trials
    reproduced = max(between_operators, 0.0) + max(mixed, 0.0)
    return GaugeStudy(
        repeatability=float(np.sqrt(repeat)),
        reproducibility=float(np.sqrt(reproduced)),
        gauge_sd=float(np.sqrt(repeat + reproduced)),
        part_sd=float(np.sqrt(max(between_parts, 0.0))),
        interaction_p=p_value,
        pooled=pooled,
    )


def sums_of_squares(measurements: pd.DataFrame) -> Anova:
    """Return the sums of squares of a balanced study; see :func:`gauge_study`."""
    missing = [name for name in ("part", "operator", "value") if name not in measurements.columns]
    if missing:
        raise ValueError(f"a gauge study needs the column(s) {', '.join(missing)}")
    if not np.isfinite(measurements["value"].to_numpy(dtype=np.float64)).all():
        raise ValueError("every measurement of a gauge study should be a finite number")
    counts = pd.crosstab(measurements["part"], measurements["operator"])
    parts, operators = counts.shape
    trials = int(counts.to_numpy().min())
    if not (counts.to_numpy() == trials).all():
        raise ValueError("a gauge study needs every operator to measure every part equally often")
    if min(parts, operators, trials) < 2:
        raise ValueError(
            "a gauge study needs at least 2 parts, 2 operators and 2 measurements of each, "
            f"got {parts}, {operators} and {trials}"
        )
    ordered = measurements.sort_values(["part", "operator"], kind="stable")
    values = ordered["value"].to_numpy(dtype=np.float64).reshape(parts, operators, trials)
    return _split(values)


def _split(values: Array) -> Anova:
    """Split the sum of squares of values [parts, operators, trials]."""
    parts, operators, trials = values.shape
    mean = values.mean()
    cell = values.mean(axis=2)
    part = operators * trials * ((cell.mean(axis=1) - mean) ** 2).sum()
    operator = parts * trials * ((cell.mean(axis=0) - mean) ** 2).sum()
    within = ((values - cell[:, :, None]) ** 2).sum()
    interaction = trials * ((cell - mean) ** 2).sum() - part - operator
    return Anova(
        float(part), float(operator), float(interaction), float(within), parts, operators, trials
    )


def _interaction_p(anova: Anova, free_interaction: int, free_repeat: int) -> float:
    """Return the chance of such an interaction if there were none (F test)."""
    from scipy.special import fdtrc

    if anova.repeatability <= 0:
        return 0.0 if anova.interaction > 0 else 1.0
    ratio = (anova.interaction / free_interaction) / (anova.repeatability / free_repeat)
    return float(fdtrc(free_interaction, free_repeat, max(ratio, 0.0)))
