"""What an error or a warning is, how it reads, and what is known of each code."""

from bellcrank.diagnostics.diagnostic import (
    MOST_MISTAKES,
    Collector,
    Diagnostic,
    Instead,
    Noun,
    Span,
    TooManyMistakesError,
    did_you_mean,
    has_errors,
    nearest,
    printable,
    render,
)

__all__ = [
    "MOST_MISTAKES",
    "Collector",
    "Diagnostic",
    "Instead",
    "Noun",
    "Span",
    "TooManyMistakesError",
    "did_you_mean",
    "has_errors",
    "nearest",
    "printable",
    "render",
]
