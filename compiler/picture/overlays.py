"""What is shown on top of the plan: a route, a conflict, a step of a story, a state.

An overlay only adds classes, marks and words; the plan below it stays as it is, so that
pictures of one layout can be laid side by side.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Overlay:
    """Classes for elements, ways and signals, and a sentence that says what is shown."""

    elements: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    ways: Mapping[tuple[str, frozenset[str]], tuple[str, ...]] = field(default_factory=dict)
    signals: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sentence: str = ""
    style: str = ""


NOTHING = Overlay()
