"""From the logs to the decision about one position: every link with its number and its source."""

from __future__ import annotations

from typing import Any

import pandas as pd

from forecast.errors import NotInStore
from forecast.jobs.chain import Chain, from_logs, records
from forecast.jobs.clocks import clock_unit
from forecast.jobs.fits import fit_all
from forecast.jobs.otherwise import doubts_told
from forecast.jobs.reckoned import ahead, rate_and_limit
from forecast.jobs.spots import find_spot, on_machine
from forecast.records.season import SeasonForecast
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.seasons import kept_days, load_season
from forecast.store.snapshots import take_snapshot
from forecast.store.store import Store
from forecast.store.traces import (
    Spot,
    hours_told,
    imports_of,
    other_way,
    spots,
    trace,
)
from forecast.work import HERE, Work


def evidence(
    address: str,
    machine: str,
    position: str | None = None,
    *,
    place: str | None = None,
    work: Work = HERE,
) -> pd.DataFrame:
    """Return what is known of one position and what follows from it, link by link.

    Parameters
    ----------
    address
        The store.
    machine
        Its name.
    position
        A position, or a kit, place or part type that is a set; a position inside a set means the
        set. None: what sits where on the machine.
    place
        Where two places of the machine have a position of that name.
    work
        Whom to tell.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["evidence"]``. ``step`` is, in this order: position, change_out,
        reading, import, doubt (a second row a doubt says what settling it the other way would
        change), correction (the wear depth at 20 C), age, rate (of the piece alone), shrinkage,
        life (the part type's other failure modes), limit, hours_left, chance, decision. ``value``
        is a number in ``unit``, or what was decided; ``value_low`` and ``value_high`` its 90 %
        interval, for an ended life the ages between which it ended.

    Raises
    ------
    NotInStore
        If there is no such machine or position, or more than one; the message names what there is.
    """
    with open_store(address) as store:
        work.tell("reading the logs", 0, 0)
        snapshot = take_snapshot(store)
        known = spots(store)
        if position is None:
            on_machine(known, machine)
            return _overview(snapshot, machine)
        spot = find_spot(known, machine, position, place)
        found = trace(store, spot)
        rows = [*found.change_outs, *found.readings]
        files = imports_of(store, sorted({int(str(row["import_no"])) for row in rows}))
        told = hours_told(store, machine)
        kept = _latest(store)
        work.tell("settling its doubts the other way", 0, 0)
        others = {id: (way, then) for id, way, then in other_way(store, spot, found)}
    work.tell("fitting", 0, 0)
    last = found.last
    chain = Chain(
        spot,
        piece="" if last is None else str(last["piece"]),
        unit=clock_unit(snapshot, spot.part_type),
    )
    group = "" if last is None else str(last["duty_group"] or "")
    chain.add("position", _where(spot, last), value=spot.part_type, source="fleet")
    from_logs(chain, found, snapshot.lives, files, told)
    _in_order(chain)
    doubts_told(chain, found, others)
    _in_order(chain)
    if bool(_carries(snapshot, spot.part_type)):
        said = "parts that carry people get no forecast: their codes set their life"
        chain.add("decision", said, source=f"part type {spot.part_type}")
        return chain.table()
    fits = fit_all(snapshot, only=spot.part_type)
    own = [
        row for row in found.readings if row["piece"] == chain.piece and row["wear_mm"] is not None
    ]
    rate_and_limit(chain, snapshot, fits, group, [] if spot.unit else own)
    ahead(chain, snapshot, kept)
    return chain.table()


def _in_order(chain: Chain) -> None:
    """Put the links that the logs tell in the order of the chain."""
    order = ("position", "change_out", "reading", "import", "doubt", "correction", "age")
    chain.rows.sort(key=lambda row: order.index(str(row["step"])))


def _where(spot: Spot, last: Any) -> str:
    if spot.unit:
        inside = f"position {spot.asked} is one of " if spot.asked else ""
        said = f"{inside}{spot.quantity:,} positions of {spot.place} on {spot.machine}, kept as a "
        said += "set: its pieces are not followed one by one"
    else:
        said = f"position {spot.position} of {spot.place} on {spot.machine}"
    if last is None:
        return f"{said}; nothing was ever known to be there"
    now = "in place now" if last["in_place"] else "the last one there; nothing is in place now"
    return f"{said}; {last['piece']}, {now}"


def _carries(snapshot: Snapshot, part_type: str) -> bool:
    parts = snapshot.part_types
    own = parts.loc[parts["part_type"] == part_type, "carries_people"]
    return any(value is True or value == 1 for value in own if value == value)


def _latest(store: Store) -> SeasonForecast | None:
    return load_season(store) if kept_days(store) else None


def _overview(snapshot: Snapshot, machine: str) -> pd.DataFrame:
    """Return what sits where on a machine: a row a position or set."""
    here = snapshot.fitted[snapshot.fitted["machine"] == machine]
    if not len(here):
        raise NotInStore(
            f"nothing is known to be in service on machine {machine}",
            "Its change-outs may be missing, or its watch has ended: look at the fleet log.",
        )
    rows: list[dict[str, object]] = []
    for row in records(here):
        spot = Spot(machine, str(row["place"]), str(row["position"] or ""), str(row["part_type"]))
        unit = clock_unit(snapshot, spot.part_type)
        chain = Chain(spot, piece=str(row["piece"]), unit=unit)
        known = row["age"] == row["age"]
        said = f"{row['part_type']}, {'read' if row['read'] else 'never read'}"
        if row["quantity"] > 1 or not spot.position:
            said = f"{row['part_type']}, a set of {row['quantity']:,}"
        said += "" if row["in_place"] else ", on the shelf"
        said += "" if known else ", age unknown"
        chain.add(
            "position", said, value=float(row["age"]) if known else None, unit=unit, source="fleet"
        )
        rows += chain.rows
    whole = Chain(Spot(machine, "", "", ""))
    whole.rows = rows
    return whole.table()
