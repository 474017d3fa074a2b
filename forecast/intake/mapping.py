"""A foreign file's columns and habits, as its mapping states them."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from forecast.errors import LogError
from forecast.intake.kinds import COLUMN_NAMES, KINDS, nearest
from forecast.physics.units import FACTORS

Cell = str | int | float | bool

_STRICT = ConfigDict(extra="forbid", frozen=True, strict=True)


class FileHabits(BaseModel):
    """How the file itself is written.

    Attributes
    ----------
    sheet
        The tab of a workbook; ``*`` takes every tab with the mapped header.
    header_row
        The line of the header, from 1.
    fill_down
        Our names of columns whose blank cells repeat the one above.
    skip
        Lines whose first filled cell begins with one of these words are no rows.
    encoding, delimiter
        Where they cannot be told.
    """

    model_config = _STRICT

    sheet: str | None = None
    header_row: int = Field(default=1, ge=1)
    fill_down: list[str] = []
    skip: list[str] = []
    encoding: str | None = None
    delimiter: str | None = Field(default=None, min_length=1, max_length=1)


class Wide(BaseModel):
    """One column a position: each filled cell becomes a row.

    Attributes
    ----------
    columns
        ``"P001..P180"``, or names separated by commas.
    to
        The column that takes the header's name.
    values
        The column that takes the cell.
    """

    model_config = _STRICT

    columns: str
    to: str = "position"
    values: str = "value"

    def names(self) -> list[str]:
        """Return the names of the columns."""
        names: list[str] = []
        for item in self.columns.split(","):
            span = re.fullmatch(r"\s*(\D*)(\d{1,6})\s*\.\.\s*(\D*)(\d{1,6})\s*", item)
            if span is None:
                names.append(item.strip())
                continue
            before, first, _, last = span.groups()
            width = len(first)
            names += [f"{before}{n:0{width}d}" for n in range(int(first), int(last) + 1)]
        return names


class Mapping(BaseModel):
    """What a mapping file states; every part may be left out.

    Attributes
    ----------
    kind
        The log kind, where the header does not tell.
    decimal
        The decimal mark.
    dates
        How a date like 03/04/2026 is read.
    time_zone
        Of the plant, for files written in UTC.
    file
        How the file itself is written.
    columns
        Our name for each of the file's columns that is called otherwise.
    units
        Unit of length of a column.
    constant
        A value for every row, or ``sheet name``, or ``cell B2``.
    wide
        One column a position.
    values
        By column of ours: our word for each of the file's.
    prefix
        By column of ours: what is put before each value.
    """

    model_config = _STRICT

    kind: str | None = None
    decimal: Literal[".", ","] = "."
    dates: Literal["day-month", "month-day"] | None = None
    time_zone: str | None = None
    file: FileHabits = FileHabits()
    columns: dict[str, str] = {}
    units: dict[str, str] = {}
    constant: dict[str, Cell] = {}
    wide: Wide | None = None
    values: dict[str, dict[str, str]] = {}
    prefix: dict[str, str] = {}

    @model_validator(mode="before")
    @classmethod
    def _habits_of_the_file(cls, stated: Any) -> Any:
        """Take decimal mark, dates and time zone from ``[file]``: they may stand there as well."""
        file = stated.get("file") if isinstance(stated, dict) else None
        if not isinstance(file, dict):
            return stated
        habits = {key: file[key] for key in ("decimal", "dates", "time_zone") if key in file}
        rest = {key: value for key, value in file.items() if key not in habits}
        return {**stated, **habits, "file": rest}

    @model_validator(mode="after")
    def _known_names(self) -> Self:
        """Refuse names that no log kind has, with the nearest one."""
        if self.kind is not None and self.kind not in KINDS:
            raise ValueError(f"kind: there is no log kind {self.kind!r}{nearest(self.kind, KINDS)}")
        ours: list[tuple[str, str]] = [("[columns]", name) for name in self.columns.values()]
        for table in ("units", "constant", "values", "prefix"):
            ours += [(f"[{table}]", name) for name in getattr(self, table)]
        ours += [("[file] fill_down", name) for name in self.file.fill_down]
        if self.wide is not None:
            ours += [("[wide]", self.wide.to), ("[wide]", self.wide.values)]
        for where, name in ours:
            if name not in COLUMN_NAMES:
                raise ValueError(f"{where}: no log has {name!r}{nearest(name, COLUMN_NAMES)}")
        for name, unit in self.units.items():
            if unit not in FACTORS["length"]:
                raise ValueError(
                    f"[units] {name}: unknown unit {unit!r}; known: {', '.join(FACTORS['length'])}"
                )
        return self


def read_mapping(path: Path) -> Mapping:
    """Read a mapping file.

    Raises
    ------
    LogError
        If it is not there, is no TOML, or states something unknown: every fault at once, each
        with the nearest known key.
    """
    try:
        stated: dict[str, Any] = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise LogError(
            f"{path}: the mapping cannot be read ({error.strerror})", "check its name"
        ) from error
    except UnicodeDecodeError as error:
        raise LogError(f"{path}: the mapping is not UTF-8 text", "save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise LogError(f"{path}: {error}", "mend the line named") from error
    try:
        return Mapping.model_validate(stated)
    except ValidationError as error:
        faults = [_fault(dict(fault)) for fault in error.errors()]
        raise LogError(f"{path}: " + "; ".join(faults), "mend the mapping and try again") from error


def mapping_beside(file: Path) -> Path | None:
    """Return ``NAME.toml`` beside ``NAME.csv``, if it is there."""
    beside = file.with_suffix(".toml")
    return beside if beside != file and beside.is_file() else None


def _fault(fault: dict[str, Any]) -> str:
    """Say one of pydantic's faults in our words."""
    path = [str(part) for part in fault["loc"]]
    if fault["type"] == "extra_forbidden":
        known: dict[tuple[str, ...], type[BaseModel]] = {("file",): FileHabits, ("wide",): Wide}
        fields = known.get(tuple(path[:-1]), Mapping).model_fields
        return f"unknown key {'.'.join(path)!r}{nearest(path[-1], fields)}"
    message = str(fault["msg"]).removeprefix("Value error, ")
    return f"{'.'.join(path)}: {message}" if path else message
