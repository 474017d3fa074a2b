"""Is this duty inside what this grade was tested for: pressure, speed, PV and heat, each alone.

Three witnesses, never mixed: the limits stated in the part type, the duties from which the plant's
own readings come, and (only when asked for by name) the printed values of a material.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import WearaheadError
from forecast.jobs.fits import fit_all
from forecast.jobs.names import known_part_type
from forecast.physics.attack import attacks, family
from forecast.physics.duty import us_wear_factor, wear_depth
from forecast.physics.heat import derated_pv, heat_flux
from forecast.physics.materials import FACTOR, Material, Printed, read_materials
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot
from forecast.store.opening import open_store
from forecast.store.snapshots import take_snapshot

LIMITS: Final = (
    ("pressure", "pressure_limit_mpa", "pressure_limit", "MPa"),
    ("speed", "speed_limit_m_s", "speed_limit", "m/s"),
    ("pv", "pv_limit_mpa_m_s", "pv_limit", "MPa m/s"),
    ("temperature", "max_temperature_c", "max_temperature", "C"),
)
"""Quantity, column of the part type, name in the materials file, unit."""

Row = dict[str, object]


@dataclass(frozen=True)
class Given:
    """A duty to be judged; None where nobody states it.

    Attributes
    ----------
    pressure_mpa, speed_m_s, temperature_c
        While loaded and moving.
    medium
        In words.
    """

    pressure_mpa: float | None = None
    speed_m_s: float | None = None
    temperature_c: float | None = None
    medium: str | None = None

    def value(self, quantity: str) -> float | None:
        """Return pressure, speed, pv or temperature."""
        if quantity == "pv":
            if self.pressure_mpa is None or self.speed_m_s is None:
                return None
            return self.pressure_mpa * self.speed_m_s
        named = {"pressure": self.pressure_mpa, "speed": self.speed_m_s}
        return named.get(quantity, self.temperature_c)


def duty(
    address: str,
    part_type: str,
    given: Given = Given(),
    *,
    material: str | None = None,
    materials: Path | None = None,
) -> pd.DataFrame:
    """Judge a duty of a part type.

    Parameters
    ----------
    address
        The store.
    part_type
        Whose limits.
    given
        The duty asked about; what is left out is taken from the fleet log.
    material
        A material whose printed values stand beside; None: none do.
    materials
        The file of printed values; None: the one that comes with the program.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["duty"]``: one row a quantity, duty and witness; ``inside`` is empty
        where there is no limit to compare with.

    Raises
    ------
    NotInStore
        If there is no such part type; the nearest name is told.
    WearaheadError
        If the materials cannot be read, or do not have the material.
    """
    with open_store(address) as store:
        snapshot = take_snapshot(store)
    known_part_type(snapshot, part_type)
    return judge(snapshot, part_type, given, printed_material(material, materials))


def printed_material(name: str | None, path: Path | None = None) -> Material | None:
    """Return a material of the file, None if none is asked for; see :func:`duty`."""
    if name is None:
        return None
    try:
        known = read_materials(path)
    except (ValueError, OSError) as error:
        where = path or "materials.toml"
        raise WearaheadError(f"{where}: {error}", "Mend the file, or leave it out.") from error
    if name not in known:
        raise WearaheadError(f"no material {name!r}", f"Known: {', '.join(sorted(known))}.")
    return known[name]


def judge(
    snapshot: Snapshot, part_type: str, given: Given, material: Material | None = None
) -> pd.DataFrame:
    """Judge a duty from what is known; see :func:`duty`."""
    part = _first(snapshot.part_types, part_type)
    stated = _first(snapshot.duty_limits, part_type)
    rows: list[Row] = _people(part)
    for asked in _duties(snapshot, part_type, given):
        for quantity, column, printed, unit in LIMITS:
            value = asked.value(quantity)
            limit = _number(stated.get(column))
            rows.append(_row(quantity, value, limit, unit, "the part type's limit"))
            tested = _tested(snapshot, part_type, quantity)
            if tested is not None:
                rows.append(_tested_row(quantity, value, tested, unit))
            found = None if material is None else material.get(printed)
            if found is not None:
                rows.append(_row(quantity, value, found.low, unit, found.cited))
        rows += _derated(asked, material)
        rows += _attacked(part, asked, material)
        rows += _warmth_and_wear(asked, material)
    rows += _measured(snapshot, part_type)
    rows += _wear_limit(snapshot, part)
    rows += _exposure(stated, str(part["clock"]))
    table = pd.DataFrame([{"part_type": part_type, **row} for row in rows])
    return table[list(STUDIES["duty"])].drop_duplicates(ignore_index=True)


def _people(part: Mapping[str, object]) -> list[Row]:
    """Warn of parts that carry people: whatever stands below, it is no safety basis."""
    said = part.get("carries_people")
    if said is None or said is pd.NA or said != said or not bool(said):
        return []
    source = (
        "the life of parts that carry people is set by their own codes and by licensed practice: "
        "nothing here is a forecast of it, and no safety basis"
    )
    return [{**_told("carries people", None, "", source), "inside": False}]


def _duties(snapshot: Snapshot, part_type: str, given: Given) -> list[Given]:
    """Return the duties to be judged: the one asked about, or those of the fleet."""
    own = snapshot.duties[snapshot.duties["part_type"] == part_type]
    columns = ["pressure_mpa", "speed_m_s", "temperature_c", "medium"]
    seen = own[columns].drop_duplicates().sort_values(columns, kind="stable")
    found = []
    for row in seen.itertuples(index=False):
        logged = (_number(row.pressure_mpa), _number(row.speed_m_s), _number(row.temperature_c))
        asked = (given.pressure_mpa, given.speed_m_s, given.temperature_c)
        p, v, warm = (a if a is not None else b for a, b in zip(asked, logged, strict=True))
        medium = given.medium if given.medium is not None else str(row.medium)
        found.append(Given(p, v, warm, medium))
    return list(dict.fromkeys(found)) or [given]


def _row(quantity: str, value: float | None, limit: float | None, unit: str, source: str) -> Row:
    known = value is not None and limit is not None
    inside = bool(value <= limit) if value is not None and limit is not None else None
    said = source if known else _missing(value, limit, source)
    return {
        "quantity": quantity,
        "value": value,
        "limit": limit,
        "unit": unit,
        "inside": inside,
        "source": said,
    }


def _missing(value: float | None, limit: float | None, source: str) -> str:
    lacks = "neither duty nor limit is" if value is limit else "no limit is"
    if value is None and limit is not None:
        lacks = "the duty is not"
    return f"{source}: {lacks} stated"


def _tested(snapshot: Snapshot, part_type: str, quantity: str) -> tuple[float, float] | None:
    """Return the least and the largest of a quantity from which the readings come."""
    pieces = snapshot.wear.loc[snapshot.wear["part_type"] == part_type, ["piece"]]
    seen = pieces.merge(snapshot.piece_duties, on="piece")
    columns = {"pressure": "pressure_mpa", "speed": "speed_m_s", "temperature": "temperature_c"}
    if quantity == "pv":
        values = seen["pressure_mpa"].astype(float) * seen["speed_m_s"].astype(float)
    else:
        values = seen[columns[quantity]].astype(float)
    values = values.dropna()
    return None if values.empty else (float(values.min()), float(values.max()))


def _tested_row(quantity: str, value: float | None, tested: tuple[float, float], unit: str) -> Row:
    """Compare with the range of the plant's own readings: outside is extrapolated."""
    low, high = tested
    slack = 1e-9 * max(abs(low), abs(high), 1.0)
    inside = None if value is None else bool(low - slack <= value <= high + slack)
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return {
        "quantity": quantity,
        "value": value,
        "limit": low if value is not None and value < low else high,
        "unit": unit,
        "inside": inside,
        "source": f"your own readings come from {span} {unit}"
        + ("" if inside is not False else ": extrapolated"),
    }


def _derated(asked: Given, material: Material | None) -> list[Row]:
    """Return the printed limit of PV brought down to the duty's temperature."""
    limit, most = (
        (None, None)
        if material is None
        else (material.get("pv_limit"), material.get("max_temperature"))
    )
    if limit is None or most is None or asked.temperature_c is None:
        return []
    at = derated_pv(limit.low, asked.temperature_c, most.low)
    source = (
        f"the printed limit brought down in a straight line to {most.low:g} C (common practice, "
        f"no source); {limit.cited}"
    )
    return [_row("pv when warm", asked.value("pv"), at, "MPa m/s", source)]


def _attacked(part: Mapping[str, object], asked: Given, material: Material | None) -> list[Row]:
    """Warn of media that embrittle without loss of size."""
    of = family(str(part["grade"]), str(part["description"]))
    of = material.family if material is not None and not of else of
    return [
        {
            "quantity": found.what,
            "value": asked.temperature_c,
            "limit": None if np.isnan(found.limit_c) else found.limit_c,
            "unit": "C",
            "inside": False,
            "source": f"{found.sentence} ({found.source})",
        }
        for found in attacks(of, asked.medium or "", asked.temperature_c)
    ]


def _warmth_and_wear(asked: Given, material: Material | None) -> list[Row]:
    """Return heat of friction and wear that the printed values let expect."""
    if material is None or asked.pressure_mpa is None or asked.speed_m_s is None:
        return []
    p, v = asked.pressure_mpa, asked.speed_m_s
    rows: list[Row] = []
    friction, k = material.get("friction"), material.get("specific_wear_rate")
    if friction is not None:
        heat = heat_flux(friction.high, p, v)
        rows.append(_told("heat of friction", heat, "W/cm2", friction.cited))
    if k is not None:
        rate = 1000.0 * float(wear_depth(_middle(k) * 1e-6, p, v, 1.0))
        span = f"good to a factor of {FACTOR:g} either way: {rate / FACTOR:.2g} to "
        rows.append(_told("expected wear", rate, "um/h", f"{span}{rate * FACTOR:.2g}; {k.cited}"))
    return rows


def _middle(value: Printed) -> float:
    return float(np.sqrt(value.low * value.high))


def _measured(snapshot: Snapshot, part_type: str) -> list[Row]:
    """Return the specific wear rate that the plant's own readings show, beside printed charts."""
    rows: list[Row] = []
    found = specific_wear(snapshot, part_type)
    turns = _first(snapshot.part_types, part_type).get("form") == "sleeve"
    for group, (k, low, high, us, us_low, us_high) in zip(
        found["duty_group"], found.iloc[:, 3:].to_numpy(dtype=float), strict=True
    ):
        span = f"your own readings, {low:.3g} to {high:.3g}"
        named = f" in duty group {group}" if group else ""
        how = f" (depth / p v t{_if_turning(k) if turns else ''})"
        rows.append(_told("specific wear rate", k, "1e-6 mm3/(N m)", f"{span}{named}{how}"))
        same = f"the same in the unit of US charts, {us_low:.3g} to {us_high:.3g}"
        same += f" ({_if_turning(us).removeprefix('; ')})" if turns else ""
        rows.append(_told("wear factor K", us, "1e-10 in3 min/(ft lbf h)", same))
    return rows


def _if_turning(k: float) -> str:
    """Say what k is of a sleeve that wears all round: the logs do not tell whether it turns.

    Its volume is spread over pi d L instead of d L, so that the same depth is pi times the k.
    """
    return f"; {np.pi * k:.3g} if the sleeve turns under its load, which spreads wear all round"


def specific_wear(snapshot: Snapshot, part_type: str) -> pd.DataFrame:
    """Return k of a part type by duty group, from mean rate and mean pressure x speed.

    Parameters
    ----------
    snapshot
        What is known.
    part_type
        Which; only parts with hours as their clock and a stated pressure and speed have one.

    Returns
    -------
    pandas.DataFrame
        Columns of ``STUDIES["specific_wear"]``: k in 1e-6 mm3/(N m) and in US units, with 90 %
        bounds. It is comparable with a printed chart of the same contact; a sleeve that turns
        under its load wears pi times less deep for the same k.
    """
    clock = snapshot.part_types.set_index("part_type").loc[part_type, "clock"]
    rows = []
    if clock == "hours":
        one_type = snapshot.wear["part_type"] == part_type
        fits = fit_all(snapshot, only=part_type).wear_fits if one_type.any() else {}
        for (name, group), fit in fits.items():
            own = snapshot.wear[one_type & (snapshot.wear["duty_group"] == group)]
            seen = own[["piece"]].merge(snapshot.piece_duties, on="piece")
            load = (seen["pressure_mpa"].astype(float) * seen["speed_m_s"].astype(float)).mean()
            if name != part_type or not fit.usable or not load > 0:
                continue
            rates = np.array([fit.mean_rate, fit.mean_rate_low, fit.mean_rate_high])
            k = rates / float(wear_depth(1.0, load, 1.0, 1.0))
            values = np.concatenate([k * 1e6, np.asarray(us_wear_factor(k))])
            rows.append((part_type, group, load, *map(float, values)))
    return pd.DataFrame(rows, columns=list(STUDIES["specific_wear"]))


def _told(quantity: str, value: float | None, unit: str, source: str) -> Row:
    return {
        "quantity": quantity,
        "value": value,
        "limit": None,
        "unit": unit,
        "inside": None,
        "source": source,
    }


def _wear_limit(snapshot: Snapshot, part: Mapping[str, object]) -> list[Row]:
    """Return the deepest last reading in place against the wear limit: what a gauge can see."""
    limit = _number(part.get("wear_limit_mm"))
    if limit is None:
        return []
    own = snapshot.wear[snapshot.wear["part_type"] == part["part_type"]]
    deepest = own.loc[own["in_place"].astype(bool), "last_mm"].astype(float).max()
    source = "wear limit; a size tells nothing of brittleness"
    return [_row("deepest wear read", _number(deepest), limit, "mm", source)]


def _exposure(stated: Mapping[str, object], clock: str) -> list[Row]:
    """Return the exposure limits beside the wear limit: what no thickness log can see."""
    rows: list[Row] = []
    for what, oldest, limit, unit in (
        ("oldest piece", "oldest_age", "max_age", clock),
        ("days in place", "oldest_days", "max_age_days", "days"),
    ):
        most = _number(stated.get(limit))
        if most is not None:
            source = "exposure limit of the part type, beside its wear limit"
            rows.append(_row(what, _number(stated.get(oldest)), most, unit, source))
    return rows


def _first(frame: pd.DataFrame, part_type: str) -> Mapping[str, object]:
    """Return the row of a part type as a mapping; empty if it has none."""
    own = frame[frame["part_type"] == part_type].to_dict(orient="records")
    return {str(name): value for name, value in own[0].items()} if own else {}


def _number(value: object) -> float | None:
    if value is None or value is pd.NA or value != value:
        return None
    return float(str(value))
