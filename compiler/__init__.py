"""Bellcrank: route-setting and interlocking for model and demonstration railways.

`compile` takes a layout as text to its routes, why they conflict, the locking and the
machine; or says what is wrong with the text. `prove` gives the verdicts on that. Not
certified for trains that carry people.
"""

from bellcrank.compilation import Broken, Checked, Sound, compile_file, prove
from bellcrank.compilation import compile_text as compile
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.version import __version__

__all__ = [
    "Broken",
    "Checked",
    "Effort",
    "Sound",
    "__version__",
    "compile",
    "compile_file",
    "prove",
]
