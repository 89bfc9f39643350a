"""Files that mean harm, or are no command files at all: each is refused in words."""

from __future__ import annotations

import json

import pytest

from bellcrank.readback.readers import READERS, NotReadError, read

FILE = {
    "csv": "command-list.csv",
    "json": "layout.json",
    "packets": "packets.txt",
    "messages": "messages.json",
}

HEADING = b"route,device,name,state,output number,side,value\r\n"


def refusal(reader: str, data: bytes) -> str:
    with pytest.raises(NotReadError) as caught:
        read(reader, {FILE[reader]: data})
    said = str(caught.value)
    assert said.isprintable() and len(said) < 300
    return said


@pytest.mark.parametrize("reader", sorted(READERS))
def test_no_files_at_all_are_of_no_form(reader: str) -> None:
    with pytest.raises(NotReadError, match="it is not of the form"):
        read(reader, {})


@pytest.mark.parametrize("reader", ["json", "messages"])
@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        '{"lists": ' * 100_000,
        "9" * 5_000,
        "[]",
        "null",
        '"text"',
        '{"commands": 1, "lists": 1}',
        '{"commands": [1], "lists": [1]}',
        '{"commands": [[]], "lists": [{"messages": [[]]}]}',
        '{"commands": [], "timetables": [1], "lists": [{"messages": [{"payload": "[]"}]}]}',
    ],
    ids=lambda text: text[:20],
)
def test_json_of_another_form_is_refused(reader: str, text: str) -> None:
    refusal(reader, text.encode())


@pytest.mark.parametrize("number", [1.9, "1.9", True, 10**30, "²", [1], {}, float("inf"), "-1"])
def test_what_is_not_a_whole_number_is_no_output(number: object) -> None:
    command = {"route": "a to b", "number": number, "side": "green"}
    if number == 10**30:  # a whole number, of an output that no bench has
        assert read("json", {"layout.json": json.dumps({"commands": [command]}).encode()})
        return
    assert "is not a whole number" in refusal("json", json.dumps({"commands": [command]}).encode())


@pytest.mark.parametrize("name", [1, None, ["x"], {"a": 1}])
def test_a_name_that_is_not_a_text_is_refused(name: object) -> None:
    by_hand = {"route": "a to b", "number": None, "side": None, "device": "drive", "state": "x"}
    data = json.dumps({"commands": [{**by_hand, "name": name}]}).encode()
    assert "is not a text" in refusal("json", data)
    data = json.dumps({"commands": [{**by_hand, "name": "x", "route": name or 1}]}).encode()
    assert "is not a text" in refusal("json", data)


def test_a_field_longer_than_csv_may_have_is_refused() -> None:
    refusal("csv", HEADING + b"a," * 6 + b"x" * 200_000)


def test_a_row_that_is_cut_short_is_refused() -> None:
    refusal("csv", HEADING + b"a to b\r\n")


@pytest.mark.parametrize("sign", ["\r", "\x0b", "\x0c", "\x85", "\u2028", "\u2029"])
def test_a_packet_hidden_behind_a_line_end_that_not_all_know_is_refused(sign: str) -> None:
    text = f"# Quay{sign}     0 ms  81 F8 79\nnumbering from decoder 1\n"
    assert "more lines" in refusal("packets", text.encode())


@pytest.mark.parametrize("line", ["0 ms  81 F8 79", "by hand drive P straight", "whatever"])
def test_what_stands_before_any_list_is_refused(line: str) -> None:
    text = f"numbering from decoder 1\n{line}\n\nset a to b\n"
    assert "this stands in no list" in refusal("packets", text.encode())


def test_no_more_commands_are_read_than_any_layout_has(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellcrank.readback.readers.MOST_ACTS", 2)
    row = b"a to b,drive,P,straight,1,green,\r\n"
    assert read("csv", {"command-list.csv": HEADING + 2 * row})
    assert "more than 2 commands" in refusal("csv", HEADING + 3 * row)
