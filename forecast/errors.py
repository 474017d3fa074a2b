"""The errors a person can mend, each with its way out.

    WearaheadError
    ├── LogError       a log file or mapping that cannot be imported
    ├── PlanError      every fault of a plan file at once, each with its line
    ├── StoreError     the store cannot do what was asked
    │   ├── StoreBusy    another process holds it
    │   ├── StoreTooNew  it was written by a newer version
    │   └── StoreFull    the disk is full
    └── NotInStore     a machine, part type, import or forecast that is not there

Bad arguments to the mathematics raise ``ValueError``; data that cannot be fitted give a state.
"""

from __future__ import annotations


class WearaheadError(Exception):
    """Something a person can mend.

    Parameters
    ----------
    message
        What is wrong and where: file, line, column, value.
    way_out
        What to do about it; shown under the message.
    """

    def __init__(self, message: str, way_out: str = "") -> None:
        super().__init__(message)
        self.way_out = way_out


class LogError(WearaheadError):
    """A log file or mapping that cannot be imported; nothing of the command was kept."""


class PlanError(WearaheadError):
    """A plan file with faults: all of them, each with its line."""


class StoreError(WearaheadError):
    """The store cannot do what was asked; it is as it was before."""


class StoreBusy(StoreError):
    """Another process holds the store; the message names it."""


class StoreTooNew(StoreError):
    """The store was written by a newer version of the program."""


class StoreFull(StoreError):
    """The disk is full; the transaction was rolled back."""


class NotInStore(WearaheadError):
    """Something asked for by name or number is not in the store.

    Parameters
    ----------
    message
        What was asked for.
    way_out
        What to do about it.
    nearest
        The nearest known name, if one is near.
    """

    def __init__(self, message: str, way_out: str = "", nearest: str | None = None) -> None:
        super().__init__(message, way_out)
        self.nearest = nearest
