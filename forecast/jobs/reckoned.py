"""The part of the evidence that is reckoned: rate, shrinkage, limit, hours left, decision."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from forecast.errors import NotInStore, PlanError
from forecast.jobs.chain import Chain, day, plain, records
from forecast.jobs.compare import plan_of
from forecast.jobs.fits import Fits
from forecast.jobs.hours_left import pieces_left
from forecast.planning.plan import Plan
from forecast.records.season import SeasonForecast
from forecast.records.snapshot import Snapshot
from forecast.records.words import percent
from forecast.wear.rates import WearFit

NORMAL_90: Final = 1.6449
WHY: Final = {
    "limit": "by then it is expected over the depth at which it is changed",
    "age": "by then it reaches the age at which it is changed",
    "risk": "leaving it to the following window risks more than it saves",
    "size": "the machine changes to another size",
}
DECIDED: Final = {
    "change": "change it before the season",
    "leave": "leave it in over the season",
    "measure_again": "measure it again before deciding",
}


def rate_and_limit(
    chain: Chain, snapshot: Snapshot, fits: Fits, group: str, readings: Sequence[Mapping[str, Any]]
) -> None:
    """Add the rate of the piece, its shrinkage toward machine and type, and the limit.

    Parameters
    ----------
    chain
        Takes the rows.
    snapshot, fits
        What is known, and what was fitted to it.
    group
        The duty group.
    readings
        Of the piece: those that count.
    """
    name = chain.spot.part_type
    parts = snapshot.part_types[snapshot.part_types["part_type"] == name]
    part = parts.iloc[0] if len(parts) else pd.Series(dtype=object)
    fit = fits.wear_fits.get((name, group))
    if not len(parts):
        chain.add("rate", f"no part type {name} in the logs yet: nothing is fitted", piece=name)
    elif fit is not None and fit.usable:
        factor, unit = (1e3, "um/h") if part["clock"] in (None, "hours") else (1e6, "um/1000")
        unit = unit if factor == 1e3 else f"{unit} {part['clock']}"
        _rates(chain, fit, readings, factor, unit)
    else:
        chain.add(
            "rate",
            "no rate: no reading of this part type counts" if fit is None
            else "no rate: its readings show no wear",
            source=f"wear of {name}",
        )  # fmt: skip
    for row in records(fits.life[fits.life["part_type"].eq(name)]):
        if str(row["duty_group"]) == group:
            _life(chain, row)
    if len(parts):
        _limit(chain, part)


def _rates(
    chain: Chain,
    fit: WearFit,
    readings: Sequence[Mapping[str, Any]],
    factor: float,
    unit: str,
) -> None:
    name, source = chain.spot.part_type, f"wear of {chain.spot.part_type}"
    own = _own_rate(fit, readings)
    if own is not None:
        count = f"its {len(readings)} readings" if len(readings) > 1 else "its only reading"
        chain.add(
            "rate",
            f"{count} alone, less {fit.offset:.3f} mm of bedding-in (range: gauge error only)",
            value=own[0] * factor, ends=(own[1] * factor, own[2] * factor), unit=unit,
            source="its readings",
        )  # fmt: skip
    chain.add(
        "shrinkage",
        f"{name} on average; machines differ by {percent(fit.machine_sd)}, "
        f"pieces by {percent(fit.piece_sd)}",
        value=fit.mean_rate * factor,
        ends=(fit.mean_rate_low * factor, fit.mean_rate_high * factor),
        unit=unit,
        source=f"{source}: {fit.n_readings:,} readings of {fit.n_pieces:,} pieces",
        piece="",
    )
    ratio = 1.0
    mine = fit.machines[fit.machines["machine"] == chain.spot.machine]
    if len(mine):
        row = mine.iloc[0]
        ratio = float(row["rate_ratio"])
        chain.add(
            "shrinkage",
            f"machine {chain.spot.machine} against the middle of the fleet",
            value=ratio, ends=(float(row["ratio_low"]), float(row["ratio_high"])), unit="times",
            source=f"{source}: {int(row['pieces']):,} pieces of it read", piece="",
        )  # fmt: skip
    fitted = fit.pieces[fit.pieces["piece"] == chain.piece]
    if len(fitted):
        row = fitted.iloc[0]
        middle = fit.mean_rate / np.exp((fit.machine_sd**2 + fit.piece_sd**2) / 2) * ratio
        chain.add(
            "shrinkage",
            f"taken together{_way(own, float(row['rate']), middle)}",
            value=float(row["rate"]) * factor,
            ends=(float(row["low"]) * factor, float(row["high"]) * factor), unit=unit,
            source=source,
        )  # fmt: skip
    elif chain.spot.unit:
        said = (
            "no piece of a set is followed: they wear as type and machine tell, each its own rate"
        )
        chain.add("shrinkage", said, source=source)
    else:
        said = "no reading of this piece: it wears as type and machine tell at its age"
        chain.add("shrinkage", said, source=source)


def _own_rate(
    fit: WearFit, readings: Sequence[Mapping[str, Any]]
) -> tuple[float, float, float] | None:
    """Return the rate (mm/h) that a piece's own readings tell, with what gauge error leaves open.

    Least squares through the bedding-in of its type, on hours as run.
    """
    told = [(float(r["age"]), float(r["wear_mm"])) for r in readings if r["age"]]
    if not told:
        return None
    age, wear = np.array(told).T
    weight = float(age @ age)
    rate = float(age @ (wear - fit.offset)) / weight
    half = NORMAL_90 * fit.gauge_sd / np.sqrt(weight)
    return rate, rate - half, rate + half


def _way(own: tuple[float, float, float] | None, fitted: float, middle: float) -> str:
    """Say how far the fit goes from the machine's rate to the piece's own."""
    if own is None or own[0] <= 0 or abs(np.log(own[0] / middle)) < 0.05:
        return ": its own rate and its machine's agree"
    share = float(np.log(fitted / middle) / np.log(own[0] / middle))
    if not 0 <= share <= 1:
        return "; the pace of the seasons it ran in counts too"
    return f": {percent(share)} of the way from its machine's rate to its own"


def _life(chain: Chain, row: Any) -> None:
    """Add a failure mode of the part type."""
    mode = str(row["mode"]) or "no failure so far"
    said = f"{mode}: {row['failures']:,.0f} failed of {row['lives']:,.0f} lives"
    said += f", {str(row['state']).replace('_', ' ')}; 1 in 10 gone by"
    chain.add(
        "life", said, value=plain(row["b10"]), ends=(plain(row["b10_low"]), plain(row["b10_high"])),
        unit=chain.unit, source=f"life of {chain.spot.part_type}", piece="",
    )  # fmt: skip


def _limit(chain: Chain, part: pd.Series[Any]) -> None:
    said = "changed at the latest when worn so far"
    if part["limit_measure"] not in (None, "depth"):
        said += f"; stated as {str(part['limit_measure']).replace('_', ' ')}"
    low, high = plain(part["limit_low_mm"]), plain(part["limit_high_mm"])
    if low is not None and high is not None:
        said += "; uncertain, drawn once a path"
    chain.add(
        "limit", said, value=plain(part["wear_limit_mm"]), ends=(low, high), unit="mm",
        source=f"part type {chain.spot.part_type}", piece="",
    )  # fmt: skip


# --- what lies ahead -----------------------------------------------------------------


def ahead(chain: Chain, snapshot: Snapshot, kept: SeasonForecast | None) -> None:
    """Add hours left, chances and the latest forecast's decision; where there is none, say so.

    Parameters
    ----------
    chain
        Takes the rows.
    snapshot
        What is known.
    kept
        The latest forecast.
    """
    if kept is None:
        said = "the chain ends here: no forecast is kept yet; make one: wearahead season PLAN"
        chain.add("decision", said, source="no forecast")
        return
    source = f"forecast {kept.number} of {kept.stamp.as_of}"
    plan = plan_of(kept)
    try:
        table = pieces_left(snapshot, plan, chain.spot.part_type)
    except (PlanError, NotInStore) as error:
        chain.add("hours_left", f"none: {error}", source=source)
    else:
        _left(chain, table, f"plan of forecast {kept.number}, logs up to {snapshot.day}")
    if kept.stamp.snapshot != snapshot.digest:
        said = (
            f"forecast {kept.number} saw what was known on {kept.stamp.as_of}; the chain above "
            "sees all that is known now, which differs"
        )
        chain.add("decision", said, at=kept.stamp.as_of, source=source)
    _decisions(chain, kept, plan, source)


def _left(chain: Chain, table: pd.DataFrame, source: str) -> None:
    own = _mine(chain, table)
    if not len(own):
        said = "none: it is not in place, or nothing tells how long it lasts"
        chain.add("hours_left", said, source=source)
    for row in records(own):
        many = f" ({row['quantity']:,} of {row['age']:,.0f} {chain.unit})" if len(own) > 1 else ""
        chain.add(
            "hours_left", f"until at its limit or failed{many}", value=plain(row['left']),
            ends=(plain(row["left_low"]), plain(row["left_high"])), unit="h", source=source,
        )  # fmt: skip
    each = "a piece of it, on average, " if own["quantity"].sum() > 1 else ""
    for what, column in (
        ("lasts to the next window of its machine", "chance_window"),
        ("lasts to the season's end", "chance_season"),
        ("lasts another season of the same hours too", "chance_next"),
    ):
        told = own[own[column].notna()]
        if len(told):
            chance = float(np.average(told[column], weights=told["quantity"]))
            chain.add("chance", f"{each}{what}", value=chance, unit="chance", source=source)


def _mine(chain: Chain, table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows about the spot: by place and position, of a set by its kit too."""
    spot = chain.spot
    mine = table["machine"].eq(spot.machine) & table["place"].eq(spot.place)
    mine &= table["part_type"].eq(spot.part_type)
    mine &= table["position"].fillna("").astype(str).eq(spot.position)
    if "piece" in table:
        mine &= table["piece"].eq(chain.piece)
    return table[mine]


def _decisions(chain: Chain, kept: SeasonForecast, plan: Plan, source: str) -> None:
    found = False
    for row in records(_mine(chain, kept.results["overhaul"])):
        chance = plain(row["chance_season"])
        lasts = "" if chance is None else f": it lasts the season with {percent(chance)}"
        many = f" ({row['quantity']:,.0f} pieces)" if row["quantity"] > 1 else ""
        chain.add(
            "decision", f"{DECIDED.get(str(row['decision']), str(row['decision']))}{many}{lasts}",
            at=plan.season.start, value=str(row["decision"]), source=f"{source}, overhaul",
        )  # fmt: skip
        found = True
    for row in records(_listed(chain, kept.results["to_change"])):
        why = WHY.get(str(row["because"]), str(row["because"]))
        over, if_left = plain(row["change_over_mm"]), plain(row["chance_if_left"])
        said = f"on the list for the window of {day(row['window'])}: {why}"
        if chain.spot.unit:
            pieces = float(row["quantity"])
            said += f"; {pieces:,.0f} piece{'s'[: pieces != 1]} of the set"
        if over is not None:
            said += f"; change it if worn over {over:.2f} mm"
        if if_left is not None:
            said += f"; if left, it lasts to the following window with {percent(if_left)}"
        chain.add(
            "decision", said, at=row["window"], value="change", source=f"{source}, to_change"
        )  # fmt: skip
        found = True
    policies = kept.exhibits["policies"]
    chosen = policies[policies["part_type"].eq(chain.spot.part_type) & policies["chosen"].eq(True)]
    if not found:
        said = "not on the list of any window: leave it, and change it when it fails or is due"
        chain.add("decision", said, value="leave", source=f"{source}, to_change")
    for row in records(chosen):
        said = f"followed for the part type: {str(row['policy']).replace('_', ' ')}"
        at_mm, age = plain(row["change_at_mm"]), plain(row["change_at_h"])
        said += f", at {at_mm:.2f} mm" if at_mm is not None and row["policy"] == "at_wear" else ""
        if age is not None and row["policy"] == "at_age":
            said += f", at {age:,.0f} {chain.unit}"
        chain.add(
            "decision", said, value=str(row["policy"]), source=f"{source}, policies", piece=""
        )


def _listed(chain: Chain, table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the change-out list that name the position, or are about the set."""
    spot = chain.spot
    mine = table["machine"].eq(spot.machine) & table["place"].eq(spot.place)
    if spot.unit:
        return table[mine & (table["part_type"].eq(spot.part_type) | table["because"].eq("size"))]
    named = table["positions"].fillna("").astype(str).str.split(", ")
    return table[mine & named.map(lambda names: spot.position in names)]
