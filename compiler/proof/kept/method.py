"""By what an answer was found: the code that proves, and the solver, each with its version.

A fault of either may have made an answer wrong. It is therefore a part of every key: once the
fault is put right, nothing that was kept before is found any more.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable

import z3

ROOMS = ("proof", "running", "machine")
"""The rooms whose code has a part in an answer: what states obligations and decides them, and
what packs a machine."""


@cache
def method() -> str:
    """A digest of that code, and the solver's version."""
    digest = hashlib.sha256()
    for room in ROOMS:
        for name, data in _code(resources.files(f"bellcrank.{room}")):
            digest.update(f"{name} {len(data)}\n".encode() + data)
    return f"{digest.hexdigest()} z3 {z3.get_version_string()}"


def _code(folder: Traversable) -> Iterator[tuple[str, bytes]]:
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.is_dir():
            yield from _code(entry)
        elif entry.name.endswith(".py"):
            yield entry.name, entry.read_bytes()
