"""Bellcrank: route-setting and interlocking for model and demonstration railways.

`compile` takes a layout as text through all stages and returns what is known
about it: the layout, its routes, why they conflict, the locking, the verdict
and the diagnostics. Not certified for trains that carry people.
"""

from bellcrank.compilation import Compilation, compile_file
from bellcrank.compilation import compile_text as compile
from bellcrank.version import __version__

__all__ = ["Compilation", "__version__", "compile", "compile_file"]
