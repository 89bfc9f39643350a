"""The compiler's version, as it stands in everything it writes."""

__version__ = "0.1.0"
