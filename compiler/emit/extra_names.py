"""What extras a target may ask for; `extras.py` makes them, and takes longer to load."""

from __future__ import annotations

from collections.abc import Callable, Mapping

EXTRAS = ("page", "picture", "plan", "bench_plan")
"""The names of all extras."""

Extras = Mapping[str, Callable[[], object]]
"""For each extra, by its name, what makes it."""
