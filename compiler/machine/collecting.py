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

MANY = 100_000
"""Things made from which on it takes long to look through them: a hundredth of a second."""


@contextmanager
def collected_seldom() -> Iterator[None]:
    """Within it the collector runs seldom; afterwards as before.

    What was made in the meantime, if it is much, is put with the old things and not looked
    through at once: to freeze what there is and to undo that does just this (gc.unfreeze).
    """
    before = gc.get_threshold()
    gc.set_threshold(NEW_THINGS, 20, 100)
    try:
        yield
    finally:
        made, *_ = gc.get_count()
        if made > MANY and before[0] < NEW_THINGS:
            gc.freeze()
            gc.unfreeze()
        gc.set_threshold(*before)
