"""The plan file: every key, its default, every fault at once with its line."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from forecast.errors import PlanError
from forecast.planning import plan_text
from forecast.planning.plan_checks import called, faults_between, nearest

Policy = Literal["run_to_failure", "at_age", "at_wear", "every_window", "cheapest"]
WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]

Amount = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=0)]
Share = Annotated[float, Field(gt=0, lt=1)]
Name = Annotated[str, Field(min_length=1)]


def _names(value: object) -> tuple[str, ...]:
    """Read names: a text with commas, or a list of texts."""
    names = value.split(",") if isinstance(value, str) else value
    if isinstance(names, (list, tuple)) and names and all(isinstance(name, str) for name in names):
        stripped = tuple(name.strip() for name in names)
        if all(stripped):
            return stripped
    raise ValueError('should be a text such as "G01-G12", "G01, G05", a line or "*", or a list')


class Table(BaseModel):
    """One table of the plan file: frozen, of the written types, without unknown keys."""

    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", populate_by_name=True)


class SeasonPlan(Table):
    """``[season]``: the days that are forecast, and how long the machines run in them."""

    name: Name = "Season"
    start: date
    end: date
    as_of: date | None = None
    running_hours_per_day: Annotated[float, Field(ge=0, le=24)] | None = None
    season_spread: Annotated[float, Field(ge=0, le=3)] | None = None
    season_shared: Annotated[float, Field(ge=0, le=1)] = 0.0
    currency: str = ""


class OverhaulPlan(Table):
    """``[overhaul]``: the stop before the season in which any part can be changed."""

    first: date = Field(alias="from")
    until: date
    crew_hours: Amount | None = None
    keep_chance: Share | None = None


class WindowsPlan(Table):
    """``[windows]``: the stops of every week, and what a crew can do in one."""

    weekly: Weekday | None = None
    crew_hours: Amount | None = None
    machine_setup_minutes: Amount = 0.0


class WindowPlan(Table):
    """``[[window]]``: one stop, of one line or of all."""

    day: date = Field(alias="date")
    line: Name | None = None
    hours: Annotated[float, Field(ge=0, le=24)] | None = None
    crew_hours: Amount | None = None


class DownPlan(Table):
    """``[[down]]``: a machine or a line out of use, first and last day included."""

    machine: Name | None = None
    line: Name | None = None
    first: date = Field(alias="from")
    until: date


class SwitchPlan(Table):
    """``[[switch]]``: a change of size, on which machines and from which day."""

    from_part: Name
    to_part: Name
    machines: Annotated[tuple[str, ...], BeforeValidator(_names)]
    on: date


class StockingPlan(Table):
    """``[stocking]``: how sure the stock should be."""

    service_level: Share = 0.95
    all_types: Share | None = None
    budget: Amount | None = None


class ProductLoss(Table):
    """``product_loss``: what one worn piece loses in product per running hour."""

    from_mm: Amount
    per_mm_per_hour: Amount


class PartPlan(Table):
    """``[defaults]`` and ``[part_type."X"]``: policy, costs and crew time of one part type.

    Costs are in the season's currency, per piece; None where the plan does not give them.
    """

    policy: Policy = "cheapest"
    change_at_age: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    change_at_percent: Annotated[float, Field(gt=0, le=200)] | None = None
    every_windows: Annotated[int, Field(ge=1)] | None = None
    planned_cost: Amount | None = None
    unplanned_cost: Amount | None = None
    failure_stops: bool = False
    stop_hours: Amount | None = None
    stop_hour_cost: Amount | None = None
    minutes: Amount = 0.0
    set_minutes: Amount | None = None
    reserve: Count = 0
    product_loss: ProductLoss | None = None

    @property
    def stop_cost(self) -> float | None:
        """Cost of the stop that one failure causes; 0 if it stops nothing, None if not known."""
        if not self.failure_stops:
            return 0.0
        if self.stop_hours is None or self.stop_hour_cost is None:
            return None
        return self.stop_hours * self.stop_hour_cost


class DrawsPlan(Table):
    """``[draws]``: how many season paths, from which seed."""

    count: Annotated[int, Field(ge=100, le=1_000_000)] = 4000
    seed: Annotated[int, Field(ge=0, lt=2**63)] = 1


class Plan(Table):
    """A plan file.

    Attributes
    ----------
    text
        The file's text after ``--set``.
    """

    season: SeasonPlan
    overhaul: OverhaulPlan | None = None
    windows: WindowsPlan = WindowsPlan()
    window: tuple[WindowPlan, ...] = ()
    down: tuple[DownPlan, ...] = ()
    switch: tuple[SwitchPlan, ...] = ()
    stocking: StockingPlan = StockingPlan()
    defaults: PartPlan = PartPlan()
    part_type: dict[str, PartPlan] = {}
    draws: DrawsPlan = DrawsPlan()
    text: str = Field(default="", exclude=True)

    def at(self, day: date) -> Plan:
        """Return the same plan as it stands on another day."""
        return self.model_copy(update={"season": self.season.model_copy(update={"as_of": day})})

    def for_part_type(self, name: str) -> PartPlan:
        """Return ``[defaults]`` with the part type's own table laid over them."""
        own = self.part_type.get(name, PartPlan())
        given = {key: getattr(own, key) for key in sorted(own.model_fields_set)}
        return self.defaults.model_copy(update=given)


def read_plan(path: Path, settings: Sequence[str] = ()) -> Plan:
    """Read a plan file.

    Parameters
    ----------
    path
        The TOML file.
    settings
        ``KEY=VALUE`` from the command line, applied to the text in turn.

    Raises
    ------
    PlanError
        If the file cannot be read, is no TOML, or has faults: all of them, each with its line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise PlanError(f"there is no plan file {path}", "Check the name and the folder.") from None
    except OSError as error:
        raise PlanError(
            f"the plan file {path} cannot be read: {error.strerror or error}",
            "A plan is one TOML file: name it, and see that you may read it.",
        ) from None
    except UnicodeDecodeError:
        raise PlanError(
            f"the plan file {path} is no text", "A plan is a TOML file: save it in UTF-8."
        ) from None
    document = _document(path.name, text)
    for setting in settings:
        try:
            text = plan_text.apply_setting(text, setting)
        except ValueError as error:
            raise PlanError(f"--set: {error}", "Give one line of TOML a --set.") from None
        document = _document(f"{path.name} after --set {setting}", text)
    faults = list(_typing_faults(document)) + list(faults_between(document))
    _refuse(path.name, text, faults)
    return Plan.model_validate({**_arrays(document), "text": text})


def check_names(
    plan: Plan, part_types: Collection[str], machines: Collection[str], lines: Collection[str]
) -> None:
    """Refuse a plan that names part types, machines or lines that nobody knows.

    Parameters
    ----------
    plan
        A plan that was read.
    part_types, machines, lines
        Every known name.

    Raises
    ------
    PlanError
        With every unknown name, its line, and the nearest known one.
    """
    asked: list[tuple[plan_text.Path, str, str, Collection[str]]] = [
        (("part_type", name), "part type", name, part_types) for name in plan.part_type
    ]
    for number, switch in enumerate(plan.switch):
        for key in ("from_part", "to_part"):
            place = ("switch", number, key)
            asked.append((place, "part type", getattr(switch, key), part_types))
    for number, window in enumerate(plan.window):
        if window.line is not None:
            asked.append((("window", number, "line"), "line", window.line, lines))
    for number, down in enumerate(plan.down):
        if down.line is not None:
            asked.append((("down", number, "line"), "line", down.line, lines))
    for number, down in enumerate(plan.down):
        if down.machine is not None:
            asked.append((("down", number, "machine"), "machine", down.machine, machines))
    faults = [
        (path, f"no {what} {name!r} in the logs{nearest(name, known)}")
        for path, what, name, known in asked
        if name not in known
    ]
    _refuse("the plan", plan.text, faults)


def _document(name: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise PlanError(
            f"{name} is not TOML: {error}", "Texts need quotes, dates none: end = 2027-11-08."
        ) from None


def _refuse(name: str, text: str, faults: Sequence[tuple[plan_text.Path, str]]) -> None:
    """Raise every fault with its line, in the order of the lines."""
    if not faults:
        return
    spans = plan_text.find_keys(text)
    lines = sorted({(plan_text.line_of(spans, path), message) for path, message in faults})
    count = "1 fault" if len(lines) == 1 else f"{len(lines)} faults"
    told = "".join(f"\n  line {line}: {message}" for line, message in lines)
    raise PlanError(f"{name} has {count}:{told}", "Mend these lines and run the command again.")


def _arrays(document: Mapping[str, Any]) -> dict[str, Any]:
    """Return the document with its arrays of tables as tuples."""
    return {
        key: tuple(value) if isinstance(value, list) else value for key, value in document.items()
    }


def _typing_faults(document: Mapping[str, Any]) -> Iterator[tuple[plan_text.Path, str]]:
    """Find unknown keys, missing keys, wrong types and numbers out of range."""
    if "text" in document:
        yield ("text",), _unknown("text", Plan, "the plan")
    try:
        Plan.model_validate({key: _arrays(document)[key] for key in document if key != "text"})
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            path: plan_text.Path = fault["loc"]
            yield path, _in_words(path, fault["type"], fault["msg"], fault.get("input"))


def _in_words(path: plan_text.Path, kind: str, message: str, value: object) -> str:
    name = called(path)
    if kind == "extra_forbidden":
        table = path[:-1]
        return _unknown(str(path[-1]), _model(table), _table_name(table))
    if kind == "missing":
        return f"{name} is missing"
    said = message.removeprefix("Value error, ").removeprefix("Input ")
    return f"{name} {said}, not {_shown(value)}"


def _table_name(table: plan_text.Path) -> str:
    if not table:
        return "the plan"
    numbered = isinstance(table[-1], int)
    name = ".".join(str(part) for part in table if isinstance(part, str))
    return f"[[{name}]]" if numbered else f"[{name}]"


def _shown(value: object) -> str:
    if isinstance(value, date):
        return value.isoformat()
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _unknown(key: str, table: type[BaseModel], where: str) -> str:
    known = [field.alias or name for name, field in table.model_fields.items() if name != "text"]
    return f"unknown key {key!r} in {where}{nearest(key, known)}"


def _model(table: plan_text.Path) -> type[BaseModel]:
    """Return the table class that stands at a path."""
    names = [part for part in table if isinstance(part, str)]
    if not names:
        return Plan
    if names[-1] == "product_loss":
        return ProductLoss
    return _TABLES.get(names[0], Plan)


_TABLES: Final[Mapping[str, type[BaseModel]]] = {
    "season": SeasonPlan,
    "overhaul": OverhaulPlan,
    "windows": WindowsPlan,
    "window": WindowPlan,
    "down": DownPlan,
    "switch": SwitchPlan,
    "stocking": StockingPlan,
    "defaults": PartPlan,
    "part_type": PartPlan,
    "draws": DrawsPlan,
}
