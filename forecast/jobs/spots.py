"""Finds what a person means by a machine and a position: one position, or a set."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from forecast.errors import NotInStore
from forecast.jobs.names import nearest
from forecast.store.traces import Spot

MOST_NAMES: Final = 12


def find_spot(
    rows: Sequence[Mapping[str, Any]], machine: str, position: str, place: str | None = None
) -> Spot:
    """Return the position or set that is meant.

    Parameters
    ----------
    rows
        Every one the logs know: :func:`forecast.store.traces.spots`.
    machine
        Its name.
    position
        A position's name (whole numbers with or without leading zeros), alone or after its
        place's ("rollers 6"), or the name of a kit, a place or a part type that is a set. A
        position inside a set means the set: nobody follows its pieces one by one.
    place
        Where two places of the machine have a position of that name.

    Raises
    ------
    NotInStore
        If there is none, or more than one; the message names what there is.
    """
    here = on_machine(rows, machine)
    places = {str(row["place"]) for row in here}
    if place is not None:
        if place not in places:
            raise NotInStore(
                f"machine {machine} has no place {place!r}",
                f"Its places: {', '.join(sorted(places))}.",
                nearest=nearest(place, places),
            )
        here = [row for row in here if row["place"] == place]
    wanted = _plain(position)
    named = [row for row in here if wanted in row["positions"]]
    named = named or [row for row in here if _whole(row, position)]
    sets = [row for row in here if row["is_set"]]
    found = [row for row in named if not row["is_set"]] or named or [
        row for row in sets if position in (row["kit"], row["unit"], row["place"], row["part_type"])
    ]  # fmt: skip
    if not found:
        known = {str(name) for row in here for name in row["positions"]}
        known |= {str(row["kit"] or row["place"]) for row in here if row["is_set"]}
        raise NotInStore(
            f"no position {position!r} on machine {machine}",
            f"It has {_listed(here)}.",
            nearest=nearest(wanted, known),
        )
    where = {str(row["place"]) for row in found}
    if len(where) > 1:
        raise NotInStore(
            f"machine {machine} has a position {wanted} in {' and in '.join(sorted(where))}",
            f'Say which, as in "{min(where)} {wanted}", or with --place.',
        )
    row = max(found, key=lambda each: (each["kit"] == position, each["in_place"]))
    if not row["is_set"]:
        return Spot(machine, str(row["place"]), str(row["position"]), str(row["part_type"]))
    return Spot(
        machine,
        str(row["place"]),
        "",
        str(row["part_type"]),
        unit=str(row["unit"]),
        asked=next((name for name in row["positions"] if _asked(row, name, position)), ""),
        quantity=len(row["positions"]),
    )


def on_machine(rows: Sequence[Mapping[str, Any]], machine: str) -> list[Mapping[str, Any]]:
    """Return the positions and sets of one machine.

    Raises
    ------
    NotInStore
        If the fleet has no such machine; the nearest name is told.
    """
    here = [row for row in rows if row["machine"] == machine]
    if not here:
        known = {str(row["machine"]) for row in rows}
        near = nearest(machine, known)
        way = f"Did you mean {near}?" if near else f"Known: {_some(known)}."
        if not known:
            way = "Import the fleet log: it says which machine has which positions."
        raise NotInStore(f"no machine {machine!r} in the fleet", way, nearest=near)
    return here


def _whole(row: Mapping[str, Any], said: str) -> bool:
    """Say whether a place and one of its positions are named together."""
    place, _, position = said.rpartition(" ")
    return bool(row["place"] == place.strip() and _plain(position) in row["positions"])


def _asked(row: Mapping[str, Any], name: str, said: str) -> bool:
    return name in (_plain(said), _plain(said.rpartition(" ")[2]) if _whole(row, said) else "")


def _listed(here: Sequence[Mapping[str, Any]]) -> str:
    """Say what a machine has: 'rollers 1 to 24 and pockets, a set of 180 (K35-01, K45-01)'."""
    texts = []
    for place in dict.fromkeys(str(row["place"]) for row in here):
        own = [row for row in here if row["place"] == place]
        if own[0]["is_set"]:
            kits = [str(row["kit"]) for row in own if row["kit"]]
            named = f" ({_some(kits)})" if kits else ""
            texts.append(f"{place}, a set of {len(own[0]['positions'])}{named}")
        else:
            names = [str(row["position"]) for row in own]
            texts.append(f"{place} {_some(names)}")
    return "; ".join(texts)


def _some(names: Collection[str]) -> str:
    """Join names; of a long row of them the first and the last."""
    shown = list(names) if isinstance(names, list) else sorted(names)
    if len(shown) > MOST_NAMES:
        return f"{shown[0]} to {shown[-1]}"
    return ", ".join(shown)


def _plain(position: str) -> str:
    """Write a position as it is compared: whole numbers without leading zeros."""
    said = position.strip()
    return (said.lstrip("0") or "0") if said.isdecimal() else said
