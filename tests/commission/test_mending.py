"""What was found at the bench put into the lines of a layout, and nothing else changed."""

from __future__ import annotations

import pytest

from bellcrank.commission.mending import (
    Mend,
    NotMendedError,
    files_to_mend,
    layout_mended,
    mended,
)
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.detectors import DetectorInput, NamedInput
from bellcrank.syntax.load import load_text

HEAD = """\
layout "Yard"   # a remark with crossed in it
points P, Q
run edge W - A - >H - P.toe
run P.straight - B - stop
run P.diverging - Q.toe
run Q.straight - D - stop
run Q.diverging - E - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
"""


def changed(line: str, crossed: bool, newline: str = "\n") -> str:
    """A drive line of P after its change, checked to be all that changed."""
    tail = "drive Q = K1.2  servo 1 s  # crossed? no"
    text = f"{HEAD}{line}\n{tail}\n".replace("\n", newline)
    program, found = load_text(text.replace("\r\n", "\n"), "yard.crank")
    assert not [d for d in found if d.severity == "error"]
    new = mended(program, "yard.crank", text, Mend({"P": crossed}))
    start, end = f"{HEAD}".replace("\n", newline), f"{newline}{tail}{newline}"
    assert new.startswith(start) and new.endswith(end)
    return new[len(start) : -len(end)]


@pytest.mark.parametrize(
    ("without", "with_it"),
    [
        ("drive P = K1.1", "drive P = K1.1  crossed"),
        ("drive P = K1.1  coil 200 ms", "drive P = K1.1  coil 200 ms  crossed"),
        ("drive P = K1.1   # it is crossed", "drive P = K1.1  crossed   # it is crossed"),
        ("  drive  P=K1 .1 coil 200ms #x", "  drive  P=K1 .1 coil 200ms  crossed #x"),
        ("drive P = K1.1 coil 0.2 s detected", "drive P = K1.1 coil 0.2 s detected  crossed"),
    ],
)
def test_it_is_put_in_and_taken_out_again(without: str, with_it: str) -> None:
    assert changed(without, True) == with_it
    assert changed(with_it, False) == without


def test_it_is_taken_out_of_the_middle() -> None:
    assert changed("drive P = K1.1  crossed  detected  # x", False) == (
        "drive P = K1.1  detected  # x"
    )


def test_line_ends_of_another_system_are_kept() -> None:
    assert changed("drive P = K1.1", True, "\r\n") == "drive P = K1.1  crossed"
    assert changed("drive P = K1.1 crossed", False, "\r\n") == "drive P = K1.1"


def test_what_is_so_already_is_left_alone() -> None:
    assert changed("drive P = K1.1  crossed", True) == "drive P = K1.1  crossed"


def test_a_decoder_of_that_name_is_not_taken_for_it() -> None:
    text = HEAD.replace("K1", "crossed") + ("drive P = crossed.1  crossed\ndrive Q = crossed.2\n")
    program, _ = load_text(text, "y.crank")
    if not program.files[0].statements[-1].outputs:  # type: ignore[union-attr]
        pytest.skip("the language takes no such name")
    assert mended(program, "y.crank", text, Mend({"P": False})) == text.replace("1  crossed", "1")


def test_a_text_that_is_not_what_was_read_is_refused() -> None:
    program, _ = load_text(f"{HEAD}drive P = K1.1\ndrive Q by hand\n", "yard.crank")
    other = f"{HEAD}drive P = K1.3\ndrive Q by hand\n"
    with pytest.raises(NotMendedError, match="more than wiring"):
        mended(program, "yard.crank", other, Mend({"P": True}))


def test_the_file_of_a_drive_line_is_found() -> None:
    program, _ = load_text(f"{HEAD}drive P = K1.1\ndrive Q by hand\n", "yard.crank")
    assert files_to_mend(program, Mend({"P": True})) == ("yard.crank",)
    assert files_to_mend(program, Mend({"X": True})) == ()


def test_the_line_of_a_frog_is_crossed_and_that_of_the_drive_of_its_name_is_not() -> None:
    text = "drive S1.end1 = K1.1\nfrog S1.end1 = K1.2  # by relay\nfrog S1.end2 = K1.3 crossed\n"
    program, found = load_text(text, "x.crank")
    assert found == ()
    changes = {"frog S1.end1": True, "frog S1.end2": False}
    assert files_to_mend(program, Mend(changes)) == ("x.crank",)
    assert mended(program, "x.crank", text, Mend(changes)) == (
        "drive S1.end1 = K1.1\nfrog S1.end1 = K1.2  crossed  # by relay\nfrog S1.end2 = K1.3\n"
    )


# ----------------------------------------------------------------------- inputs

HEARD = """\
points P
run edge W - A - >H - P.toe
run P.straight - <D1 - B - stop
run P.diverging - <D2 - C - stop
detector kind octo { inputs 8 }
detector K octo
"""

SWAP = Mend(inputs={"B": DetectorInput("K", 2), "C": DetectorInput("K", 1)})


def test_sections_exchange_their_inputs_and_all_else_is_kept() -> None:
    text = HEARD + "report B = K.1  # by the door\nreport  C=K . 2\nreport P straight = K.3\n"
    program, _ = load_text(text, "y.crank")
    assert files_to_mend(program, SWAP) == ("y.crank",)
    changed = mended(program, "y.crank", text, SWAP)
    assert changed == text.replace("= K.1", "= K.2").replace("=K . 2", "=K.1")
    layout_mended(program, build_layout(program)[0], SWAP)


def test_an_input_may_be_a_name() -> None:
    text = HEARD + 'report B = "rail/b"\nreport C = "rail/c"\n'
    program, _ = load_text(text, "y.crank")
    mend = Mend(inputs={"B": NamedInput("rail/c"), "C": NamedInput("rail/b")})
    assert mended(program, "y.crank", text, mend).endswith(
        'report B = "rail/c"\nreport C = "rail/b"\n'
    )


def test_inputs_that_are_left_open_are_exchanged_only_if_no_other_moves() -> None:
    text = HEARD + "report B = octo\nreport C = octo\nreport A = octo\n"
    program, _ = load_text(text, "y.crank")
    layout, _ = build_layout(program)
    assert mended(program, "y.crank", text, SWAP).count("octo\n") == 2  # of A and of the detector
    layout_mended(program, layout, SWAP)
    with pytest.raises(NotMendedError, match="with-numbers"):
        layout_mended(program, layout, Mend(inputs={"B": DetectorInput("K", 5)}))
