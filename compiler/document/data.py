"""What plain data are: values that can be written as JSON."""

from __future__ import annotations

from typing import Any

Data = dict[str, Any]
"""A mapping from the names of fields."""
