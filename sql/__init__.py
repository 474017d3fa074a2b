"""Hands out one SQL statement by its name.

Every ``.sql`` file below this folder holds one statement; its name carries its folder, as in
``queries/lives``. Values are bound as ``$parameters``, never written into the text.
"""

from __future__ import annotations

from functools import cache
from importlib import resources


class UnknownStatement(LookupError):
    """A statement asked for by a name that no file has: a caller's bug."""


@cache
def statement(name: str) -> str:
    """Return the text of one statement.

    Parameters
    ----------
    name
        Folder and file without ending: ``"queries/lives"``.

    Raises
    ------
    UnknownStatement
        If there is no such file; the message lists the names of its folder.
    """
    try:
        return (resources.files(__name__) / f"{name}.sql").read_text(encoding="utf-8")
    except (FileNotFoundError, NotADirectoryError):
        folder = name.partition("/")[0]
        known = ", ".join(names(folder)) or "none"
        raise UnknownStatement(f"no statement {name!r}; in {folder}/: {known}") from None


@cache
def names(folder: str) -> tuple[str, ...]:
    """Return the names of a folder's statements, sorted: ``names("views")`` gives ``views/...``."""
    place = resources.files(__name__) / folder
    if not place.is_dir():
        return ()
    files = sorted(entry.name for entry in place.iterdir() if entry.name.endswith(".sql"))
    return tuple(f"{folder}/{file.removesuffix('.sql')}" for file in files)
