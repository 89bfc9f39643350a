"""Bellcrank: route-setting and interlocking for model and demonstration railways.

`compile` takes a layout as text to its routes, why they conflict, the locking and the
machine; or says what is wrong with the text. `prove` gives the verdicts on that. Not
certified for trains that carry people.
"""

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

_NAMES = {name: name for name in __all__ if name != "__version__"} | {"compile": "compile_text"}


def __getattr__(name: str) -> Any:
    """The stages are loaded when they are first asked for (PEP 562). They take a second, in
    which the program could not yet answer Ctrl-C, and a shell that asks it how words go on
    would have to wait."""
    if name not in _NAMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from bellcrank import compilation

    return getattr(compilation, _NAMES[name])
