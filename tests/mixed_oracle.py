"""The wear fit beside statsmodels' MixedLM, number by number.

Ours has lognormal rates, so the two agree only where a lognormal is a normal: spreads of 3 %
between machines and between pieces, placed at normal quantiles (no skew by chance). The sds of the
log rate are turned into sds of the rate over its mean before comparing; the mean rate is the
arithmetic mean in both.

Not a test; run as a program it prints the table.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
import pandas as pd
from scipy.special import ndtri

from forecast.wear.rates import fit_wear


def compared() -> list[tuple[str, float, float, float]]:
    """Return what, ours, theirs, and within which relative difference they must agree."""
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(2)
    rows = []
    for j, m in enumerate(0.03 * ndtri((np.arange(12) + 0.5) / 12)):
        for p, u in enumerate(0.03 * ndtri((np.arange(8) + 0.5) / 8)):
            offset = 0.1 + 0.04 * rng.standard_normal()
            for x in np.linspace(0.5, 4, 6):
                wear = offset + 0.4 * np.exp(m + u) * x + 0.01 * rng.standard_normal()
                rows.append((f"M{j:02d}", f"P{j:02d}{p}", 1000 * x, wear))
    readings = pd.DataFrame(rows, columns=["machine", "piece", "hours", "wear_mm"])
    readings["x"] = readings["hours"] / 1000
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it always says that it may be on the boundary
        oracle = smf.mixedlm(
            "wear_mm ~ x",
            readings,
            groups="machine",
            re_formula="0+x",
            vc_formula={"off": "0+C(piece)", "rate": "0+C(piece):x"},
        ).fit()
    rate = float(oracle.params["x"])
    variances = dict(zip(oracle.model.exog_vc.names, oracle.vcomp, strict=True))
    fit = fit_wear(readings)
    machine = np.sqrt(np.expm1(fit.machine_sd**2))
    piece = np.sqrt(np.expm1(fit.piece_sd**2) * np.exp(fit.machine_sd**2))
    width = np.log(fit.mean_rate_high / fit.mean_rate_low) / (2 * 1.6448536)
    between = np.sqrt(oracle.cov_re.iloc[0, 0]) / rate
    return [
        ("mean rate, mm per 1000 h", 1000 * fit.mean_rate, rate, 1e-3),
        ("bedding-in offset, mm", fit.offset, float(oracle.params["Intercept"]), 1e-3),
        ("gauge sd, mm", fit.gauge_sd, float(np.sqrt(oracle.scale)), 1e-3),
        ("sd between machines, of the rate", float(machine), float(between), 5e-3),
        ("sd between pieces, of the rate", float(piece), np.sqrt(variances["rate"]) / rate, 5e-3),
        ("sd of the offset, mm", fit.offset_sd, float(np.sqrt(variances["off"])), 5e-3),
        ("standard error of the rate", float(width), float(oracle.bse["x"]) / rate, 5e-3),
    ]


if __name__ == "__main__":
    sys.stdout.write(f"{'':<34}{'ours':>10}{'MixedLM':>10}{'apart':>10}\n")
    for what, ours, theirs, _ in compared():
        sys.stdout.write(f"{what:<34}{ours:>10.5f}{theirs:>10.5f}{ours / theirs - 1:>10.2%}\n")
