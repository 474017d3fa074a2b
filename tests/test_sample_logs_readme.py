"""The user's description of logs, plan and results names everything that there is."""

from __future__ import annotations

import re
from pathlib import Path

import sample_logs
from forecast.intake.kinds import KINDS
from forecast.planning.plan import (
    DownPlan,
    DrawsPlan,
    OverhaulPlan,
    PartPlan,
    ProductLoss,
    SeasonPlan,
    StockingPlan,
    SwitchPlan,
    WindowPlan,
    WindowsPlan,
)
from forecast.records.season import RESULTS

FOLDER = Path(sample_logs.__file__).parent
TEXT = (FOLDER / "README.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    found = re.search(rf"^#+ {re.escape(title)}.*?(?=^## |^### |\Z)", TEXT, re.M | re.S)
    assert found, title
    return found.group()


def test_every_column_of_every_log_is_described() -> None:
    common = section("1 The seven logs")
    for kind in KINDS.values():
        text = section(f"{kind.name}: ")
        for column in kind.columns:
            where = common if column.name in ("reported_at", "plant", "note") else text
            assert re.search(rf"\b{column.name}\b", where), (kind.name, column.name)
            for word in column.words:
                assert f"`{word}`" in text or {word} <= {"yes", "no"}, (kind.name, word)
        for name in kind.required():
            assert f"**{name}**" in text, (kind.name, name)


def test_every_key_of_the_plan_is_described() -> None:
    text = section("5 The plan file")
    tables = (
        SeasonPlan, OverhaulPlan, WindowsPlan, WindowPlan, DownPlan, SwitchPlan, StockingPlan,
        PartPlan, ProductLoss, DrawsPlan,
    )  # fmt: skip
    for table in tables:
        for name, field in table.model_fields.items():
            assert re.search(rf"\b{field.alias or name}\b", text), (table.__name__, name)


def test_every_result_is_listed_with_its_columns() -> None:
    text = section("6 Results")
    for name, columns in RESULTS.items():
        assert f"| {name} | {', '.join(columns)} |" in text


def test_every_sample_file_is_named() -> None:
    text = section("7 The sample logs")
    for path in sorted((FOLDER / "logs").iterdir()):
        general = re.sub(r"20\d\d", "YEAR", path.name)
        if path.suffix != ".toml":
            assert path.name in text or general in text, path.name
        else:
            assert any(f"{path.stem}{end} + .toml" in text for end in (".csv", ".xlsx")), path.name
