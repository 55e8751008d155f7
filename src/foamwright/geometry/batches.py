"""Many paths worked on in batches, side by side where asked.

Batches keep memory bounded and are what threads share: while one runs in machine code, which needs
no lock, another is prepared.  Does not know what the work is.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from foamwright.geometry.path import Path

T = TypeVar("T")
#: Segments that are worked on at once: so many that what a call costs besides counts for nothing.
BATCH = 5_000


def in_batches(
    work: Callable[[list[Path]], Iterable[T]], paths: Iterable[Path], threads: int
) -> Iterator[T]:
    """What the work makes of each path, in their order; so many batches at once as threads."""
    if threads <= 1:
        yield from itertools.chain.from_iterable(map(work, _batches(paths)))
        return
    with ThreadPoolExecutor(threads) as pool:
        yield from itertools.chain.from_iterable(pool.map(work, _batches(paths)))


def _batches(paths: Iterable[Path]) -> Iterator[list[Path]]:
    batch: list[Path] = []
    size = 0
    for p in paths:
        batch.append(p)
        size += len(p.segments)
        if size >= BATCH:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch
