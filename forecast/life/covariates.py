"""What duty, grade or size do to life: a Weibull law whose scale depends on covariates.

Covariates move the logarithm of the scale (accelerated life); the shape is common. Errors allow
for lives of one machine being alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from forecast.life.likelihood import Likelihood, maximise
from forecast.life.lives import Array, BoolArray, Lives
from forecast.life.spread import numbered

if TYPE_CHECKING:
    import pandas as pd

_MOST_STEPS: Final = 60
_NEAR: Final = 1e-9
_SAME: Final = 1e-8


@dataclass(frozen=True, eq=False)
class Covariates:
    """Covariates as columns of a design, and the range they were seen in."""

    names: tuple[str, ...]
    columns: tuple[str, ...]
    levels: dict[str, tuple[str, ...]]
    span: dict[str, tuple[float, float, float]]
    kept: BoolArray = field(default_factory=lambda: np.ones(1, np.bool_))

    @classmethod
    def of(cls, frame: pd.DataFrame) -> Covariates:
        """Numbers as they are, less their mean; texts as levels against the commonest."""
        import pandas as pd

        columns, levels, span = ["constant"], {}, {}
        for name in frame.columns:
            values = frame[name]
            if values.isna().any():
                row = int(np.argmax(values.isna().to_numpy()))
                raise ValueError(f"covariate {name} has no value in row {row}")
            if pd.api.types.is_numeric_dtype(values):
                span[str(name)] = (float(values.min()), float(values.max()), float(values.mean()))
                columns.append(str(name))
            else:
                counts = values.astype(str).value_counts()
                order = sorted(counts.index, key=lambda level: (-counts[level], level))
                levels[str(name)] = tuple(order)
                columns += [f"{name}={level}" for level in order[1:]]
        return cls(tuple(map(str, frame.columns)), tuple(columns), levels, span)

    def design(self, frame: pd.DataFrame) -> Array:
        """[rows, columns]."""
        out = [np.ones(len(frame))]
        for name in self.names:
            if name in self.span:
                out.append(frame[name].to_numpy(float) - self.span[name][2])
            else:
                text = frame[name].astype(str).to_numpy()
                out += [(text == level).astype(float) for level in self.levels[name][1:]]
        return np.column_stack(out)

    def row(self, duty: dict[str, object]) -> tuple[Array, tuple[str, ...]]:
        """One row of the design, and what of it was never seen, in words."""
        missing = [name for name in self.names if name not in duty]
        if missing:
            raise ValueError(f"no value given for {', '.join(missing)}")
        row, outside = [1.0], []
        for name in self.names:
            if name in self.span:
                low, high, mean = self.span[name]
                value = float(str(duty[name]))
                if not low <= value <= high:
                    outside.append(f"{name} {value:g} lies outside {low:g} to {high:g}")
                row.append(value - mean)
            else:
                level = str(duty[name])
                known = level in self.levels[name]
                if not known:
                    outside.append(f"{name} {level!r} was never seen")
                row += [float(level == each) if known else np.nan for each in self.levels[name][1:]]
        return np.array(row), tuple(outside)


@dataclass(frozen=True, eq=False)
class Predicted:
    """Life at one duty.

    Attributes
    ----------
    scale, low, high
        Age by which 63.2 % have failed, with a 90 % interval; NaN where a level was never seen.
    outside
        What lies beyond the lives that were fitted, in words; empty within them.
    """

    scale: float
    low: float
    high: float
    outside: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CovariateFit:
    """A Weibull law whose scale depends on covariates.

    Attributes
    ----------
    shape
        Common to all.
    terms
        Names of the coefficients of log scale; the first is the constant.
    estimate, covariance
        Of (terms, log shape); the covariance allows for machines where more than one was given.
    plain_error
        Standard errors as if lives of one machine were strangers.
    left_out
        Covariates that could not be told, with the reason.
    log_likelihood, failures, machines
        At the estimate.
    state
        ``fitted``, or ``no_fit`` with NaN.
    """

    shape: float
    terms: tuple[str, ...]
    estimate: Array
    covariance: Array
    plain_error: Array
    left_out: tuple[str, ...]
    log_likelihood: float
    failures: float
    machines: int
    state: str
    _seen: Covariates = field(repr=False)

    def table(self, level: float = 0.90) -> pd.DataFrame:
        """Coefficients of log scale, and of log shape in the last row.

        Returns
        -------
        DataFrame
            term, estimate, low, high, standard_error, plain_error, life_ratio (exp of the
            estimate: by how much one unit more, or this level, lengthens life).
        """
        import pandas as pd

        error = np.sqrt(np.diag(self.covariance))
        reach = float(ndtri(0.5 + level / 2)) * error
        return pd.DataFrame(
            {
                "term": [*self.terms, "log_shape"],
                "estimate": self.estimate,
                "low": self.estimate - reach,
                "high": self.estimate + reach,
                "standard_error": error,
                "plain_error": self.plain_error,
                "life_ratio": np.exp(self.estimate),
            }
        )

    def predict(self, duty: dict[str, object]) -> Predicted:
        """Life at a duty, with what of it lies outside the lives that were fitted.

        Parameters
        ----------
        duty
            A value for each covariate.

        Raises
        ------
        ValueError
            For a covariate without a value.
        """
        row, outside = self._seen.row(duty)
        x = row[self._seen.kept]
        mean = float(x @ self.estimate[:-1])
        error = float(np.sqrt(x @ self.covariance[:-1, :-1] @ x))
        ends = np.exp(mean + np.array([0.0, -1.645, 1.645]) * error)
        return Predicted(float(ends[0]), float(ends[1]), float(ends[2]), outside)


def fit_life_covariates(
    lives: Lives, covariates: pd.DataFrame, machine: npt.ArrayLike | None = None
) -> CovariateFit:
    """Fit a Weibull law whose log scale is a sum of covariates.

    Parameters
    ----------
    lives
        The lives.
    covariates
        One row a life: numbers (log_pressure, log_speed, temperature, ...) and texts (medium,
        grade, size), which become levels against the commonest one.
    machine
        Name of the machine of each life; errors then allow for lives of one machine being alike
        (sandwich of the machines' scores, times machines / (machines - 1)). None, or a single
        machine: they are taken as strangers.

    Returns
    -------
    CovariateFit
        Covariates that repeat others, or never change, are left out and named.

    Raises
    ------
    ValueError
        For rows that don't match, or a covariate without a value.
    """
    if len(covariates) != len(lives):
        raise ValueError(f"there are {len(lives)} lives but {len(covariates)} rows of covariates")
    seen = Covariates.of(covariates)
    number = None if machine is None else numbered(machine, len(lives))[0]
    full = seen.design(covariates)
    kept, left_out = _independent(full, seen.columns)
    seen = Covariates(seen.names, seen.columns, seen.levels, seen.span, kept)
    design, terms = full[:, kept], tuple(np.array(seen.columns)[kept].tolist())
    maxima = maximise(lives)
    machines = 0 if number is None else int(number.max(initial=-1)) + 1
    at, scores, curvature, value = _climb(lives, design, maxima.log_shape, maxima.log_scale)
    if at is None:
        size = len(terms) + 1
        nothing = np.full(size, np.nan)
        square = np.full((size, size), np.nan)
        return CovariateFit(
            np.nan, terms, nothing, square, nothing, left_out, np.nan, lives.failures, machines,
            "no_fit", seen,
        )  # fmt: skip
    plain = np.linalg.inv(curvature)
    covariance = plain
    if number is not None and machines > 1:
        by_machine = np.zeros((machines, scores.shape[1]))
        np.add.at(by_machine, number, scores)
        covariance = plain @ (by_machine.T @ by_machine) @ plain * machines / (machines - 1)
    return CovariateFit(
        shape=float(np.exp(at[-1])),
        terms=terms,
        estimate=at,
        covariance=np.asarray(covariance, np.float64),
        plain_error=np.sqrt(np.diag(plain)),
        left_out=left_out,
        log_likelihood=value,
        failures=lives.failures,
        machines=machines,
        state="fitted",
        _seen=seen,
    )


def _climb(
    lives: Lives, design: Array, log_shape: Array, log_scale: Array
) -> tuple[Array | None, Array, Array, float]:
    """Newton steps in (coefficients, log shape): top, scores by life, curvature there, value.

    Every life is a group of its own to the likelihood, whose slopes are then those of the rows.
    """
    nothing = np.zeros(0)
    if not np.isfinite(log_shape[0]):
        return None, nothing, nothing, np.nan
    rows = Likelihood(lives, np.arange(len(lives)), len(lives))
    at = np.append(np.zeros(design.shape[1]), log_shape[0])
    at[0] = log_scale[0]

    def look(at: Array) -> tuple[float, Array, Array]:
        found = rows.slopes(design @ at[:-1], np.full(len(lives), at[-1]))
        scores = np.column_stack([design * found.by_scale[:, None], found.by_shape])
        corner = design.T @ found.scale_shape
        top = design.T @ (design * found.scale_scale[:, None])
        bend = -np.block([[top, corner[:, None]], [corner[None, :], found.shape_shape.sum()]])
        return float(found.value.sum()), scores, bend

    value, scores, bend = look(at)
    for _ in range(_MOST_STEPS):
        power, axes = np.linalg.eigh(bend)
        power = np.maximum(power, 1e-6 * power[-1])
        step = axes @ ((axes.T @ scores.sum(axis=0)) / power)
        step /= max(1.0, float(np.abs(step).max()))
        for _ in range(40):
            there = look(at + step)
            if there[0] >= value - 1e-12 * abs(value):
                break
            step = step / 2
        at, (value, scores, bend) = at + step, there
        if np.abs(step).max() < _NEAR:
            break
    level = np.abs(scores.sum(axis=0)).max() < 1e-5 * max(1.0, lives.failures)
    top = level and np.linalg.eigvalsh(bend)[0] > 0 and np.abs(at[1:]).max() < 50
    return (at if top else None), scores, bend, value


def _independent(design: Array, names: Sequence[str]) -> tuple[BoolArray, tuple[str, ...]]:
    """Columns that the ones before them don't repeat, and the others with the reason."""
    kept: list[int] = []
    left_out = []
    for column in range(design.shape[1]):
        x = design[:, column]
        basis = design[:, kept]
        rest = x - basis @ np.linalg.lstsq(basis, x, rcond=None)[0] if kept else x
        if column == 0 or np.linalg.norm(rest) > _SAME * max(1.0, float(np.linalg.norm(x))):
            kept.append(column)
        else:
            why = "never changes" if np.ptp(x) < _SAME else "goes with the others"
            left_out.append(f"{names[column]}: {why}")
    return np.isin(np.arange(design.shape[1]), kept), tuple(left_out)
