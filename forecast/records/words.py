"""Numbers as every sentence of a forecast writes them."""

from __future__ import annotations


def percent(share: float, digits: int = 0) -> str:
    """Write a share in percent, with the space that the standard (ISO 80000-1) has before the sign.

    Parameters
    ----------
    share
        0 to 1.
    digits
        After the point.
    """
    return f"{100 * share:.{digits}f} %"
