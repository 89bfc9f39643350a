"""Conditions between the fields of an object, as JSON Schema (draft 2020-12).

Types say what each field holds; that two fields are null together, say, takes a
condition. Each hangs on a field (`dependentSchemas`, section 10.2.2.4 of the core
specification): there it counts whenever the field is given, as every field is, and
generators of code look past it. Under `allOf` or `oneOf` they make types of it that
nobody wants.
"""

from __future__ import annotations

from bellcrank.document.part import Rules, Schema

NULL: Schema = {"type": "null"}
TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "integer"}
EMPTY: Schema = {"maxItems": 0}
NOT_EMPTY: Schema = {"minItems": 1}


def just(value: object) -> Schema:
    """This value and no other."""
    return {"const": value}


def among(*values: object) -> Schema:
    return {"enum": list(values)}


def fields(**of: Schema) -> Schema:
    """What fields of an object must be."""
    return {"properties": of}


def each(item: Schema) -> Schema:
    """What each item of a list must be."""
    return {"items": item}


def rule(when: Schema, then: Schema, otherwise: Schema | None = None) -> Schema:
    """What must hold when something does, and when it does not."""
    found: dict[str, object] = {"if": when, "then": then}
    return found if otherwise is None else {**found, "else": otherwise}


WIRED: Rules = {
    "decoder": rule(
        fields(decoder=NULL),
        fields(output=NULL, number=NULL, side=NULL),
        fields(output=NUMBER, number=NUMBER),
    )
}
"""Decoder, output and number are all given or all null, and without them so is the side."""

SHOWN: Rules = {
    "value": rule(
        fields(decoder=NULL),
        fields(value=NULL),
        rule(fields(side=TEXT), fields(value=NULL), fields(value=NUMBER)),
    )
}
"""Where a decoder is given, so is either the side of its output or the value for it."""

LIT: Rules = {"lights": rule(fields(side=NULL), fields(lights=EMPTY))}
"""Lamps are lit beside a first one, which is on a side of an output."""
