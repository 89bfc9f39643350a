"""What an error or a warning is, how it reads, and what is known of each code."""

from bellcrank.diagnostics.diagnostic import (
    Collector,
    Diagnostic,
    Noun,
    Span,
    did_you_mean,
    has_errors,
    nearest,
    render,
)

__all__ = [
    "Collector",
    "Diagnostic",
    "Noun",
    "Span",
    "did_you_mean",
    "has_errors",
    "nearest",
    "render",
]
