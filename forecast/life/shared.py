"""The likelihood of a Weibull law whose hazard every machine multiplies by a number of its own.

With H the cumulative hazard at multiplier 1, a machine with multiplier g adds

    sum over seen failures of log(g h)  -  g A  +  sum over failures between inspections of
    log(1 - exp(-g D)),      A = sum of H(lower) - H(entry),  D = H(upper) - H(lower)

and g, gamma with mean 1 and number ``weight``, is integrated out: in closed form, or on a grid
about its mode for a machine with failures between inspections.
Source: shared gamma frailty, Hougaard (2000) ch. 7-8 (from memory); derived here.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from scipy.special import digamma, gammaln

from forecast.life.lives import Array, IntArray, Lives
from forecast.life.priors import ShapePrior

NO_SPREAD: Final = 1e4
"""Weight of the gamma law from which on machines don't differ."""

_MOST_SPREAD: Final = 0.3
_NODES: Final = 81
_REACH: Final = 8.0  # standard deviations of the grid to either side
_LEFT: Final = 5.0  # the left tail of a log gamma is the longer: by so much over its number
_FARTHEST: Final = 12.0  # a ratio beyond exp(12) is none
_LARGEST: Final = 600.0


class SharedHazard:
    """Log-likelihood in (log shape, coefficients of log scale, log weight) and its tops.

    Parameters
    ----------
    lives
        The lives.
    machine
        Number of the machine of each life.
    design
        [lives, coefficients]; the first column is the constant.
    prior
        Of the shape; None for none.
    """

    def __init__(
        self,
        lives: Lives,
        machine: IntArray,
        design: Array,
        prior: ShapePrior | None = None,
    ) -> None:
        self.prior = prior
        self.machines = int(machine.max(initial=-1)) + 1
        self._unit = np.log(lives.oldest)
        exact, between = lives.exact, lives.between
        lived, late = lives.lower > 0, lives.entry > 0
        # terms of the exposure: + H(lower), - H(entry)
        self._age = np.concatenate([np.log(lives.lower[lived]), np.log(lives.entry[late])])
        self._age -= self._unit
        self._sign = np.concatenate([lives.weight[lived], -lives.weight[late]])
        self._machine = np.concatenate([machine[lived], machine[late]])
        self._x = np.vstack([design[lived], design[late]])
        self._seen_age = np.log(lives.lower[exact]) - self._unit
        self._seen_weight, self._seen_x = lives.weight[exact], design[exact]
        self._seen = self._sum(machine[exact], lives.weight[exact])
        with np.errstate(divide="ignore"):
            self._from = np.log(lives.lower[between]) - self._unit
        self._to = np.log(lives.upper[between]) - self._unit
        self._found_x, self._found_weight = design[between], lives.weight[between]
        self._found_machine = machine[between]
        self._found = self._sum(self._found_machine, self._found_weight)

    def value(self, at: Array) -> tuple[float, Array]:
        """Log-likelihood and its slopes at (log shape, coefficients, log weight)."""
        shape, line, weight = np.exp(at[0]), at[1:-1].copy(), np.exp(at[-1])
        line[0] -= self._unit
        z = shape * (self._age - self._x @ line)
        h = self._sign * np.exp(np.minimum(z, _LARGEST))
        z_seen = shape * (self._seen_age - self._seen_x @ line)
        log_d, slope_d = self._pieces(shape, line)
        exposure = self._sum(self._machine, h)
        number, rate = weight + self._seen, weight + np.maximum(exposure, 0.0)
        value, mean, log_mean, share = self._integrated(number, rate, log_d)
        total = float(
            value.sum()
            + self.machines * (weight * at[-1] - gammaln(weight))
            + self._seen_weight @ (at[0] + z_seen - self._seen_age - self._unit)
        )
        felt = mean[self._machine] * h
        caught = self._found_weight * share
        by_shape = float(self._seen_weight @ (1.0 + z_seen) - felt @ z + caught @ slope_d)
        by_line = -shape * (
            self._seen_weight @ self._seen_x - felt @ self._x + caught @ self._found_x
        )
        by_weight = weight * float((at[-1] + 1.0 - digamma(weight) + log_mean - mean).sum())
        if self.prior is not None:
            away = (at[0] - self.prior.log_centre) / self.prior.log_sd
            total -= 0.5 * away**2
            by_shape -= away / self.prior.log_sd
        return total, np.concatenate([[by_shape], by_line, [by_weight]])

    def multipliers(self, at: Array) -> tuple[Array, Array]:
        """Gamma law of each machine's multiplier, given its lives: (number, rate).

        Failures between inspections enter by the mean and variance that they leave.
        """
        shape, line, weight = np.exp(at[0]), at[1:-1].copy(), np.exp(at[-1])
        line[0] -= self._unit
        z = shape * (self._age - self._x @ line)
        exposure = self._sum(self._machine, self._sign * np.exp(np.minimum(z, _LARGEST)))
        number, rate = weight + self._seen, weight + np.maximum(exposure, 0.0)
        if not self._to.size:
            return number, rate
        log_d, _ = self._pieces(shape, line)
        _, mean, log_mean, _ = self._integrated(number, rate, log_d)
        # gamma with that mean and mean logarithm, by Newton on log(number) - digamma(number)
        gap = np.maximum(np.log(mean) - log_mean, 1e-12)
        fitted = (3 - gap + np.sqrt((gap - 3) ** 2 + 24 * gap)) / (12 * gap)
        return fitted, fitted / mean

    def fit(self, start: Array, fixed: int | None = None) -> tuple[Array, float]:
        """Climb from (log shape, coefficients) to the top, one of them held if ``fixed`` says so.

        Returns
        -------
        (at, value)
            (log shape, coefficients, log weight) and the log-likelihood there.
        """
        from scipy.optimize import minimize

        best: tuple[Array, float] | None = None
        for weight in (10.0, NO_SPREAD):
            at = np.append(start, np.log(weight))
            free = np.arange(at.size) != (-1 if fixed is None else fixed)

            def lost(x: Array, at: Array = at, free: Array = free) -> tuple[float, Array]:
                full = at.copy()
                full[free] = x
                value, slope = self.value(full)
                return -value, -slope[free]

            bounds = [(-3.0, 4.0), *[(None, None)] * (start.size - 1)]
            bounds.append((np.log(_MOST_SPREAD), np.log(NO_SPREAD)))
            found = minimize(
                lost, at[free], jac=True, method="L-BFGS-B",
                bounds=[bound for bound, is_free in zip(bounds, free, strict=True) if is_free],
                options={"ftol": 1e-14, "gtol": 1e-7, "maxiter": 500, "maxcor": 20},
            )  # fmt: skip
            at[free] = found.x
            if best is None or -found.fun > best[1] + 1e-6:
                best = at, float(-found.fun)
        assert best is not None  # noqa: S101
        return best

    def edge(self, at: Array, index: int, side: float, cut: float) -> float:
        """Where the profile of one coefficient has fallen by half ``cut`` from its value at ``at``.

        Parameters
        ----------
        at
            Top (or a point so far out that the likelihood has levelled off).
        index
            Of the coefficient, which is the logarithm of a ratio.
        side
            1 upwards, -1 downwards.
        cut
            Chi-square quantile.

        Returns
        -------
        float
            The ratio there; 0 or infinite if the likelihood never falls so far.
        """
        peak = self.value(at)[0]
        here = at.copy()

        def fallen(distance: float) -> float:
            point = here[:-1].copy()
            point[index] = at[index] + side * distance
            there, value = self.fit(point, fixed=index)
            here[:] = there
            return 2 * (peak - value) - cut

        inside, outside, step = 0.0, 0.25, 0.25
        while fallen(outside) < 0:
            inside, step = outside, 2 * step
            outside = inside + step
            if inside > 2 * _FARTHEST:
                return float(np.inf) if side > 0 else 0.0
        low, high = fallen(inside) if inside else -cut, fallen(outside)
        for _ in range(40):
            # secant on the signed root of the likelihood ratio, which is nearly straight
            root = [float(np.sqrt(max(each + cut, 0.0))) for each in (low, high)]
            part = (np.sqrt(cut) - root[0]) / max(root[1] - root[0], 1e-12)
            middle = inside + min(max(part, 0.05), 0.95) * (outside - inside)
            value = fallen(middle)
            if abs(value) < 1e-4 or outside - inside < 1e-5:
                break
            inside, outside = (middle, outside) if value < 0 else (inside, middle)
            low, high = (value, high) if value < 0 else (low, value)
        return float(np.exp(at[index] + side * middle))

    def _pieces(self, shape: float, line: Array) -> tuple[Array, Array]:
        """Log D of each failure between inspections, and its slope in log shape."""
        u = self._found_x @ line
        z_to = shape * (self._to - u)
        z_from = np.where(np.isfinite(self._from), shape * (self._from - u), -1e6)
        kept = np.exp(np.maximum(z_from - z_to, -700.0))
        lost = np.maximum(-np.expm1(z_from - z_to), 1e-17)
        slope = (z_to - np.where(np.isfinite(self._from), z_from * kept, 0.0)) / lost
        return np.minimum(z_to, _LARGEST) + np.log(lost), slope

    def _integrated(
        self, number: Array, rate: Array, log_d: Array
    ) -> tuple[Array, Array, Array, Array]:
        """Integrate the multipliers out.

        Returns by machine the log of the integral of g^(number-1) exp(-rate g) prod(1 - exp(-g D)),
        the mean of g and of log g; by failure between inspections the mean of g D / (exp(g D) - 1).
        """
        value = gammaln(number) - number * np.log(rate)
        mean, log_mean = number / rate, digamma(number) - np.log(rate)
        share = np.zeros(log_d.size)
        has = np.flatnonzero(self._found)
        if not has.size:
            return value, mean, log_mean, share
        place = np.full(self.machines, -1)
        place[has] = np.arange(has.size)
        own, w = place[self._found_machine], self._found_weight
        pieces = np.bincount(own, w * np.exp(np.minimum(log_d, 300.0)) / 2, has.size)
        told = number[has] + self._found[has] / 2
        middle = np.log((number[has] + self._found[has]) / (rate[has] + pieces))
        sd = told**-0.5
        z = np.linspace(-_REACH, _REACH, _NODES)
        bend, longer = np.sqrt(1 + z**2), _LEFT / (_REACH * number[has, None])
        x = middle[:, None] + sd[:, None] * z - longer * (bend - z - 1) / 2
        width = (sd[:, None] + longer * (1 - z / bend) / 2) * (z[1] - z[0])
        gd = log_d[:, None] + x[own]
        d = np.minimum(np.exp(np.minimum(gd, _LARGEST)), _LARGEST)
        caught = np.where(d < 1e-8, gd, np.log(-np.expm1(-np.maximum(d, 1e-300))))
        density = number[has, None] * x - rate[has, None] * np.exp(np.minimum(x, _LARGEST))
        np.add.at(density, own, w[:, None] * caught)
        top = density.max(axis=1)
        mass = np.exp(density - top[:, None]) * width
        total = mass.sum(axis=1)
        chance = mass / total[:, None]
        value[has] = top + np.log(total)
        mean[has] = (chance * np.exp(x)).sum(axis=1)
        log_mean[has] = (chance * x).sum(axis=1)
        felt = np.where(d < 1e-8, 1.0, d / np.expm1(np.maximum(d, 1e-300)))
        share = (chance[own] * felt).sum(axis=1)
        return value, mean, log_mean, share

    def _sum(self, machine: IntArray, values: Array) -> Array:
        return np.bincount(machine, values, self.machines).astype(np.float64)
