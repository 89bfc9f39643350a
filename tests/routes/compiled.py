"""Compiling the small layouts of these tests."""

from __future__ import annotations

from sound_layouts import compiled

from bellcrank.routes.route_model import RouteTable


def table_of(text: str) -> RouteTable:
    table = compiled(text).table
    assert table is not None
    return table


def warnings(text: str) -> list[str]:
    return [d.code for d in compiled(text).diagnostics]


def kinds(table: RouteTable, first: str, second: str) -> list[str]:
    return [reason.kind for reason in table.reasons(first, second)]
