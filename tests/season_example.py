"""An invented but plausible season forecast of the potato packers, for the tests of the outputs.

Not a test: ``runpy.run_path(...)["example"]()`` gives one.  Seeded, so that its bytes are fixed.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from forecast.records.season import EXHIBITS, RESULTS, SeasonForecast, Stamp

AS_OF, FIRST, LAST = date(2026, 8, 30), date(2026, 8, 3), date(2026, 11, 8)
MACHINES = [f"G{n:02}" for n in range(1, 45)]
# part type: pieces a week, unplanned share, unit cost, lead days, pack, limit mm, rate um/h, bought
PARTS = {
    "LINER-35": (52.0, 0.12, 4.2, 42, 100, 0.9, 0.42, 400),
    "LINER-45": (118.0, 0.10, 4.6, 42, 100, 0.9, 0.47, 1100),
    "LINER-55": (96.0, 0.10, 5.1, 42, 100, 0.9, 0.45, 700),
    "LINER-65": (20.0, 0.15, 5.8, 42, 100, 0.9, 0.44, 0),
    "SLEEVE-30": (36.0, 0.18, 11.5, 35, 48, 1.2, 0.61, 240),
    "SLEEVE-30T": (2.6, 0.08, 16.0, 56, 24, 1.2, 0.38, 24),
    "STRIP-12": (9.0, 0.05, 38.0, 28, 8, 4.0, 1.35, 64),
}
WINDOWS = [AS_OF + timedelta(days=7 * n) for n in range(1, 11)]


def frame(name: str, rows: list[tuple[object, ...]]) -> pd.DataFrame:
    """Rows under the declared columns of a result or exhibit."""
    return pd.DataFrame(rows, columns=list({**RESULTS, **EXHIBITS}[name]))


def weekly(mean: float) -> list[float]:
    """Mean and quantiles p05, p50, p80, p90, p95 of a weekly count."""
    sd = (mean + (0.22 * mean) ** 2) ** 0.5
    points = [max(0.0, round(mean + z * sd)) for z in (-1.64, 0, 0.84, 1.28, 1.64)]
    return [round(mean, 3), *points]


def demand() -> tuple[pd.DataFrame, pd.DataFrame]:
    rows: list[tuple[object, ...]] = []
    totals: list[tuple[object, ...]] = []
    mondays = [date(2026, 8, 31) + timedelta(days=7 * n) for n in range(10)]
    for part, (pace, share, *_) in PARTS.items():
        cumulative = 0.0
        for n, monday in enumerate(mondays):
            mean = pace * (0.8 + 0.05 * n)
            cumulative += mean
            spread = 1.9 * (cumulative + (0.11 * cumulative) ** 2) ** 0.5
            for kind, part_of in (("total", 1.0), ("planned", 1 - share), ("unplanned", share)):
                band = (max(0.0, round(cumulative - spread)), round(cumulative + spread))
                one = 1.64 / 1.9 * spread  # one week alone: narrower
                alone = (max(0.0, round(cumulative - one)), round(cumulative + one))
                ends = (*band, *alone) if kind == "total" else (np.nan,) * 4
                rows.append((part, monday, kind, *weekly(mean * part_of), *ends))
        sd = spread / 1.9
        quantiles = [max(0, round(cumulative + z * sd)) for z in (-1.64, 0, 0.84, 1.28, 1.64)]
        kinds = (round(cumulative * (1 - share), 2), round(cumulative * share, 2), 0.0)
        totals.append((part, round(cumulative, 2), *quantiles, *kinds))
    return frame("season_totals", totals), frame("demand", rows)


def shelf(totals: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """What was used so far and what the shelf and the orders give: drawn where it is there."""
    used, supply = [], []
    for part, (pace, *_, bought) in PARTS.items():
        weeks = [(part, FIRST + timedelta(days=7 * n), round(pace * 0.7)) for n in range(4)]
        used += weeks
        start = sum(count for *_, count in weeks)
        p95 = totals.set_index("part_type").loc[part, "p95"]
        supply += [(part, FIRST, start + 0.6 * (p95 - bought))]
        supply += [(part, date(2026, 9, 21), start + p95 - bought)]
    return {
        "used": pd.DataFrame(used, columns=["part_type", "week", "quantity"]),
        "supply": pd.DataFrame(supply, columns=["part_type", "day", "quantity"]),
    }


def buying(totals: pd.DataFrame) -> dict[str, pd.DataFrame]:
    purchases, curve, closing = [], [], []
    for n, (part, (_, _, cost, lead, pack, _, _, bought)) in enumerate(PARTS.items()):
        total = totals.set_index("part_type").loc[part]
        shelf = total["p95"] - bought
        sd = (total["p95"] - total["p05"]) / 3.28
        for lots in range(0, 14):
            chance = float(0.5 * (1 + np.tanh((shelf + lots * pack - total["p50"]) / sd * 0.8)))
            curve.append((part, lots * pack, round(chance, 4), lots * pack * cost))
        without = float(0.5 * (1 + np.tanh((shelf - total["p50"]) / sd * 0.8)))
        needed = date(2026, 10, 12) + timedelta(days=3 * n)
        late = 5 if part == "SLEEVE-30T" else 0
        state = "late" if late else "in_time"
        if bought:
            order = needed - timedelta(days=lead)
            chances = (round(without, 3), 0.958, state, late, "lead time as in part_types")
            purchases.append((part, bought, order, needed, bought * cost, *chances))
        left = max(0.0, total["p95"] - total["mean"])
        closing.append((part, round(left, 1), 0, round(2 * left), round(left * cost, 2)))
    return {
        "purchases": frame("purchases", purchases),
        "stock_curve": frame("stock_curve", curve),
        "closing_stock": frame("closing_stock", closing),
    }


def changes(rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    rows, windows = [], []
    for w, window in enumerate(WINDOWS):
        used, opened = 0.0, set()
        for machine in MACHINES:
            for part, place, size in (
                ("SLEEVE-30", "rollers", 3),
                ("LINER-45", "pockets", 22),
                ("STRIP-12", "chain", 1),
            ):
                if rng.random() > 0.28:
                    continue
                quantity = float(1 + rng.poisson(size))
                reason = str(rng.choice(["limit", "limit", "age", "risk"]))
                loose = part == "LINER-45"
                spots = "" if loose else " ".join(map(str, sorted(rng.choice(24, 3) + 1)))
                hours = round(0.05 * quantity + 0.3, 2)
                used += hours
                opened.add(machine)
                low, high = max(0.0, quantity - 2), quantity + 3
                over = 0.84 if loose else np.nan
                left = round(float(rng.uniform(0.3, 0.97)), 3)
                rows.append(
                    (
                        window,
                        machine,
                        place,
                        part,
                        spots,
                        quantity,
                        low,
                        high,
                        over,
                        reason,
                        hours,
                        True,
                        left,
                    )
                )
        crew = 24.0 if w != 3 else 12.0
        windows.append((window, crew, min(used, crew), max(0.0, used - crew), len(opened)))
    return frame("to_change", rows), frame("windows", windows)


def wear_paths(rng: np.random.Generator) -> pd.DataFrame:
    rows = []
    for part in ("SLEEVE-30", "SLEEVE-30T", "STRIP-12"):
        limit, rate = PARTS[part][5], PARTS[part][6] / 1000
        for n in range(12):
            machine, spot = MACHINES[(7 * n) % 44], str(1 + n)
            own, start = rate * rng.lognormal(0, 0.2), rng.uniform(200, 500)
            ages = np.arange(start, (0.95 - 0.04 * n) * limit / own, 168.0)
            for k, age in enumerate(ages):
                at = AS_OF - timedelta(days=7 * (len(ages) - 1 - k))
                wear = round(own * age + 0.03 + rng.normal(0, 0.02), 3)
                piece = f"{machine}/{spot}"
                known = (part, piece, machine, spot, "reading", at, age, wear)
                rows.append((*known, np.nan, np.nan, limit))
            for k in range(11):
                ahead = ages[-1] + 157.5 * k
                middle = own * ahead + 0.03
                spread = 0.03 + 0.00006 * 157.5 * k
                at = AS_OF + timedelta(days=7 * k)
                point = (round(middle, 4), round(middle - spread, 4), round(middle + spread, 4))
                rows.append((part, piece, machine, spot, "ahead", at, ahead, *point, limit))
    return frame("wear_paths", rows)


def life_points(rng: np.random.Generator) -> pd.DataFrame:
    rows: list[tuple[object, ...]] = []
    for part, shape, scale, n in (("SLEEVE-30", 2.4, 9000.0, 40), ("LINER-45", 1.8, 14000.0, 25)):
        times = np.sort(scale * rng.weibull(shape, 400))[:n]
        for k, age in enumerate(times):
            share = (k + 1 - 0.3) / (400 + 0.4)
            rows.append((part, "broken", "failed", round(float(age), 1), share, np.nan, np.nan))
        for age in np.geomspace(times[0] / 2, times[-1] * 2.2, 40):
            hazard = (age / scale) ** shape
            low, high = (1 - np.exp(-hazard * f) for f in (0.65, 1.5))
            share = 1 - np.exp(-hazard)
            rows.append((part, "broken", "fit", round(float(age), 1), share, low, high))
        for age in rng.uniform(300, times[-1], 60):
            rows.append((part, "broken", "running", round(float(age), 1), *[np.nan] * 3))
    return frame("life_points", rows)


def fits() -> dict[str, pd.DataFrame]:
    wear, machines = [], []
    rng = np.random.default_rng(3)
    for part in PARTS:
        rate, grade = PARTS[part][6], "trial" if part.endswith("T") else "standard"
        loose = part.startswith("LINER")
        sizes = (44 if not loose else 0, 900 if not loose else 2100)
        rates = (rate, rate * 0.93, rate * 1.08, "um/h", 0.12, 0.2, 0.03, 0.028)
        state = "by_moments" if loose else "fitted"
        wear.append((part, "all", grade, *sizes, *rates, state))
        if not loose:
            for machine in MACHINES if part != "SLEEVE-30T" else MACHINES[:4]:
                ratio = float(rng.lognormal(0, 0.12))
                machines.append((machine, part, ratio, ratio * 0.86, ratio * 1.16, 24))
    life = [
        (
            "SLEEVE-30",
            "all",
            "broken",
            2200,
            40,
            2.4,
            2.0,
            2.9,
            9000.0,
            7900.0,
            10600.0,
            3520.0,
            3180.0,
            3940.0,
            "fitted",
            "",
        ),
        (
            "LINER-45",
            "all",
            "broken",
            9100,
            25,
            1.8,
            1.4,
            2.3,
            14000.0,
            11200.0,
            18900.0,
            4010.0,
            3500.0,
            4700.0,
            "fitted",
            "",
        ),
        (
            "SLEEVE-30T",
            "all",
            "broken",
            96,
            3,
            2.2,
            1.5,
            3.1,
            11000.0,
            7400.0,
            19000.0,
            3950.0,
            2700.0,
            6100.0,
            "leans_on_prior",
            "shape 2.3 (1.6-3.2), from SLEEVE-30",
        ),
        (
            "STRIP-12",
            "all",
            "",
            352,
            0,
            *([np.nan] * 3),
            np.nan,
            8200.0,
            np.nan,
            np.nan,
            2950.0,
            np.nan,
            "lower_bound_only",
            "shape 2.0 assumed",
        ),
    ]
    return {
        "wear": frame("wear", wear),
        "machines": frame("machines", machines),
        "life": frame("life", life),
    }


def words() -> dict[str, pd.DataFrame]:
    doubts = [
        (
            "3f2a91c0",
            "unlogged change-out",
            "G07",
            "12",
            "SLEEVE-30",
            date(2025, 10, 5),
            "wear fell from 1.10 to 0.12 mm",
            "changed 2025-10-02",
            "as proposed",
            "open",
            "",
        ),
        (
            "81bb0e55",
            "meter replaced",
            "G19",
            "",
            "",
            date(2025, 9, 12),
            "meter fell from 8,412 to 3 h",
            "new meter from 2025-09-12",
            "as proposed",
            "open",
            "",
        ),
        (
            "c7d40912",
            "swapped positions",
            "G23",
            "4",
            "SLEEVE-30",
            date(2024, 10, 13),
            "positions 4 and 5 changed places",
            "swap",
            "as logged",
            "as_logged",
            "asked Jo",
        ),
    ]
    aside = [
        (4, "inspection_2025.csv", 118, "value", "0,85", "not a number", 'decimal = "," ?'),
        (4, "inspection_2025.csv", 240, "machine", "", "required", "which machine?"),
        (6, "change_outs.csv", 12, "at", "31/02/2025", "not a date", "no such day"),
    ]
    assumed = [
        (
            "season spread",
            "0.15",
            "prior, updated by 2 seasons",
            "0: 4,700; 0.1: 4,750; 0.2: 4,810",
        ),
        ("running hours", "22.5 h a day", "plan file", "from 31 Aug to 8 Nov"),
        ("hot reading", "1 not corrected", "no expansion in part_types", "left out of the fit"),
    ]
    return {
        "doubts": frame("doubts", doubts),
        "set_aside": frame("set_aside", aside),
        "assumed": frame("assumed", assumed),
    }


def money(totals: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    costs = []
    for _, row in totals.iterrows():
        part = row["part_type"]
        parts = row["mean"] * PARTS[part][2]
        labour, failures, stops = (
            row["planned"] * 4.0,
            row["unplanned"] * 20.0,
            row["unplanned"] * 40,
        )
        total = parts + labour + failures + stops
        money = (parts, labour, failures, stops, 0.0, total, total * 0.85, total * 1.2)
        costs.append((part, "cheapest", *money, 1.8))
    stops = []
    for n in range(10):
        monday = date(2026, 8, 31) + timedelta(days=7 * n)
        mean = 11 + 0.9 * n
        weekly_stops = (mean, round(mean * 0.5), round(mean * 1.6))
        stops.append((monday, *weekly_stops, mean / 2, mean / 4, mean * 0.8))
    return frame("costs", costs), frame("unplanned_stops", stops)


def middle_half(weeks: pd.DataFrame) -> pd.DataFrame:
    """The band of half of all seasons: 0.4 of the wide one's way from its middle."""
    total = weeks[weeks["kind"] == "total"]
    low, high = total["cumulative_low"].astype(float), total["cumulative_high"].astype(float)
    middle, half = (low + high) / 2, 0.4 * (high - low) / 2
    found = total[["part_type", "week"]].assign(low=(middle - half).round(), high=middle + half)
    return found.assign(high=found["high"].round()).reset_index(drop=True)


def policies(totals: pd.DataFrame) -> pd.DataFrame:
    """What three policies come to in the long run; the example follows the middle one."""
    rows: list[tuple[object, ...]] = []
    for _, row in totals.iterrows():
        part, count = row["part_type"], row["mean"]
        cost = PARTS[part][2]
        failing = (np.nan, np.nan, count * (cost + 60) * 0.7, count * 0.7, count * 0.7)
        aged = (1450.0, np.nan, count * (cost + 12), count * 0.15, count)
        rows += [(part, "run_to_failure", False, *failing), (part, "at_age", True, *aged)]
        if not part.startswith("LINER"):
            worn = (np.nan, 0.8 * PARTS[part][5], count * (cost + 9), count * 0.1, count * 0.9)
            rows.append((part, "at_wear", False, *worn))
    return frame("policies", rows)


def example(**changed: pd.DataFrame) -> SeasonForecast:
    """One forecast of the running season; ``changed`` puts other frames in its place."""
    rng = np.random.default_rng(20260830)
    totals, weeks = demand()
    to_change, windows = changes(rng)
    costs, stops = money(totals)
    overhaul = frame("overhaul", [])
    days = [(FIRST + timedelta(days=n), FIRST + timedelta(days=n) > AS_OF) for n in range(98)]
    found = {"season_totals": totals, "demand": weeks, **buying(totals), "to_change": to_change,
             "overhaul": overhaul, "unplanned_stops": stops, "costs": costs, **fits(), **words(),
             "wear_paths": wear_paths(rng), "life_points": life_points(rng), "windows": windows,
             "season_days": frame("season_days", days), "middle_band": middle_half(weeks),
             "policies": policies(totals), **shelf(totals)}  # fmt: skip
    found = {name: frame(name, []) for name in EXHIBITS} | found | changed
    stamp = Stamp("Lifting season 2026", "[season]\nstart = 2026-08-03\nend = 2026-11-08\n", AS_OF,
                  1, 4000, "wearahead 0.1.0", 9, 2, "0" * 64)  # fmt: skip
    return SeasonForecast(
        stamp,
        FIRST,
        LAST,
        "EUR",
        {name: found[name] for name in RESULTS},
        {name: found[name] for name in EXHIBITS},
        number=7,
    )
