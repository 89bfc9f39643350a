"""A digest of code of this program as it runs here: what was found by other code is told apart."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from importlib import resources
from importlib.resources.abc import Traversable


def digest_of_code(*packages: str) -> str:
    """SHA-256 over the names and texts of all modules of some packages, in their order."""
    digest = hashlib.sha256()
    for package in packages:
        for name, data in _code(resources.files(package)):
            digest.update(f"{name} {len(data)}\n".encode() + data)
    return digest.hexdigest()


def _code(folder: Traversable) -> Iterator[tuple[str, bytes]]:
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        # Grammar and targets lie elsewhere where the package was installed to be edited.
        if entry.is_dir() and entry.name not in ("grammar", "targets"):
            yield from _code(entry)
        elif entry.name.endswith(".py"):
            yield entry.name, entry.read_bytes()
