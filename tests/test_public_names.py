"""The names other programs may call: all there, none but these, and loaded only when used."""

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import forecast

SOURCE = Path(forecast.__file__)


def imported_for_type_checkers() -> dict[str, str]:
    """Name to module, from the block that only type checkers read."""
    for node in ast.parse(SOURCE.read_text()).body:
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            imports = [line for line in node.body if isinstance(line, ast.ImportFrom)]
            return {alias.name: str(line.module) for line in imports for alias in line.names}
    raise AssertionError("no TYPE_CHECKING block")


def test_all_is_what_type_checkers_see_and_what_loads() -> None:
    homes = imported_for_type_checkers()
    assert list(forecast.__all__) == sorted(homes)
    assert homes == forecast._HOMES
    for name, home in homes.items():
        assert getattr(forecast, name) is getattr(import_module(home), name)


def test_names_are_documented_and_listed() -> None:
    for name in forecast.__all__:
        assert getattr(forecast, name).__doc__, name
        assert name in dir(forecast)


def test_a_misspelt_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="module 'forecast' has no attribute 'fit_weibul'"):
        forecast.fit_weibul  # type: ignore[attr-defined]  # noqa: B018


def test_importing_forecast_loads_nothing_dear() -> None:
    code = (
        "import forecast, sys; "
        "print(sorted({'pandas', 'numpy', 'scipy', 'duckdb', 'lifelines'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
