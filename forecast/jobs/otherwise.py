"""Doubts about one position: how they stand, and what the other settlement would change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from forecast.jobs.chain import Chain, plain
from forecast.store.traces import NEVER_ACT, Trace


def doubts_told(chain: Chain, found: Trace, others: Mapping[str, tuple[str, Trace]]) -> None:
    """Add each doubt: how it stands, and what settling it the other way would change.

    Parameters
    ----------
    chain
        Takes the rows.
    found
        The trace as things stand.
    others
        By id of a doubt: how it is supposed to be settled, and the trace that would give.
    """
    for row in found.doubts:
        default = str(row["by_default"]).replace("_", " ")
        state = str(row["state"]).replace("_", " ")
        stands = f"open, taken {default}" if state == "open" else f"settled {state}"
        said = f"{row['rule']}: {row['what']}; proposed: {row['proposal']}; {stands}"
        chain.add(
            "doubt", said, at=row["taken_at"], value=str(row["state"]),
            source=f"doubt {row['id']}", piece="",
        )  # fmt: skip
        settled, other = others.get(str(row["id"]), ("", None))
        if other is not None:
            way = "proposed" if settled == "as_proposed" else "logged"
            said = f"settled as {way}: {'; '.join(_differences(found, other))}"
            chain.add("doubt", said, value=settled, source=f"doubt {row['id']}", piece="")
        elif row["rule"] == "silent machine":
            said = "while it is taken so, the machine's pieces are left out of the lives"
            chain.add("doubt", said, source=f"doubt {row['id']}", piece="")
        elif row["rule"] in NEVER_ACT:
            said = "it moves no age and no depth here"
            chain.add("doubt", said, source=f"doubt {row['id']}", piece="")


def _differences(now: Trace, then: Trace) -> Iterator[str]:
    """Yield what another settlement would change at the spot: pieces, age, depths."""
    pieces = [len({str(stay["piece"]) for stay in each.stays}) for each in (now, then)]
    different = False
    if pieces[0] != pieces[1]:
        yield f"{pieces[1]} piece{'s'[: pieces[1] != 1]} so far instead of {pieces[0]}"
        different = True
    last, would = now.last, then.last
    ages = [None if stay is None else plain(stay["age"]) for stay in (last, would)]
    if ages[0] != ages[1]:
        old, new = ("unknown" if age is None else f"{age:,.0f} h" for age in ages)
        yield f"the last one {new} old instead of {old}"
        different = True
    ended = [sorted(_ends(each)) for each in (now, then)]
    if ended[0] != ended[1] and pieces[0] == pieces[1]:
        yield f"earlier lives of {_hours(ended[1])} instead of {_hours(ended[0])}"
        different = True
    depths = [_last_depth(each) for each in (now, then)]
    if depths[0] != depths[1]:
        old, new = ("none" if depth is None else f"{depth:.3f} mm" for depth in depths)
        yield f"its last depth {new} instead of {old}"
        different = True
    moved = len(_depths(now) ^ _depths(then))
    if moved and depths[0] == depths[1]:
        count = (moved + 1) // 2
        yield f"{count} earlier depth{'s differ' if count > 1 else ' differs'}"
        different = True
    if not different:
        yield "nothing changes here"


def _ends(each: Trace) -> list[float]:
    return [float(s["age"] or 0) for s in each.stays if s["in_place"] is False]


def _hours(ages: Sequence[float]) -> str:
    return ", ".join(f"{age:,.0f}" for age in ages[-3:]) + " h" if ages else "none"


def _depths(each: Trace) -> set[tuple[object, ...]]:
    return {
        (row["file"], row["file_line"], row["copy_no"], row["written_at"], row["wear_mm"])
        for row in each.readings
    }


def _last_depth(each: Trace) -> float | None:
    last = each.last
    own = [
        float(row["wear_mm"])
        for row in each.readings
        if last is not None and row["piece"] == last["piece"] and row["wear_mm"] is not None
    ]
    return own[-1] if own else None
