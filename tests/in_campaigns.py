"""Parameters of tests of which some take long and are tried in campaigns only."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import pytest

T = TypeVar("T")


def in_campaigns(values: Iterable[T], long: Callable[[T], bool]) -> list[Any]:
    """All values, those that take long marked as a campaign."""
    return [pytest.param(v, marks=pytest.mark.campaign) if long(v) else v for v in values]
