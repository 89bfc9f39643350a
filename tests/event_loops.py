"""Work that needs an event loop, in tests."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def in_a_loop(work: Coroutine[Any, Any, T]) -> T:
    """Run it to its end, in a thread of its own: a browser that other tests use may have a loop in
    this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, work).result()
