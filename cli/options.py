"""What commands share: their options, the store's address, the work with its progress."""

from __future__ import annotations

import inspect
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Final

import typer

from forecast.work import Tell, Work, silent

if TYPE_CHECKING:
    from rich.progress import TaskID

MANY: Final = 10_000
"""From how many on a rate says something."""

STEPS_SHOWN: Final = 6
"""Bars on a terminal at one time: older steps make room, so that it never scrolls."""

DEFAULT_STORE: Final = "wearahead.duckdb"
Json = Annotated[
    bool, typer.Option("--json", help="Print one JSON object with all columns, no tables.")
]
Day = Annotated[
    datetime | None,
    typer.Option(
        "--as-of", metavar="DATE", formats=["%Y-%m-%d"], help="The day to start from, 2026-08-30."
    ),
]


def with_example(function: Callable[..., object]) -> str:
    """Return a command's help: its docstring, whose example keeps its lines."""
    return (inspect.getdoc(function) or "").replace("\nExample:\n", "\n\b\nExample:\n")


def add(app: typer.Typer, name: str, command: Callable[..., None]) -> None:
    """Add a command under its name."""
    app.command(name, help=with_example(command))(command)


def address(ctx: typer.Context) -> str:
    """Return the store's address, as the command line's start or WEARAHEAD_STORE gave it."""
    return str(ctx.obj)


def said_before(ctx: typer.Context) -> str:
    """Return how a next command has to begin to reach the same store."""
    given = address(ctx)
    return "wearahead" if given == DEFAULT_STORE else f"wearahead --store {given}"


@contextmanager
def work(forecasts: int = 1) -> Iterator[Work]:
    """Give the work to hand down: who computes, and a progress bar where a person watches.

    Within one forecast the arrays are large and numpy lets go of the interpreter while it
    computes: a thread a core. Several forecasts go each into a process of its own. The results
    are the same with any number of either.

    Parameters
    ----------
    forecasts
        How many are asked for.
    """
    with _workers(forecasts) as workers, _telling() as tell:
        yield Work(workers, tell)


def _workers(forecasts: int) -> Executor:
    cores = os.cpu_count() or 1
    if forecasts < 2 or cores < 2:
        return ThreadPoolExecutor(cores)
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    # started afresh: a copy of this process would hold the locks of threads it does not have
    return ProcessPoolExecutor(
        min(cores, forecasts), multiprocessing.get_context("spawn"), _end_silently
    )


def _end_silently() -> None:
    """Let Ctrl-C end a worker without a word: the process that a person sees has one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@contextmanager
def busy(what: str = "reading the logs, fitting") -> Iterator[None]:
    """Show a person what is being done, where it is one step of over a second."""
    with work() as watched:
        watched.tell(what, 0, 0)
        yield


@contextmanager
def _telling() -> Iterator[Tell]:
    if not sys.stderr.isatty():
        yield silent
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("{task.description}"),
        BarColumn(complete_style="magenta", finished_style="magenta", pulse_style="magenta"),
        TextColumn("{task.fields[counted]}"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        tasks: dict[str, tuple[TaskID, float]] = {}

        def tell(what: str, done: int, of: int) -> None:
            if what not in tasks:
                if len(tasks) >= STEPS_SHOWN:
                    bar.update(list(tasks.values())[-STEPS_SHOWN][0], visible=False)
                tasks[what] = bar.add_task(what, total=of or None, counted=""), time.monotonic()
            task, began = tasks[what]
            said = counted(done, of, time.monotonic() - began)
            bar.update(task, completed=done, total=of or None, counted=said)

        yield tell


def counted(done: int, of: int, seconds: float) -> str:
    """Say how many of so many are done, and where they are many, how many a second."""
    if not of:
        return ""
    rate = f", {done / seconds:,.0f} a second" if done >= MANY and seconds > 0 else ""
    return f"{done:,} of {of:,}{rate}"
