"""Work ahead: the next things are made in another thread while the caller works on this one."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
_END = object()


def ahead(things: Iterable[T], most: int = 2) -> Iterator[T]:
    """The same things in the same order, at most `most` of them made ahead of the caller.

    An exception comes out where the thing would have. The thread ends with the iterator, also when that is closed early.
    """
    source = iter(things)
    pool = ThreadPoolExecutor(1, "readings")
    try:
        coming = deque(pool.submit(next, source, _END) for _ in range(most))
        while (thing := coming.popleft().result()) is not _END:
            coming.append(pool.submit(next, source, _END))
            yield thing  # type: ignore[misc]
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        if hasattr(source, "close"):
            source.close()
