"""Wear-life and replacement forecasting for plastic wear parts on many machines.

The names below are what other programs may call; each loads its module when first used, so that
``import forecast`` costs nothing. Arrays are one-dimensional, hours and millimetres throughout.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from forecast.jobs.scores import coverage, crps, interval_score, pinball_loss
    from forecast.life.bounds import success_run_size, zero_failure_bound
    from forecast.life.counts import fit_counts, mean_cumulative
    from forecast.life.lives import Lives
    from forecast.life.ranks import adjusted_ranks, median_ranks, rank_regression
    from forecast.life.weibull import fit_weibull, fit_weibull_groups
    from forecast.physics.duty import pv, specific_wear_rate, wear_depth
    from forecast.physics.sizes import clearance, size_at_20c
    from forecast.planning.policy import best_age, renewal_function
    from forecast.planning.stock import (
        economic_order_quantity,
        newsvendor,
        order_quantity,
        poisson_stock,
    )
    from forecast.wear.gauge import gauge_study
    from forecast.wear.rates import fit_wear
    from forecast.wear.regression import fit_log_rate
else:
    _HOMES = {
        "Lives": "forecast.life.lives",
        "adjusted_ranks": "forecast.life.ranks",
        "best_age": "forecast.planning.policy",
        "clearance": "forecast.physics.sizes",
        "coverage": "forecast.jobs.scores",
        "crps": "forecast.jobs.scores",
        "economic_order_quantity": "forecast.planning.stock",
        "fit_counts": "forecast.life.counts",
        "fit_log_rate": "forecast.wear.regression",
        "fit_wear": "forecast.wear.rates",
        "fit_weibull": "forecast.life.weibull",
        "fit_weibull_groups": "forecast.life.weibull",
        "gauge_study": "forecast.wear.gauge",
        "interval_score": "forecast.jobs.scores",
        "mean_cumulative": "forecast.life.counts",
        "median_ranks": "forecast.life.ranks",
        "newsvendor": "forecast.planning.stock",
        "order_quantity": "forecast.planning.stock",
        "pinball_loss": "forecast.jobs.scores",
        "poisson_stock": "forecast.planning.stock",
        "pv": "forecast.physics.duty",
        "rank_regression": "forecast.life.ranks",
        "renewal_function": "forecast.planning.policy",
        "size_at_20c": "forecast.physics.sizes",
        "specific_wear_rate": "forecast.physics.duty",
        "success_run_size": "forecast.life.bounds",
        "wear_depth": "forecast.physics.duty",
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
    "adjusted_ranks",
    "best_age",
    "clearance",
    "coverage",
    "crps",
    "economic_order_quantity",
    "fit_counts",
    "fit_log_rate",
    "fit_wear",
    "fit_weibull",
    "fit_weibull_groups",
    "gauge_study",
    "interval_score",
    "mean_cumulative",
    "median_ranks",
    "newsvendor",
    "order_quantity",
    "pinball_loss",
    "poisson_stock",
    "pv",
    "rank_regression",
    "renewal_function",
    "size_at_20c",
    "specific_wear_rate",
    "success_run_size",
    "wear_depth",
    "zero_failure_bound",
]
