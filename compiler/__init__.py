"""Bellcrank: route-setting and interlocking for model and demonstration railways.

`compile` takes a layout as text to its routes, why they conflict, the locking and the
machine; or says what is wrong with the text. `prove` gives the verdicts on that. Not
certified for trains that carry people.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from bellcrank.version import __version__

if TYPE_CHECKING:
    from bellcrank.compilation import Broken, Checked, Sound, compile_file, prove
    from bellcrank.compilation import compile_text as compile
    from bellcrank.proof.moving.moving_proof import Effort

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

_COMPILATION = "bellcrank.compilation"
_PLACES = {
    "Broken": (_COMPILATION, "Broken"),
    "Checked": (_COMPILATION, "Checked"),
    "Effort": ("bellcrank.proof.moving.moving_proof", "Effort"),
    "Sound": (_COMPILATION, "Sound"),
    "compile": (_COMPILATION, "compile_text"),
    "compile_file": (_COMPILATION, "compile_file"),
    "prove": (_COMPILATION, "prove"),
}


def __getattr__(name: str) -> Any:
    """The stages are loaded when they are first asked for (PEP 562): they take a second, in
    which the program could not yet answer Ctrl-C."""
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, there = _PLACES[name]
    return getattr(import_module(module), there)
