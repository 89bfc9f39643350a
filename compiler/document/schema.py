"""The published schema of the document (JSON Schema, draft 2020-12), from its types.

    python -m bellcrank.document.schema > targets/json/layout.schema.json

msgspec derives it; added here are what it does not know: conditions between fields, and
names for what becomes a type of its own in generated code. That is every object, every
enumeration, and a name or number of which there is a list; each is a definition with a
title. All else stands where it is used, with what it is there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import get_args

import msgspec

from bellcrank.document import part
from bellcrank.document.command_types import (
    Device,
    How,
    PacketType,
    Phase,
    StateDevice,
    WaitKind,
    What,
)
from bellcrank.document.controller_types import InputKind, TimerKind
from bellcrank.document.detector_types import PlaceKind
from bellcrank.document.document_types import VERSION, Document, Status
from bellcrank.document.frog_types import FrogFeed
from bellcrank.document.hardware_types import (
    FirstDecoder,
    Lamps,
    Packets,
    Pulses,
    WhatVariableHolds,
)
from bellcrank.document.layout_types import (
    Action,
    Cut,
    DriveDevice,
    OneSide,
    Rails,
    Side,
    SignalKind,
)
from bellcrank.document.machine_types import Actor, EventKind, VariableKind
from bellcrank.document.noticed_types import AccidentName, AlarmOutcome, Breaking
from bellcrank.document.part import Part
from bellcrank.document.route_types import EndsAt, ReasonKind
from bellcrank.document.switch_types import Positions, SwitchNumber
from bellcrank.document.verdict_types import (
    Conclusion,
    MovingOutcome,
    Outcome,
    StandingProperty,
    Stopped,
)

_ENUMERATIONS: Sequence[object] = (
    *(AccidentName, Action, Actor, AlarmOutcome, Breaking, Device, EndsAt, EventKind, FirstDecoder),
    *(Conclusion, How, InputKind, Lamps),
    *(MovingOutcome, Outcome, PacketType, Packets, Phase, PlaceKind, Positions, Pulses),
    *(Cut, DriveDevice, FrogFeed, OneSide, Rails, ReasonKind),
    *(Side, SignalKind, StandingProperty, StateDevice, Status, Stopped, TimerKind, VariableKind),
    *(WaitKind, What, WhatVariableHolds),
)

_LISTED: Sequence[object] = (
    *(part.DecoderName, part.DriveName, part.ElementName, part.LegName, part.Name),
    *(part.PositionName, part.RouteName, part.SectionName, part.Sentence, part.SourceFile),
    *(part.Value, SwitchNumber),
)
"""Of which there are lists."""

_IN_LISTS = ("items", "additionalProperties")

Node = dict[str, object]
"""A piece of a schema as msgspec makes it."""

_DEFINITION = "#/$defs/{name}"


def layout_schema() -> Node:
    """The schema of the whole document."""
    definitions = definitions_of(Document)
    root = definitions.pop(Document.__name__)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:bellcrank:layout:{VERSION}",
        **root,
        "title": "Layout document",
        "$defs": definitions,
    }


def definitions_of(whole: type[Part]) -> dict[str, Node]:
    """The schemas of a part and of all that it consists of, by name."""
    named = {str(node["title"]): node for node in map(_enumeration, _ENUMERATIONS)}
    listed = {str(node["title"]): node for node in map(msgspec.json.schema, _LISTED)}
    _, made = msgspec.json.schema_components([whole], ref_template=_DEFINITION)
    types = {each.__name__: each for each in _parts(whole)}
    found = {name: _object(node, types[name], _Names(named, listed)) for name, node in made.items()}
    text = json.dumps(found)
    for title, node in (named | listed).items():
        if json.dumps(_reference(title)) in text:
            found[_in_one_word(title)] = node
    return dict(sorted(found.items()))


def _parts(whole: type[Part]) -> Iterator[type[Part]]:
    """A part and all that it consists of. Others may bear the name of one of them."""
    met: set[type[msgspec.Struct]] = set()
    queue: list[object] = [msgspec.inspect.type_info(whole)]
    while queue:
        match queue.pop():
            case msgspec.inspect.StructType(cls=of, fields=fields) if of not in met:
                assert issubclass(of, Part)
                met.add(of)
                yield of
                queue += [field.type for field in fields]
            case msgspec.inspect.StructType():
                pass
            case msgspec.inspect.Type() as info:
                queue += [getattr(info, name) for name in info.__struct_fields__]
            case tuple() as several:
                queue += several


def _enumeration(alias: object) -> Node:
    """An enumeration with its words in the order in which the types have them."""
    words, *_ = get_args(alias)
    return {**msgspec.json.schema(alias), "enum": list(get_args(words))}


class _Names:
    """What has a name, by its title. listed: what has it in lists alone."""

    def __init__(self, named: Mapping[str, Node], listed: Mapping[str, Node]) -> None:
        self.named = named
        self.listed = listed

    def reference(self, node: Node, *, in_list: bool) -> Node | None:
        """What stands for a piece that has a name."""
        title = str(node.get("title"))
        known = self.named.get(title) or (self.listed.get(title) if in_list else None)
        if known is None:
            return None
        if node["description"] == known["description"]:
            return _reference(title)
        # Beside a bare reference, generators of code would make a copy of the type.
        return {"description": node["description"], "allOf": [_reference(title)]}


def _reference(title: str) -> Node:
    return {"$ref": _DEFINITION.format(name=_in_one_word(title))}


def _in_one_word(title: str) -> str:
    return title.title().replace(" ", "")


def _object(node: Node, of: type[Part], names: _Names) -> Node:
    """The schema of an object, with its title and the conditions between its fields."""
    fields = {name: _tidied(field, names) for name, field in _inner(node, "properties").items()}
    tag = of.__struct_config__.tag_field
    if tag is not None:
        said = "Always the same, which tells this from whatever else may stand in its place."
        fields[tag] = {"description": said, **_inner(fields, tag)}
    found = {
        **node,
        "title": re.sub(r"(?<!^)(?=[A-Z])", " ", of.__name__).capitalize(),
        "description": " ".join(str(node["description"]).split()),
        "properties": fields,
    }
    return found | {"dependentSchemas": of.rules} if of.rules else found


def _inner(node: Node, key: str) -> Node:
    inner = node[key]
    assert isinstance(inner, dict)
    return inner


def _tidied(node: object, names: _Names, *, in_list: bool = False) -> object:
    """A piece of a schema with references to what has a name, and no title where nothing
    has, as generators of code would make a type of it there. `discriminator` is a word of
    OpenAPI and not of JSON Schema."""
    if isinstance(node, list):
        return [_tidied(each, names) for each in node]
    if not isinstance(node, dict):
        return node
    reference = names.reference(node, in_list=in_list)
    if reference is not None:
        return reference
    found = {
        key: _tidied(value, names, in_list=key in _IN_LISTS)
        for key, value in node.items()
        if key not in ("discriminator", "title")
    }
    match found:
        case {"enum": [always]}:
            del found["enum"]
            found["const"] = always
        case {"$ref": bare, "description": said}:
            return {"description": said, "allOf": [{"$ref": bare}]}
    return found


if __name__ == "__main__":
    print(json.dumps(layout_schema(), ensure_ascii=False, indent=2))
