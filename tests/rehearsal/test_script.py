"""Reading a script: every form of line, and every mistake with its place and what helps.

In faulty lines « and » stand round the words that the caret must point at.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import JUNCTION, OVERLAP, faults, railway

from bellcrank.diagnostics import Span, render
from bellcrank.rehearsal.forms import ACTS, EXPECTATIONS, FORMS, Name
from bellcrank.rehearsal.script import read_script
from bellcrank.syntax.parse import LONGEST_LINE, MOST_ERRORS

TWO_WAYS = """
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - M - P2.straight
run P1.diverging - N - P2.diverging
run P2.toe - B - >S - C - edge EAST
signal H shows stop, caution, clear
route MAIN = H to S via M
route H to S via N shows caution
"""

COUPLED = """
points PA, PB
coupled PA, PB
run edge DOWN - A1 - >HA - PA.toe
run PA.straight - A2 - edge DOWN_EAST
run edge UP - B1 - >HB - PB.straight
run PB.toe - B2 - edge UP_EAST
run PA.diverging - PB.diverging
section THROAT = PA, PB
"""

AT_THE_EDGE = "run edge WEST - >H - A - B - edge EAST\n"


def read(layout: str, line: str) -> tuple[str, dict[str, str]]:
    lines, found = read_script(line, "script", railway(layout))
    assert not found, [render(d, {"script": line}) for d in found]
    (only,) = lines
    return only.key, dict(only.names)


# ----------------------------------------------------------------------- forms

EXAMPLES = {
    "at first": "at first P1 lies diverging",
    "request": "request H to B",
    "cancel": "cancel H to B",
    "comes in": "a train comes in from WEST",
    "stands": "a train stands before H",
    "vehicles stand": "vehicles stand in A",
    "taken off": "vehicles in A are taken off",
    "uncoupled": "vehicles in A are uncoupled",
    "ready": "vehicles before H are ready",
    "passes": "the train passes H",
    "moves": "the train in A moves",
    "turns back": "the train in B turns back",
    "front passes": "the front of the train passes H",
    "front moves": "the front of the train in A moves",
    "tail leaves": "the tail of the train in A follows",
    "tail comes in": "the tail of the train from WEST follows",
    "long": "trains are long",
    "short": "trains are short",
    "wait": "wait",
    "time": "time passes",
    "go on": "go on",
    "event": "event released by time H to B",
    "refused": "expect H to B refused",
    "because": "expect H to B refused because of P1",
    "allowed": "expect H to B allowed",
    "kept": "expect cancel H to B refused",
    "idle": "expect H to B idle",
    "set": "expect H to B set",
    "under way": "expect H to B under way",
    "overlap kept": "expect H to B kept for its overlap",
    "closing": "expect H to B being cancelled",
    "at stop": "expect H at stop",
    "off": "expect H off",
    "off for": "expect H off for H to B",
    "shows": "expect H shows proceed",
    "lies": "expect P1 lies straight",
    "moving": "expect P1 moving",
    "occupied": "expect B occupied",
    "clear": "expect P1 clear",
    "held": "expect P1 held for H to B",
    "not held": "expect P1 not held",
    "train in": "expect the train in B",
    "train before": "expect a train in A before H",
    "vehicles in": "expect vehicles stand in B",
    "stands still": "expect the train in A at a stand",
    "rest": "expect all at rest",
}


def test_there_is_an_example_of_every_form() -> None:
    assert list(EXAMPLES) == [form.key for form in FORMS]
    assert len(ACTS) + len(EXPECTATIONS) == len(FORMS)


@pytest.mark.parametrize("key", EXAMPLES)
def test_a_line_of_every_form_is_read(key: str) -> None:
    read_as, names = read(JUNCTION, EXAMPLES[key])
    assert read_as == key
    form = next(form for form in FORMS if form.key == key)
    assert set(names) == {item.kind for item in form.items if isinstance(item, Name)}


@pytest.mark.parametrize("key", EXAMPLES)
def test_articles_may_be_left_out(key: str) -> None:
    bare = re.sub(r"\b(a|the) (?=train|front|tail)", "", EXAMPLES[key])
    assert read(JUNCTION, bare) == read(JUNCTION, EXAMPLES[key])


@pytest.mark.parametrize("key", EXAMPLES)
def test_a_line_with_a_word_too_many_or_too_few_is_reported(key: str) -> None:
    words = EXAMPLES[key].split()
    assert faults(JUNCTION, " ".join([*words, "today"]))
    assert faults(JUNCTION, " ".join(words[:-1])) or len(words) == 1


def test_blanks_and_comments_say_nothing() -> None:
    lines, found = read_script(
        "\ufeff# a morning\n\n   \t\n  request   H to\tB  # in\r\n", "script", railway(JUNCTION)
    )
    assert not found
    (line,) = lines
    assert line.text == "request H to B"
    assert line.span == Span("script", 4, 3, 4, 19)


def test_the_sentence_of_an_event_is_a_line() -> None:
    assert read(JUNCTION, "P1 comes to lie diverging") == (
        "sentence", {"SENTENCE": "P1 comes to lie diverging"}
    )  # fmt: skip


# ----------------------------------------------------------------------- names


@pytest.mark.parametrize(
    "written",
    ["MAIN", "H to S via M", "H to B via M", "H to S via P1 then M", "H to S via P1.straight"],
)  # fmt: skip
def test_a_route_is_found_by_any_of_its_names(written: str) -> None:
    assert read(TWO_WAYS, f"request {written}")[1] == {"ROUTE": "MAIN"}
    assert read(TWO_WAYS, f"expect H off for {written}")[1]["ROUTE"] == "MAIN"
    assert read(TWO_WAYS, f"expect {written} under way")[1] == {"ROUTE": "MAIN"}


def test_a_calling_on_route_is_found_by_where_it_goes() -> None:
    assert read(OVERLAP, "request H to T calling on")[1] == {"ROUTE": "CALL"}
    assert read(OVERLAP, "expect H to T calling on set")[1] == {"ROUTE": "CALL"}


def test_coupled_drives_are_one_by_either_name() -> None:
    for name in ("PA", "PB"):
        assert read(COUPLED, f"expect {name} lies straight")[1]["DRIVE"] == "PA"


def test_a_section_is_known_by_any_piece_in_it() -> None:
    for name in ("THROAT", "PA", "PB"):
        assert read(COUPLED, f"expect {name} not held")[1] == {"SECTION": "THROAT"}


def test_names_that_are_words_of_a_script_do_no_harm() -> None:
    layout = "run edge train - A - >wait - moves - stop\n"
    assert read(layout, "train comes in from train")[1] == {"EDGE": "train"}
    assert read(layout, "request wait to moves")[1] == {"ROUTE": "wait to moves"}
    assert read(layout, "expect moves clear")[1] == {"PLACE": "moves"}
    assert read(layout, "expect wait at stop")[1] == {"SIGNAL": "wait"}


# --------------------------------------------------------------------- mistakes

MISTAKES = [
    # The line, its code, what was expected (a part of it), the hint (a part of it).
    ("«reqest» H to B", "E705", "an act", "`request`"),
    ("«Request» H to B", "E705", "an act", "`request`"),
    ("«banana»", "E705", "an act", None),
    ("request«»", "E705", "a route", None),
    ("request H to«»", "E705", "where the route ends", None),
    ("request H «two» B", "E705", "`to`", "`to`"),
    ("request H to B «please»", "E705", "the end of the line", None),
    ("train in A «move»", "E705", "`moves`", "`moves`"),
    ("train in A turns«»", "E705", "`back`", None),
    ("train stands «in» WEST", "E705", "`before`", "`train comes in from WEST`"),
    ("train stands «at» A", "E705", "`before`", "`train stands before H`"),
    ("train stands «in» P1", "E705", "`before`", None),
    ("train stands before «WEST»", "E706", "a signal", "`train comes in from WEST`"),
    ("train stands before «A»", "E706", "a signal: H, S1, S2", "`train stands before H`"),
    ("train «stand» before H", "E705", "`stands before`", "`stands`"),
    ("expect H «of»", "E705", "`off`", "`off`"),
    ("expect H to B «sett»", "E705", "`set`", "`set`"),
    ("expect P1 «lie» straight", "E705", "`lies`", "`lies`"),
    ("expect«»", "E705", "a signal", None),
    ("expect A «empty»", "E705", "`clear`", None),
    ("a train passes H «and» enters P1 with P1 strait", "E705", None,
     "`a train passes H and enters P1 with P1 straight`"),
    ("request «H to X»", "E706", "H to B, H to C", None),
    ("request «S9 to WEST»", "E706", "H, S1, S2", None),
    ("request «MAIN»", "E706", "the name of a route", None),
    ("train stands before «H2»", "E706", "a signal: H, S1, S2", "`H`"),
    ("train comes in from «EAST»", "E706", "an edge: WEST", "`WEST`"),
    ("train in «Z» moves", "E706", "a section or a piece of track: A, B, C, P1", None),
    ("train in «H» moves", "E706", "a section or a piece of track", None),
    ("expect P1 lies «strait»", "E706", "straight, diverging", "`straight`"),
    ("expect «P9» lies straight", "E706", "a drive: P1", None),
    ("at first P1 lies «left»", "E706", "straight, diverging", None),
    ("expect H shows «clear»", "E706", "stop, proceed", None),
    ("expect H to B refused because of «Z»", "E706", "a route, a drive or a section", None),
    ("event «signal clears H to X»", "E706", "the name of an event", "`signal clears H to C`"),
    ("train in «P1» turns back", "E707", "A, B, C", None),
]  # fmt: skip


@pytest.mark.parametrize(("marked", "code", "expected", "hint"), MISTAKES)
def test_a_mistake_is_told_with_its_place_and_what_helps(
    marked: str, code: str, expected: str | None, hint: str | None
) -> None:
    text = re.sub("[«»]", "", marked)
    (found,) = faults(JUNCTION, text)
    start = marked.index("«") + 1
    end = max(marked.index("»"), start + 1)
    assert (found.code, found.span) == (code, Span("script", 1, start, 1, end))
    if expected is not None:
        assert found.expected is not None
        assert expected in found.expected
    assert (found.hint or "None").count(hint or "None") == 1
    assert "^" in render(found, {"script": text})


def test_a_name_of_another_kind_is_told_for_what_it_is() -> None:
    (found,) = faults(JUNCTION, "train stands before A")
    assert found.message == "`A` is a section or a piece of track, not a signal"


@pytest.mark.parametrize(
    "marked",
    ["«reqest» H to B", "train in A «move»", "train stands before «H2»", "expect P1 «lie» straight",
     "expect H «of»", "expect H to B «sett»", "train comes in from «EAST»"],
)  # fmt: skip
def test_what_a_hint_says_mends_the_line(marked: str) -> None:
    (found,) = faults(JUNCTION, re.sub("[«»]", "", marked))
    assert found.hint is not None
    (name,) = re.findall("`(.*)`", found.hint)
    assert not faults(JUNCTION, re.sub("«.*»", name, marked))


def test_a_route_that_may_be_one_of_two_is_told() -> None:
    (found,) = faults(TWO_WAYS, "request H to S")
    assert found.code == "E402"
    assert found.hint == "say which: `MAIN`"


def test_a_train_that_waits_outside_an_edge_passes_its_signal_instead() -> None:
    (found,) = faults(AT_THE_EDGE, "train comes in from WEST")
    assert found.code == "E707"
    assert found.hint is not None
    assert "`train passes H`" in found.hint
    assert not faults(AT_THE_EDGE, "train passes H")


def test_no_train_is_put_before_a_signal_at_an_edge_or_at_points() -> None:
    assert [d.code for d in faults(AT_THE_EDGE, "train stands before H")] == ["E707"]
    layout = "points P\nrun edge W - A - >H - P.toe\nrun P.straight - >S - B - stop\n" \
        "run P.diverging - C - stop\n"  # fmt: skip
    (found,) = faults(layout, "train stands before S")
    assert found.code == "E707"
    assert found.expected == "a signal: H"


def test_a_signal_from_which_no_route_leads_is_passed_by_no_train() -> None:
    layout = JUNCTION + "routes written\nroute H to B\n"
    (found,) = faults(layout, "train passes S1")
    assert found.code == "E707"
    assert found.expected == "a signal: H"


def test_one_bad_line_does_not_hide_the_next() -> None:
    text = "request H to X\nwait\nexpect H of\n\ntrain in P1 turns back\n"
    found = faults(JUNCTION, text)
    assert [(d.code, d.span.line) for d in found] == [("E706", 1), ("E705", 3), ("E707", 5)]
    lines, _ = read_script(text, "script", railway(JUNCTION))
    assert [line.text for line in lines] == ["wait"]


def test_there_is_an_end_to_the_errors_of_one_script() -> None:
    assert len(faults(JUNCTION, "banana\n" * (MOST_ERRORS + 20))) == MOST_ERRORS


def test_a_line_far_too_long_is_not_read() -> None:
    (found,) = faults(JUNCTION, "request " + "H " * LONGEST_LINE)
    assert found.code == "E103"


ANY = railway(JUNCTION)

WORDS = sorted({word for line in EXAMPLES.values() for word in line.split()} | {"via", "then", "#"})


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=4)), max_size=12))
@settings(max_examples=80)
def test_no_words_whatever_are_too_much_for_it(words: list[str]) -> None:
    text = " ".join(words)
    lines, found = read_script(text, "script", ANY)
    said = {n for n, row in enumerate(text.split("\n"), 1) if row.split("#")[0].split()}
    # A character that no source may hold is reported wherever it stands.
    said |= {d.span.line for d in found if d.code in ("E106", "E108")}
    assert len(lines) + len(found) == min(len(said), len(lines) + MOST_ERRORS)


@pytest.mark.parametrize(
    ("sign", "code"), [("\u2028", "E108"), ("\x85", "E108"), ("\u202e", "E108"), ("\x1b", "E106")]
)
def test_a_character_that_is_not_read_alike_everywhere_is_refused(sign: str, code: str):
    text = f"wait\n# a remark{sign} expect all at rest\nwait\n"
    lines, (found,) = read_script(text, "script", railway(JUNCTION))
    assert (found.code, str(found.span)) == (code, "script:2:11")
    assert f"U+{ord(sign):04X}" in found.message
    assert len(lines) == 2


def test_a_script_of_a_million_lines_is_refused_unread():
    lines, (found,) = read_script("wait\n" * 1_000_000, "script", railway(JUNCTION))
    assert (lines, found.code) == ((), "E103")
