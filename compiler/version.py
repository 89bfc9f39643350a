"""The compiler's version and notice, as they stand in everything it writes."""

__version__ = "0.1.0"

NOTICE = "For model and demonstration railways. Not certified for trains that carry people."
