"""From text to tree: each statement, exact places, and what is left after mistakes."""

from __future__ import annotations

import re

import pytest
from sound_layouts import checked

import bellcrank
from bellcrank.diagnostics import Span
from bellcrank.syntax import tree as t
from bellcrank.syntax.chunks import Chunk, cut
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import (
    LINE_STARTERS,
    LONGEST_LINE,
    MOST_ERRORS,
    RESERVED,
    parse,
)

HERE = Span("x", 1, 1, 1, 2)


def w(text: str) -> t.Word:
    return t.Word(HERE, text)


def ws(text: str) -> tuple[t.Word, ...]:
    return tuple(map(w, text.split()))


def drive(text: str) -> t.DriveName:
    element, _, part = text.partition(".")
    return t.DriveName(HERE, w(element), w(part) if part else None)


def output(text: str) -> t.Output:
    decoder, _, number = text.partition(".")
    return t.Output(HERE, w(decoder), w(number))


def free(kind_of_decoder: str) -> t.FreeOutput:
    return t.FreeOutput(HERE, w(kind_of_decoder))


def demand(text: str) -> t.Demand:
    name, position = text.split()
    return t.Demand(HERE, drive(name), w(position))


def named(text: str) -> t.RouteByName:
    return t.RouteByName(HERE, w(text))


def way(start: str, end: str, via: str = "", calling_on: bool = False) -> t.RouteWay:
    return t.RouteWay(HERE, w(start), w(end), tuple(map(passing, via.split())), calling_on)


def passing(text: str) -> t.Passing:
    element, _, leg = text.partition(".")
    return t.Passing(HERE, w(element), w(leg) if leg else None)


def kind(words: str, with_words: str = "") -> t.KindPhrase:
    return t.KindPhrase(HERE, ws(words), ws(with_words))


def lone(text: str) -> t.Statement:
    source, diagnostics = parse(text, "x")
    assert [d.message for d in diagnostics] == []
    (statement,) = source.statements
    return statement


def mistakes(text: str) -> list[tuple[str, int, int]]:
    """Code, line and column of each diagnostic."""
    return [(d.code, d.span.line, d.span.column) for d in parse(text, "x")[1]]


def seen(text: str) -> list[str]:
    """The kinds of the statements that could be read."""
    return [type(s).__name__ for s in parse(text, "x")[0].statements]


# ------------------------------------------------ each statement to its tree

TRACK = [
    ('layout "A halt"', t.LayoutLine(HERE, "A halt", None, False)),
    ('layout "" on two rails', t.LayoutLine(HERE, "", w("two"), False)),
    (
        'layout "A" on 3 rails without detection',
        t.LayoutLine(HERE, "A", w("3"), True),
    ),
    ('layout "# no comment" ', t.LayoutLine(HERE, "# no comment", None, False)),
    ('use "a/b.crank"', t.UseLine(HERE, w("a/b.crank"))),
    ("points P1", t.Declaration(HERE, kind("points"), ws("P1"))),
    ("points P1, 12A", t.Declaration(HERE, kind("points"), ws("P1 12A"))),
    (
        "double slip S1, S2 with one drive",
        t.Declaration(HERE, kind("double slip", "one drive"), ws("S1 S2")),
    ),
    ("coupled P1, S1.end1", t.CoupledLine(HERE, (drive("P1"), drive("S1.end1")))),
    (
        "run edge W - A - >H - <S - P1.toe",
        t.RunLine(
            HERE,
            (
                t.Edge(HERE, w("W")),
                t.Piece(HERE, w("A")),
                t.SignalHere(HERE, w("H"), rightwards=True),
                t.SignalHere(HERE, w("S"), rightwards=False),
                t.LegHere(HERE, w("P1"), w("toe")),
            ),
        ),
    ),
    (
        "run stop – A — B",
        t.RunLine(HERE, (t.Stop(HERE), t.Piece(HERE, w("A")), t.Piece(HERE, w("B")))),
    ),
    ("section N = A, P1", t.SectionLine(HERE, w("N"), ws("A P1"), False)),
    (
        "section N = A without detection",
        t.SectionLine(HERE, w("N"), ws("A"), True),
    ),
    ("reverser A, B", t.ReverserLine(HERE, ws("A B"))),
    ("draw A above B", t.DrawLine(HERE, ws("A B"))),
    ("draw A above above above C", t.DrawLine(HERE, ws("A above C"))),
    ("bridge F over A, B", t.BridgeLine(HERE, w("F"), ws("A B"))),
    ("bridge over over over", t.BridgeLine(HERE, w("over"), ws("over"))),
    (
        'platform "Up side" above A, B',
        t.PlatformLine(HERE, w("Up side"), t.BesideTrack(HERE, "above", ws("A B"))),
    ),
    (
        'note "Goods shed" beside note',
        t.NoteLine(HERE, w("Goods shed"), t.BesideTrack(HERE, "beside", ws("note"))),
    ),
    ('note "By hand"', t.NoteLine(HERE, w("By hand"), None)),
    (
        "fitting wye { }",
        t.FittingDefinition(HERE, kind("wye"), ()),
    ),
    (
        "fitting big wye with a drive { legs a, b  drive x, y  way a - b when x }",
        t.FittingDefinition(
            HERE,
            kind("big wye", "a drive"),
            (
                t.Legs(HERE, ws("a b")),
                t.FittingDrive(HERE, None, ws("x y")),
                t.Way(HERE, w("a"), w("b"), (t.WayCondition(HERE, None, w("x")),)),
            ),
        ),
    ),
    (
        "fitting table { drawn as turntable }",
        t.FittingDefinition(HERE, kind("table"), (t.FittingDrawing(HERE, "turntable"),)),
    ),
    (
        "fitting wye {\n drive e with x, y\n way a - b\n way a - c when e x, f y\n}",
        t.FittingDefinition(
            HERE,
            kind("wye"),
            (
                t.FittingDrive(HERE, w("e"), ws("x y")),
                t.Way(HERE, w("a"), w("b"), ()),
                t.Way(
                    HERE,
                    w("a"),
                    w("c"),
                    (
                        t.WayCondition(HERE, w("e"), w("x")),
                        t.WayCondition(HERE, w("f"), w("y")),
                    ),
                ),
            ),
        ),
    ),
]

SIGNALS_AND_ROUTES = [
    ("signal H", t.SignalLine(HERE, w("H"), False, (), None)),
    ("signal H shunt = K.1", t.SignalLine(HERE, w("H"), True, (), output("K.1"))),
    (
        "signal H shows stop, clear at K.2 green",
        t.SignalLine(
            HERE,
            w("H"),
            False,
            (
                t.Aspect(HERE, w("stop")),
                t.Aspect(HERE, w("clear"), (t.LitLamp(HERE, output("K.2"), w("green")),)),
            ),
            None,
        ),
    ),
    ("signal H imagined", t.ImaginedLine(HERE, ws("H"))),
    ("signal H, S1,\n  S2 imagined", t.ImaginedLine(HERE, ws("H S1 S2"))),
    ("overlap H = A, P1", t.OverlapLine(HERE, w("H"), ws("A P1"))),
    ("flank derive", t.FlankDerive(HERE)),
    (
        "flank H to T1 = P1 straight, S1.end1 a2",
        t.FlankWritten(HERE, way("H", "T1"), (demand("P1 straight"), demand("S1.end1 a2"))),
    ),
    ("flank IN = P1 straight", t.FlankWritten(HERE, named("IN"), (demand("P1 straight"),))),
    ("routes derive", t.RoutesDerive(HERE, None)),
    ("routes derive at most 9", t.RoutesDerive(HERE, w("9"))),
    ("routes written", t.RoutesWritten(HERE)),
    ("route H to T", t.RouteLine(HERE, None, way("H", "T"), None)),
    (
        "route IN = H to T via A then B calling on shows caution",
        t.RouteLine(HERE, w("IN"), way("H", "T", "A B", True), w("caution")),
    ),
    ("expect A with B", t.ExpectLine(HERE, (named("A"), named("B")), never=False)),
    (
        "expect A to B with C with D to E via F then G.b2",
        t.ExpectLine(HERE, (way("A", "B"), named("C"), way("D", "E", "F G.b2")), never=False),
    ),
    (
        "expect A to B calling on never with C",
        t.ExpectLine(HERE, (way("A", "B", "", True), named("C")), never=True),
    ),
]

LOCKING = [
    ("locking derive", t.LockingLine(HERE, True, ())),
    ("locking derive { }", t.LockingLine(HERE, True, ())),
    ("locking written { }", t.LockingLine(HERE, False, ())),
    ("release section by section", t.ReleaseLine(HERE, by_section=True)),
    ("release whole routes", t.ReleaseLine(HERE, by_section=False)),
]

RULES = [
    ("A locks B", t.LocksRule(HERE, named("A"), (named("B"),), ())),
    (
        "A to B locks C, D to E when P1 straight, S1.end1 a2",
        t.LocksRule(
            HERE,
            way("A", "B"),
            (named("C"), way("D", "E")),
            (demand("P1 straight"), demand("S1.end1 a2")),
        ),
    ),
    (
        "A needs P1 straight, S1.end1 a2, NECK clear, MAIN set, D to E set",
        t.NeedsRule(
            HERE,
            named("A"),
            (
                t.NeedWord(HERE, w("P1"), None, w("straight")),
                t.NeedWord(HERE, w("S1"), w("end1"), w("a2")),
                t.NeedWord(HERE, w("NECK"), None, w("clear")),
                t.NeedWord(HERE, w("MAIN"), None, w("set")),
                t.NeedRoute(HERE, way("D", "E")),
            ),
        ),
    ),
    ("every route needs its positions", t.EveryPositions(HERE)),
    ("every route needs its sections clear", t.EverySectionsClear(HERE)),
    ("every drive needs its section clear", t.EveryDriveClear(HERE)),
    ("only one of A, B to C", t.OnlyOneRule(HERE, (named("A"), way("B", "C")))),
    ("only one route over S1", t.OnlyOneOverRule(HERE, (w("S1"),))),
    ("only one route over each of S1", t.OnlyOneOverRule(HERE, (w("S1"),))),
    ("only one route over each of S1, NECK", t.OnlyOneOverRule(HERE, ws("S1 NECK"))),
]


def setting(keyword: str, words: str = "") -> t.KindSetting:
    return t.KindSetting(HERE, keyword, ws(words))


HARDWARE = [
    ("decoder kind q { }", t.DecoderKindLine(HERE, w("q"), ())),
    (
        "decoder kind q { outputs 4  switches 9  counts decoders  from 0  inverted  range 1 to 8 }",
        t.DecoderKindLine(
            HERE,
            w("q"),
            (
                setting("outputs", "4"),
                setting("switches", "9"),
                setting("counts", "decoders"),
                setting("from", "0"),
                setting("inverted"),
                setting("range", "1 8"),
            ),
        ),
    ),
    ("numbering from decoder 0", t.NumberingLine(HERE, w("0"))),
    (
        "decoder kind q { weights 1, 2, 4\n switch 3 off switch 1 on packets extended }",
        t.DecoderKindLine(
            HERE,
            w("q"),
            (
                setting("weights", "1 2 4"),
                setting("switch", "3 off"),
                setting("switch", "1 on"),
                setting("packets", "extended"),
            ),
        ),
    ),
    (
        "decoder kind q { pulses timed  lamps grouped }",
        t.DecoderKindLine(HERE, w("q"), (setting("pulses", "timed"), setting("lamps", "grouped"))),
    ),
    (
        'decoder kind q { terminals green "G %", red "",\n common "C" outputs 4 }',
        t.DecoderKindLine(
            HERE,
            w("q"),
            (
                t.KindSetting(
                    HERE,
                    "terminals",
                    (w("green"), w("G %"), w("red"), w(""), w("common"), w("C")),
                ),
                setting("outputs", "4"),
            ),
        ),
    ),
    ("decoder K q", t.DecoderLine(HERE, w("K"), w("q"), None)),
    ("signal H = q", t.SignalLine(HERE, w("H"), False, (), free("q"))),
    (
        "signal H shows stop as 0, clear as 4 = q",
        t.SignalLine(
            HERE,
            w("H"),
            False,
            (
                t.Aspect(HERE, w("stop"), (), w("0")),
                t.Aspect(HERE, w("clear"), (), w("4")),
            ),
            free("q"),
        ),
    ),
    (
        'drive P1 = q, K.2 settles 300 ms rests 2 s coil 200 wires "a",\n"b c", "" crossed',
        t.DriveLine(
            HERE,
            drive("P1"),
            (free("q"), output("K.2")),
            False,
            w("coil"),
            w("200"),
            True,
            False,
            w("300 ms"),
            w("2 s"),
            (w("a"), w("b c"), w("")),
        ),
    ),
    (
        'drive P1 = q settles 300 rests 2 wires "a"',
        t.DriveLine(
            HERE,
            drive("P1"),
            (free("q"),),
            False,
            None,
            None,
            False,
            False,
            w("300"),
            w("2"),
            (w("a"),),
        ),
    ),
    ("decoder K q at 16", t.DecoderLine(HERE, w("K"), w("q"), w("16"))),
    (
        "drive P1 = K.1",
        t.DriveLine(HERE, drive("P1"), (output("K.1"),), False, None, None, False, False),
    ),
    (
        "drive S.e = K.1, K.2 crossed servo 1.5 s detected",
        t.DriveLine(
            HERE,
            drive("S.e"),
            (output("K.1"), output("K.2")),
            False,
            w("servo"),
            w("1.5 s"),
            True,
            True,
        ),
    ),
    (
        "drive P1 = K.1 coil 200 crossed",
        t.DriveLine(HERE, drive("P1"), (output("K.1"),), False, w("coil"), w("200"), True, False),
    ),
    (
        "drive P1 = K.1 motor 3s",
        t.DriveLine(HERE, drive("P1"), (output("K.1"),), False, w("motor"), w("3s"), False, False),
    ),
    ("drive P1 by hand", t.DriveLine(HERE, drive("P1"), (), True, None, None, False, False)),
    (
        "drive P1 by hand detected",
        t.DriveLine(HERE, drive("P1"), (), True, None, None, False, True),
    ),
    (
        "drive S.e detected",
        t.DriveLine(HERE, drive("S.e"), (), False, None, None, False, True),
    ),
    ("supply B { }", t.SupplyLine(HERE, w("B"), (), None, None)),
    (
        "supply B {\n feeds K1, K2\n one at a time\n rest 250 ms\n}",
        t.SupplyLine(HERE, w("B"), ws("K1 K2"), w("one"), w("250 ms")),
    ),
]


def inlet(text: str) -> t.Input:
    detector, number = text.split(".")
    return t.Input(HERE, w(detector), w(number))


PANEL = [
    (
        "detector kind octo { inputs 8  switches 8  counts detectors  from 0\n inverted  "
        'range 1 to 64 terminals input "%" }',
        t.DetectorKindLine(
            HERE,
            w("octo"),
            (
                setting("inputs", "8"),
                setting("switches", "8"),
                setting("counts", "detectors"),
                setting("from", "0"),
                setting("inverted"),
                setting("range", "1 64"),
                t.KindSetting(HERE, "terminals", (w("input"), w("%"))),
            ),
        ),
    ),
    ("detector B1 octo", t.DetectorLine(HERE, w("B1"), w("octo"), None)),
    ("detector B1 octo at 3", t.DetectorLine(HERE, w("B1"), w("octo"), w("3"))),
    ("report T1 = B1.1", t.ReportLine(HERE, drive("T1"), None, inlet("B1.1"))),
    (
        'report T1 = "rail/t 1"',
        t.ReportLine(HERE, drive("T1"), None, t.NamedInput(HERE, w("rail/t 1"))),
    ),
    (
        "report T1 = octo",
        t.ReportLine(HERE, drive("T1"), None, t.FreeInput(HERE, w("octo"))),
    ),
    ("report P1 straight = B1.5", t.ReportLine(HERE, drive("P1"), w("straight"), inlet("B1.5"))),
    ("report S1.end1 a2 = B1.7", t.ReportLine(HERE, drive("S1.end1"), w("a2"), inlet("B1.7"))),
    ("button H = B2.3", t.ButtonLine(HERE, named("H"), False, inlet("B2.3"))),
    ("button H to T1 = B2.4", t.ButtonLine(HERE, way("H", "T1"), False, inlet("B2.4"))),
    (
        'button to cancel H to T1 = "x"',
        t.ButtonLine(HERE, way("H", "T1"), True, t.NamedInput(HERE, w("x"))),
    ),
    ("button to cancel H = B2.5", t.ButtonLine(HERE, named("H"), True, inlet("B2.5"))),
    ("lamp H to T1 = K3.2 green", t.LampLine(HERE, way("H", "T1"), output("K3.2"), w("green"))),
    ("lamp IN = quad red", t.LampLine(HERE, named("IN"), free("quad"), w("red"))),
    ("frog P1 = K3.2", t.FrogWired(HERE, drive("P1"), output("K3.2"), False)),
    ("frog S1.end1 = quad crossed", t.FrogWired(HERE, drive("S1.end1"), free("quad"), True)),
    ("frog P1, P3.left with drive", t.FrogFed(HERE, (drive("P1"), drive("P3.left")), "drive")),
    ("frog X1.end1 by reverser", t.FrogFed(HERE, (drive("X1.end1"),), "reverser")),
    ("frog frog dead", t.FrogFed(HERE, (drive("frog"),), "dead")),
    (
        "output GATE with open, closed = K3.1 motor 2 s",
        t.OutputLine(
            HERE, w("GATE"), (w("open"), w("closed")), output("K3.1"), None, w("motor"), w("2 s")
        ),
    ),
    (
        "output PULL = quad green",
        t.OutputLine(HERE, w("PULL"), (), free("quad"), w("green"), None, None),
    ),
    (
        "drive TT one as 1, two as 2 = K5.1 servo 2 s",
        t.DriveLine(
            HERE,
            drive("TT"),
            (output("K5.1"),),
            False,
            w("servo"),
            w("2 s"),
            False,
            False,
            places=(
                t.DrivePlace(HERE, w("one"), None, None, w("1")),
                t.DrivePlace(HERE, w("two"), None, None, w("2")),
            ),
        ),
    ),
    (
        "district N { feeds A, B  gives 15 V, 3 A  fuse 3 A  wires 6 m }",
        t.DistrictLine(
            HERE, w("N"), (w("A"), w("B")), False, (w("15 V"), w("3 A")), w("3 A"), w("6 m")
        ),
    ),
    ("district N { feeds the rest }", t.DistrictLine(HERE, w("N"), (), True)),
    ("time of approach locking 30 s", t.TimeLine(HERE, "approach locking", w("30 s"), ())),
    (
        "time of approach locking 60 s at H, G",
        t.TimeLine(HERE, "approach locking", w("60 s"), (drive("H"), drive("G"))),
    ),
    ("time of overlap 10 at H", t.TimeLine(HERE, "overlap", w("10"), (drive("H"),))),
    (
        "time of drive 4 s for P1, S1.far",
        t.TimeLine(HERE, "drive", w("4 s"), (drive("P1"), drive("S1.far"))),
    ),
    ("time of drive 4 s", t.TimeLine(HERE, "drive", w("4 s"), ())),
    ("time of report 500 for T1", t.TimeLine(HERE, "report", w("500"), (drive("T1"),))),
]


@pytest.mark.parametrize(
    ("text", "tree"),
    TRACK + SIGNALS_AND_ROUTES + LOCKING + HARDWARE + PANEL,
)
def test_a_statement_becomes_its_tree(text: str, tree: t.Statement):
    assert lone(text) == tree


@pytest.mark.parametrize(("text", "rule"), RULES)
@pytest.mark.parametrize("head", ["derive", "written"])
def test_a_rule_becomes_its_tree(head: str, text: str, rule: t.Rule):
    assert lone(f"locking {head} {{\n  {text}\n}}") == t.LockingLine(
        HERE, head == "derive", (rule,)
    )


def test_all_kinds_of_statement_and_rule_are_tried_above():
    tried = {type(s) for _, s in TRACK + SIGNALS_AND_ROUTES + LOCKING + HARDWARE + PANEL}
    assert tried == set(t.Statement.__args__)
    assert {type(r) for _, r in RULES} == set(t.Rule.__args__)


# ---------------------------------------------------------------- exact places


def nodes(node: object) -> list[t.Node]:
    """A node and all nodes in it."""
    found = [node] if isinstance(node, t.Node) else []
    parts = node if isinstance(node, tuple) else ()
    if isinstance(node, t.Node):
        parts = tuple(getattr(node, f) for f in node.__dataclass_fields__)
    return found + [inner for part in parts for inner in nodes(part)]


def text_at(text: str, span: Span) -> str:
    """The stretch of a text that a span names."""
    rows = text.split("\n")[span.line - 1 : span.end_line]
    rows[-1] = rows[-1][: span.end_column - 1]
    rows[0] = rows[0][span.column - 1 :]
    return "\n".join(rows)


STATEMENTS = [
    *(text for text, _ in TRACK + SIGNALS_AND_ROUTES + LOCKING + HARDWARE + PANEL),
    *(f"locking written {{\n  {text}\n}}" for text, _ in RULES),
]


@pytest.mark.parametrize("text", STATEMENTS)
@pytest.mark.parametrize("after_mistake", [False, True])
def test_every_node_knows_the_exact_text_it_came_from(text: str, after_mistake: bool):
    # A mistake elsewhere makes each statement be parsed by itself, with its place shifted.
    before = "run A B\n" if after_mistake else ""
    whole = f"{before}\n  {text}  # remark\n\nsection N = A\n"
    source, diagnostics = parse(whole, "x")
    assert len(diagnostics) == after_mistake
    statement = source.statements[0]
    assert text_at(whole, statement.span) == text.strip()
    for node in nodes(statement):
        there = text_at(whole, node.span)
        assert there in text and there == there.strip() and there
        if isinstance(node, t.Word | t.DriveName | t.Output | t.RouteWay | t.RouteByName):
            assert there.strip(chr(34)) == str(node)


def test_a_run_over_two_lines_ends_where_its_last_word_ends():
    statement = lone("\n  run edge W - A -  # goes on\n    >H - P1.toe\n")
    assert statement.span == Span("x", 2, 3, 3, 16)


def test_the_place_of_a_mistake_is_its_token():
    ((code, line, column),) = mistakes("run A - B\n  section N A\n")
    assert (code, line, column) == ("E101", 2, 13)


def test_a_line_that_ends_too_early_is_marked_at_its_end_and_not_on_the_next():
    (d,) = parse("section N =   # nothing\nrun A - B\n", "x")[1]
    assert "ends too early" in d.message
    assert (d.span.line, d.span.end_line) == (1, 1)
    assert d.span.column in (12, 24)  # after the last word, or after the comment
    assert d.expected == "a name"


def test_columns_count_characters_and_not_bytes():
    assert mistakes("run Gleisänderung – B ; C") == [("E101", 1, 23)]


def test_comments_are_kept_with_their_places():
    source, _ = parse('# one\nlayout "a # b" # two\n  # three  \n', "x")
    assert [(c.text, c.span.line, c.span.column, c.alone) for c in source.comments] == [
        ("# one", 1, 1, True),
        ("# two", 2, 16, False),
        ("# three", 3, 3, True),
    ]


# ------------------------------------------------------------ lines and blocks


@pytest.mark.parametrize(
    "text",
    [
        "run A -\nB - C",
        "run A - # remark\n\n  # alone\n  B -\n\n  C",
        "run A -\r\n  B - C\r\n",
        "run A–B—C",
    ],
)
def test_a_run_goes_on_after_a_dash(text: str):
    assert lone(text) == lone("run A - B - C")


def test_a_list_goes_on_after_a_comma():
    assert lone("section N = A, # first\n  B,\n  C") == lone("section N = A, B, C")


def test_a_line_is_not_continued_by_indenting_it():
    assert mistakes("run A\n  - B") != []


def test_empty_lines_and_comments_alone_make_no_statement():
    source, diagnostics = parse("\n \n# only this\n\t\n", "x")
    assert (source.statements, diagnostics) == ((), ())


def test_two_rules_do_not_stand_in_one_line():
    assert mistakes("locking written { A locks B C locks D }") != []


# ----------------------------------------------------------------- after errors


def test_several_mistakes_are_reported_in_one_run():
    text = "run A B\nsection = A\nrun C - D\ndrive P1 =\ndecoder K\n"
    assert [line for _, line, _ in mistakes(text)] == [1, 2, 4, 5]
    assert seen(text) == ["RunLine"]


def test_several_mistakes_in_one_block_are_each_reported():
    text = "locking written {\n  A locks\n  B locks C\n  D nedes P1 straight\n}\nrun A - B\n"
    assert [(line, code) for code, line, _ in mistakes(text)] == [(2, "E101"), (4, "E101")]
    assert seen(text) == ["RunLine"]


@pytest.mark.parametrize(
    "block", ["fitting wye {", "locking written {", "decoder kind q {", "supply B {"]
)
def test_an_unclosed_block_does_not_swallow_the_rest(block: str):
    text = f"{block}\n  \n\nrun A - B\nroutes derive\n"
    assert mistakes(text) == [("E104", 1, block.index("{") + 1)]
    assert seen(text) == ["RunLine", "RoutesDerive"]


@pytest.mark.parametrize(
    "line",
    [
        "detector kind octo { inputs 8 }",
        "detector B1 octo at 3",
        "detector B1 octo",
        "report P1 straight = B1.1",
        "button to cancel H to T1 = B1.1",
        "lamp H to T1 = K1.1 green",
        "time of overlap 10 s",
        "frog S1.end1 = K1.1",
        "frog P1, P2 with drive",
        "frog P1 dead",
    ],
)
def test_an_unclosed_block_does_not_swallow_a_line_about_detectors_or_the_panel(line: str):
    source, diagnostics = parse(f"supply B {{\n  feeds K1\n{line}\n", "x")
    assert [d.code for d in diagnostics] == ["E104"]
    assert source.statements == (lone(line),)


def test_an_unclosed_block_at_the_end_is_reported():
    assert mistakes("run A - B\nlocking written {\n  A locks B\n") == [("E104", 2, 17)]


def test_a_continued_line_ends_at_the_next_statement():
    text = "run A -\nrun B - C\n"
    assert [line for _, line, _ in mistakes(text)] == [1]
    assert seen(text) == ["RunLine"]


def test_a_statement_with_a_mistake_is_left_out_whole():
    # Half a rule block would be checked as if it were all of it.
    text = "locking written {\n  A locks B\n  oops\n}\n"
    assert seen(text) == []


@pytest.mark.parametrize(
    ("text", "twice"),
    [
        ("decoder kind q { outputs 4  outputs 2 }", "outputs"),
        ("decoder kind q { inverted  inverted }", "inverted"),
        ("drive P1 = K.1 crossed crossed", "crossed"),
        ("drive P1 = K.1 rests 1 s rests 1 s", "rests"),
        ("decoder kind q { switch 9 on  switch 8 on  switch 9 off }", "switch 9"),
        ('decoder kind q { terminals red "A", red "B" }', "red"),
        ("supply B { rest 1 s  rest 2 s }", "rest"),
        ("supply B { one at a time  two at a time }", "at a time"),
    ],
)
def test_a_setting_said_twice_is_reported_at_the_second(text: str, twice: str):
    (d,) = parse(text, "x")[1]
    assert (d.code, d.message) == ("E107", f"`{twice}` is said twice")
    before = len("two ") if twice == "at a time" else 0
    assert d.span.column == text.rindex(twice.split()[0]) + 1 - before
    assert [span.column for span, _ in d.related] == [text.index(twice.split()[0]) + 1 - before]


def test_two_actions_of_one_drive_are_named_by_words_that_were_written():
    (d,) = parse("drive P1 = K.1 coil 200 ms servo 2 s", "x")[1]
    assert d.code == "E107"
    assert "servo" in d.message or "coil" in d.message


def test_an_endless_line_is_refused_and_the_rest_is_read():
    text = f"run {'A' * LONGEST_LINE} - B\nrun C - D\n"
    assert mistakes(text) == [("E103", 1, LONGEST_LINE + 1)]
    assert seen(text) == ["RunLine"]


def test_errors_stop_at_a_bound():
    text = "run A B\n" * (MOST_ERRORS + 30)
    assert len(mistakes(text)) == MOST_ERRORS


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("sginal H = K.1", "did you mean `signal`?"),
        ("run A - B;", "leave the `;` out: the end of the line ends a statement"),
        ('layout "Halt', 'close the text with a second " on the same line'),
        ("locking writen { }", "did you mean `written`?"),
        ("supply B { feeds K one at a tme }", "did you mean `time`?"),
        ("release sections one by one", "did you mean `section`?"),
        ("locking written {\n  every drives needs its section clear\n}", "did you mean `drive`?"),
        ("drive P1 by hand detcted", "did you mean `detected`?"),
        ("drive P1 = K.1 settle 300 ms", "did you mean `settles`?"),
        ("drive P1 = K.1 wires white, brown", 'put it in double quotes: "white"'),
        ("decoder K at 16", "say of which kind it is: `decoder K KIND at 16`"),
        ("signal H shows stop, slow at 4", "the value that shows an aspect is written `as 4`"),
        (
            "signal H shows stop at 0, slow = K.1",
            "the value that shows an aspect is written `as 0`",
        ),
        (
            "signal H shows stop at K.1 red, slow at K.1 green and K.2, clear at K.1 green",
            "say which side of it shows the aspect, such as `and K.2 green`",
        ),
        (
            "signal H shows stop at K.1 red, slow at K.1 green blinking, K.2 red",
            "lamps of one aspect are joined by `and`: `K.1 green blinking and K.2 red`",
        ),
        (
            "signal H shows stop at K.1 red, slow at lamps",
            "say which side of it shows the aspect, such as `at lamps green`",
        ),
        (
            "signal H shows stop at K.1, slow at lamps green",
            "say which side of it shows the aspect, such as `at K.1 green`",
        ),
        ("detector kind octo { outputs 8 }", "did you mean `inputs`?"),
        ("detector B1 at 3", "say of which kind it is: `detector B1 KIND at 3`"),
        ("report T1 = rail/t1  # a topic", 'put it in double quotes: "rail/t1"'),
        ("button H cancel = B2.1", "write `button to cancel H = …`"),
        ("button cancel H to T1 = B2.1", "write `button to cancel H to T1 = …`"),
        ("lamp H to T1 = K.1", "say which side of it lights the lamp, such as `K.1 green`"),
        ("time of overlaps 10 s", "did you mean `overlap`?"),
    ],
)
def test_a_likely_slip_gets_a_hint(text: str, hint: str):
    (d,) = parse(text, "x")[1]
    assert d.hint == hint


def test_a_hint_inside_a_block_does_not_suggest_to_begin_a_statement():
    found = parse("locking written {\n  every A locks B\n}\n", "x")[1]
    assert [d.hint for d in found if d.hint and "reverser" in d.hint] == []


@pytest.mark.parametrize("text", ["points", "oops", "12A"])
def test_a_lone_word_is_no_statement(text: str):
    (d,) = parse(text, "x")[1]
    assert (d.code, text_at(text, d.span)) == ("E101", text)


# ----------------------------------------------------- a mistake and its neighbours


NEIGHBOURS = [
    "run A -\n  # goes on below\n  B\n",
    "run A -\n\n  B\n",
    "section N = A,\n\n  B\n",
    "fitting wye {\nlegs a, b\nway a - b\n}\n",
    "fitting wye {\nlegs a, b\ndrive x, y\nway a - b when x\n}\n",
    "locking written {\nA locks B\n}\n",
    # Words that lead statements and may be names as well.
    "run A -\nlamp - report - time\n",
    "section N = A,\nbutton, detector\n",
    "section N = A,\nfrog, B\n",
    "locking written {\nfrog locks B\nfrog to B needs A clear\n}\n",
    "fitting wye {\nlegs a, b, frog\ndrive x, y\nway a - b when x\nway a - frog when y\n"
    "frog between b, frog\n}\n",
    "locking written {\ndetector locks lamp\nbutton needs time clear\nreport to B locks time\n}\n",
]


@pytest.mark.parametrize("text", NEIGHBOURS)
def test_a_mistake_elsewhere_does_not_make_a_sound_statement_wrong(text: str):
    alone = lone(text)
    source, diagnostics = parse(f"run X Y\n{text}", "x")
    assert [d.span.line for d in diagnostics] == [1]
    assert source.statements == (alone,)


# --------------------------------------------------------- words of the language


def halt(**names: str) -> str:
    """A small layout in which one thing bears another name."""
    n = {"piece": "A", "signal": "H", "fitting": "P1", "edge": "WEST", "route": "IN"} | names
    n = {"section": "N", "decoder": "K1", "kind": "q", "supply": "B"} | n
    return f"""
points {n["fitting"]}
run edge {n["edge"]} - {n["piece"]} - >{n["signal"]} - {n["fitting"]}.toe
run {n["fitting"]}.straight - <S1 - T1 - stop
run {n["fitting"]}.diverging - <S2 - T2 - stop
section {n["section"]} = {n["piece"]}
routes derive
route {n["route"]} = {n["signal"]} to T1
locking derive {{
  {n["route"]} locks S1 to {n["edge"]}
  {n["signal"]} to T2 locks {n["route"]}
}}
flank {n["signal"]} to T1 = {n["fitting"]} straight
expect {n["route"]} never with {n["signal"]} to T2
decoder kind {n["kind"]} {{ outputs 2 }}
decoder {n["decoder"]} {n["kind"]} at 1
drive {n["fitting"]} = {n["decoder"]}.1  coil 200 ms
supply {n["supply"]} {{ feeds {n["decoder"]}  one at a time  rest 200 ms }}
"""


def test_the_halt_compiles_when_its_names_are_names():
    assert checked(halt()).proved


BEARERS = "piece signal fitting edge route section decoder kind supply".split()


def tree_of(**names: str) -> str:
    return repr(parse(halt(**names), "x")[0])


@pytest.mark.parametrize("bearer", BEARERS)
def test_a_word_that_is_not_reserved_is_read_as_the_name_it_stands_for(bearer: str):
    # What the language needs for itself it must reserve, so that the error says so.
    grammar_words = set(re.findall(r"[a-z]+", " ".join(STATEMENTS))) - RESERVED
    plain = tree_of(**{bearer: "Zz"})
    misread = {
        word
        for word in grammar_words
        if tree_of(**{bearer: word}) != plain.replace("'Zz'", repr(word))
    }
    assert misread == set()


@pytest.mark.parametrize("bearer", BEARERS)
def test_a_reserved_word_is_never_taken_as_a_name(bearer: str):
    found = {word: bellcrank.compile(halt(**{bearer: word})) for word in RESERVED}
    assert {word for word, c in found.items() if isinstance(c, bellcrank.Sound)} == set()


# -------------------------------------------------------------------- the chunks


def cuts(text: str) -> list[tuple[int, str]]:
    return [(c.line, c.text) for c in cut(text, LINE_STARTERS)]


def test_each_statement_is_a_chunk_and_empty_lines_are_none():
    assert cuts("run A - B\n\n# remark\n  points P1\n") == [(0, "run A - B"), (3, "  points P1")]


def test_a_chunk_holds_a_whole_block():
    assert cuts("supply B {\n  feeds K\n}\nrun A - B") == [
        (0, "supply B {\n  feeds K\n}"),
        (3, "run A - B"),
    ]


def test_a_chunk_holds_the_lines_that_a_statement_goes_on_in():
    assert cuts("run A - # more\n  B,\n  C\nrun D - E") == [
        (0, "run A - # more\n  B,\n  C"),
        (3, "run D - E"),
    ]


def test_braces_in_texts_and_comments_open_nothing():
    assert cuts('layout "{"  # {\nrun A - B') == [(0, 'layout "{"  # {'), (1, "run A - B")]


def test_an_unclosed_block_tells_where_it_opened():
    first, second = cut("supply B {\n feeds K\nrun A - B", LINE_STARTERS)
    assert first == Chunk("supply B {\n feeds K", 0, unclosed=10)
    assert (second.line, second.unclosed) == (2, None)


def test_a_block_is_not_ended_by_a_keyword_that_is_indented_or_begins_a_longer_word():
    (chunk,) = cut("fitting wye {\n  drive x, y\nrunner a\n}", LINE_STARTERS)
    assert chunk.unclosed is None


@pytest.mark.parametrize("line", ["drive P1 by hand", "drive P1 detected", "drive S . e detected"])
def test_a_drive_line_that_is_no_part_of_a_fitting_ends_a_fitting_left_open(line: str):
    assert cuts(f"fitting wye {{\n  legs a, b\n{line}") == [
        (0, "fitting wye {\n  legs a, b"),
        (2, line),
    ]


@pytest.mark.parametrize("line", ["drive detected, free", "drive detected with x, y"])
def test_a_drive_of_a_fitting_stays_in_its_block_though_it_is_called_detected(line: str):
    (chunk,) = cut(f"fitting wye {{\n{line}\n}}", LINE_STARTERS)
    assert chunk.unclosed is None


def test_the_chunks_of_a_sound_text_hold_all_its_code():
    text = "\n".join(STATEMENTS)
    joined = "\n".join(c.text for c in cut(text, LINE_STARTERS))
    assert joined.split() == text.split()


OLD_WORDS = """\
fitting output ramp { legs a, b
  way a - b }
fitting frog track { legs a, b
  way a - b }
output ramp R1, frog
frog track F1   # as before there were frogs
output GATE = K1.2
frog P1, P2 with drive
frog P3 dead
"""


def test_a_kind_of_fitting_may_begin_with_a_word_that_leads_a_statement():
    file, found = parse(OLD_WORDS, "x")
    assert found == ()
    _, _, ramps, tracks, gate, *frogs = file.statements
    assert ramps == t.Declaration(
        HERE, t.KindPhrase(HERE, (w("output"), w("ramp")), ()), (w("R1"), w("frog"))
    )
    assert tracks == t.Declaration(
        HERE, t.KindPhrase(HERE, (w("frog"), w("track")), ()), (w("F1"),)
    )
    assert isinstance(gate, t.OutputLine)
    assert all(isinstance(line, t.FrogFed) for line in frogs)
    again, _ = parse(format_source(file), "x")
    assert again.statements == file.statements


def test_a_dash_at_the_end_of_a_line_is_told_without_what_follows_it():
    _, (found,) = parse("expect H to B -  # next\nwith H to C\n", "x")
    assert found.message == "`-` does not belong here"
    assert (found.span.line, found.span.column, found.span.end_line, found.span.end_column) == (
        *(1, 15),
        *(1, 16),
    )
