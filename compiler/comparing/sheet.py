"""The comparison on paper: what is to be done at the bench, with boxes to tick, and what is
different."""

from __future__ import annotations

from typing import Literal

import msgspec

from bellcrank.compilation import Checked
from bellcrank.document.comparison_data import ComparisonTold
from bellcrank.emit.description import built_in_folder
from bellcrank.emit.rendering import Piece, Rendering
from bellcrank.version import NOTICE, __version__


def comparison_sheet(
    old: Checked, new: Checked, told: ComparisonTold, paper: Literal["A4", "letter"] = "A4"
) -> bytes:
    """A page of HTML to print, in UTF-8. told: what is different between the two."""
    context = {
        "told": msgspec.to_builtins(told),
        "layout": {"title": new.layout.title},
        "status": new.status,
        "source": {"sha256": new.source_hash},
        "earlier": {"sha256": old.source_hash},
        "compiler": {"name": "bellcrank", "version": __version__},
        "notice": NOTICE,
        "options": {"sheet": paper},
    }
    piece = Piece("compared.html.jinja", {})
    rendering = Rendering("sheets", built_in_folder("sheets"), (piece,), context, None, None)
    (page,) = rendering.run()
    return page.encode("utf-8")
