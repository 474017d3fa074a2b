"""A file appears whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> Path:
    """Write a file so that nobody ever sees half of it.

    The bytes go to a temporary file in the same folder, are forced to the disk, and then take the
    name in one step; an older file of that name is replaced only then.

    Parameters
    ----------
    path
        Where the file shall stand; folders that are missing are made.
    data
        All of it.

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    OSError
        The folder cannot be written, or the disk is full; no temporary file is left.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o644)
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return path
