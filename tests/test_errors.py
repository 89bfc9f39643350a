"""Each mistake a layout can hold: its code, its exact place, and what helps.

In the layouts here « and » stand round the words that a caret must point at.
They are taken out before the text is compiled.
"""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from cpu_time import within
from sound_layouts import sound

import bellcrank
from bellcrank import Broken, Sound, compile_file
from bellcrank.diagnostics import Diagnostic, Span, render
from bellcrank.syntax.parse import MOST_ERRORS

TRACK = "run edge WEST - A - >H - <D - B - stop\n"
"""The least track with routes both ways: H to B, D to WEST."""

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <D1 - B - stop
run P1.diverging - <D2 - C - stop
"""
"""The least track with points: H to B, H to C, D1 to WEST, D2 to WEST."""

QUAD = "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\n"


def marked_places(marked: str, name: str = "layout.crank") -> tuple[str, list[Span]]:
    """The text without its marks, and the spans that were marked, in order."""
    spans = []
    text = ""
    start = (1, 1)
    for part in re.split("([«»])", marked):
        here = (text.count("\n") + 1, len(text) - (text.rfind("\n") + 1) + 1)
        if part == "«":
            start = here
        elif part == "»":
            spans.append(Span(name, *start, *here))
        else:
            text += part
    return text, spans


def words_at(span: Span, text: str) -> str:
    """The source text under a span."""
    rows = text.split("\n")[span.line - 1 : span.end_line]
    rows[-1] = rows[-1][: span.end_column - 1]
    rows[0] = rows[0][span.column - 1 :]
    return "\n".join(rows)


def caret_words(shown: str) -> str:
    """What the carets of the first excerpt of a message stand under."""
    lines = shown.split("\n")
    index = next(i for i, line in enumerate(lines) if re.fullmatch(r" *\| *\^+", line))
    left = lines[index].index("^")
    return lines[index - 1][left : len(lines[index])]


def report(marked: str) -> tuple[Diagnostic, ...]:
    """Compile; hold what is reported to stand at the marks, and its carets too."""
    text, spans = marked_places(marked)
    result = bellcrank.compile(text)
    assert [d.span for d in result.diagnostics] == spans, shown(result)
    for d in result.diagnostics:
        at = render(d, result.program.texts)
        assert at.startswith(f"layout.crank:{d.span.line}:{d.span.column}: ")
        assert caret_words(at) == words_at(d.span, text).split("\n")[0]
    return result.diagnostics


def error(marked: str) -> Diagnostic:
    """The one diagnostic that a layout with one mark brings about."""
    diagnostics = report(marked)
    assert len(diagnostics) == 1
    return diagnostics[0]


def shown(result: Broken | Sound) -> str:
    return "\n".join(render(d, result.program.texts) for d in result.diagnostics)


# --------------------------------------------------------------------- writing


def test_a_missing_dash_is_found_at_the_word_that_cannot_follow():
    found = error("run edge WEST - A «B» - stop")
    assert found.code == "E101"
    assert found.message == "`B` does not belong here"
    assert found.expected == "the end of the line, `-` or `.`"


def test_a_line_that_stops_short_says_what_was_to_follow():
    (found,) = bellcrank.compile("run edge WEST - A -\nsignal H shunt").diagnostics
    assert (found.code, str(found.span)) == ("E101", "layout.crank:1:20")
    assert found.message == "the line ends too early"
    assert found.expected == "a name, `<`, `>`, `edge` or `stop`"


def test_a_title_without_quotes_is_asked_to_be_quoted():
    found = error("layout «Marsh» Halt")
    assert found.code == "E101"
    assert found.expected == 'a text in double quotes, such as "Home Yard"'


def test_a_quote_that_is_never_closed_is_asked_to_be_closed():
    found = error('layout «"»Marsh Halt')
    assert found.code == "E101"
    assert found.hint == 'close the text with a second " on the same line'


def test_a_misspelt_word_inside_a_line_is_named_with_the_right_one():
    found = error(TRACK + "locking derive {\n  H to B «lock» D to WEST\n}")
    assert found.code == "E101"
    assert found.expected == "`calling`, `locks`, `needs` or `via`"
    assert found.hint == "did you mean `locks`?"


def test_a_misspelt_first_word_is_named_with_the_right_one():
    found = error("«rum» edge WEST - A - stop")
    assert found.code == "E101"
    assert found.message == "`rum` starts no statement"
    assert found.hint == "did you mean `run`?"


def test_a_word_that_only_begins_like_a_keyword_is_marked_whole():
    found = error(TRACK + "routes «derived»")
    assert found.code == "E101"
    assert found.hint == "did you mean `derive`?"


def test_a_semicolon_is_to_be_left_out():
    found = error("run edge WEST - A - stop«;»")
    assert found.code == "E101"
    assert found.hint == "leave the `;` out: the end of the line ends a statement"


def test_a_lone_word_is_no_statement():
    found = error(TRACK + "«hello»")
    assert found.code == "E101"
    assert found.message == "`hello` stands alone: it starts no statement and names no fitting"


def test_an_endless_line_is_found_where_it_grows_too_long():
    found = error("#" * 10_000 + "«#»" + "#" * 7)
    assert found.code == "E103"
    assert found.message.startswith("this line has 10,008 characters;")


def test_a_line_of_ten_thousand_characters_is_not_too_long():
    assert bellcrank.compile(TRACK + "#" * 10_000).diagnostics == ()


def test_a_block_without_its_end_is_found_at_its_beginning():
    found = error("decoder kind quad «{» outputs 4\n" + TRACK)
    assert found.code == "E104"
    assert found.expected == "a `}` after the last part of the block"


def test_a_word_of_the_language_is_no_name():
    found = error("points «via»")
    assert found.code == "E105"
    assert found.hint == "call it something else, such as `via1`"


@pytest.mark.parametrize(
    "marked",
    [
        'layout "One"\n«layout "Two"»\n' + TRACK,
        TRACK + "routes derive\n«routes derive»",
        TRACK + "signal H shunt\n«signal H shunt»",
        TRACK + "overlap D = A\n«overlap D = A»",
        TRACK + "release whole routes\n«release whole routes»",
        TRACK + "release section by section\n«release whole routes»",
        JUNCTION + "drive P1 = K1.1 detected «detected»\n" + QUAD,
        TRACK + "decoder kind quad { outputs 4 «outputs 4» }",
        JUNCTION + QUAD + "drive P1 = K1.1 crossed «crossed»",
        TRACK + QUAD + "supply S { feeds K1 rest 1 s «rest 2 s» }",
    ],
)
def test_what_may_be_said_once_is_not_to_be_said_twice(marked: str):
    assert error(marked).code == "E107"


# ----------------------------------------------------------------------- names


@pytest.mark.parametrize(
    ("marked", "meant"),
    [
        ("run edge WEST - A - >HOME - B - stop\nsignal «HOMW» shunt", "HOME"),
        ("run edge WEST - A - >H - PLATFORM - stop\nsection S = «PLATFROM»", "PLATFORM"),
        ("run edge WEST - A - >H - PLATFORM - stop\nreverser «platfrom»", "PLATFORM"),
        ("run edge WEST - A - >H - PLATFORM - stop\nroute H to PLATFORM via «PLATFRM»", "PLATFORM"),
        ("run edge WEST - A - >HOME - B - stop\noverlap «HOMES» = B", "HOME"),
        (TRACK + "decoder kind quad { outputs 4 }\ndecoder K1 «qaud» at 1", "quad"),
        (TRACK + QUAD + "supply S { feeds «k1» }", "K1"),
        (JUNCTION + QUAD + "drive P1 = «k1».1", "K1"),
        (JUNCTION + "drive P1 by hand\ndrive «p1» by hand", "P1"),
        (JUNCTION + "coupled P1, «p1»", "P1"),
    ],
)
def test_an_unknown_name_is_marked_and_the_nearest_name_is_suggested(marked: str, meant: str):
    found = error(marked)
    assert found.code == "E201"
    assert found.hint == f"did you mean `{meant}`?"


def test_an_unknown_name_like_no_other_gets_no_suggestion_but_the_names_there_are():
    found = error(TRACK + "signal «SEMAPHORE» shunt")
    assert found.hint is None
    assert found.expected == "a signal: D, H"


def test_a_name_of_something_else_is_said_to_be_that():
    text = TRACK + "signal «A» shunt"
    found = error(text)
    assert found.code == "E201"
    assert found.message == "`A` is a piece of track, not a signal"
    assert [words_at(span, marked_places(text)[0]) for span, _ in found.related] == ["A"]


@pytest.mark.parametrize(
    "marked",
    [
        "points P1, «P1»\n" + JUNCTION.removeprefix("points P1\n"),
        "run edge WEST - A - >H - B - >«H» - C - stop",
        "run edge WEST - A - >H - B - edge «WEST»",
        TRACK + "decoder kind quad { outputs 4 }\ndecoder kind «quad» { outputs 2 }",
        TRACK + QUAD + "decoder «K1» quad at 9",
        TRACK + "section S = A\nsection «S» = B",
        TRACK + QUAD + "supply S { }\nsupply «S» { feeds K1 }",
        TRACK + "signal H shows stop, caution, «caution»",
        "fitting «points» { legs a, b\n way a - b }\n" + TRACK,
        "fitting x { legs a, b, «a»\n way a - b }\n" + TRACK,
        "fitting x { legs a, b\n drive c, d, «c»\n way a - b }\n" + TRACK,
        "fitting x { legs a, b\n drive q with c, d\n drive «q» with c, d\n way a - b }\n" + TRACK,
        JUNCTION + QUAD + "drive P1 = K1.1\n«drive P1 = K1.2»",
        JUNCTION + QUAD + "drive P1 = K1.1\n«drive P1 detected»",
        JUNCTION + QUAD + "drive P1 by hand\n«drive P1 by hand detected»",
        JUNCTION + "route R = H to B\nroute «R» = H to C",
    ],
)
def test_one_name_for_two_things_of_one_sort_is_found_at_the_second(marked: str):
    found = [d for d in report_with(marked, "E610") if d.code != "E610"]
    assert [d.code for d in found] == ["E202"]


def report_with(marked: str, beside: str) -> tuple[Diagnostic, ...]:
    """What is reported at the marks, beside diagnostics of one other code."""
    text, spans = marked_places(marked)
    result = bellcrank.compile(text)
    assert [d.span for d in result.diagnostics if d.code != beside] == spans, shown(result)
    return result.diagnostics


@pytest.mark.parametrize(
    "marked",
    [
        "run edge WEST - A - >«A» - B - stop",
        "run edge A - A1 - >H - «A» - stop",
        TRACK + "section «A» = B",
        TRACK + "decoder kind quad { outputs 4 }\ndecoder «H» quad at 1",
        TRACK + "route «B» = H to B",
    ],
)
def test_one_name_for_two_things_of_different_sorts_is_found(marked: str):
    text, spans = marked_places(marked)
    result = bellcrank.compile(text)
    clashes = [d for d in result.diagnostics if d.code == "E203"]
    assert len(clashes) == 1
    assert {d.code for d in result.diagnostics} == {"E203"}, shown(result)
    assert clashes[0].hint in ("give one of them another name", "give the route another name")
    # Which of the two stands first in the text is a matter of the reading order.
    assert words_at(clashes[0].span, text) == words_at(spans[0], text)
    (first, _), *_ = clashes[0].related
    assert words_at(first, text) == words_at(spans[0], text)
    assert first != clashes[0].span


# -------------------------------------------------------------------- fittings


def test_a_misspelt_kind_of_fitting_is_named_with_the_right_one():
    found = error("«point» P1\n" + JUNCTION.removeprefix("points P1\n"))
    assert found.code == "E204"
    assert found.hint == "did you mean `points`?"


def test_a_slip_is_asked_for_its_drives():
    found = error("«double slip» S1\n" + TRACK)
    assert found.code == "E204"
    assert found.hint == (
        "say which: `double slip S1 with one drive` or `double slip S1 with two drives`"
    )


def test_names_stand_before_what_a_slip_has():
    found = error("double slip with two drives «S1»\n" + TRACK)
    assert (found.code, found.hint) == ("E101", "write `double slip S1 with two drives`")
    found = error("double slip with two drives S1«,» S2 # both\n" + TRACK)
    assert found.hint == (
        "the names come before `with`: write `double slip S1, S2 with two drives`"
    )


def test_how_a_fitting_is_drawn_stands_between_the_braces():
    lines = "  legs in, a, b\n  drive turn with left, right\n" + "".join(
        f"  way in - {leg} when turn {way}\n" for leg, way in (("a", "left"), ("b", "right"))
    )
    found = error(
        f"fitting shed «drawn as turntable» {{\n{lines}}}\nshed P1\n"
        "run edge A - >H - P1.in\nrun P1.a - T - stop\nrun P1.b - U - stop\n"
    )
    assert found.hint == "put `drawn as turntable` on a line of its own between the braces"


FITTING = "fitting stub points {{\n legs toe, north, south\n drive north, south\n{}\n}}\n" + TRACK


@pytest.mark.parametrize(
    ("ways", "code", "hint"),
    [
        (
            "way toe - north when north\nway toe - south when south\nway toe - «est»",
            "E301",
            None,
        ),
        (
            "way toe - north when north\nway toe - south when «sout»",
            "E302",
            "did you mean `south`?",
        ),
        (
            "way toe - north when north\nway toe - south when «lever» south",
            "E302",
            None,
        ),
        (
            "way toe - north when north\nway toe - south when south, «north»",
            "E302",
            None,
        ),
        (
            "way toe - north when north\nway toe - south when south\n«way toe - north»",
            "E304",
            None,
        ),
    ],
)
def test_ways_lead_between_legs_of_the_fitting_in_positions_of_its_drives(
    ways: str, code: str, hint: str | None
):
    found = error(FITTING.format(ways))
    assert found.code == code
    assert found.hint == hint


def test_a_misspelt_leg_in_a_way_is_one_error_and_not_two():
    found = error(FITTING.format("way toe - north when north\nway toe - «sout» when south"))
    assert found.code == "E301"
    assert found.hint == "did you mean `south`?"


def test_a_leg_without_a_way_is_found():
    found = error("fitting stub points {\n legs toe, north, «south»\n way toe - north\n}\n" + TRACK)
    assert found.code == "E303"


@pytest.mark.parametrize(
    "definition",
    [
        "fitting «stub» {\n legs a\n way «a» - «a»\n}",
        "fitting stub {\n legs a, b\n «drive c»\n way a - b\n}",
        "fitting stub {\n legs a, b\n «drive c, d»\n drive e with f, g\n way a - b\n}",
    ],
)
def test_a_fitting_that_does_not_add_up_is_found(definition: str):
    text, spans = marked_places(definition + "\n" + TRACK)
    result = bellcrank.compile(text)
    assert {d.code for d in result.diagnostics} == {"E304"}, shown(result)
    assert {d.span for d in result.diagnostics} <= set(spans)


# ----------------------------------------------------------------------- track


def test_an_end_of_track_joined_twice_is_found_at_the_second_joint():
    text = "run edge WEST - A - >H - B - stop\nrun edge EAST - «B»"
    found = error(text)
    assert found.code == "E310"
    assert found.message == "the left end of B is joined twice"
    first, remark = found.related[0]
    assert (first.line, words_at(first, marked_places(text)[0])) == (1, "B")
    assert remark == "joined here first"


def test_a_leg_joined_twice_is_found_at_the_second_joint():
    found = error(JUNCTION + "run «P1.toe» - Z - stop")
    assert found.code == "E310"
    assert found.message == "the leg P1.toe is joined twice"


def test_a_leg_left_open_is_found_at_its_fitting():
    found = error("points «P1»\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - B - stop")
    assert found.code == "E311"
    assert found.message == "the leg P1.diverging is joined to nothing"
    assert found.expected == "a run that goes on from there, or ends in `stop` or `edge NAME`"


def test_a_piece_misspelt_in_one_of_two_runs_leaves_two_ends_open_and_each_names_the_other():
    first, second = report("run edge WEST - A - >H - «STATION»\nrun «STATON» - stop")
    assert (first.code, second.code) == ("E311", "E311")
    assert first.hint == "did you mean `STATON`?"
    assert second.hint == "did you mean `STATION`?"


def test_a_misspelt_stop_is_an_open_end_for_which_stop_is_suggested():
    found = error("run edge WEST - A - >H - B - «stp»")
    assert found.code == "E311"
    assert found.hint == "did you mean `stop`?"


def test_a_fitting_in_no_run_is_one_error_and_not_one_for_each_leg():
    found = error("points «P9»\n" + TRACK)
    assert found.code == "E311"
    assert found.message == "P9 stands in no run"


def test_a_run_between_two_legs_of_one_fitting_is_found():
    found = error("points P1\nrun edge WEST - A - >H - P1.toe\nrun «P1.straight - P1.diverging»")
    assert found.code == "E312"
    assert found.hint == "name the track between them: `P1.straight - LOOP - P1.diverging`"


def test_a_run_that_begins_by_going_through_a_fitting_is_found():
    found = error(
        "points P1\nrun edge WEST - A - >H - P1.toe\n"
        "run «P1.straight - P1.diverging» - <S - C - stop"
    )
    assert found.code == "E312"
    assert found.hint is not None and found.hint.startswith("begin with `run P1.diverging - …`")


def test_a_run_through_a_fitting_is_found_and_is_one_error():
    found = error(
        "points P1\nrun edge WEST - A - >H - «P1.toe - P1.straight» - B - stop\n"
        "run P1.diverging - C - stop"
    )
    assert found.code == "E312"
    assert found.hint == "end the run at P1.toe and start another with `run P1.straight - …`"


@pytest.mark.parametrize(
    ("marked", "message"),
    [
        (
            "run edge WEST - A - >H - B - «<J» - stop",
            "no train can read J: it is read leftwards, and no train comes from a stop",
        ),
        (
            "run edge WEST - A - >H - B - «>J» - stop",
            "J protects no track: it is read rightwards, and beyond it is a stop",
        ),
        (
            "run edge WEST - A - >H - B - «>J» - edge EAST",
            "J protects no track: it is read rightwards, and beyond it is the edge EAST",
        ),
        (
            "run edge WEST - A - >H - B - «>J»",
            "no train can read J: it stands at the end of a run",
        ),
    ],
)
def test_a_signal_that_no_train_can_read_or_that_protects_nothing_is_found(
    marked: str, message: str
):
    text, spans = marked_places(marked)
    found = [d for d in bellcrank.compile(text).diagnostics if d.code == "E313"]
    assert [(d.message, d.span) for d in found] == [(message, spans[0])]


def suggested_text(found: Diagnostic) -> str | None:
    """The words that a hint tells to write, if it does."""
    match = re.match(r"write `([^`]+)`", found.hint or "")
    return match.group(1) if match else None


@pytest.mark.parametrize(
    "text",
    [
        "run edge WEST - A - >H - B - >J - edge EAST",
        "run edge WEST - A - >H - B - >J - stop",
        "run edge WEST - A - >H - B - <J - stop",
        "run stop - >J - A - >H - B - edge EAST",
        TRACK + "decoder kind quad { outputs 4  range 9 to 4 }",
        JUNCTION + QUAD + "drive P1 = K1.1  coil 200",
        JUNCTION + QUAD + "drive P1 = K1.1  coil 200 millisecond",
        JUNCTION + QUAD + "drive P1 = K1.1  servo 2 seconds",
    ],
)
def test_what_a_message_tells_to_write_in_place_of_the_words_mends_the_layout(text: str):
    result = bellcrank.compile(text)
    assert len(result.diagnostics) == 1
    found = result.diagnostics[0]
    instead = suggested_text(found)
    if instead is None:
        return  # no such suggestion is better than a wrong one
    rows = text.split("\n")
    row = rows[found.span.line - 1]
    rows[found.span.line - 1] = (
        row[: found.span.column - 1] + instead + row[found.span.end_column - 1 :]
    )
    assert bellcrank.compile("\n".join(rows)).diagnostics == ()


def test_track_that_no_train_can_reach_is_one_error_however_long_it_is():
    found = error(TRACK + "run stop - «X» - Y - Z - stop")
    assert found.code == "E314"
    assert found.message == "no train can reach X, Y, Z: no edge and no signal leads there"


def test_legs_that_no_train_can_reach_are_named():
    found = error(TRACK + "points «P9»\nrun P9.toe - X - stop\nrun P9.straight - Y - stop\n"
                  "run P9.diverging - Z - stop")  # fmt: skip
    assert found.code == "E314"
    assert "P9.toe" in found.message


def test_an_edge_with_no_signal_for_its_trains_is_found():
    found = error(TRACK + "run edge «MINE» - X - stop")
    assert found.code == "E315"


def test_a_fitting_named_without_its_leg_is_one_error():
    found = error("points P1\nrun edge WEST - A - >H - «P1»\nrun P1.straight - B - stop\n"
                  "run P1.diverging - C - stop")  # fmt: skip
    assert found.code == "E316"
    assert found.expected == "P1.toe or P1.straight or P1.diverging"


def test_one_misspelt_leg_is_one_error_with_the_right_leg():
    found = error(JUNCTION.replace("P1.straight", "P1.«strait»"))
    assert found.code == "E317"
    assert found.expected == "a leg of points: toe, straight, diverging"
    assert found.hint == "did you mean `straight`?"


def test_a_plain_piece_has_no_legs_to_name():
    found = error("run edge WEST - A - >H - B\nrun «B.right» - stop")
    assert found.code == "E317"
    assert found.expected == "`B` alone; a run joins its ends"


def test_a_misspelt_kind_does_not_make_the_legs_of_its_fittings_unknown_as_well():
    assert error("«pionts» P1\n" + JUNCTION.removeprefix("points P1\n")).code == "E204"


@pytest.mark.parametrize(
    "marked",
    [
        TRACK + "«run C»",
        TRACK + "run «edge EAST - edge SOUTH»",
        "run edge WEST - A - >H - B - «stop» - C - stop",
        "run edge WEST - A - >H - B - «edge EAST» - C - stop",
    ],
)
def test_a_run_that_cannot_be_laid_is_found(marked: str):
    text, spans = marked_places(marked)
    found = bellcrank.compile(text).diagnostics
    assert [(d.code, d.span) for d in found if d.code != "E311"] == [("E318", spans[0])]


def test_two_signals_at_one_joint_read_the_same_way_are_found():
    found = error("run edge WEST - A - >H - «>J» - B - stop")
    assert found.code == "E319"
    assert bellcrank.compile("run edge WEST - A - >H - <J - B - stop").diagnostics == ()


def test_track_in_two_sections_is_found_at_the_second():
    found = error(TRACK + "section S = A, B\nsection T = «B»")
    assert found.code == "E321"


# --------------------------------------------------------------------- signals


@pytest.mark.parametrize(
    "line",
    [
        "signal H shows «caution», clear",
        "signal H shows «stop»",
        "signal H shows stop at K1.1 «rot», clear at K1.1 green",
        "signal H shows stop, caution\nroute H to B shows «clear»",
        "route H to B shows «stop»",
    ],
)
def test_aspects_that_do_not_fit_are_found(line: str):
    assert error(TRACK + QUAD + line).code == "E322"


@pytest.mark.parametrize("line", ["coupled P1, S1.end1", "coupled P1, P1"])
def test_drives_that_cannot_be_coupled_are_found_at_the_second(line: str):
    first, second = line.split(", ")
    found = error(
        "points P1\ndouble slip S1 with two drives\n"
        "run edge WEST - A - >H - P1.toe\nrun P1.straight - S1.a1\nrun P1.diverging - S1.b1\n"
        f"run S1.a2 - B - stop\nrun S1.b2 - C - stop\n{first}, «{second}»"
    )
    assert found.code == "E323"


# ---------------------------------------------------------------------- routes


def test_a_route_to_a_place_not_reached_is_found_with_the_places_that_are():
    found = error(TRACK + "route «H to EAST»")
    assert found.code == "E401"
    assert found.expected == "from H routes lead to B"


def test_a_route_to_a_misspelt_place_is_found_with_the_right_one():
    found = error("run edge WEST - A - >H - PLATFORM - stop\nroute «H to PLATFROM»")
    assert found.code == "E401"
    assert found.hint == "did you mean `PLATFORM`?"


def test_a_route_from_no_signal_is_found_with_the_nearest_signal():
    found = error("run edge WEST - A - >HOME - B - stop\nroute «HOMR» to B")
    assert found.code == "E401"
    assert found.hint == "did you mean `HOME`?"


def test_a_route_past_a_signal_is_to_be_two_routes():
    found = error("run edge WEST - A - >H - B - >J - C - stop\nroute «H to C»")
    assert found.code == "E401"
    assert found.message == "there is no route `H to C`: it would pass the signal J"
    assert found.hint == "write two routes, one to J and one from it"


TWO_WAYS = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - M - P2.straight
run P1.diverging - N - P2.diverging
run P2.toe - <D - B - stop
"""


def test_a_route_that_can_go_two_ways_is_found_and_via_tells_them_apart():
    found = error(TWO_WAYS + "route «H to B»")
    assert found.code == "E402"
    assert found.expected == "H to B via M or H to B via N"
    assert found.hint == "say which: `H to B via M`"
    assert bellcrank.compile(TWO_WAYS + "route H to B via M").diagnostics == ()


def test_a_rule_about_a_route_that_can_go_two_ways_is_found():
    found = error(TWO_WAYS + "expect «H to B» never with H to B via N")
    assert found.code == "E402"


LOOP = """\
layout "Loop" on three rails
points P1
run edge WEST - A - {} - P1.toe
run P1.straight - LOOP - P1.diverging
"""


def test_a_route_that_meets_itself_is_found_at_its_signal():
    found = error(LOOP.format(">«H»"))
    assert found.code == "E403"
    assert found.hint == "put a signal on the way round, read in the same direction"


def test_a_named_route_that_meets_itself_is_found_where_it_is_named():
    found = error(LOOP.format(">H") + "routes written\nroute «H to WEST»")
    assert found.code == "E403"


def test_more_routes_than_allowed_are_found():
    result = bellcrank.compile(JUNCTION + "routes derive at most 3")
    assert [d.code for d in result.diagnostics] == ["E404"]


def test_as_many_routes_as_allowed_are_no_error():
    result = bellcrank.compile(JUNCTION + "routes derive at most 4")
    assert result.diagnostics == ()
    assert result.table is not None and len(result.table.routes) == 4


@pytest.mark.parametrize(
    ("overlap", "expected"),
    [
        ("overlap H = «B»", "`P1`, which comes next"),
        ("overlap H = P1, «A»", "B or C"),
        ("overlap H = P1, B, «C»", "no more pieces: track ends there"),
    ],
)
def test_an_overlap_that_does_not_follow_the_track_is_found(overlap: str, expected: str):
    found = error(JUNCTION + overlap)
    assert found.code == "E405"
    assert found.expected == expected


def test_two_routes_over_one_way_are_found_at_the_second():
    found = error(TRACK + "route R1 = H to B\n«route R2 = H to B»")
    assert found.code == "E407"


def test_signals_and_no_route_line_have_nothing_to_prove():
    found = error(TRACK + "«routes written»")
    assert found.code == "E408"
    assert found.hint == "leave `routes written` out to have all routes found"


# --------------------------------------------------------------------- locking


@pytest.mark.parametrize(
    ("rule", "hint"),
    [
        ("H to B locks «D2 to WST»", "did you mean `WEST`?"),
        ("«S to WEST» locks H to B", None),
        ("«INWARD» locks H to B", None),
        ("H to B needs «Q» straight", None),
        ("H to B needs «NECK» clear", None),
        ("H to B needs «NECK» set", None),
        ("only one of H to B, «H to X»", None),
        ("only one route over «BB»", "did you mean `B`?"),
        ("only one route over «p1»", "did you mean `P1`?"),
        ("only one route over each of P1, «NEKC»", None),
        ("H to B locks D1 to WEST when «p1» straight", "did you mean `P1`?"),
    ],
)
def test_a_rule_naming_what_is_not_there_is_found(rule: str, hint: str | None):
    found = error(JUNCTION + "locking derive {\n  " + rule + "\n}")
    assert found.code == "E501"
    assert found.hint == hint


def test_a_place_that_no_route_leads_over_is_warned_of():
    track = "run edge WEST - A - >H - B - edge EAST\n"
    found = error(track + "locking derive {\n  only one route over each of B, «A»\n}")
    assert (found.code, found.severity) == ("W821", "warning")
    assert found.message == "no route leads over A, so that this rule keeps none apart"
    assert found.hint is None


def test_of_a_place_in_an_overlap_that_no_route_leads_over_it_is_said_what_to_write():
    track = "run edge WEST - A - >H - B - >«J» - C - edge EAST\noverlap J = C\n"
    routes = "routes written\nroute H to J\n"
    _, found = report(track + routes + "locking derive { only one route over «C» }")
    assert (found.code, found.severity) == ("W821", "warning")
    assert found.hint == "it lies in an overlap; what leads into it is kept out by `R locks S`"


@pytest.mark.parametrize(
    ("named", "expected"),
    [
        ("D", "a route from D: D to WEST"),
        ("NAMD", "the name of a route, or where it goes: `H to B`"),
    ],
)
def test_where_a_signal_is_named_for_a_route_the_routes_from_it_are_told(named: str, expected: str):
    found = error(TRACK + f"locking derive {{ H to B locks «{named}» }}")
    assert (found.code, found.expected) == ("E501", expected)


def test_in_a_kind_of_decoder_a_word_that_is_not_known_is_told_what_stands_there():
    found = error("decoder kind quad { outputs 4 «knobs» 9 }")
    assert found.code == "E101"
    assert found.expected == (
        "what a kind of decoder has, such as `outputs`, `switches` or `counts`, or `}`"
    )
    assert error("decoder kind quad { outputs 4 «dip» 9 }").hint == "here it is called `switches`"


def test_an_expectation_of_a_route_that_is_not_there_is_found():
    found = error(TRACK + "expect H to B never with «D to EAST»")
    assert found.code == "E501"
    assert found.expected == "a route from D: D to WEST"


@pytest.mark.parametrize(
    "rule",
    ["H to B needs P1 «strait»", "H to B locks H to C when P1 «strait»"],
)
def test_a_rule_naming_a_position_that_is_not_there_is_found(rule: str):
    found = error(JUNCTION + "locking derive {\n  " + rule + "\n}")
    assert found.code == "E502"
    assert found.expected == "straight or diverging"
    assert found.hint == "did you mean `straight`?"


def test_a_rule_that_needs_a_drive_otherwise_than_the_route_does_is_found():
    found = error(JUNCTION + "locking derive {\n  H to B needs «P1 diverging»\n}")
    assert found.code == "E503"
    assert found.message == "H to B would need P1 both straight and diverging"


@pytest.mark.parametrize(
    "rules",
    [
        "every route needs its positions\n  H to B needs «P1 diverging»",
        "H to B needs «P1 diverging»\n  every route needs its positions",
    ],
)
def test_of_two_rules_the_one_that_says_otherwise_than_the_track_is_found(rules: str):
    found = error(JUNCTION + "locking written {\n  " + rules + "\n}")
    assert found.code == "E503"
    assert found.hint == "by the track H to B needs P1 straight: write that here"


def test_a_flank_that_needs_a_drive_otherwise_than_the_route_does_is_found_at_the_flank():
    found = error(JUNCTION + "flank H to B = «P1 diverging»")
    assert found.code == "E503"


def test_a_flank_that_needs_a_drive_both_ways_is_found_at_the_second():
    found = error(
        "points P2\nrun edge EAST - Z - >J - P2.toe\nrun P2.straight - X - stop\n"
        "run P2.diverging - Y - stop\n" + TRACK + "flank H to B = P2 straight, «P2 diverging»"
    )
    assert found.code == "E503"


@pytest.mark.parametrize(
    "line",
    [
        "locking derive {\n  H to B locks «H to B»\n}",
        "locking derive {\n  H to B needs «H to B set»\n}",
        "locking derive {\n  only one of H to B, D to WEST, «H to B»\n}",
        "expect H to B with «H to B»",
    ],
)
def test_a_rule_that_sets_a_route_against_itself_is_found(line: str):
    assert error(TRACK + line).code == "E504"


def test_locking_both_derived_and_written_is_found_at_the_second():
    found = error(TRACK + "locking derive\n«locking written { every route needs its positions }»")
    assert found.code == "E505"


# -------------------------------------------------------------------- hardware


def test_a_drive_on_no_output_is_found_where_it_is_declared_once_another_is_wired():
    found = error(
        "points P1, «P2»\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - P2.toe\n"
        "run P1.diverging - B - edge X\nrun P2.straight - C - edge Y\n"
        "run P2.diverging - D - edge Z\n" + QUAD + "drive P1 = K1.1"
    )
    assert found.code == "E601"
    assert found.hint == "write `drive P2 by hand` if nothing throws it"


def test_a_drive_that_only_reports_is_on_no_output_once_another_is_wired():
    found = error(
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - P2.toe\n"
        "run P1.diverging - B - edge X\nrun P2.straight - C - edge Y\n"
        "run P2.diverging - D - edge Z\n" + QUAD + "drive P1 = K1.1\n«drive P2 detected»"
    )
    assert found.code == "E601"
    assert found.hint == "write `drive P2 by hand detected` if nothing throws it"


def test_a_release_section_by_section_without_detection_is_found_where_it_is_said():
    found = error('layout "Halt" without detection\n' + TRACK + "«release section by section»")
    assert found.code == "W812"
    assert found.hint == "write `release whole routes`, which is what happens"


def test_a_misspelt_drive_is_one_error_and_does_not_leave_it_on_no_output_as_well():
    found = error(JUNCTION + QUAD + "drive P1.«motor» = K1.1")
    assert found.code == "E201"


@pytest.mark.parametrize("number", ["0", "5", "x"])
def test_an_output_that_the_decoder_has_not_is_found(number: str):
    found = error(JUNCTION + QUAD + f"drive P1 = K1.«{number}»")
    assert found.code == "E601"
    assert found.expected == "an output from 1 to 4"


def test_an_output_used_twice_is_found_at_the_second_with_one_that_is_free():
    found = error(JUNCTION + QUAD + "drive P1 = K1.1\nsignal H = «K1.1»")
    assert found.code == "E602"
    assert found.message == "K1.1 is used twice: by P1 and by H"
    assert found.hint == "K1.2 is free"


def test_one_side_of_an_output_for_two_aspects_is_found():
    found = error(TRACK + QUAD + "signal H shows stop at K1.1 red, clear at «K1.1 red»")
    assert found.code == "E322"
    assert found.message.startswith("`stop` and `clear` light the same lamps")


ONE = "decoder kind one { outputs 1 }\n"


def test_two_decoders_on_one_address_are_found_at_the_second():
    found = error(TRACK + ONE + "decoder K1 one at 5\ndecoder K2 one at «5»")
    assert found.code == "E603"
    assert found.message == "K2 and K1 both answer to address 5"


def test_decoders_clash_by_any_of_their_outputs():
    found = error(TRACK + QUAD + "decoder K2 quad at «4»")
    assert found.code == "E603"
    assert found.message == "K2 and K1 both answer to address 4"


def test_the_address_that_is_suggested_is_free_whatever_comes_later():
    decoders = ["decoder K1 one at 1", "decoder K2 one at 1", "decoder K3 one at 2"]
    (found,) = bellcrank.compile(TRACK + ONE + "\n".join(decoders)).diagnostics
    assert found.code == "E603"
    free = re.match(r"\d+", found.hint or "")
    assert free is not None
    decoders[1] = f"decoder K2 one at {free.group()}"
    assert bellcrank.compile(TRACK + ONE + "\n".join(decoders)).diagnostics == ()


@pytest.mark.parametrize(
    ("setting", "address", "expected"),
    [
        ("", "0", "an address from 1 to 2037"),
        ("", "2038", "an address from 1 to 2037"),
        ("range 100 to 199", "99", "an address from 100 to 196"),
        ("range 100 to 199", "197", "an address from 100 to 196"),
    ],
)
def test_an_address_outside_the_range_is_found(setting: str, address: str, expected: str):
    found = error(
        TRACK + f"decoder kind quad {{ outputs 4 {setting} }}\ndecoder K1 quad at «{address}»"
    )
    assert found.code == "E604"
    assert found.expected == expected


@pytest.mark.parametrize(
    ("settings", "address", "expected"),
    [
        ("outputs 1 switches 4", "16", "at most 15"),
        ("outputs 1 switches 4 from 0", "17", "at most 16"),
        ("outputs 4 switches 3 counts decoders", "29", "at most 25"),
        ("outputs 4 switches 3 counts decoders", "6", "5 or 9"),
    ],
)
def test_an_address_that_the_switches_cannot_set_is_found(
    settings: str, address: str, expected: str
):
    kind = f"decoder kind box {{ {settings} }}\n"
    found = error(TRACK + kind + f"decoder K1 box at «{address}»")
    assert found.code == "E605"
    assert found.expected == expected
    # What is said to be possible is possible, to the last number.
    for number in re.findall(r"\d+", expected):
        assert bellcrank.compile(TRACK + kind + f"decoder K1 box at {number}").diagnostics == ()


@pytest.mark.parametrize(
    ("time_", "hint"),
    [
        ("coil «200»", "write `200 ms`"),
        ("coil «0.2»", "write `0.2 s`"),
        ("servo «2»", "write `2 s`"),
        ("servo «2 sec»", "write `2 s`"),
        ("coil «200 msec»", "write `200 ms`"),
        ("coil «200 mm»", None),
        ("coil «0 ms»", None),
        ("motor «601 s»", None),
    ],
)
def test_a_time_with_a_wrong_unit_or_none_is_found(time_: str, hint: str | None):
    found = error(JUNCTION + QUAD + f"drive P1 = K1.1 {time_} detected")
    assert found.code == "E606"
    assert found.hint == hint


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("decoder kind «quad» { switches 9 }", "E607"),
        ("decoder kind quad { outputs 4 counts «bits» }", "E607"),
        ("decoder kind quad { outputs 4 «range 9 to 4» }", "E607"),
        ("decoder kind quad { outputs «none» }", "E608"),
        ("decoder kind quad { outputs «0» }", "E608"),
        ("decoder kind quad { outputs 4 switches «17» }", "E608"),
        ("decoder kind quad { outputs 4 from «x» }", "E608"),
        ("decoder kind quad { outputs 4 range 1 to «2041» }", "E608"),
    ],
)
def test_a_kind_of_decoder_that_does_not_add_up_is_found(kind: str, code: str):
    assert error(TRACK + kind).code == code


def test_rails_are_two_or_three():
    assert error('layout "Halt" on «four» rails\n' + TRACK).code == "E608"


def test_more_outputs_than_positions_need_are_found():
    found = error(JUNCTION + QUAD + "drive P1 = «K1.1, K1.2»")
    assert found.code == "E609"
    assert found.expected == "1 output"


CROSSOVER = """\
points PA, PB
coupled PA, PB
run edge AW - A1 - >HA - PA.toe
run PA.straight - A2 - edge AE
run edge BW - B1 - >HB - PB.straight
run PB.toe - B2 - edge BE
run PA.diverging - PB.diverging
"""


def test_a_coupled_drive_is_wired_by_the_first_name_alone():
    found = error(CROSSOVER + QUAD + "drive PA = K1.1\ndrive «PB» = K1.2")
    assert found.code == "E609"
    assert found.hint == "wire PA alone, with `one at each` if each of them has its own"


@pytest.mark.parametrize(
    "supply", ["supply «S» { rest 1 s }", "supply S { feeds K1 }\nsupply T { feeds «K1» }"]
)
def test_a_supply_feeds_something_and_a_decoder_has_one_supply(supply: str):
    assert error(TRACK + QUAD + supply).code == "E610"


# ----------------------------------------------------------------------- files


def load(folder: Path, **files: str | bytes) -> Broken | Sound:
    """Compile `main` of some files, given by their names without their ends."""
    for name, text in files.items():
        data = text if isinstance(text, bytes) else marked_places(text)[0].encode("utf-8")
        (folder / f"{name}.crank").write_bytes(data)
    return compile_file(folder / "main.crank")


def places(text: str, name: str) -> list[Span]:
    return marked_places(text, name)[1]


@pytest.mark.parametrize("path", ["../other.crank", "/other.crank", "sub/../../other.crank"])
def test_a_file_outside_the_folder_is_not_read(path: str, tmp_path: Path):
    (tmp_path / "layout").mkdir()
    (tmp_path / "other.crank").write_text(TRACK)
    text = f'use «"{path}"»'
    result = load(tmp_path / "layout", main=text)
    assert [(d.code, d.span) for d in result.diagnostics] == [
        ("E701", places(text, "main.crank")[0])
    ]


def test_a_missing_file_is_found_with_the_nearest_name(tmp_path: Path):
    text = 'use «"decoder.crank"»\n'
    result = load(tmp_path, main=text, decoders=TRACK)
    (found,) = result.diagnostics
    assert (found.code, found.span) == ("E702", places(text, "main.crank")[0])
    assert found.hint == "did you mean `decoders.crank`?"


def test_files_that_use_each_other_are_found_where_the_ring_closes(tmp_path: Path):
    text = 'use «"main.crank"»\n'
    result = load(tmp_path, main='use "yard.crank"', yard='use "shed.crank"', shed=text)
    (found,) = result.diagnostics
    assert (found.code, found.span) == ("E703", places(text, "shed.crank")[0])
    assert "main.crank uses yard.crank uses shed.crank uses main.crank" in found.message


def test_a_text_that_comes_from_no_folder_uses_no_file():
    assert error('use «"yard.crank"»').code == "E704"


def test_text_that_is_not_utf_8_is_found_at_its_first_wrong_byte(tmp_path: Path):
    result = load(tmp_path, main='# Ä\nlayout "M'.encode() + b'\xf6ll"\n')
    (found,) = result.diagnostics
    assert (found.code, str(found.span)) == ("E102", "main.crank:2:10")
    assert "byte 15 (0xF6)" in found.message


# ------------------------------------------------------------------- many at once


def test_one_run_reports_the_mistakes_of_all_lines():
    found = report(
        "points P1\n"
        "run edge WEST - A «B» - P1.toe\n"
        "run P1.«strait» - B - stop\n"
        "run P1.diverging - C - stop«;»\n"
    )
    assert [d.code for d in found] == ["E101", "E317", "E101"]


def test_errors_in_hardware_and_in_locking_are_reported_together():
    found = report(
        JUNCTION
        + QUAD
        + "drive P1 = K1.«9»\n"
        + "locking derive {\n  H to B needs P1 «strait»\n}\n"
        + "expect H to B never with «H to X»\n"
    )
    assert [d.code for d in found] == ["E601", "E502", "E501"]


def test_each_bad_line_of_a_block_is_reported():
    found = report(
        TRACK
        + "locking derive {\n"
        + "  H to B «lock» D to WEST\n"
        + "  D to WEST locks H to B\n"
        + "  D to WEST «want» A clear\n"
        + "}\n"
    )
    assert [d.code for d in found] == ["E101", "E101"]


def test_reports_come_in_the_order_of_the_text():
    result = bellcrank.compile(JUNCTION + QUAD + "drive P1 = K1.9\nsignal Q shunt\nsection S = Q\n")
    spans = [d.span for d in result.diagnostics]
    assert len(spans) == 3
    assert all(a <= b for a, b in pairwise(spans))


def test_an_unreadable_run_does_not_make_its_neighbours_wrong():
    """The run that would join P1.straight is broken; that it is open is no news."""
    found = error(JUNCTION.replace("P1.straight - <D1", "P1.straight «+» <D1"))
    assert found.code == "E101"


def test_a_missing_file_does_not_make_the_names_in_it_unknown(tmp_path: Path):
    result = load(tmp_path, main='use "decoders.crank"\n' + JUNCTION + "drive P1 = K1.1\n")
    assert [d.code for d in result.diagnostics] == ["E702"]


def test_a_route_line_that_is_wrong_does_not_make_rules_about_it_wrong():
    found = error(
        TRACK + "route IN = «H to X»\nroutes derive\nlocking derive { IN locks D to WEST }"
    )
    assert found.code == "E401"


def test_a_decoder_at_a_wrong_address_still_has_outputs():
    found = error(JUNCTION + ONE + "decoder K1 one at «0»\ndrive P1 = K1.1")
    assert found.code == "E604"


def test_a_kind_of_decoder_that_is_wrong_does_not_make_its_decoders_unknown():
    found = error(
        JUNCTION + "decoder kind one { outputs «0» }\ndecoder K1 one at 1\ndrive P1 = K1.1"
    )
    assert found.code == "E608"


# -------------------------------------------------------------------- any text


SECONDS = 10.0


@pytest.mark.parametrize(
    "text",
    [
        "x" * 1_000_000,
        "-" * 1_000_000,
        '"' * 1_000_000,
        "run edge WEST - A" + " - A" * 250_000,
        "{" * 9_999,
        "{" * 9_999 + "}" * 9_999,
        "run edge WEST - >H - " + " -\n".join(f"A{n}" for n in range(3_000)) + " - stop\n",
        "points P1,\n" * 20_000,
        "run a b\n" * 50_000,
        "decoder kind quad {\n" * 10_000,
        "}\n" * 10_000,
        "points " + ", ".join(f"P{n}" for n in range(1_000)) + "\n",
        "\0",
        "run edge WEST - \0 - stop\n",
        TRACK + "\0" * 100,
        "points \ud800\n",
        'layout "\udfff"\n' + TRACK,
        "",
        " ",
        " " * 9_999,
        "\n" * 100_000,
        "\t\t\t",
        "# only a comment",
        "#",
        "\ufeff" + TRACK,
        TRACK.replace("\n", "\r"),
        "\N{LINE SEPARATOR}\N{NEXT LINE}\x0b\x0c\x1c",
        TRACK + QUAD.replace("4", "9" * 5_000),
        JUNCTION + QUAD + "drive P1 = K1.1 coil " + "9" * 5_000 + " ms",
        "points " + "P" * 9_000 + "\n" + TRACK,
    ],
    ids=lambda text: repr(text[:24]) + f" of {len(text)}",
)
def test_whatever_the_text_there_is_an_answer_and_soon(text: str):
    with within(SECONDS):
        result = bellcrank.compile(text)
        if isinstance(result, Sound):
            bellcrank.prove(result, seconds=2)
    for d in result.diagnostics:
        assert render(d, result.program.texts).startswith("layout.crank:")


def test_a_line_of_a_million_characters_is_one_error():
    assert [d.code for d in bellcrank.compile("x" * 1_000_000).diagnostics] == ["E103"]


@pytest.mark.parametrize("text", ["", "   ", "\n\n", "\t", "# only a comment\n"])
def test_a_text_without_a_statement_is_empty(text: str):
    (found,) = bellcrank.compile(text).diagnostics
    assert (found.code, found.span.line, found.span.column) == ("E320", 1, 1)


def test_a_file_of_nothing_but_mistakes_is_given_up_after_some():
    assert len(bellcrank.compile("run a b\n" * 1_000).diagnostics) == MOST_ERRORS
    assert len(bellcrank.compile("hello\n" * 1_000).diagnostics) == MOST_ERRORS


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode(),
        lambda text: text.replace(" ", "\t").encode(),
        lambda text: text.rstrip("\n").encode(),
        lambda text: text.replace("- ", "-\n  # a comment\n\n\t").encode(),
    ],
    ids=["CRLF", "byte order mark", "both", "tabs", "no last line end", "lines broken at dashes"],
)
def test_line_ends_tabs_and_a_byte_order_mark_change_nothing(change, tmp_path: Path):
    result = load(tmp_path, main=change(JUNCTION + "expect H to B never with H to C\n"))
    assert result.diagnostics == ()
    assert bellcrank.prove(sound(result)).proved
    assert list(result.table.routes) == ["H to B", "H to C", "D1 to WEST", "D2 to WEST"]


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_places_are_right_whatever_the_line_ends_and_after_a_tab(end: bytes, tmp_path: Path):
    data = b"# one" + end + b"run edge WEST -\tA -\t>H - B - stop" + end + b"signal\tX\tshunt" + end
    result = load(tmp_path, main=data)
    (found,) = result.diagnostics
    assert (found.code, found.span) == ("E201", Span("main.crank", 3, 8, 3, 9))
    assert caret_words(render(found, result.program.texts)) == "X"


def test_a_caret_stands_right_in_a_long_line_too():
    pieces = " - ".join(f"PIECE{n}" for n in range(200))
    text = f"run edge WEST - A - >H - {pieces} - B C - D - stop"
    result = bellcrank.compile(text)
    (found,) = result.diagnostics
    at = render(found, result.program.texts)
    assert caret_words(at) == "C"
    assert max(map(len, at.split("\n"))) <= 110


# ------------------------------------------------------- detectors and the panel


DETECTED = JUNCTION + QUAD + "detector kind octo { inputs 8 }\ndetector B1 octo at 1\n"


@pytest.mark.parametrize(
    ("lines", "code", "hint"),
    [
        ("detector B2 octo at «5»\n", "E603", "9 is free"),
        ("detector B2 octo at «9999»\n", "E604", None),
        ("detector B2 «otco»\n", "E201", "did you mean `octo`?"),
        ("detector kind «bad» { switches 3 }\n", "E607", None),
        ("detector kind bad { inputs 8  counts «decoders» }\n", "E607", None),
        ("report A = B1.«9»\n", "E460", "B1.1 is free"),
        ("report A = B1.«0»\n", "E460", "B1.1 is free"),
        ('report A = «" "»\n', "E460", None),
        ("report A = «B1»\n", "E460", "`octo` would take the next free input of that kind"),
        ("report A = «octo».1\n", "E201", "`octo` alone takes the next free input of that kind"),
        ("report A = «otco»\n", "E201", "did you mean `octo`?"),
        (
            "report A = «rail»\n",
            "E201",
            'put it in double quotes if it is a name of your own: "rail"',
        ),
        ("report A = «K1».1\n", "E201", None),
        ("report A = B1.1\nreport B = «B1.1»\n", "E461", "B1.2 is free"),
        (
            'report A = "a"\nreport B = «"a"»\n', "E461", "give one of the two another name",
        ),
        ("button H to C = B1.1\nbutton H to B = «B1.1»\n", "E461", "B1.2 is free"),
        (
            "report A = B1.1\nreport «A» = B1.2\n",
            "E462",
            "join the detectors of one section to one input, or divide the section",
        ),
        ("report P1 straight = B1.1\nreport «P1 straight» = B1.2\n", "E462", None),
        (
            "section BAY = B without detection\nreport «BAY» = B1.1\n",
            "E463",
            "take `without detection` out of the line `section BAY = …`",
        ),
        (
            'layout "Halt" without detection\nreport «B» = B1.1\n',
            "E463",
            "take `without detection` out of the `layout` line, and say it of the sections that "
            "have no detector",
        ),
        ("section BAY = B\nreport «B» = B1.1\n", "E464", "write `report BAY = B1.1`"),
        ("section NECK = P1\nreport «P1» = B1.1\n", "E464", "write `report NECK = B1.1`"),
        (
            "report B «occupied» = B1.1\n",
            "E464",
            "write `report B = B1.1`: the input is on while B is occupied",
        ),
        ("report P1 «strait» = B1.1\n", "E465", "did you mean `straight`?"),
        ("report «H» = B1.1\n", "E201", None),
        ("report «WEST» = B1.1\n", "E201", None),
        ("report «BB» = B1.1\n", "E201", "did you mean `B`?"),
        ("lamp H to B = K1.1 «gren»\n", "E466", "did you mean `green`?"),
        ("lamp H to B = K1.«5» green\n", "E601", "K1.1 is free"),
        ("drive P1 = K1.1\nlamp H to B = «K1.1» red\n", "E602", "K1.2 is free"),
        ("time of overlap 9 s\n«time of overlap 8 s»\n", "E467", "keep one of the two"),
        ("time of report 1 s for A, «A»\n", "E467", "keep one of the two"),
        ("time of approach locking 60 s at «P1»\n", "E201", None),
        ("time of approach locking 60 s at «H2»\n", "E201", "did you mean `H`?"),
        ("time of drive 4 s for «A»\n", "E201", None),
        ("time of report 100 ms for «H»\n", "E201", None),
        ("button «H to D1» = B1.1\n", "E468", None),
        ("button «HH to B» = B1.1\n", "E468", "did you mean `H`?"),
        ("lamp «H» = K1.1 red\n", "E468", "write `lamp H to B = K1.1 red`"),
        ("button «A» = B1.1\n", "E469", "write `button WEST = B1.1`: there routes over A end"),
        ("button «WST» = B1.1\n", "E469", "did you mean `WEST`?"),
        ("button to cancel «WEST» = B1.1\n", "E469", None),
    ],
)  # fmt: skip
def test_a_mistake_about_detectors_or_the_panel_is_marked_and_mended(
    lines: str, code: str, hint: str | None
):
    d = error(DETECTED + lines)
    assert (d.code, d.hint) == (code, hint)


def test_a_report_without_a_position_of_a_drive_that_has_a_name_of_its_own_is_shown_one():
    d = error("""\
double slip S with two drives
run edge WEST - A - >H - S.a1
run edge YARD - Y - >J - S.b1
run S.a2 - <D1 - B - stop
run S.b2 - <D2 - C - stop
report «S.end1» = "s"
""")
    assert (d.code, d.hint) == ("E464", 'write `report S.end1 a2 = "s"`')


def test_a_drive_that_is_coupled_is_reported_by_the_first():
    d = error("""\
points PA, PB
coupled PA, PB
run edge A_WEST - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_EAST
run edge B_WEST - B1 - >HB - PB.straight
run PB.toe - B2 - edge B_EAST
run PA.diverging - PB.diverging
report «PB» straight = "b"
""")
    assert d.code == "E464"
    assert d.hint is not None and d.hint.startswith("report PA alone")


def test_several_mistakes_about_detectors_are_told_in_one_run_and_nothing_that_follows_from_them():
    found = report(DETECTED + "report A = B1.«9»\nreport P1 «x» = B1.1\nbutton «Q» = B1.2\n")
    assert [d.code for d in found] == ["E460", "E465", "E469"]


def test_a_button_where_routes_over_a_piece_end_is_named_by_their_end():
    d = error("""\
run edge WEST - A - >H - B - >J - C - edge EAST
detector kind octo { inputs 8 }
detector B1 octo
button «B» = B1.1
""")
    assert (d.code, d.hint) == ("E469", "write `button J = B1.1`: there routes over B end")
