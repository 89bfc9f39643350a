"""Compiling the small layouts of these tests."""

from __future__ import annotations

import bellcrank
from bellcrank import Compilation
from bellcrank.routes.model import RouteTable


def compiled(text: str) -> Compilation:
    """A layout without errors; warnings are let through."""
    c = bellcrank.compile(text, effort=None)
    assert c.ok, c.diagnostics
    return c


def table_of(text: str) -> RouteTable:
    table = compiled(text).table
    assert table is not None
    return table


def warnings(text: str) -> list[str]:
    return [d.code for d in compiled(text).diagnostics]


def kinds(table: RouteTable, first: str, second: str) -> list[str]:
    return [reason.kind for reason in table.reasons(first, second)]
