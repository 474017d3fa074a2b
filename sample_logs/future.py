"""How the season went on after a day, if parts are changed when broken or at their limit."""

from __future__ import annotations

from copy import deepcopy
from datetime import date

import numpy as np

from sample_logs import scene
from sample_logs.rows import machine_hours, stretches
from sample_logs.scene import MACHINES, SEASONS
from sample_logs.world import World


def future(world: World, running: dict[date, tuple[float, str]], after: date) -> dict[str, int]:
    """Live on to the end of season 2026: parts are changed when broken or at their limit.

    Parameters
    ----------
    world
        The plant as it stood; it is left alone.
    running
        Hours and raw material by day.
    after
        The last day already lived.

    Returns
    -------
    dict
        Spare parts used by part type.
    """
    world = deepcopy(world)
    used = {law.part_type: 0 for law in scene.LAWS}
    season = SEASONS[2]
    world.switch(range(len(MACHINES)), "35") if after < season.start else None
    for day in season.days:
        if day <= after:
            continue
        week = (day - season.start).days // 7 + 1
        for part, opens in stretches(day, machine_hours(day, running[day][0])):
            kinds = (world.sleeves.kind.copy(), world.strips.kind.copy())
            for place, machine, position, _ in world.advance(part, 2, running[day][1]):
                if place == "pockets":
                    used[scene.LINERS[world.calibre[machine]].part_type] += 1
                elif place == "rollers":
                    used[world.sleeves.laws[kinds[0][machine, position]].part_type] += 1
                else:
                    used[scene.STRIP.part_type] += 1
            if opens:
                _change_worn(world, used)
                for at_week, size, machines in season.switches:
                    if at_week == week:
                        world.switch(scene.span(machines), size)
    return used


def _change_worn(world: World, used: dict[str, int]) -> None:
    carried = [(bank, (world.calibre == size)[:, None]) for size, bank in enumerate(world.pockets)]
    everywhere = np.ones((len(MACHINES), 1), dtype=np.bool_)
    for bank, in_place in [(world.sleeves, everywhere), (world.strips, everywhere), *carried]:
        worn = (bank.depth >= bank.limit) & in_place
        for number, law in enumerate(bank.laws):
            used[law.part_type] += int((worn & (bank.kind == number)).sum())
        bank.renew(worn)
