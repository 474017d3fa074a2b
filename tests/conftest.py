"""A plain terminal for every test, one BLAS thread, and the published values."""

import csv
import os
from pathlib import Path

os.environ["_TYPER_FORCE_DISABLE_TERMINAL"] = "1"
os.environ["OPENBLAS_NUM_THREADS"] = "1"
for name in ("FORCE_COLOR", "PY_COLORS", "GITHUB_ACTIONS", "WEARAHEAD_STORE"):
    os.environ.pop(name, None)

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("ci")

PUBLISHED = Path(__file__).parent / "published"


@pytest.fixture(scope="session")
def published() -> dict[tuple[str, str], tuple[float, float]]:
    """Expected value and tolerance by (check, quantity), from published/expected.csv."""
    with (PUBLISHED / "expected.csv").open(newline="") as file:
        return {
            (row["id"], row["quantity"]): (float(row["expected"]), float(row["abs_tol"]))
            for row in csv.DictReader(file)
        }
