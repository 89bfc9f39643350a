"""Collecting garbage seldom while very many things are made that stay.

Python looks through all that has been made whenever some more has. Where a million
clauses are made and none thrown away, that takes half of the time and finds nothing.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

NEW_THINGS = 10_000_000
"""Things made before a look at the new ones; Python's own number is 700. The proof of 1,000 routes
makes fewer, and leaves nothing that such a look would find."""


@contextmanager
def collected_seldom() -> Iterator[None]:
    """Within it the collector runs seldom; afterwards as before."""
    before = gc.get_threshold()
    gc.set_threshold(NEW_THINGS, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*before)
