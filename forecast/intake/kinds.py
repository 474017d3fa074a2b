"""The seven log kinds: their columns, what each takes, and recognising a header."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final, Literal

from forecast.errors import LogError

Type = Literal[
    "text", "position", "number", "length", "whole", "date", "time", "word", "unit", "start"
]
"""What a cell holds; ``length`` is in the file's unit, ``start`` a word or an age."""

ABOVE_0: Final = 0.000001
"""The least size a log keeps: sizes at or below 0 are set aside."""

MOST: Final = 999_999.0
"""The greatest number of most columns."""


@dataclass(frozen=True)
class Column:
    """One column of a log kind.

    Attributes
    ----------
    name
        In files and messages.
    type
        What a cell holds.
    required
        A row without it is set aside.
    words
        The words it takes.
    least, most
        The span of its numbers; rows outside are set aside.
    past
        An event: not after the import's day.
    stored_as
        In the store, where the name is a word of SQL.
    """

    name: str
    type: Type = "text"
    required: bool = False
    words: tuple[str, ...] = ()
    least: float = -MOST
    most: float = MOST
    past: bool = False
    stored_as: str = ""

    def __post_init__(self) -> None:
        if not self.stored_as:
            object.__setattr__(self, "stored_as", self.name)


@dataclass(frozen=True)
class LogKind:
    """One kind of log.

    Attributes
    ----------
    name
        As in ``--kind``.
    columns
        In the order of the contract.
    same_row
        The key under which a later import amends a row.
    one_of
        A file must have at least one of these columns beside the required ones.
    versioned
        A row is known only when it equals the version then valid.
    """

    name: str
    columns: tuple[Column, ...]
    same_row: tuple[str, ...]
    one_of: tuple[str, ...] = ()
    versioned: bool = False

    def column(self, name: str) -> Column | None:
        """Return the column of a name, or None."""
        return next((column for column in self.columns if column.name == name), None)

    def required(self) -> tuple[str, ...]:
        """Return the names of the columns without which no row can be kept."""
        return tuple(column.name for column in self.columns if column.required)

    def lacks(self, names: Iterable[str]) -> list[str]:
        """Return what a header of these names is missing."""
        there = set(names)
        missing = [name for name in self.required() if name not in there]
        if self.one_of and not there.intersection(self.one_of):
            missing.append(" or ".join(self.one_of))
        return missing


def _name(name: str, required: bool = False, stored_as: str = "") -> Column:
    return Column(name, "text", required, stored_as=stored_as)


def _word(name: str, *words: str, required: bool = False, stored_as: str = "") -> Column:
    return Column(name, "word", required, words, stored_as=stored_as)


def _number(
    name: str,
    least: float = 0.0,
    most: float = MOST,
    *,
    required: bool = False,
    type: Type = "number",
) -> Column:
    return Column(name, type, required, least=least, most=most)


def _size(name: str, *, required: bool = False, least: float = ABOVE_0) -> Column:
    return Column(name, "length", required, least=least)


_AT: Final = Column("at", "time", required=True, past=True, stored_as="taken_at")
_EVERY: Final = (
    Column("reported_at", "time", past=True),
    Column("plant"),
    Column("note"),
)
_CLOCKS: Final = ("hours", "cycles", "metres", "tonnes")
_HOURS: Final = 99_999_999.0
_COLD: Final = -273.15

_PART_TYPES: Final = LogKind(
    "part_types",
    (
        _name("part_type", required=True),
        _size("wear_limit_mm", required=True),
        _name("description"),
        _name("grade"),
        _name("size"),
        _word("form", "bush", "sleeve", "strip", "pad", "pocket", "washer", "plug"),
        _size("nominal_mm"),
        _word("limit_measure", "depth", "diameter", "remaining", "elongation_percent"),
        _size("limit_low_mm"),
        _size("limit_high_mm"),
        _size("alert_mm"),
        _name("limit_source"),
        _word("clock", *_CLOCKS),
        _size("gauge_sd_mm", least=0.0),
        _size("size_sd_mm", least=0.0),
        _number("cte_um_per_m_k"),
        _number("swelling_percent"),
        _word("constraint", "free", "pressed", stored_as="held"),
        _size("housing_mm"),
        _number("housing_cte"),
        _number("max_age", ABOVE_0, _HOURS),
        _number("max_age_days", ABOVE_0, _HOURS),
        _number("sides", 1.0, 2.0, type="whole"),
        _word("carries_people", "yes", "no"),
        _number("pressure_limit_mpa"),
        _number("speed_limit_m_s"),
        _number("pv_limit_mpa_m_s"),
        _number("max_temperature_c", _COLD),
        _number("prior_shape", ABOVE_0),
        _number("prior_shape_low", ABOVE_0),
        _number("prior_shape_high", ABOVE_0),
        _name("prior_source"),
        _name("food_contact_doc"),
        _number("unit_cost", 0.0, _HOURS),
        _name("currency"),
        _number("lead_time_days", type="whole"),
        _number("min_order", 0.0, _HOURS, type="whole"),
        _number("pack_size", 0.0, _HOURS, type="whole"),
        Column("valid_from", "date"),
        *_EVERY,
    ),
    same_row=("part_type",),
    versioned=True,
)
_FLEET: Final = LogKind(
    "fleet",
    (
        _name("machine", required=True),
        _name("part_type", required=True),
        _name("positions", required=True),
        _name("line", stored_as="plant_line"),
        _name("place"),
        Column("from", "date", stored_as="from_day"),
        Column("until", "date", stored_as="until_day"),
        Column("start_state", "start", words=("new", "unknown"), least=0.0, most=_HOURS),
        _word("logged", "every_job", "some"),
        _word("serialised", "yes", "no"),
        _word("past_policy", "run_to_failure", "at_wear", "at_age"),
        _name("kit"),
        _name("zone"),
        _number("pressure_mpa"),
        _number("speed_m_s"),
        _number("temperature_c", _COLD),
        _name("medium"),
        _name("duty_group"),
        _number("clock_per_hour", ABOVE_0, _HOURS),
        _size("shaft_mm"),
        *_EVERY,
    ),
    same_row=("machine", "place", "part_type", "positions"),
    versioned=True,
)
_CHANGE_OUTS: Final = LogKind(
    "change_outs",
    (
        _name("machine", required=True),
        _AT,
        _word("action", "fitted", "removed", "replaced", "turned", required=True),
        Column("at_from", "time", past=True, stored_as="taken_from"),
        _name("part_type"),
        _name("place"),
        Column("position", "position"),
        _number("quantity", 0.0, type="whole"),
        _word(
            "reason",
            "worn",
            "broken",
            "seized",
            "chemical",
            "planned",
            "opportunistic",
            "size_change",
            "unknown",
        ),
        _size("fitted_mm"),
        _name("piece"),
        _name("kit"),
        _number("age_at_fit", 0.0, _HOURS),
        _name("batch"),
        _number("clock_shows", 0.0, _HOURS),
        *_EVERY,
    ),
    same_row=("machine", "at", "action", "part_type", "place", "position", "kit", "piece"),
)
_READINGS: Final = LogKind(
    "readings",
    (
        _name("machine", required=True),
        _AT,
        Column("value", "length", least=-MOST, stored_as="read_value"),
        _word("result", "ok", "over", "not_measured"),
        _name("part_type"),
        _name("place"),
        Column("position", "position"),
        _name("piece"),
        _name("kit"),
        Column("unit", "unit"),
        _word(
            "reading_kind",
            "wear_depth",
            "remaining",
            "bore",
            "clearance",
            "diameter",
            "pitch",
            "percent",
        ),
        _word("found_left", "as_found", "as_left", "removed"),
        _word("chosen", "all", "random", "rotation", "suspect"),
        _number("part_temperature_c", _COLD),
        _number("gauge_temperature_c", _COLD),
        _word("wet", "yes", "no"),
        _name("gauge"),
        _name("inspector"),
        _number("clock_shows", 0.0, _HOURS),
        *_EVERY,
    ),
    same_row=(
        "machine",
        "at",
        "place",
        "position",
        "piece",
        "kit",
        "part_type",
        "reading_kind",
        "found_left",
    ),
    one_of=("value", "result"),
)
_CLOCK_LOG: Final = LogKind(
    "clocks",
    (
        _name("machine", required=True),
        _AT,
        _number("shows", 0.0, _HOURS, required=True),
        _word("clock", *_CLOCKS),
        _name("meter"),
        _word("event", "replaced"),
        _number("start_shows", 0.0, _HOURS),
        *_EVERY,
    ),
    same_row=("machine", "meter", "at"),
)
_STOCK: Final = LogKind(
    "stock",
    (
        _name("part_type", required=True),
        _AT,
        _word("state", "on_hand", "on_order", "cancelled", required=True, stored_as="stock_state"),
        _number("quantity", 0.0, _HOURS, required=True, type="whole"),
        Column("due", "date"),
        _name("order_no"),
        _word("condition", "new", "part_worn", stored_as="stock_condition"),
        *_EVERY,
    ),
    same_row=("part_type", "at", "state", "order_no"),
    versioned=True,
)
_RUNNING: Final = LogKind(
    "running",
    (
        Column("date", "date", required=True, stored_as="run_date"),
        _number("running_hours", required=True, most=99_999.0),
        _name("machine"),
        _name("line", stored_as="plant_line"),
        _name("phase"),
        *_EVERY,
    ),
    same_row=("date", "machine", "line"),
    one_of=("machine", "line"),
    versioned=True,
)

KINDS: Final[Mapping[str, LogKind]] = {
    kind.name: kind
    for kind in (_PART_TYPES, _FLEET, _CHANGE_OUTS, _READINGS, _CLOCK_LOG, _STOCK, _RUNNING)
}
"""The log kinds by name."""

COLUMN_NAMES: Final = tuple(
    dict.fromkeys(column.name for kind in KINDS.values() for column in kind.columns)
)
"""Every column's name, once."""


def nearest(name: str, known: Iterable[str]) -> str:
    """Return ``; did you mean 'x'?`` for the nearest known name, or nothing."""
    near = get_close_matches(name.strip().lower(), list(known), n=1, cutoff=0.6)
    return f"; did you mean {near[0]!r}?" if near else ""


def kind_named(name: str) -> LogKind:
    """Return the kind of a name, or say which there are."""
    if name not in KINDS:
        raise LogError(
            f"there is no log kind {name!r}{nearest(name, KINDS)}",
            f"the kinds are {', '.join(KINDS)}",
        )
    return KINDS[name]


def recognise(header: Sequence[str], file: str = "the file") -> LogKind:
    """Return the kind whose columns a header has.

    Parameters
    ----------
    header
        The names of the file's columns in our words, as far as they are known.
    file
        For the message.

    Raises
    ------
    LogError
        If it is no log's header, with the nearest kind and what is missing; or if it could be
        two kinds alike.
    """
    there = set(header)

    def fit(kind: LogKind) -> int:
        return sum(column.name in there for column in kind.columns)

    whole = [kind for kind in KINDS.values() if not kind.lacks(there)]
    if not whole:
        raise LogError(*_unrecognised(header, file))
    best = max(map(fit, whole))
    ties = [kind.name for kind in whole if fit(kind) == best]
    if len(ties) > 1:
        raise LogError(
            f"{file} could be {' or '.join(ties)}: its header fits both alike",
            f"say which with --kind {ties[0]}",
        )
    return KINDS[ties[0]]


def _unrecognised(header: Sequence[str], file: str) -> tuple[str, str]:
    """Return message and way out for a header that is no log's."""
    there = set(header)

    def nearness(kind: LogKind) -> tuple[float, int]:
        needed = len(kind.required()) + bool(kind.one_of)
        return 1 - len(kind.lacks(there)) / needed, sum(c.name in there for c in kind.columns)

    kind = max(KINDS.values(), key=nearness)
    shown = ", ".join(repr(name) for name in header[:8]) or "nothing"
    missing = kind.lacks(there)
    message = (
        f"{file}: its header is no log's; it has {shown}. "
        f"Nearest is {kind.name}, which lacks {', '.join(missing)}"
    )
    free = [name for name in missing if kind.column(name)]
    for name in header:
        near = get_close_matches(name.lower(), free, n=1, cutoff=0.6)
        if near and kind.column(name) is None:
            return message, f'say in a mapping: [columns] "{name}" = "{near[0]}"'
    return message, (
        f'say in a mapping which column is {missing[0]!r}: [columns] "NAME IN THE FILE" = '
        f'"{missing[0]}"; or where the header stands: [file] header_row = 2'
    )
