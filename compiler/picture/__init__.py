"""The picture: a signalling plan of a layout, drawn from the text alone.

Takes a layout, with the routes for what is laid over it, and makes SVG text of it.
Nothing of machine, proof or files enters.
"""

from bellcrank.picture.draw import draw
from bellcrank.picture.overlays import NOTHING, Overlay

__all__ = ["NOTHING", "Overlay", "draw"]
