"""Ways to spread work: in this process, or over processes of this computer.

The contract is our own and has one method: `each(function, tasks)` calls a top-level function with each task and yields the
results in whatever order they arrive. Whoever merges must not care about the order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol, TypeVar

from stationtest.errors import usage

Task = TypeVar("Task")
Result = TypeVar("Result")


class Executor(Protocol):
    def each(self, function: Callable[[Task], Result], tasks: Iterable[Task]) -> Iterator[Result]: ...


class InProcess:
    """One task after the other, here. `workers` is accepted and not used."""

    def __init__(self, workers: int = 0) -> None:
        self.workers = workers

    def each(self, function: Callable[[Task], Result], tasks: Iterable[Task]) -> Iterator[Result]:
        """The results, in the order of the tasks."""
        for task in tasks:
            yield function(task)


class Processes:
    """Fresh processes of this computer, started by `spawn`, so that nothing is inherited that a plan does not say."""

    def __init__(self, workers: int) -> None:
        self.workers = max(1, workers)

    def each(self, function: Callable[[Task], Result], tasks: Iterable[Task]) -> Iterator[Result]:
        """The results as they arrive. Raises what the function raised, and `UsageError` if a process was ended from outside."""
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor, as_completed
        from concurrent.futures.process import BrokenProcessPool

        listed = list(tasks)
        pool = ProcessPoolExecutor(min(self.workers, len(listed)) or 1, mp_context=multiprocessing.get_context("spawn"))
        try:
            for future in as_completed([pool.submit(function, task) for task in listed]):
                yield future.result()
        except BrokenProcessPool as error:
            raise usage("a worker process ended without a result, perhaps for lack of memory; try --workers 0") from error
        finally:
            pool.shutdown(cancel_futures=True)
