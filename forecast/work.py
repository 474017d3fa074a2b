"""How long work is carried out: who computes, and whom to tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Final, TypeVar

T = TypeVar("T")
R = TypeVar("R")

Tell = Callable[[str, int, int], None]
"""Called between statements and tasks with (what, done, of); of = 0 where the end is not known."""


def silent(what: str, done: int, of: int) -> None:
    """Tell nobody."""


@dataclass(frozen=True)
class Work:
    """Who computes, and whom to tell.

    Parameters
    ----------
    executor
        Where tasks run; None runs them here, in turn.
    tell
        Told before each statement of an import and each task: the progress bar's hook, the point
        at which Ctrl-C rests, and a test's fuse.
    """

    executor: Executor | None = None
    tell: Tell = silent

    def map(self, function: Callable[[T], R], tasks: Sequence[T], what: str) -> list[R]:
        """Apply a function to every task, in order, and tell of each one done.

        Parameters
        ----------
        function
            Picklable where an executor is used.
        tasks
            The arguments, one a task.
        what
            What is being done, for the person who watches.

        Returns
        -------
        list
            The results in the order of the tasks.
        """
        results: list[R] = []
        pending = (
            map(function, tasks) if self.executor is None else self.executor.map(function, tasks)
        )
        self.tell(what, 0, len(tasks))
        for done, result in enumerate(pending, 1):
            results.append(result)
            self.tell(what, done, len(tasks))
        return results


HERE: Final = Work()
