"""The door: opens the command tree, and says so if another distribution took our names."""

from __future__ import annotations

import sys

NAMES = ("cli", "forecast", "reports", "sample_logs", "sql")


def main() -> None:
    """Run the command line and exit with its code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # an old terminal shows '?' and goes on
    try:
        from cli.app import app

        app(prog_name="wearahead")
    except (ImportError, AttributeError):
        foreign = clashes()
        if not foreign:
            raise
        for name, owner in foreign.items():
            print(f"error: '{name}' in this environment also belongs to {owner}", file=sys.stderr)
        print(
            "       install wearahead on its own: uv tool install wearahead "
            "(or pipx install wearahead)",
            file=sys.stderr,
        )
        sys.exit(1)


def clashes() -> dict[str, str]:
    """Return which of our top-level names another distribution brings too, and its name."""
    from importlib.metadata import packages_distributions

    owners = packages_distributions()
    return {
        name: ", ".join(sorted({*owners.get(name, ())} - {"wearahead"}))
        for name in NAMES
        if {*owners.get(name, ())} - {"wearahead"}
    }
