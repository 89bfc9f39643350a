"""Lines and words put into a text: in the right place, and nothing else is changed."""

from __future__ import annotations

import pytest

from bellcrank.syntax import tree as t
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.insert import Edit, edited, lines_at_end, word_for
from bellcrank.syntax.parse import parse

HEAD = "# put in"
LINES = ["A to B locks C to D", "A to B needs P straight"]


def block_of(text: str) -> t.LockingLine:
    source, diagnostics = parse(text.replace("\r\n", "\n"), "x.crank")
    assert not diagnostics
    [block] = [s for s in source.statements if isinstance(s, t.LockingLine)]
    return block


def put(text: str, lines: list[str] = LINES) -> str:
    """The text with lines put into its one block; checks that nothing else changed."""
    block = block_of(text)
    first = block.rules[-1].span.line if block.rules else 0
    edit = lines_at_end(text, block.span, first, lines, HEAD)
    result = edited(text, [edit])
    assert edit.start == edit.end
    assert result == text[: edit.start] + edit.text + text[edit.start :]
    again = block_of(result)
    assert again.rules[: len(block.rules)] == block.rules
    assert len(again.rules) == len(block.rules) + len(lines)
    return result


def test_lines_go_before_the_brace_with_the_indent_of_the_others() -> None:
    text = "locking written {\n    E to F locks G to H\n}\nexpect A to B with C to D\n"
    assert put(text) == (
        "locking written {\n"
        "    E to F locks G to H\n"
        "    # put in\n"
        "    A to B locks C to D\n"
        "    A to B needs P straight\n"
        "}\n"
        "expect A to B with C to D\n"
    )


def test_comments_and_blank_lines_stay_where_they_are() -> None:
    text = (
        "# of mine\n"
        "locking   written   {   # the notebook of 1962\n"
        "\n"
        "  E to F   locks G to H,   # head-on\n"
        "      K to L\n"
        "\n"
        "  # more to come\n"
        "\n"
        "}   # the end\n"
    )
    result = put(text)
    kept = [row for row in result.split("\n") if row.strip() not in (HEAD, *LINES)]
    assert "\n".join(kept) == text
    assert result.index("# more to come") < result.index(HEAD) < result.index("}   # the end")


def test_tabs_and_the_line_ends_of_another_system_are_kept() -> None:
    text = "routes derive\r\nlocking written {\r\n\tE to F locks G to H\r\n}\r\n"
    result = put(text)
    assert result.endswith("\tA to B locks C to D\r\n\tA to B needs P straight\r\n}\r\n")
    assert result.count("\n") == result.count("\r\n")


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("locking written {\n}\n", "locking written {\n  # put in\n  A to B locks C to D\n}\n"),
        ("locking written {}\n", "locking written {\n  # put in\n  A to B locks C to D\n}\n"),
        (
            "locking written { E to F locks G to H }",
            "locking written { E to F locks G to H \n  # put in\n  A to B locks C to D\n}",
        ),
        (
            "locking written { E to F locks G to H\n   K to L locks G to H }\n",
            "locking written { E to F locks G to H\n   K to L locks G to H \n"
            "   # put in\n   A to B locks C to D\n}\n",
        ),
        (
            "locking written {\n  # nothing yet\n  }\n",
            "locking written {\n  # nothing yet\n  # put in\n  A to B locks C to D\n  }\n",
        ),
        (
            "\tlocking written {\n\t}\n",
            "\tlocking written {\n\t  # put in\n\t  A to B locks C to D\n\t}\n",
        ),
    ],
)
def test_a_block_without_lines_of_its_own_gets_some(text: str, result: str) -> None:
    assert put(text, LINES[:1]) == result


def test_what_was_put_in_before_goes_on_under_its_remark() -> None:
    once = put("locking written {\n  E to F locks G to H\n}\n", LINES[:1])
    twice = put(once, LINES[1:])
    assert twice.count(HEAD) == 1
    assert twice == put("locking written {\n  E to F locks G to H\n}\n")


def test_lines_of_ones_own_below_a_blank_line_end_what_was_put_in() -> None:
    once = put("locking written {\n  E to F locks G to H\n}\n", LINES[:1])
    mine = once.replace("}", "\n  K to L locks G to H\n}")
    assert put(mine, LINES[1:]).count(HEAD) == 2


def test_what_is_put_in_stays_when_the_file_is_formatted() -> None:
    text = put("locking written {\n  E to F locks G to H\n}\n")
    source, _ = parse(text, "x.crank")
    assert format_source(source) == text


def test_a_word_goes_in_the_place_of_another_and_nothing_else_moves() -> None:
    text = "locking written {\n  A to B  needs  P   diverging,  Q diverging # sic\n}\n"
    [rule] = block_of(text).rules
    assert isinstance(rule, t.NeedsRule)
    edit = word_for(text, rule.needs[0].span, "diverging", "straight")
    assert edited(text, [edit]) == text.replace("P   diverging", "P   straight")


def test_a_word_that_is_not_there_is_not_replaced() -> None:
    text = "locking written {\n  A to B needs P diverging\n}\n"
    [rule] = block_of(text).rules
    assert isinstance(rule, t.NeedsRule)
    with pytest.raises(ValueError, match=r"x\.crank:2:16"):
        word_for(text, rule.needs[0].span, "straight", "diverging")


def test_several_edits_do_not_get_into_each_others_way() -> None:
    assert edited("one two three", [Edit(0, 3, "a"), Edit(8, 13, "long"), Edit(4, 7, "")]) == (
        "a  long"
    )
