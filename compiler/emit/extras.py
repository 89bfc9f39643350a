"""What a target may ask for beside the document, made only if it does.

`extras = [...]` in a target.toml names them; each becomes a name in its templates.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from bellcrank.compilation import Sound
from bellcrank.document.document_types import Document
from bellcrank.page.page import page_data, squeezed
from bellcrank.picture.draw import draw

EXTRAS = ("page", "picture")
"""The names of all extras."""


def extras(sound: Sound, document: Document) -> Mapping[str, Callable[[], str]]:
    """For each extra what makes it.

    page: what the page's script reads, squeezed. picture: the track plan as SVG."""
    return {
        "page": lambda: squeezed(page_data(sound, document)),
        "picture": lambda: draw(sound.layout),
    }
