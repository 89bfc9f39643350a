"""Numbers that were chosen, written into the text that left them open."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout
from bellcrank.layout.numbers_kept import files_left_open, numbered
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.load import load_text
from bellcrank.syntax.parse import parse

DRIVES = 6

KINDS = """\
decoder kind one { outputs 1  switches 11 }
decoder kind quad { outputs 4  switches 9  counts groups of four }
decoder kind heads { outputs 2  packets extended }
detector kind octo { inputs 2  switches 9 }
"""

TRACK = f"points {', '.join(f'P{n}' for n in range(1, DRIVES + 1))}\n"
TRACK += "run edge WEST - A - >H - P1.toe\n"
for _n in range(1, DRIVES + 1):
    TRACK += f"run P{_n}.diverging - <D{_n} - T{_n} - stop\n"
    TRACK += f"run P{_n}.straight - " + (f"P{_n + 1}.toe\n" if _n < DRIVES else "<E - U - stop\n")


@st.composite
def benches(draw: st.DrawFn) -> list[str]:
    """Lines of hardware in any order, in which any number may be left open."""
    lines = []
    basic = st.sampled_from(["one", "quad"])
    for name in draw(st.lists(st.sampled_from("KLM"), unique=True)):
        at = draw(st.sampled_from(["", f" at {4 * ord(name) + 1}"]))
        lines.append(f"decoder {name} {draw(basic)}{at}  # of {name}")
    if draw(st.booleans()):
        lines.append("decoder S one at 2\ndrive P1 = S.1  coil 200 ms")
    else:
        lines.append(f"drive P1 = {draw(basic)}  coil 200 ms  # the first")
    lines += [f"drive P{n} = {draw(basic)}" for n in range(2, DRIVES - 1)]
    lines.append(f"drive P5 straight at {draw(basic)} green, diverging at {draw(basic)} red")
    lines.append("drive P6 straight as 1, diverging as 2 = heads  servo 1 s")
    lines += draw(
        st.lists(
            st.sampled_from(
                [
                    "signal H shows stop at quad red, caution at quad green, clear at one green",
                    "signal D1 = quad",
                    "signal D3 shows stop at quad red, clear at quad red blinking and one green",
                    "signal D2 shows stop, slow, clear = heads",
                    "lamp H to T1 = quad red",
                    "output GATE with open, closed = quad  motor 2 s",
                    "output PULL = one green  coil 300 ms",
                    "lamp H to T2 = one green",
                    "frog P3 = quad",
                    "detector B octo",
                    "report T1 = octo",
                    "report P1 straight = octo",
                    "report T2 = octo  # with a remark",
                    "button H to T3 = octo",
                    "button to cancel H = octo",
                ]
            ),
            unique=True,
        )
    )
    return draw(st.permutations(lines))


def laid(text: str) -> Layout:
    program, unread = load_text(text, "x.crank")
    layout, found = build_layout(program)
    assert {d.severity for d in (*unread, *found)} <= {"warning"}, (text, found)
    return layout


def stated(text: str) -> str:
    """The text with all of its numbers."""
    program, _ = load_text(text, "x.crank")
    layout = build_layout(program)[0]
    files_left_open(program, layout)
    return numbered(program, layout, "x.crank", text)


def numbers(layout: Layout) -> list[tuple[str, int]]:
    """What at the bench has which number, by the words of a document: told here once more, not
    as the compiler compares them."""
    hardware, reports = layout.hardware, layout.reports
    found = [(f"decoder {d.name}", d.address) for d in hardware.decoders.values()]
    found += [(f"detector {d.name}", d.address) for d in reports.detectors.values()]
    for wiring in hardware.wirings.values():
        found += [(wiring.drive, hardware.number_of(output)) for output in wiring.outputs]
    for signal in layout.signals.values():
        found += [
            (f"{signal.name} {a.name} {a.side} {a.value}", hardware.number_of(a.output))
            for a in signal.aspects
            if a.output
        ]
    for named in hardware.outputs.values():
        found.append((f"{named.name} {dict(named.states)}", hardware.number_of(named.output)))
    for lamp, (ref, side) in enumerate(layout.panel_wires.lamps.values()):
        found.append((f"lamp {lamp} {side}", hardware.number_of(ref)))
    inputs = {name: report.input for name, report in reports.sections.items()}
    inputs |= {f"button {k}": i for k, i in enumerate(layout.panel_wires.buttons.values())}
    for contacts in reports.contacts.values():
        inputs |= {f"{c.drive} {c.position}": c.input for c in contacts}
    found += [(name, reports.number_of(i)) for name, i in inputs.items()]  # type: ignore[arg-type]
    return found


@given(benches())
@settings(max_examples=12, deadline=None)
def test_what_was_chosen_is_what_is_stated_and_nothing_is_left_open(lines: list[str]) -> None:
    text = TRACK + KINDS + "\n".join(lines) + "\n"
    new = stated(text)
    before, after = laid(text), laid(new)
    assert numbers(after) == numbers(before)
    assert not after.chosen
    assert not any(d.assigned for d in after.hardware.decoders.values())
    assert stated(new) == new
    assert [c.text for c in parse(new, "x")[0].comments] == [
        c.text for c in parse(text, "x")[0].comments
    ]
    usual = format_source(parse(new, "x")[0])
    assert numbers(laid(usual)) == numbers(before)
    assert format_source(parse(stated(usual), "x")[0]) == usual


def check_that_nothing_moves(lines: list[str], group: int) -> None:
    new = stated(TRACK + KINDS + "\n".join(lines) + "\n")
    before = numbers(laid(new))
    taken = {n for d in laid(new).hardware.decoders.values() for n in d.numbers}
    address = 4 * group + 1
    if not taken.isdisjoint(range(address, address + 4)):
        return
    for added in (f"decoder Z quad at {address}\n", "decoder Z quad\nsignal E = quad\n"):
        found = numbers(laid(added + new))
        assert [n for n in before if n not in found] == []


few = settings(max_examples=8, deadline=None)


@given(benches(), st.integers(0, 40))
@few
def test_a_line_before_all_others_moves_nothing_any_more(lines: list[str], group: int) -> None:
    check_that_nothing_moves(lines, group)


@pytest.mark.campaign
@given(benches(), st.integers(0, 40))
@settings(max_examples=60, deadline=None)
def test_a_line_before_all_others_moves_nothing_on_many_benches(
    lines: list[str], group: int
) -> None:
    check_that_nothing_moves(lines, group)


def test_nothing_else_changes_not_even_the_ends_of_lines() -> None:
    lines = [
        "decoder K   quad#four",
        "drive P1  =  quad   coil 200 ms # in words",
        "",
        "drive P2=one",
    ]
    lines += [f"drive P{n} by hand" for n in range(3, DRIVES + 1)]
    text = TRACK + KINDS + "\n".join(lines) + "\n"
    program, _ = load_text(text, "x.crank")
    layout = build_layout(program)[0]
    assert files_left_open(program, layout) == ("x.crank",)
    new = numbered(program, layout, "x.crank", text.replace("\n", "\r\n"))
    assert new == (
        text.replace("K   quad#", "K   quad at 1#")
        .replace("P1  =  quad ", "P1  =  K.1 ")
        .replace("drive P2=one", "decoder one_1 one at 5\ndrive P2=one_1.1")
        .replace("\n", "\r\n")
    )


def test_a_drive_of_several_outputs_has_all_of_them_named() -> None:
    text = """\
fitting turntable with three positions {
  legs lead, north, east, south
  drive one, two, three
  way lead - north when one
  way lead - east when two
  way lead - south when three
}
turntable TT with three positions
run edge WORKS - A - >H - TT.lead
run TT.north - <N - R1 - stop
run TT.east - <E - R2 - stop
run TT.south - <S - R3 - stop
decoder kind single { outputs 1 }
drive TT = single  motor 20 s
"""
    assert stated(text).endswith(
        "decoder single_1 single at 1\ndecoder single_2 single at 2\n"
        "drive TT = single_1.1, single_2.1  motor 20 s\n"
    )
