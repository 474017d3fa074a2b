"""The command reference of the README, written from the commands themselves."""

from __future__ import annotations


def reference() -> str:
    """Return the help of every command as markdown, in the order of the command tree.

    Returns
    -------
    str
        A heading and a block of text for each command; the same for every terminal.
    """
    from typer.main import get_command

    from cli.app import Commands, app

    tree = get_command(app)
    assert isinstance(tree, Commands)  # noqa: S101  (a fact of cli.app, for the type checker)
    blocks = [_block("wearahead", [])]
    blocks += [_block(f"wearahead {name}", [name]) for name in tree.commands]
    return "\n".join(blocks)


def _block(title: str, path: list[str]) -> str:
    from typer.testing import CliRunner

    from cli.app import app

    plain = {"COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", "WEARAHEAD_STORE": None}
    shown = CliRunner().invoke(app, [*path, "--help"], prog_name="wearahead", env=plain).stdout
    return f"### {title}\n\n```text\n{shown.strip()}\n```\n"
