"""The JSON document against its published schema (JSON Schema draft 2020-12).

The schema is read with the jsonschema library, which shares no code with the
compiler; what is spoilt again and again with another by other authors, jsonschema-rs,
which is faster. A schema that let too much pass would prove nothing, so every object
of a small layout that uses everything is spoilt in turn and must be refused.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema_rs
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from in_campaigns import in_campaigns
from jsonschema import Draft202012Validator
from sound_layouts import NO_TIME, checked, checked_file, compiled_file

from bellcrank import Checked
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, VERSION, Document
from bellcrank.document.part import Part
from bellcrank.document.schema import layout_schema
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.machine.machine_model import Clause, Event, Invariant, Is, Machine, Variable, Wish
from bellcrank.proof.moving import moving_proof
from bellcrank.proof.moving.moving_proof import Effort

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

SMALL = [path for path in EXAMPLES if path.stem != "four-track-station"]

LARGEST_IN_CAMPAIGNS = in_campaigns(EXAMPLES, lambda path: path not in SMALL)

SHOWCASE = """
layout "Odd & <Ends>, \u201call\u201d of it" on two rails
points P1, P2, P3
three way points W
coupled P1, P2
run edge WEST - A - >H0 - H - >H1 - P1.toe
run P1.straight - B - >B1 - P3.straight
run P1.diverging - C - >C1 - P3.diverging
run P3.toe - M - >M1 - W.toe
run W.left - <L1 - L - stop
run W.straight - <S1 - S - stop
run W.right - <R1 - R - stop
run edge YARD - Y - P2.toe
run P2.straight - <Y1 - Z - stop
run P2.diverging - <Y2 - X - stop
section BODY = B, M
section BACK = Y without detection
signal H1 shows stop at K1.4 red, caution at K1.4 green,
  clear at K2.1 green and K3.1 red
signal Y1 shunt
overlap H1 = P1, B
flank B1 to M1 = P1 diverging
route CALL = M1 to L calling on
routes derive
locking written {
  every route needs its positions
  B1 to M1 needs P1 diverging
  H1 to B1 locks H1 to C1
}
expect H1 to B1 with H1 to C1
expect B1 to M1 never with C1 to M1
numbering from decoder 1
decoder kind quad {
  outputs 4
  switches 10
  switch 10 on
  terminals green "A%", red "B%", common "C"
}
decoder kind plain { outputs 1 }
decoder kind lamps { outputs 2  packets extended }
decoder K1 quad at 16
decoder K2 plain at 200
decoder K3 quad at 300
drive P1 = K1.1 coil 200 ms rests 2 s settles 300 ms wires "a", "b", "c" crossed detected
signal M1 = lamps
drive P3 = K1.2
drive W.to_left = K1.3 servo 1.5 s
drive W.to_right by hand
supply BENCH { feeds K1, K2  one at a time  rest 250 ms }
supply SPARE { feeds K3 }
detector kind octo {
  inputs 8
  switches 4
  switch 4 off
  terminals input "I%", common "0 V"
}
detector kind bare { inputs 1 }
detector N1 octo at 4
detector N2 bare
report H = N1.1
report BODY = "halt/body"
report P1 diverging = N1.2
report W.to_left straight = "halt/west"
button H1 to B1 = N1.3
button to cancel H1 to B1 = "panel/cancel"
button H1 = N1.4
button C1 = "panel/C1"
button to cancel H1 = N2.1
button to cancel C1 = "panel/all"
lamp H1 to C1 = K3.2 green
time of overlap 20 s at H1
"""
"""Uses every field and every null, and is not proved."""


@cache
def schema() -> dict[str, Any]:
    text = (resources.files("bellcrank.targets") / "json" / "layout.schema.json").read_text("utf-8")
    return json.loads(text)


@cache
def validator() -> Draft202012Validator:
    return Draft202012Validator(schema())


@cache
def quick_validator() -> jsonschema_rs.Draft202012Validator:
    return jsonschema_rs.Draft202012Validator(schema())


@cache
def quick_validator_of(field: str) -> jsonschema_rs.Draft202012Validator:
    """For one field of the document by itself."""
    alone = {**schema()["properties"][field], "$defs": schema()["$defs"]}
    return jsonschema_rs.Draft202012Validator(alone)


@cache
def built(path: Path) -> Document:
    return build_document(checked_file(path))


def example(path: Path) -> dict[str, Any]:
    return built(path).plain


@cache
def layout_of(path: Path) -> dict[str, Any]:
    """The document of an example without the parts that take long, and nothing proved."""
    return build_document(checked_file(path, NO_TIME), SPARED).plain


@cache
def compiled_showcase() -> Checked:
    with pytest.MonkeyPatch.context() as patch:
        # It has stories of several properties soon, and for a document more are not needed.
        patch.setattr(moving_proof, "MOST_CHOICES", 3)
        return checked(SHOWCASE, Effort(search=2_000))


@cache
def whole_showcase() -> dict[str, Any]:
    return build_document(compiled_showcase()).plain


@cache
def showcase_without_time() -> dict[str, Any]:
    return build_document(checked(SHOWCASE, seconds=0)).plain


def with_little_machine(data: dict[str, Any]) -> dict[str, Any]:
    """The document with a few things of each sort in its machine, of which it has
    hundreds alike, and a few timetables: what is spoilt again and again is best short."""
    machine = data["machine"]
    little = {name: what[:3] if isinstance(what, list) else what for name, what in machine.items()}
    little["events"] = [
        next(e for e in machine["events"] if (e["route"] is None) == without)
        for without in (False, True)
    ]
    tried = data["vectors"]
    runs = [{**run, "steps": first_of_each(run["steps"])} for run in tried["runs"][:2]]
    cases = [{**case, "tries": case["tries"][:1]} for case in tried["cases"][:2]]
    return {
        **data,
        "machine": little,
        "controller": little_controller(data["controller"]),
        "timetables": little_timetables(data["timetables"]),
        "vectors": {
            **tried,
            "runs": runs,
            "cases": cases,
            "controller": little_inputs(tried["controller"]),
        },
    }


def little_controller(controller: dict[str, Any]) -> dict[str, Any]:
    """The controller with one input with a value and one without, and few things of each sort."""
    little = {
        name: what[:2] if isinstance(what, list) else what for name, what in controller.items()
    }
    inputs = [i for i in controller["inputs"] if any(r["updates"] for r in i["reactions"])]
    few = [next(i for i in inputs if (i["value"] is None) == without) for without in (False, True)]
    little["inputs"] = [{**i, "reactions": i["reactions"][:1]} for i in few]
    return little


def little_inputs(tried: dict[str, Any]) -> dict[str, Any]:
    """The runs of the controller with one input of each sort: granted and refused, with each of
    what may come of it, and alarms with and without a signal that was off."""
    inputs = [given for run in tried["runs"] for given in run["inputs"]]
    tests: list[Callable[[Any], Any]] = [
        lambda given: not given["granted"],
        lambda given: given["value"] and given["changes"],
        lambda given: given["signals"],
        lambda given: given["throws"],
    ]
    few = [given for test in tests for given in list(filter(test, inputs))[:1]]
    alarms = [alarm for run in tried["runs"] for alarm in run["alarms"]]
    wrong = [[a for a in alarms if bool(a["signals"]) == off][:1] for off in (False, True)]
    starts = {what: max((r[what] for r in tried["runs"]), key=len) for what in ("occupied", "lies")}
    return {**tried, "runs": [{**starts, "inputs": few, "alarms": [*wrong[0], *wrong[1]]}]}


def first_of_each(steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The first step that is possible and the first that is not."""
    return [next(s for s in steps if s["possible"] is possible) for possible in (False, True)]


def little_timetables(timetables: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One that cancels, the start-up, and of the others the one in which most is waited
    for; of each a command by hand and one that is not, if it has them, and the last."""

    def waited(timetable: dict[str, Any]) -> int:
        return sum(len(timed["after"]) for timed in timetable["commands"])

    chosen = [
        max((t for t in timetables if t["what"] == "set"), key=waited),
        next(t for t in timetables if t["what"] == "cancel"),
        timetables[-1],
    ]
    little = []
    for timetable in chosen:
        commands = timetable["commands"]
        kept = [next((c for c in commands if (c["at"] is None) == hand), None) for hand in (0, 1)]
        few = [c for c in commands if c in kept or c["after"] or c is commands[-1]]
        little.append({**timetable, "commands": few})
    return little


@cache
def showcase() -> dict[str, Any]:
    data = with_little_machine(whole_showcase())
    # Or spoiling it would show nothing.
    assert validator().is_valid(data) and quick_validator().is_valid(data)
    return data


def valid(data: Any) -> bool:
    return bool(validator().is_valid(data))


def faults(data: Any) -> list[str]:
    return [f"{e.json_path}: {e.message[:200]}" for e in validator().iter_errors(data)]


def places(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every value in a document, outermost first."""
    yield path
    inner: Any = ()
    if isinstance(data, dict):
        inner = data.items()
    elif isinstance(data, list):
        inner = enumerate(data)
    for key, value in inner:
        yield from places(value, (*path, key))


def at(data: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        data = data[key]
    return data


def free_keys(path: tuple[Any, ...]) -> bool:
    """Whether the object at a path is keyed by names from the layout."""
    if path[:1] == ("vectors",) and path[-1] in ("start", "given", "changes"):
        return path[2:3] != (path[-1],)  # and not the field of `covered`
    return path[-1:] == ("legs",) or (len(path) == 3 and path[0] == "routes" and path[2] ==
                                      "conflicts")  # fmt: skip


def telling_places() -> list[tuple[Any, ...]]:
    """Places in the showcase of which no two are alike.

    Alike are values in the same field of objects that hold the same types.
    """
    found = {}
    for path in places(showcase()):
        shape = tuple("*" if isinstance(key, int) else key for key in path)
        parent = at(showcase(), path[:-1])
        if isinstance(parent, dict) and not free_keys(path[:-1]):
            holds = tuple(type(v) for v in parent.values())
        else:
            holds = (type(at(showcase(), path)),)
        if free_keys(path[:-1]):
            shape = (*shape[:-1], "*")
        found.setdefault((shape, holds), path)
    return list(found.values())


def fields() -> list[tuple[Any, ...]]:
    """The telling places that are fields with names of their own."""
    return [p for p in telling_places() if is_field(p)]


def is_field(path: tuple[Any, ...]) -> bool:
    return bool(path) and not isinstance(path[-1], int) and not free_keys(path[:-1])


# ------------------------------------------------------------ the schema itself


def test_the_schema_is_a_sound_schema_of_draft_2020_12() -> None:
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema())


def test_the_schema_has_a_name_that_needs_no_network_and_follows_the_version() -> None:
    assert schema()["$id"] == f"urn:bellcrank:layout:{VERSION}"
    assert schema()["$defs"]["Format"]["properties"]["version"]["const"] == VERSION


def subschemas(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
        for value in node.values():
            yield from subschemas(value)
    elif isinstance(node, list):
        for value in node:
            yield from subschemas(value)


def objects() -> dict[str, dict[str, Any]]:
    """The schema of every object, by its title."""
    made = [schema(), *schema()["$defs"].values()]
    return {node["title"]: node for node in made if node.get("type") == "object"}


def definition(field: dict[str, Any]) -> dict[str, Any]:
    """What a reference refers to."""
    found: dict[str, Any] = schema()["$defs"][field["$ref"].removeprefix("#/$defs/")]
    return found


def test_the_published_schema_is_the_one_that_the_types_give() -> None:
    assert schema() == json.loads(json.dumps(layout_schema())), (
        "write it anew: python -m bellcrank.document.schema > targets/json/layout.schema.json"
    )


def test_a_type_elsewhere_with_the_name_of_a_part_changes_nothing() -> None:
    before = layout_schema()["$defs"]
    elsewhere = type("Shown", (Part,), {"rules": {"value": {"required": ["aspect"]}}})
    assert elsewhere.__name__ in before
    assert layout_schema()["$defs"] == before


def test_every_definition_has_a_title_of_its_own_and_a_description() -> None:
    definitions = schema()["$defs"].values()
    titles = [node["title"] for node in definitions]
    assert len(set(titles)) == len(titles)
    for node in definitions:
        assert node["description"].endswith("."), node["title"]


def test_objects_and_enumerations_stand_in_definitions_alone() -> None:
    """Elsewhere generators of code would have to make up names for them."""
    for top in schema()["$defs"].values():
        for key, value in top.items():
            for node in subschemas(value) if key != "dependentSchemas" else ():
                assert "enum" not in node, top["title"]
                assert not ("properties" in node and "required" in node), top["title"]


def test_every_field_is_described_and_every_object_is_closed() -> None:
    for node in objects().values():
        assert node["additionalProperties"] is False, node
        assert sorted(node["required"]) == sorted(node["properties"])
        for name, field in node["properties"].items():
            said = field.get("description") or definition(field)["description"]
            assert said.endswith("."), name


def test_examples_are_right_and_no_number_lacks_them() -> None:
    for node in subschemas(schema()):
        for example in node.get("examples", ()):
            of_it = Draft202012Validator({**node, "$defs": schema()["$defs"]})
            assert of_it.is_valid(example), (node, example)
    for title, node in objects().items():
        for name, field in node["properties"].items():
            kinds = [field, *field.get("anyOf", ())]
            if any(kind.get("type") == "integer" for kind in kinds):
                assert any("examples" in kind for kind in kinds), (title, name)


def test_every_time_says_that_it_is_in_milliseconds() -> None:
    times = [
        field
        for title, node in objects().items()
        for name, field in node["properties"].items()
        if "milliseconds" in name
        or (title in ("Timetable", "Timed command") and name in ("at", "until", "total", "bound"))
    ]
    assert len(times) == 15
    assert all("milliseconds" in field["description"].lower() for field in times)


def test_no_list_has_a_largest_length_unless_it_is_a_pair() -> None:
    """Generators of code write out every length up to the largest."""
    for node in objects().values():
        for name, field in node["properties"].items():
            for each in subschemas(field):
                assert "maxItems" not in each or each["maxItems"] == each["minItems"] == 2, name


def test_every_definition_of_the_schema_is_used() -> None:
    text = json.dumps(schema())
    for name in schema()["$defs"]:
        assert f'"#/$defs/{name}"' in text, name


def test_no_field_has_a_name_that_a_template_would_take_for_a_method() -> None:
    """In a template `r.items` is the method of the mapping, not its field."""
    assert not {path[-1] for path in fields()} & set(dir(dict))


# ------------------------------------------------------------- what it lets pass


@pytest.mark.parametrize(
    "path",
    in_campaigns(EXAMPLES, lambda path: path.stem != "hand-worked-branch"),
    ids=lambda p: p.stem,
)
def test_every_example_makes_a_valid_document(path: Path) -> None:
    assert faults(example(path)) == []


@pytest.mark.parametrize("path", LARGEST_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_another_validator_finds_every_example_valid(path: Path) -> None:
    assert quick_validator().is_valid(example(path))


@pytest.mark.parametrize("path", LARGEST_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_the_json_that_is_written_says_what_the_document_says(path: Path) -> None:
    files = render_target(load_target("json"), built(path))
    assert list(files) == ["layout.json"]
    assert json.loads(files["layout.json"].decode("utf-8")) == example(path)


@pytest.mark.parametrize("path", LARGEST_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_every_value_is_of_the_type_that_its_field_has(path: Path) -> None:
    """The builders are checked by a type checker; this checks what they have made."""
    assert msgspec.convert(json.loads(json.dumps(example(path))), Document) == built(path)


def test_there_are_proved_and_unproved_examples() -> None:
    assert {example(path)["status"] for path in SMALL} == {"proved", "UNPROVED"}


def test_a_layout_that_uses_everything_makes_a_valid_document() -> None:
    assert faults(whole_showcase()) == []


def test_a_layout_whose_proof_ran_out_of_time_makes_a_valid_document() -> None:
    data = showcase_without_time()
    assert faults(data) == []
    assert data["status"] == "UNPROVED"
    assert data["verdict"]["outcome"] == "undecided"


def test_no_hazards_are_said_to_be_all_of_them_when_nothing_was_decided() -> None:
    data = showcase_without_time()
    assert {p["outcome"] for p in data["verdict"]["properties"]} == {"undecided"}
    assert data["verdict"]["hazards_complete"] is False


def test_the_layout_that_uses_everything_does_so() -> None:
    """Every field holds something somewhere, and null wherever null is allowed."""
    null, held = set(), set()
    for path in places(showcase()):
        shape = tuple("*" if isinstance(key, int) else key for key in path)
        value = at(showcase(), path)
        if value is None:
            null.add(shape)
        elif value != []:
            held.add(shape)
    for field in ("decoder", "output", "number", "side", "milliseconds"):
        assert ("commands", "*", field) in null & held, field
    for field in ("at_a_time", "rest_milliseconds"):
        assert ("hardware", "supplies", "*", field) in null & held, field
    for field in ("action", "settles_milliseconds", "rests_milliseconds"):
        assert ("layout", "drives", "*", field) in null & held, field
    for things in (("commands", "*"), ("layout", "signals", "*", "aspects", "*")):
        assert (*things, "value") in null & held
        assert (*things, "side") in null & held
    assert ("layout", "drives", "*", "wires", "*") in held
    for side in ("green", "red", "common"):
        assert ("hardware", "decoders", "*", "terminals", "*", side) in null & held
    assert {d["packets"] for d in showcase()["hardware"]["decoders"]} == {"basic", "extended"}
    assert {d["assigned"] for d in showcase()["hardware"]["decoders"]} == {True, False}
    for side in ("terminal", "common"):
        assert ("hardware", "detectors", "*", "terminals", "*", side) in null & held
    assert {d["assigned"] for d in showcase()["hardware"]["detectors"]} == {True, False}
    for things in ("reports", "buttons"):
        for field in ("detector", "input", "number", "input_name"):
            assert ("hardware", things, "*", field) in null & held, (things, field)
    assert {r["type"] for r in showcase()["hardware"]["reports"]} == {"section", "drive"}
    assert {b["type"] for b in showcase()["hardware"]["buttons"]} == {"route", "place", "cancel"}
    assert ("hardware", "button_pairs", "*", "route") in held
    assert ("hardware", "lamps", "*", "route") in held
    for which in ("approach_locking", "overlaps", "drives", "section_reports", "drive_reports"):
        assert ("times", which, "*", "milliseconds") in held, which
    switches = [s for d in showcase()["hardware"]["decoders"] for s in d["switch_bank"]]
    assert {s["fixed"] for s in switches} == {s["on"] for s in switches} == {True, False}
    assert ("verdict", "expectations", "*", "why") in null & held
    assert ("verdict", "hazards", "*", "missing_rule") in held
    assert ("routes", "*", "overlap", "positions") in held
    assert ("machine", "events", "*", "route") in null & held
    assert ("timetables", "*", "route") in null & held
    for field in ("occupied", "lies", "inputs.*.throws.*.drive", "alarms.*.signals.*.aspect"):
        assert ("vectors", "controller", "runs", "*", *field.split(".")) in held, field
    for field in ("at", "until"):
        assert ("timetables", "*", "commands", "*", field) in null & held, field
    kinds = {r["kind"] for c in showcase()["conflicts"] for r in c["reasons"]}
    assert {"head-on", "opposed drive", "shared section", "overlap", "flank"} <= kinds


# ------------------------------------------------------------ what it must refuse


def refused(path: tuple[Any, ...], spoil: Callable[[Any, Any], object]) -> bool:
    """Whether the showcase is refused when the value at a path has been spoilt.

    spoil: is given the object or list that holds the value, and its key.
    """
    data = showcase()
    parent = at(data, path[:-1])
    kept = copy.deepcopy(parent)
    try:
        spoil(parent, path[-1])
        # What its part of the schema refuses the whole does: that is sooner told.
        part = path[0]
        if len(path) > 1 and not quick_validator_of(part).is_valid(data[part]):
            return True
        return not quick_validator().is_valid(data)
    finally:
        parent.clear()
        if isinstance(parent, dict):
            parent.update(kept)
        else:
            parent.extend(kept)


def test_a_document_with_any_field_missing_is_refused() -> None:
    for path in fields():
        assert refused(path, lambda parent, key: parent.pop(key)), f"without {path}"


def test_a_document_with_any_field_misspelt_is_refused() -> None:
    for path in fields():
        assert refused(path, lambda parent, key: parent.update({f"{key}s": parent.pop(key)})), (
            f"misspelt {path}"
        )


def test_a_document_with_an_unknown_field_in_any_object_is_refused() -> None:
    assert not valid({**showcase(), "remark": "unknown"})
    for path in telling_places():
        if path and isinstance(at(showcase(), path), dict):
            # Where the keys are names of the layout, what they hold is still checked.
            assert refused(path, lambda parent, key: parent[key].update(remark="unknown")), (
                f"more in {path}"
            )


WRONG: tuple[Any, ...] = ("", 0, -1, 0.5, True, None, [], {}, [None], ["", ""], {"": None})
"""Values of every type, none of them right for a field of another type."""

NULLABLE = frozenset(
    "decoder output number side milliseconds why at_a_time rest_milliseconds action value "
    "settles_milliseconds rests_milliseconds first_decoder green red common terminal hand "
    "reverser feed contact way".split()
)
"""Fields that are null for what a layout does not have; `approach` is null for
a signal at an edge."""


MAY_BE_NULL = (
    "approach", "overlap", "story", "place", "disagreement", "stopped", "packet", "off",
)  # fmt: skip


def may_be_null(path: tuple[Any, ...]) -> bool:
    of_event = path[:2] == ("machine", "events") and path[-1] == "route"
    of_reaction = path[:1] == ("controller",) and path[-1] in ("route", "lies", "thrown_to")
    left_out = path in (("controlled",), ("noticed",), ("controller",), ("vectors", "controller"))
    return of_event or of_reaction or left_out or path[-1] in (*NULLABLE, *MAY_BE_NULL)


def test_a_document_with_any_value_of_another_type_is_refused() -> None:
    for path in telling_places():
        value = at(showcase(), path)
        for wrong in WRONG:
            if type(wrong) is type(value) and not (wrong and isinstance(wrong, list | dict)):
                continue
            if not path:
                assert not valid(wrong)
            elif wrong is not None or not may_be_null(path):
                assert refused(
                    path, lambda parent, key, wrong=wrong: parent.__setitem__(key, wrong)
                ), f"{wrong!r} for {value!r} at {path}"


CLOSED_SETS = [
    ("status",),
    ("format", "name"),
    ("compiler", "name"),
    ("verdict", "outcome"),
    ("verdict", "properties", 0, "name"),
    ("verdict", "properties", 0, "outcome"),
    ("verdict", "hazards", 0, "violates"),
    ("layout", "signals", 0, "kind"),
    ("layout", "signals", 0, "before", "type"),
    ("layout", "drives", 0, "action"),
    ("layout", "drives", 0, "positions", 0, "side"),
    ("routes", 0, "ends_at"),
    ("conflicts", 0, "reasons", 0, "kind"),
    ("commands", 0, "phase"),
    ("commands", 0, "device"),
    ("commands", 0, "side"),
    ("timetables", 0, "what"),
    ("timetables", 1, "waits", 0, "kind"),
    ("machine", "variables", 0, "kind"),
    ("machine", "events", 0, "kind"),
    ("machine", "events", 0, "actor"),
    ("controller", "inputs", 0, "kind"),
    ("controller", "timers", 0, "kind"),
]


@pytest.mark.parametrize("path", CLOSED_SETS, ids=lambda p: ".".join(map(str, p)))
def test_a_word_outside_a_closed_set_is_refused(path: tuple[Any, ...]) -> None:
    data = copy.deepcopy(showcase())
    word = at(data, path)
    for wrong in ("something else", f"{word}s", str(word).swapcase()):
        at(data, path[:-1])[path[-1]] = wrong
        assert not quick_validator().is_valid(data), wrong


def test_a_document_cannot_claim_more_than_its_verdict() -> None:
    data = copy.deepcopy(showcase())
    assert data["verdict"]["outcome"] == "refuted"
    data["status"] = "proved"
    assert not valid(data)


def test_half_a_wire_is_refused() -> None:
    wired = next(i for i, c in enumerate(showcase()["commands"]) if c["side"])
    for field in ("decoder", "output", "number", "side"):
        data = copy.deepcopy(showcase())
        data["commands"][wired][field] = None
        assert not quick_validator().is_valid(data), field


def test_a_command_has_a_side_or_a_value_and_never_both() -> None:
    valued = next(i for i, c in enumerate(showcase()["commands"]) if c["value"] is not None)
    for spoilt in ({"side": "red"}, {"value": None}, {"value": 256}, {"value": -1}):
        data = copy.deepcopy(showcase())
        data["commands"][valued].update(spoilt)
        assert not quick_validator().is_valid(data), spoilt


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_examples_are_refused_when_anything_in_them_is_spoilt(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(SMALL))
    whole = with_little_machine(example(path))
    every = list(places(whole))
    place = data.draw(st.sampled_from(every))
    value = at(whole, place)
    spoil = copy.deepcopy(whole)
    if isinstance(value, dict) and place and not free_keys(place):
        if data.draw(st.booleans()):
            del at(spoil, place)[data.draw(st.sampled_from(list(value)))]
        else:
            at(spoil, place)[data.draw(st.text(min_size=1).filter(lambda k: k not in value))] = 1
    elif place:
        at(spoil, place[:-1])[place[-1]] = {"": 0}
    else:
        spoil = [spoil]
    assert quick_validator().is_valid(whole)
    assert not quick_validator().is_valid(spoil)


# ------------------------------------------------------------ names that are used


@pytest.mark.parametrize("path", [*EXAMPLES, None], ids=lambda p: p.stem if p else "showcase")
def test_every_name_that_is_used_exists(path: Path | None) -> None:
    data = layout_of(path) if path else showcase()
    layout, hardware = data["layout"], data["hardware"]
    elements = {e["name"]: e for e in layout["elements"]}
    sections = {s["name"]: s for s in layout["sections"]}
    edges = {e["name"]: e["at"] for e in layout["edges"]}
    signals = {s["name"]: [a["name"] for a in s["aspects"]] for s in layout["signals"]}
    drives = {d["name"]: [p["position"] for p in d["positions"]] for d in layout["drives"]}
    decoders = {d["name"]: d for d in hardware["decoders"]}
    routes = {r["name"]: r for r in data["routes"]}
    for names in ("elements", "sections", "edges", "signals", "drives"):
        listed = [x["name"] for x in layout[names]]
        assert len(listed) == len(set(listed)), names
    assert len(routes) == len(data["routes"])

    def joined(end: dict[str, str]) -> dict[str, str]:
        found: dict[str, str] = elements[end["element"]]["legs"][end["leg"]]
        return found

    for name, element in elements.items():
        assert name in sections[element["section"]]["elements"]
        for leg, end in element["legs"].items():
            if end["type"] == "leg":
                assert joined(end) == {"type": "leg", "element": name, "leg": leg}
            elif end["type"] == "edge":
                assert edges[end["name"]] == {"type": "leg", "element": name, "leg": leg}
    assert sorted(e for s in sections.values() for e in s["elements"]) == sorted(elements)
    for signal in layout["signals"]:
        before, beyond = signal["before"], signal["beyond"]
        assert joined(beyond) == before
        if before["type"] == "leg":
            assert joined(before) == beyond
        assert signal["aspects"][0]["name"] == "stop"
    for thing in [a for s in layout["signals"] for a in s["aspects"]] + [
        p for d in layout["drives"] for p in d["positions"]
    ]:
        if thing["decoder"] is not None:
            assert thing["output"] <= decoders[thing["decoder"]]["outputs"]
    for drive in layout["drives"]:
        assert drive["works"][0] == drive["name"]
        assert all(work.split(".")[0] in elements for work in drive["works"])
    for decoder in decoders.values():
        assert [s["number"] for s in decoder["switch_bank"]] == [*range(1, decoder["switches"] + 1)]
        assert decoder["switches_on"] == [s["number"] for s in decoder["switch_bank"] if s["on"]]
        assert [x["output"] for x in decoder["terminals"]] == [*range(1, decoder["outputs"] + 1)]
    for supply in hardware["supplies"]:
        assert set(supply["feeds"]) <= set(decoders)
    detectors = {d["name"]: d for d in hardware["detectors"]}
    for detector in detectors.values():
        assert [x["input"] for x in detector["terminals"]] == [*range(1, detector["inputs"] + 1)]
    heard = [*hardware["reports"], *hardware["buttons"]]
    for one in heard:
        if one["detector"] is not None:
            detector = detectors[one["detector"]]
            assert one["input"] <= detector["inputs"]
            assert one["number"] == detector["address"] + one["input"] - 1
    inputs = [(one["detector"], one["input"], one["input_name"]) for one in heard]
    assert len(inputs) == len(set(inputs))
    for report in hardware["reports"]:
        if report["type"] == "section":
            assert sections[report["section"]]["detected"]
        else:
            assert report["position"] in drives[report["drive"]]
    for button in hardware["buttons"]:
        assert button.get("route") in {*routes, None}
        assert button.get("place") in {*signals, *edges, *elements, None}
        assert button.get("signal") in {*signals, None}
    for pair in hardware["button_pairs"]:
        asked = routes[pair["route"]]
        assert (asked["from"], asked["to"]) == (pair["first"], pair["second"])
    for lamp in hardware["lamps"]:
        assert lamp["route"] in routes
        assert lamp["number"] == decoders[lamp["decoder"]]["address"] + lamp["output"] - 1
    times = data["times"]
    assert {x["signal"] for x in times["approach_locking"]} == {r["from"] for r in routes.values()}
    reporting = {d["name"] for d in layout["drives"] if d["detected"]}
    assert {x["drive"] for x in times["drives"]} == reporting
    assert {x["drive"] for x in times["drive_reports"]} == reporting

    def lies(positions: list[dict[str, str]]) -> None:
        for p in positions:
            assert p["position"] in drives[p["drive"]]

    for route in routes.values():
        assert route["aspect"] in signals[route["from"]][1:]
        ends = {"signal": signals, "edge": edges, "stop": elements}
        assert route["to"] in ends[route["ends_at"]]
        assert route["approach"] is None or route["approach"] in elements
        for way, after in zip(route["ways"], [*route["ways"][1:], None], strict=True):
            end = joined({"element": way["element"], "leg": way["exit"]})
            assert way["entry"] in elements[way["element"]]["legs"]
            if after is not None:
                assert (end["element"], end["leg"]) == (after["element"], after["entry"])
        on_the_way = [elements[w["element"]]["section"] for w in route["ways"]]
        assert route["sections"] == list(dict.fromkeys(on_the_way))
        overlap = route["overlap"] or {"sections": [], "positions": []}
        assert set(route["sections_clear"]) | set(overlap["sections"]) <= set(sections)
        lies(route["positions"])
        lies(overlap["positions"])
        lies(route["flank"])
        assert set(route["conflicts"]) <= set(routes)
    pairs = set()
    for conflict in data["conflicts"]:
        one, other = conflict["routes"]
        pairs |= {(one, other), (other, one)}
        kinds = [r["kind"] for r in conflict["reasons"]]
        assert routes[one]["conflicts"][other] == kinds == routes[other]["conflicts"][one]
        for reason in conflict["reasons"]:
            known = sections if reason["kind"] in ("shared section", "overlap") else elements
            assert set(reason["where"]) <= set(known)
            for opposed in reason["opposed"]:
                assert set(opposed["positions"]) <= set(drives[opposed["drive"]])
    assert pairs == {(n, other) for n, r in routes.items() for other in r["conflicts"]}
    for hazard in data["verdict"]["hazards"]:
        assert set(hazard["routes"]) <= set(routes)
    assert set(data["verdict"]["never_set"]) <= set(routes)
    kinds_used = {k["name"]: k for k in layout["kinds"]}
    for element in elements.values():
        assert list(element["legs"]) == kinds_used[element["kind"]]["legs"]
    assert set(layout["reversers"]) <= set(elements)
    rules = data["locking"]
    for lock in rules["locks"]:
        assert set(lock["routes"]) <= set(routes)
        lies(lock["when"])
    for need in rules["needs"]:
        assert need["route"] in routes
        lies([need])
    for needed in rules["needs_set"]:
        assert {needed["route"], needed["other"]} <= set(routes)
    for clear in rules["needs_clear"]:
        assert clear["route"] in routes and clear["section"] in sections
    for command in data["commands"]:
        assert command["route"] in routes
        assert all(routes[name]["from"] == command["name"] for name in command["only_if_set"])
        states = signals if command["device"] == "signal" else drives
        assert command["state"] in states[command["name"]]
        if command["decoder"] is not None:
            address = decoders[command["decoder"]]["address"]
            assert command["number"] == address + command["output"] - 1


# -------------------------------------------------------------------- the machine


def clause_of(data: list[dict[str, Any]]) -> Clause:
    return tuple(Is(x["variable"], frozenset(x["one_of"])) for x in data)


def machine_of(data: dict[str, Any]) -> Machine:
    """The machine that a document tells of, read back without the compiler."""
    machine = data["machine"]
    return Machine(
        variables={
            v["name"]: Variable(
                v["name"], v["kind"], v["of"], tuple(v["domain"]), tuple(v["initial"])
            )
            for v in machine["variables"]
        },
        events=tuple(
            Event(
                e["name"],
                e["kind"],
                e["actor"],
                e["of"],
                e["text"],
                tuple(clause_of(c) for c in e["guard"]),
                {
                    u["variable"]: {value: b["to"] for b in u["becomes"] for value in b["from"]}
                    for u in e["updates"]
                },
                e["route"],
            )
            for e in machine["events"]
        ),
        invariants=tuple(
            Invariant(i["of"], clause_of(i["clause"]), i["sentence"]) for i in machine["invariants"]
        ),
        wishes=tuple(Wish(w["text"], tuple(w["routes"]), None) for w in machine["wishes"]),
        lemmas=(),
        assumptions={a["name"]: a["sentence"] for a in machine["assumptions"]},
    )


@pytest.mark.parametrize("path", [*EXAMPLES, None], ids=lambda p: p.stem if p else "showcase")
def test_the_document_holds_the_whole_machine(path: Path | None) -> None:
    c = compiled_file(path) if path else compiled_showcase()
    data = layout_of(path) if path else whole_showcase()
    told = machine_of(data)
    assert list(told.variables.items()) == list(c.machine.variables.items())
    assert told.events == tuple(replace(event, span=None) for event in c.machine.events)
    assert told.invariants == c.machine.invariants
    assert told.wishes == tuple(replace(wish, span=None) for wish in c.machine.wishes)
    assert told.assumptions == c.machine.assumptions
    assert data["machine"]["lemmas"] == len(c.machine.lemmas) > 0


@pytest.mark.parametrize("path", [*EXAMPLES, None], ids=lambda p: p.stem if p else "showcase")
def test_values_in_the_machine_stand_in_the_order_of_their_variable(path: Path | None) -> None:
    machine = (layout_of(path) if path else whole_showcase())["machine"]
    domains = {v["name"]: v["domain"] for v in machine["variables"]}

    def assert_ordered(variable: str, values: list[str]) -> None:
        assert values == [value for value in domains[variable] if value in values]

    literals = [
        literal
        for clause in [c for e in machine["events"] for c in e["guard"]]
        + [i["clause"] for i in machine["invariants"]]
        for literal in clause
    ]
    assert len(literals) > 100
    for literal in literals:
        assert_ordered(literal["variable"], literal["one_of"])
    for event in machine["events"]:
        for update in event["updates"]:
            before = [value for b in update["becomes"] for value in b["from"]]
            assert len(before) == len(set(before))
            assert {b["to"] for b in update["becomes"]} <= set(domains[update["variable"]])
            for b in update["becomes"]:
                assert_ordered(update["variable"], b["from"])
    for variable in machine["variables"]:
        assert_ordered(variable["name"], variable["initial"])
