"""The duty job: each quantity against its own limit, warnings, and nothing printed unasked."""

from __future__ import annotations

import runpy
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from forecast.errors import NotInStore, WearaheadError
from forecast.jobs.duty import Given, duty, judge, printed_material
from forecast.physics.duty import us_wear_factor
from forecast.records.season import STUDIES
from forecast.records.snapshot import Snapshot

LOGBOOK = runpy.run_path(str(Path(__file__).with_name("logbook.py")))["Logbook"]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A polyester sleeve with every limit stated, read once a machine."""
    log = LOGBOOK(tmp_path_factory.mktemp("duty") / "s.duckdb")
    limits = {
        "pressure_limit_mpa": 10.0,
        "speed_limit_m_s": 1.0,
        "pv_limit_mpa_m_s": 0.10,
        "max_temperature_c": 60.0,
        "max_age_days": 20.0,
    }
    log.part_type("SLEEVE", 1.0, grade="PET-X", **limits)
    duty = {"pressure_mpa": 0.3, "speed_m_s": 0.2, "temperature_c": 20.0, "medium": "dry"}
    for machine in ("M1", "M2"):
        log.fleet(machine, **duty)
        log.run(machine, "2026-08-03", 40)
        log.reading(machine, "2026-09-01", 0.4, position="1", reading_kind="wear_depth")
    log.write()
    return str(log.address)


@pytest.fixture(scope="module")
def known(address: str) -> Snapshot:
    from forecast.store.opening import open_store
    from forecast.store.snapshots import take_snapshot

    with open_store(address) as store:
        return take_snapshot(store, date(2026, 9, 11))


def stated(rows: pd.DataFrame) -> dict[str, bool]:
    own = rows[rows["source"] == "the part type's limit"]
    return {str(name): bool(yes) for name, yes in zip(own["quantity"], own["inside"], strict=True)}


def test_each_quantity_has_a_limit_of_its_own(known: Snapshot) -> None:
    """A small bush heavily loaded passes PV and fails on pressure; and so each alone."""
    inside = {"pressure": True, "speed": True, "pv": True, "temperature": True}
    assert stated(judge(known, "SLEEVE", Given())) == inside
    for given, outside in (
        (Given(12.0, 0.005), "pressure"),
        (Given(0.05, 1.5), "speed"),
        (Given(0.5, 0.5), "pv"),
        (Given(temperature_c=61.0), "temperature"),
    ):
        assert stated(judge(known, "SLEEVE", given)) == {**inside, outside: False}


def test_beyond_the_readings_is_said_to_be_extrapolated(known: Snapshot) -> None:
    rows = judge(known, "SLEEVE", Given(speed_m_s=0.4))
    own = rows[rows["source"].str.startswith("your own readings come from")]
    beyond = own[own["source"].str.endswith("extrapolated")]
    assert set(beyond["quantity"]) == {"speed", "pv"}
    assert not beyond["inside"].any()


def test_exposure_limits_stand_beside_the_wear_limit(known: Snapshot) -> None:
    rows = judge(known, "SLEEVE", Given()).set_index("quantity")
    assert rows.loc["deepest wear read", ["value", "limit", "inside"]].tolist() == [0.4, 1.0, True]
    assert rows.loc["days in place", "limit"] == 20.0
    assert not rows.loc["days in place", "inside"]  # thin enough, but too long in place


@pytest.mark.parametrize(
    ("medium", "warm", "warned"),
    [
        ("2 % caustic", 70.0, {"hot caustic"}),
        ("2 % caustic", 20.0, {"caustic"}),
        ("hot water rinse", 75.0, {"hot water"}),
        ("cold water", 12.0, set()),
        ("dry", 75.0, set()),
    ],
)
def test_polyester_is_warned_of_caustic_and_hot_water(
    known: Snapshot, medium: str, warm: float, warned: set[str]
) -> None:
    rows = judge(known, "SLEEVE", Given(temperature_c=warm, medium=medium))
    assert set(rows["quantity"]) & {"hot caustic", "caustic", "hot water"} == warned


def test_printed_values_stand_beside_only_when_asked_for(known: Snapshot) -> None:
    plain = judge(known, "SLEEVE", Given())
    assert not plain["source"].str.contains("order of magnitude").any()
    assert list(plain.columns) == list(STUDIES["duty"])
    rows = judge(known, "SLEEVE", Given(temperature_c=60.0), printed_material("PA6-cast"))
    cited = rows[rows["source"].str.contains("order of magnitude")].set_index("quantity")
    assert cited.loc["pv", "limit"] == 0.126
    assert cited.loc["pv when warm", "limit"] == pytest.approx(0.126 * (99 - 60) / (99 - 25))
    assert "common practice, no source" in cited.loc["pv when warm", "source"]


def test_a_file_of_ones_own_and_its_faults(address: str, tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        '[OURS]\nvalues = [{ quantity = "pv_limit", value = 0.05, source = "our rig",'
        " verified_by_plant = true }]\n"
    )
    rows = duty(address, "SLEEVE", material="OURS", materials=own)
    said = rows[rows["source"] == "our rig; verified by the plant"].iloc[0]
    assert (said["quantity"], said["limit"], bool(said["inside"])) == ("pv", 0.05, False)
    with pytest.raises(WearaheadError, match="no material 'PET'"):
        duty(address, "SLEEVE", material="PET", materials=own)
    own.write_text("[OURS\n")
    with pytest.raises(WearaheadError, match="no TOML"):
        duty(address, "SLEEVE", material="OURS", materials=own)
    with pytest.raises(NotInStore, match="SLEVE"):
        duty(address, "SLEVE")


def test_k_of_a_sleeve_says_what_it_is_if_the_sleeve_turns(tmp_path: Path) -> None:
    """Depth = k p v t / pi of a sleeve that turns (TRADE-E3c): k is pi times as large."""
    log = LOGBOOK(tmp_path / "s.duckdb")
    duty = {"pressure_mpa": 0.3, "speed_m_s": 0.2}
    for name, form in (("TURNS", "sleeve"), ("STANDS", "bush")):
        log.part_type(name, 1.0, form=form)
        for machine in ("M1", "M2", "M3"):
            log.fleet(machine, name, "8", place=form, **duty)
            for position in range(1, 9):
                for day, depth in (("2026-08-20", 0.2), ("2026-09-01", 0.32)):
                    more = {"position": str(position), "place": form, "part_type": name}
                    log.reading(machine, day, depth, reading_kind="wear_depth", **more)
    for machine in ("M1", "M2", "M3"):
        log.run(machine, "2026-08-03", 40)
    log.write()
    snapshot = log.snapshot()
    for name, said in (("TURNS", True), ("STANDS", False)):
        rows = judge(snapshot, name, Given()).set_index("quantity")
        k, us = rows.loc["specific wear rate"], rows.loc["wear factor K"]
        assert us["value"] == pytest.approx(us_wear_factor(k["value"] * 1e-6))
        assert us["unit"] == "1e-10 in3 min/(ft lbf h)"
        assert (f"{np.pi * k['value']:.3g} if the sleeve turns" in k["source"]) == said
        assert (f"{np.pi * us['value']:.3g} if the sleeve turns" in us["source"]) == said
