"""Cells that cannot act: what a spreadsheet would run is defused, and the mark comes off again.

A spreadsheet takes a text that begins with one of ``= + - @``, a tab or a carriage return as
something to run. :func:`safe_cell` puts an apostrophe before it, :func:`unsafe_cell` takes exactly
that mark off again, so that an exported file can be imported as it was.
"""

from __future__ import annotations

import math
from typing import Final

ACTING: Final = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(text: str) -> str:
    """Defuse a text that a spreadsheet would run; numbers are left as they are.

    A text that already begins with apostrophes before such a sign gets one more, so that
    ``unsafe_cell(safe_cell(text)) == text`` for every text.
    """
    return f"'{text}" if text.lstrip("'").startswith(ACTING) and not _is_number(text) else text


def unsafe_cell(text: str) -> str:
    """Take off the mark of :func:`safe_cell`, and nothing else."""
    bare = text.removeprefix("'")
    return bare if bare != text and safe_cell(bare) == text else text


def _is_number(text: str) -> bool:
    """Say whether a spreadsheet reads the text as a plain finite number."""
    try:
        return math.isfinite(float(text)) and text == text.strip() and "_" not in text
    except ValueError:
        return False
