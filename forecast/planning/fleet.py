"""What is in service at the start: pieces by set, the hours each set will run, size changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Final

import numpy as np
import pandas as pd

from forecast.errors import PlanError
from forecast.planning.calendar import Calendar, select_machines
from forecast.planning.draws import Array, BoolArray, IntArray, LifeDraws, Pieces
from forecast.planning.plan import PartPlan, Plan, ProductLoss, SwitchPlan

FITTED: Final = (
    "machine",
    "line",
    "place",
    "position",
    "part_type",
    "duty_group",
    "piece",
    "kit",
    "in_place",
    "quantity",
    "age",
)
"""Columns of the frame of what is in service; ages are known, sets split by age."""

UNIT: Final = ["machine", "place", "part_type", "duty_group", "kit"]
"""A *set* is what runs together: one kit, or the pieces of one type in one place."""

NOT_YET_LOGGED: Final = timedelta(days=7)
"""A size change planned for so many days ago that the logs do not tell is taken to be made now."""

Turned = Mapping[tuple[str, str], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Fleet:
    """The pieces of one part type and duty group.

    Attributes
    ----------
    part_type, duty_group
        Whose law it is.
    table
        One row a row of pieces: machine, line, place, position, kit.
    pieces, quantity
        The rows of equal pieces, and how many pieces each stands for.
    unit
        [rows] the set each row belongs to.
    in_use
        [sets, 1 + days] whether each set is in place: at the start, and on each day.
    hours
        [sets, days] what each set will run, on the part type's clock: none on the shelf.
    law
        Lives still to come.
    sides
        Sides that a piece wears on, one after the other, before a spare is drawn.
    loss
        What a worn piece loses in product; None where the plan does not say.
    turned
        [rows, 2] chance that a first side is turned when it is worn, and when it is changed
        before; None: it always is.
    per_hour
        [machines] what the part type's clock counts in a running hour; None where it counts hours.
    """

    part_type: str
    duty_group: str
    table: pd.DataFrame
    pieces: Pieces
    quantity: IntArray
    unit: IntArray
    in_use: BoolArray
    hours: Array
    law: LifeDraws
    sides: int = 1
    loss: ProductLoss | None = None
    turned: Array | None = None
    per_hour: Array | None = None

    def pace(self, machine: int) -> float:
        """Return what the part type's clock counts in a running hour of a machine."""
        return 1.0 if self.per_hour is None else float(self.per_hour[machine])

    @cached_property
    def side(self) -> IntArray:
        """[rows] the side each piece now wears on, from 0; its name tells ("... side 2")."""
        told = self.table["piece"].str.extract(r" side (\d+)$", expand=False).fillna("1")
        side = told.astype(np.int64).to_numpy()
        last: IntArray = np.clip(side - 1, 0, self.sides - 1).astype(np.int64)
        return last

    @property
    def takes_spare(self) -> BoolArray:
        """[rows] whether a planned change-out draws a spare: a first side may be turned instead."""
        spare: BoolArray = self.turns[:, 1] < 0.5
        return spare

    @cached_property
    def turns(self) -> Array:
        """[rows, 2] chance that the side a piece now wears on is followed by another.

        When it is worn, and when it is changed before.
        """
        always = np.ones((len(self.quantity), 2))
        more = (self.side + 1 < self.sides)[:, None]
        chance: Array = np.where(more, always if self.turned is None else self.turned, 0.0)
        return chance

    @cached_property
    def units(self) -> pd.DataFrame:
        """First row of each set: machine, line, place, kit."""
        return self.table.groupby(self.unit).first()[["machine", "line", "place", "kit"]]

    def switched_in(self) -> list[tuple[int, int]]:
        """Return (day, set) of every set that a size change puts in place."""
        put_in = self.in_use[:, 1:] & ~self.in_use[:, :-1]
        return [(int(day), int(unit)) for unit, day in np.argwhere(put_in)]

    def ahead(self, day: int) -> Array:
        """Return the hours [rows] that each row runs to the end of a day."""
        ahead: Array = self.hours[self.unit, : day + 1].sum(axis=1)
        return ahead


def mean_pace(fleets: Sequence[Fleet]) -> float:
    """Return what the clock of one part type counts in a running hour, over its pieces."""
    if all(fleet.per_hour is None for fleet in fleets):
        return 1.0
    paces = [
        np.repeat([fleet.pace(machine) for machine in fleet.pieces.machine], fleet.quantity)
        for fleet in fleets
    ]
    return float(np.concatenate(paces).mean())


def on_clock(part: PartPlan, pace: float) -> PartPlan:
    """Return a part type's plan with its product loss for each unit of its clock, not each hour."""
    loss = part.product_loss
    if loss is None or pace == 1.0:
        return part
    slower = loss.model_copy(update={"per_mm_per_hour": loss.per_mm_per_hour / pace})
    return part.model_copy(update={"product_loss": slower})


def fleets(
    fitted: pd.DataFrame,
    ran: Array,
    own: IntArray,
    due: BoolArray,
    laws: Mapping[tuple[str, str], LifeDraws],
    plan: Plan,
    calendar: Calendar,
    sides: Mapping[str, int] | None = None,
    turned: Turned | None = None,
    pace: Mapping[tuple[str, str], float] | None = None,
) -> tuple[Fleet, ...]:
    """Return what is in service, by part type and duty group.

    Parameters
    ----------
    fitted
        Rows of equal pieces, with the columns of :data:`FITTED`; quantities may be fractions
        (expected numbers of an age), which are rounded so that each set keeps its total.
    ran
        [rows, seasons] hours run in each season.
    own
        [rows] row among the own paths of the row's law; -1 without.
    due
        [rows] known to be at or over the limit.
    laws
        By part type and duty group; rows without a law are left out.
    plan, calendar
        The size changes, and the days ahead.
    sides
        By part type, where it is not 1.
    turned
        By part type and line: chance that a first side is turned when worn, and when changed
        before; where it is not there, it always is.
    pace
        What a part type's clock counts in a running hour, by machine and part type; where it is
        not there, it counts hours.

    Returns
    -------
    tuple
        In the order of part type and duty group.

    Raises
    ------
    PlanError
        If a size change finds nothing to take out, or no kit to put in.
    """
    if fitted["age"].isna().any():
        raise ValueError("every row in service should have an age")
    running = _sets_running(fitted, plan, calendar)
    number = {machine: at for at, machine in enumerate(calendar.machines)}
    found = []
    types = fitted["part_type"].astype(str).to_numpy()
    groups = fitted["duty_group"].fillna("").astype(str).to_numpy()
    for key in sorted(laws):
        rows = np.flatnonzero((types == key[0]) & (groups == key[1]))
        rows = rows[np.argsort(_order(fitted.iloc[rows]), kind="stable")]
        if not len(rows):
            continue
        table = _texts(fitted.iloc[rows])
        unit, first = _units(table)
        machine = np.array([number[name] for name in table["machine"]], dtype=np.int64)
        pieces = Pieces(
            machine,
            fitted["age"].to_numpy(dtype=np.float64)[rows],
            np.asarray(ran, dtype=np.float64)[rows],
            np.asarray(own, dtype=np.int64)[rows],
            np.asarray(due, dtype=bool)[rows],
        )
        quantity = _whole(fitted["quantity"].to_numpy(dtype=np.float64)[rows], unit)
        names = table.iloc[first][UNIT].itertuples(index=False, name=None)
        in_use = np.stack([running[tuple(name)] for name in names])
        counts = [(pace or {}).get((name, key[0]), 1.0) for name in calendar.machines]
        per_hour = None if set(counts) == {1.0} else np.array(counts, dtype=np.float64)
        hours = calendar.hours[machine[first]] * in_use[:, 1:]
        if per_hour is not None:
            hours = hours * per_hour[machine[first]][:, None]
        part = on_clock(plan.for_part_type(key[0]), float(np.array(counts)[machine].mean()))
        kept = quantity > 0
        habits = turned or {}
        chance = np.array([habits.get((key[0], line), (1.0, 1.0)) for line in table["line"]])
        found.append(
            Fleet(
                *key,
                table[kept].reset_index(drop=True),
                pieces.take(kept),
                quantity[kept],
                unit[kept],
                in_use,
                hours,
                laws[key],
                (sides or {}).get(key[0], 1),
                part.product_loss,
                chance[kept],
                per_hour,
            )
        )
    return tuple(found)


def _texts(fitted: pd.DataFrame) -> pd.DataFrame:
    """Return the names of each row as texts, empty where there are none."""
    columns = ["machine", "line", "place", "position", "part_type", "duty_group", "piece", "kit"]
    names: pd.DataFrame = fitted[columns].astype(object)
    return names.where(names.notna(), "").astype(str).reset_index(drop=True)


def _order(fitted: pd.DataFrame) -> IntArray:
    """Return the rank of each row by set and position, positions in the order people count."""
    table = _texts(fitted)
    counted = table["position"].str.extract(r"(\d+)", expand=False).fillna("0").astype(int)
    keys = table.assign(counted=counted, row=np.arange(len(table)))
    keys = keys.sort_values([*UNIT, "counted", "position", "row"], kind="stable")
    rank = np.empty(len(table), dtype=np.int64)
    rank[keys["row"].to_numpy()] = np.arange(len(table))
    return rank


def _units(table: pd.DataFrame) -> tuple[IntArray, IntArray]:
    """Return the set of each row, and the first row of each set."""
    names = table[UNIT].agg("\0".join, axis=1)
    unit, known = pd.factorize(names)
    first = np.array([int(np.argmax(unit == at)) for at in range(len(known))], dtype=np.int64)
    return unit.astype(np.int64), first


def _whole(quantity: Array, unit: IntArray) -> IntArray:
    """Round quantities so that each set keeps its total, to the nearest piece."""
    whole = np.zeros(len(quantity), dtype=np.int64)
    for number in np.unique(unit):
        rows = unit == number
        upto = np.floor(np.cumsum(quantity[rows]) + 0.5)
        whole[rows] = np.diff(upto, prepend=0.0).astype(np.int64)
    return whole


def _sets_running(
    fitted: pd.DataFrame, plan: Plan, calendar: Calendar
) -> dict[tuple[str, ...], BoolArray]:
    """Return whether each set is in place (not on the shelf): at the start, and on each day."""
    days = len(calendar.days)
    table = _texts(fitted).assign(in_place=fitted["in_place"].to_numpy(dtype=bool))
    running: dict[tuple[str, ...], BoolArray] = {}
    for *name, in_place in sorted(table[[*UNIT, "in_place"]].itertuples(index=False, name=None)):
        known = running.setdefault(tuple(name), np.zeros(1 + days, dtype=bool))
        known |= bool(in_place)
    # what lies further back has happened, or not: the logs say what is in place
    coming = [switch for switch in plan.switch if switch.on > calendar.as_of - NOT_YET_LOGGED]
    for switch in sorted(coming, key=lambda entry: entry.on):
        machines = select_machines(switch.machines, calendar.machines, calendar.lines)
        _switch(running, switch, machines, calendar)
    return running


def _switch(
    running: dict[tuple[str, ...], BoolArray],
    switch: SwitchPlan,
    machines: tuple[str, ...],
    calendar: Calendar,
) -> None:
    """Carry one size change out from its day on, where it was not made before its time.

    One of the last days that the logs do not tell yet is made on the first day ahead.
    """
    day = 1 + max(calendar.at(switch.on), 0)
    taken, lacking = 0, []
    for machine in machines:
        out = [
            name
            for name, days in running.items()
            if name[0] == machine and name[2] == switch.from_part and days[day]
        ]
        for place in sorted({name[1] for name in out}):
            kits = [
                name
                for name, days in running.items()
                if name[:3] == (machine, place, switch.to_part) and not days[day]
            ]
            if not kits:
                lacking.append(machine)
                continue
            taken += 1
            running[min(kits)][day:] = True
            for name in out:
                if name[1] == place:
                    running[name][day:] = False
    where = f"[[switch]] on {switch.on}"
    if lacking and switch.on > calendar.as_of:
        raise PlanError(
            f"{where}: no {switch.to_part} on the shelf of {', '.join(lacking)}",
            "Name its kit in the fleet log, or take these machines out of the switch.",
        )
    made = {name[0] for name, days in running.items() if name[2] == switch.to_part and days[day]}
    if not taken and switch.on > calendar.as_of and not made.issuperset(machines):
        raise PlanError(
            f"{where}: none of {', '.join(machines)} runs {switch.from_part} on that day",
            "Check from_part and the machines, or take the switch out.",
        )
