"""Wear-life and replacement forecasting for plastic wear parts on many machines.

The names below are what other programs may call; each loads its module when first used, so that
``import forecast`` costs nothing. Arrays are one-dimensional, hours and millimetres throughout.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from forecast.life.bounds import success_run_size, zero_failure_bound
    from forecast.life.counts import fit_counts, mean_cumulative
    from forecast.life.lives import Lives
    from forecast.life.posterior import ShapePrior
    from forecast.life.ranks import adjusted_ranks, median_ranks, rank_regression
    from forecast.life.weibull import fit_weibull, fit_weibull_groups
else:
    _HOMES = {
        "Lives": "forecast.life.lives",
        "ShapePrior": "forecast.life.posterior",
        "adjusted_ranks": "forecast.life.ranks",
        "fit_counts": "forecast.life.counts",
        "fit_weibull": "forecast.life.weibull",
        "fit_weibull_groups": "forecast.life.weibull",
        "mean_cumulative": "forecast.life.counts",
        "median_ranks": "forecast.life.ranks",
        "rank_regression": "forecast.life.ranks",
        "success_run_size": "forecast.life.bounds",
        "zero_failure_bound": "forecast.life.bounds",
    }

    def __getattr__(name: str) -> object:
        from importlib import import_module

        if name not in _HOMES:
            raise AttributeError(f"module 'forecast' has no attribute {name!r}")
        value = getattr(import_module(_HOMES[name]), name)
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *_HOMES})


__all__ = [
    "Lives",
    "ShapePrior",
    "adjusted_ranks",
    "fit_counts",
    "fit_weibull",
    "fit_weibull_groups",
    "mean_cumulative",
    "median_ranks",
    "rank_regression",
    "success_run_size",
    "zero_failure_bound",
]
