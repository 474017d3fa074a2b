"""Printed material values: an editable file, each value with source, never used unasked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

UNITS: Final[Mapping[str, str]] = {
    "specific_wear_rate": "1e-6 mm3/(N m)",
    "friction": "",
    "pv_limit": "MPa m/s",
    "pressure_limit": "MPa",
    "speed_limit": "m/s",
    "max_temperature": "C",
    "max_hot_water": "C",
    "cte": "1e-6/K",
    "water_24h": "%",
    "water_saturated": "%",
    "modulus": "MPa",
}
"""What may stand in the file, and in which unit."""

FACTOR: Final = 2.5
"""Before plant data come, a printed wear rate is good to a factor of 2 to 3 either way (an
editor's judgement)."""


@dataclass(frozen=True)
class Printed:
    """One printed value.

    Attributes
    ----------
    quantity, unit
        See :data:`UNITS`.
    low, high
        Equal for a single value.
    source, test
        Where it was read, and what was tested.
    verified_by_plant
        Whether the plant has measured it itself; else it is of the order of magnitude only.
    """

    quantity: str
    low: float
    high: float
    source: str
    test: str
    read_on: str
    verified_by_plant: bool

    @property
    def unit(self) -> str:
        """The unit of the value."""
        return UNITS[self.quantity]

    @property
    def cited(self) -> str:
        """Source, test and how far to trust it, in words."""
        said = [self.source, self.test] if self.test else [self.source]
        trust = "verified by the plant" if self.verified_by_plant else "order of magnitude"
        return "; ".join([*said, trust])


@dataclass(frozen=True)
class Material:
    """A material of the file: its name, family and printed values."""

    name: str
    description: str
    family: str
    values: tuple[Printed, ...]

    def get(self, quantity: str) -> Printed | None:
        """Return the printed value of a quantity, or None."""
        return next((value for value in self.values if value.quantity == quantity), None)


def read_materials(path: Path | None = None) -> dict[str, Material]:
    """Read the materials that come with the program, or a file of one's own.

    Parameters
    ----------
    path
        A TOML file like ``materials.toml``; None: that file.

    Raises
    ------
    ValueError
        If the file is no TOML, or a value lacks its number or source, or is of an unknown
        quantity.
    OSError
        If it cannot be read.
    """
    text = (
        (files("forecast.physics") / "materials.toml").read_text("utf-8")
        if path is None
        else path.read_text("utf-8")
    )
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"the materials are no TOML: {error}") from error
    return {name: _material(name, table) for name, table in tables.items()}


def _material(name: str, table: Any) -> Material:
    if not isinstance(table, dict) or not isinstance(table.get("values"), list):
        raise ValueError(f"material {name!r} should have a list of values")
    return Material(
        name,
        str(table.get("description", "")),
        str(table.get("family", "")),
        tuple(_printed(name, value) for value in table["values"]),
    )


def _printed(name: str, value: Any) -> Printed:
    quantity = value.get("quantity") if isinstance(value, dict) else None
    if quantity not in UNITS:
        raise ValueError(f"material {name!r}: quantity {quantity!r} is none of {', '.join(UNITS)}")
    low, high = value.get("low", value.get("value")), value.get("high", value.get("value"))
    if not all(isinstance(end, (int, float)) for end in (low, high)) or low > high:
        raise ValueError(f"material {name!r}: {quantity} needs a value, or low and high")
    source = value.get("source")
    if not isinstance(source, str) or not source.strip():
        raise ValueError(f"material {name!r}: {quantity} needs its source")
    return Printed(
        quantity=str(quantity),
        low=float(low),
        high=float(high),
        source=source.strip(),
        test=str(value.get("test", "")),
        read_on=str(value.get("read_on", "")),
        verified_by_plant=value.get("verified_by_plant") is True,
    )
