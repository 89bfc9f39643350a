"""What a page says of its track plan beside the picture: the key of its symbols."""

from __future__ import annotations

from bellcrank.document.plain import Data
from bellcrank.picture import Drawing
from bellcrank.picture.key import symbols_used


def plan_shown(drawing: Drawing) -> Data:
    """symbols: the words of each symbol of the plan, and what draws it, as SVG."""
    return {"symbols": symbols_used(drawing.layout, drawing.plan, drawing.annotations)}
