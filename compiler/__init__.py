"""Bellcrank: route-setting and interlocking for model and demonstration railways.

`compile` takes a layout as text through all stages and returns what is known
about it: the layout, its routes, why they conflict, the locking, the verdict
and the diagnostics. Not certified for trains that carry people.
"""

from typing import TYPE_CHECKING, Any

from bellcrank.version import __version__

if TYPE_CHECKING:
    from bellcrank.compilation import Compilation, compile_file
    from bellcrank.compilation import compile_text as compile

__all__ = ["Compilation", "__version__", "compile", "compile_file"]


def __getattr__(name: str) -> Any:
    """What takes all stages is imported when it is asked for (PEP 562), so that one part
    of the compiler starts without the others."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from bellcrank import compilation

    return getattr(compilation, "compile_text" if name == "compile" else name)
