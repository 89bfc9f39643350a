"""The layouts whose pictures are judged: the kinds that people build, the examples, and the corpus
with the networks that it draws at random."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from corpus.networks import network
from picture.kinds_of_layout import KINDS
from sound_layouts import compiled, compiled_file

from bellcrank import Sound

TESTS = Path(__file__).parents[1]
EXAMPLES = sorted((TESTS.parent / "examples").glob("*.crank"))
CORPUS = sorted((TESTS / "corpus").glob("*/railway.crank"))
NETWORKS = range(24)
"""Seeds of networks, each with 8 fittings or more."""


class Drawable(NamedTuple):
    """A layout by its name. text: or the file in which it stands, or the seed of a network."""

    group: str
    name: str
    text: str | Path | int

    def compiled(self) -> Sound:
        if isinstance(self.text, Path):
            return compiled_file(self.text)
        if isinstance(self.text, int):
            return compiled(network(self.text, 8 + self.text % 12).text)
        return compiled(self.text)


def kinds() -> Iterator[Drawable]:
    for name, text in KINDS.items():
        yield Drawable("Kinds of layout", name, text)


def examples() -> Iterator[Drawable]:
    for path in EXAMPLES:
        yield Drawable("Examples", path.stem.replace("-", " "), path)


def corpus() -> Iterator[Drawable]:
    for path in CORPUS:
        yield Drawable("Layouts of the corpus", path.parent.name.replace("-", " "), path)


def networks() -> Iterator[Drawable]:
    for seed in NETWORKS:
        yield Drawable("Networks of the corpus", f"network {seed}", seed)


def drawable() -> Iterator[Drawable]:
    """All of them."""
    yield from kinds()
    yield from examples()
    yield from corpus()
    yield from networks()
