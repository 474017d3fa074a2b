"""Why a piece left that nobody wrote down: its reason is shared out over those that were logged.

A change-out without a row in the log is known from readings alone: a piece ended between two of
them. Taking it for a life cut short would hide its failures; taking it for a failure would count
planned change-outs among them. So each stands, by weight, for what the logged change-outs of
nearly the same age were. That holds if whether a row was forgotten does not depend on the reason;
the forecast says so among its assumptions.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from forecast.records.words import percent

NEAREST: Final = 30
"""Logged change-outs, nearest in age, that tell the reason of one that was not."""


def share_out(lives: pd.DataFrame) -> pd.DataFrame:
    """Return the lives with each unlogged end split, by weight, over the reasons logged.

    Parameters
    ----------
    lives
        ``Snapshot.lives``.

    Returns
    -------
    pandas.DataFrame
        The same rows in the same order, but for unlogged ends of part types with logged ones: a
        row for each mode, found failed between ``lower`` and ``upper``, and one for change-outs
        without a failure, cut short midway; their weights add up to that of the row they replace.
        Unlogged ends of a part type without a single logged one stay lives cut short.
    """
    if not lives["ended"].eq("unlogged").any():
        return lives
    frames = [lives]
    order = [np.arange(len(lives), dtype=float)]
    split = np.zeros(len(lives), bool)
    for name in sorted(set(lives.loc[lives["ended"].eq("unlogged"), "part_type"])):
        own = lives["part_type"].eq(name).to_numpy()
        unlogged = np.flatnonzero(own & lives["ended"].eq("unlogged").to_numpy())
        logged = lives[own & lives["ended"].eq("logged").to_numpy()]
        if not len(logged):
            continue
        split[unlogged] = True
        rows = lives.iloc[unlogged]
        middle = (rows["lower"] + rows["upper"]).to_numpy(float) / 2
        shares = _shares(logged, middle)
        for column, mode in enumerate(shares.columns):
            weight = rows["weight"].to_numpy(float) * shares[mode].to_numpy()
            part = rows.assign(weight=weight, mode=mode)
            if not mode:
                part = part.assign(lower=middle, upper=np.inf)
            kept = weight > 0
            frames.append(part[kept])
            order.append(unlogged[kept] + (column + 1) / 100)
    frames[0], order[0] = lives[~split], order[0][~split]
    joined = pd.concat(frames, ignore_index=True)
    return joined.iloc[np.argsort(np.concatenate(order), kind="stable")].reset_index(drop=True)


def unlogged_said(shared: pd.DataFrame) -> list[tuple[str, str, str]]:
    """Say what unlogged ends were taken for: part type, how many, and what they stand for.

    Parameters
    ----------
    shared
        What :func:`share_out` returned.
    """
    said = []
    for name, rows in shared[shared["ended"].eq("unlogged")].groupby("part_type", sort=True):
        count = float(rows["weight"].sum())
        if np.isfinite(rows.loc[rows["mode"].eq(""), "upper"]).any():
            said.append((str(name), f"{count:.0f}", "no change-out of it was logged: cut short"))
            continue
        by_mode = rows.groupby("mode", sort=True)["weight"].sum() / count
        told = ", ".join(f"{mode or 'no failure'} {percent(of)}" for mode, of in by_mode.items())
        said.append((str(name), f"{count:.0f}", f"taken as logged ones of their age were: {told}"))
    return said


def _shares(logged: pd.DataFrame, middle: npt.NDArray[np.float64]) -> pd.DataFrame:
    """Return the share of each mode among the logged ends nearest to each age."""
    ends = np.where(np.isinf(logged["upper"]), logged["lower"], logged["upper"]).astype(float)
    order = np.argsort(ends, kind="stable")
    ends, weight = ends[order], logged["weight"].to_numpy(float)[order]
    modes = logged["mode"].to_numpy(object)[order]
    names = sorted({str(mode) for mode in modes})
    shares = np.empty((len(middle), len(names)))
    for row, age in enumerate(middle):
        near = np.argsort(np.abs(ends - age), kind="stable")[:NEAREST]
        for column, name in enumerate(names):
            shares[row, column] = weight[near][modes[near] == name].sum()
    return pd.DataFrame(shares / shares.sum(axis=1, keepdims=True), columns=names)
