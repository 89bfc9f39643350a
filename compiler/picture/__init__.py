"""The picture: a signalling plan of a layout, drawn from the text alone.

Takes a layout, with the routes and the machine for what is laid over it, and makes SVG
text of it. Nothing of the proof or of files enters.
"""

from bellcrank.picture.annotations import BARE, Annotations, one_way
from bellcrank.picture.draw import Drawing, draw, draw_and_tell, drawing
from bellcrank.picture.overlays import NOTHING, Overlay
from bellcrank.picture.showing import (
    conflict_overlay,
    route_overlay,
    sections_named,
    state_overlay,
    story_overlay,
)
from bellcrank.picture.svg import Picture

__all__ = [
    "BARE",
    "NOTHING",
    "Annotations",
    "Drawing",
    "Overlay",
    "Picture",
    "conflict_overlay",
    "draw",
    "draw_and_tell",
    "drawing",
    "one_way",
    "route_overlay",
    "sections_named",
    "state_overlay",
    "story_overlay",
]
