"""Two seasons and the start of a third: what happened, and what was written down of it."""

from __future__ import annotations

from copy import deepcopy
from datetime import date, timedelta

import numpy as np

from sample_logs import scene
from sample_logs.rows import (
    CHANGE_MINUTE,
    Change,
    Reading,
    kit_name,
    machine_hours,
    running_table,
    stretches,
)
from sample_logs.scene import LINES, MACHINES, SEASONS, SIZES, Season
from sample_logs.world import Array, Bank, World, read, stream


class History:
    """The plant from August 2024 to the end of the logs.

    Parameters
    ----------
    seed
        Of everything that happens.
    """

    def __init__(self, seed: int) -> None:
        self.world = World(seed)
        self.gauge = stream(seed, 23)
        self.choice = stream(seed, 22)
        self.running = running_table(seed)
        self.changes: list[Change] = []
        self.readings: list[Reading] = []
        self.meters: list[tuple[date, Array]] = []
        self.kept: dict[date, World] = {}
        self.fitted_kits = {(0, machine) for machine in range(len(MACHINES))}
        self.broken_pockets = np.zeros(len(MACHINES), dtype=np.int64)

    def run(self) -> None:
        """Live through all seasons and overhauls until the logs end."""
        self._first_sizes()
        total = np.zeros(len(MACHINES))
        for number, season in enumerate(SEASONS):
            if number:
                if season.year == 2026:
                    self.kept[date(2026, 6, 1)] = deepcopy(self.world)
                self._overhaul(season.year)
            self.meters.append((season.start - timedelta(days=1), total.copy()))
            for day in season.days:
                if day > scene.LOGS_END:
                    break
                hours = machine_hours(day, self.running[day][0])
                for part, opens in stretches(day, hours):
                    self._advance(day, part, number, after=opens is None)
                    total += part
                    if opens:
                        self.meters.append((day, total.copy()))
                        self._window(season, day)
            if season.days[-1] <= scene.LOGS_END:
                self.meters.append((season.days[-1] + timedelta(days=1), total.copy()))
        self.kept[scene.LOGS_END] = deepcopy(self.world)

    def _first_sizes(self) -> None:
        """On line A the first sleeves were measured before they were fitted."""
        for machine in scene.span(scene.A):
            for position in range(scene.SLEEVES):
                self._piece(scene.SEASONS[0].start, "rollers", machine, position, "fitted", "")

    def _bank(self, place: str) -> Bank:
        return self.world.sleeves if place == "rollers" else self.world.strips

    def _piece(
        self,
        day: date,
        place: str,
        machine: int,
        position: int,
        action: str,
        reason: str,
        minute: int = CHANGE_MINUTE,
    ) -> Change:
        bank = self._bank(place)
        change = Change(
            day,
            machine,
            place,
            bank.laws[bank.kind[machine, position]].part_type,
            action,
            position + 1,
            reason=reason,
            minute=minute,
        )
        if place == "rollers" and action != "removed":
            change.fitted_mm = float(bank.size[machine, position])
        self.changes.append(change)
        return change

    def _advance(self, day: date, hours: Array, season: int, *, after: bool) -> None:
        """Run one stretch of a day and write down what broke."""
        sunday = day.weekday() == 6
        begins = (20 * 60 + 30 if after else 0) if sunday else 0
        lasts = ((24 * 60 - begins) if after else 12 * 60) if sunday else 24 * 60
        for place, machine, position, share in self.world.advance(
            hours, season, self.running[day][1]
        ):
            if place == "pockets":
                self.broken_pockets[machine] += 1
                continue
            minute = begins + int(share * (lasts - 1))
            change = self._piece(day, place, machine, position, "replaced", "broken", minute)
            if place == "chain" and day.year == 2025 and not sunday and position % 2:
                change.at_from = day - timedelta(days=day.weekday())
                change.day = change.at_from + timedelta(days=5)

    def _window(self, season: Season, day: date) -> None:
        """Read, change and switch on a Sunday."""
        week = (day - season.start).days // 7 + 1
        for place, apart in (("rollers", 5), ("chain", 4)):
            self._inspect(place, day, week, apart, season.year)
        self._pockets(day)
        for at_week, size, machines in season.switches:
            if at_week == week:
                self._switch(day, scene.span(machines), size)

    def _inspect(self, place: str, day: date, week: int, apart: int, year: int) -> None:
        bank = self._bank(place)
        shown = read(bank.depth, self.gauge)
        broken_today = {
            (change.machine, change.position)
            for change in self.changes[-60:]
            if change.day == day and change.place == place
        }
        for machine in range(len(MACHINES)):
            for position in range(bank.age.shape[1]):
                turn = position % apart == (week + machine) % apart
                if not (turn or bank.alerted[machine, position]):
                    continue
                if (machine, position + 1) in broken_today:
                    continue
                reading = self._read(place, day, machine, position, shown)
                reading.chosen = "rotation" if turn else "suspect"
                law = bank.laws[bank.kind[machine, position]]
                bank.alerted[machine, position] = reading.depth >= law.alert
                if reading.depth >= law.limit:
                    reading.found_left = "removed"
                    self._renew(place, day, machine, position, year)

    def _read(self, place: str, day: date, machine: int, position: int, shown: Array) -> Reading:
        bank = self._bank(place)
        reading = Reading(
            day,
            machine,
            place,
            bank.laws[bank.kind[machine, position]].part_type,
            float(shown[machine, position]),
            float(bank.depth[machine, position]),
            position + 1,
            size=float(bank.size[machine, position]),
        )
        self.readings.append(reading)
        return reading

    def _renew(self, place: str, day: date, machine: int, position: int, year: int) -> None:
        """Change a worn piece, or turn a strip where the crew did so."""
        bank = self._bank(place)
        if (
            place == "chain"
            and (year, LINES[machine]) == scene.TURNING
            and bank.side[machine, position] == 1
        ):
            bank.turn(machine, position)
            self._piece(day, place, machine, position, "turned", "worn")
            return
        bank.renew(one(bank, machine, position))
        self._piece(day, place, machine, position, "replaced", "worn")

    def _pockets(self, day: date) -> None:
        """Read five pockets a machine at random, gauge all of them go/no-go, note the counts."""
        for machine in range(len(MACHINES)):
            size = int(self.world.calibre[machine])
            bank = self.world.pockets[size]
            law = bank.laws[0]
            kit = kit_name(size, machine)
            chosen = self.choice.choice(scene.POCKETS, 5, replace=False)
            depth = bank.depth[machine, chosen]
            for true, shown in zip(depth, read(depth, self.gauge), strict=True):
                self.readings.append(
                    Reading(
                        day,
                        machine,
                        "pockets",
                        law.part_type,
                        float(shown),
                        float(true),
                        kit=kit,
                        chosen="random",
                    )
                )
            worn = np.zeros(bank.age.shape, dtype=np.bool_)
            worn[machine] = bank.depth[machine] >= law.limit
            bank.renew(worn)
            counts = {"broken": int(self.broken_pockets[machine]), "worn": int(worn.sum())}
            self.broken_pockets[machine] = 0
            rows = [(reason, n) for reason, n in counts.items() if n] or [("", 0)]
            for reason, quantity in rows:
                self.changes.append(
                    Change(
                        day,
                        machine,
                        "pockets",
                        law.part_type,
                        "replaced",
                        quantity=quantity,
                        reason=reason,
                        kit=kit,
                    )
                )

    def _switch(self, day: date, machines: range, size: str) -> None:
        """Put another calibre on; a set fitted for the first time brings its age."""
        for machine in machines:
            old, new = int(self.world.calibre[machine]), SIZES.index(size)
            for action, number in (("removed", old), ("fitted", new)):
                law = scene.LINERS[number]
                change = Change(
                    day,
                    machine,
                    "pockets",
                    law.part_type,
                    action,
                    reason="size_change",
                    kit=kit_name(number, machine),
                )
                if action == "fitted" and (number, machine) not in self.fitted_kits:
                    self.fitted_kits.add((number, machine))
                    if MACHINES[machine] not in scene.UNKNOWN_START:
                        change.age_at_fit = scene.KIT_AGES.get(MACHINES[machine], 0)
                self.changes.append(change)
        self.world.switch(machines, size)

    def _overhaul(self, year: int) -> None:
        """Read every sleeve and strip, change what is far worn, put the small calibre on."""
        for machine, name in enumerate(MACHINES):
            day = scene.overhaul_day(year, machine)
            for place in ("rollers", "chain"):
                bank = self._bank(place)
                shown = read(bank.depth, self.gauge)
                for position in range(bank.age.shape[1]):
                    reading = self._read(place, day, machine, position, shown)
                    reading.chosen, reading.found_left = "all", "as_left"
                    trial = (
                        year == 2025
                        and place == "rollers"
                        and name in scene.TRIAL_MACHINES
                        and position + 1 in scene.TRIAL_POSITIONS
                    )
                    law = bank.laws[bank.kind[machine, position]]
                    bank.alerted[machine, position] = reading.depth >= law.alert
                    if trial:
                        reading.found_left = "removed"
                        self._piece(day, place, machine, position, "removed", "planned")
                        bank.kind[machine, position] = 1
                        bank.renew(one(bank, machine, position))
                        self._piece(day, place, machine, position, "fitted", "planned")
                    elif reading.depth >= scene.OVERHAUL_SHARE * law.limit:
                        reading.found_left = "removed"
                        bank.renew(one(bank, machine, position))
                        self._piece(day, place, machine, position, "replaced", "planned")
            self._switch(day, range(machine, machine + 1), "35")


def one(bank: Bank, machine: int, position: int) -> np.ndarray[tuple[int, int], np.dtype[np.bool_]]:
    """Return the mask of one piece."""
    where = np.zeros((bank.age.shape[0], bank.age.shape[1]), dtype=np.bool_)
    where[machine, position] = True
    return where
