"""The links of `run` in a file: what each serves and how it speaks, and what is wrong with them."""

from __future__ import annotations

import socket
import threading
from pathlib import Path

import pytest
from peers import PATIENCE
from running_program import Program
from sound_layouts import compiled, undecided

from bellcrank.commands.run_links import LinksError, LinkUse, Texts, read_links
from bellcrank.live.decisions import Light, Show, Throw

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
decoder K2 quad at 5
drive P = K1.1  servo 200 ms  detected
signal W = K1.2
signal S = K2.1
signal D = K2.2
"""

TWO = """
[[link]]
at = "tcp://127.0.0.1:{0}"
serves = ["K1"]
target = "csv"
reports_as = "S {{section}} {{state}}"
on = "1"
off = "0"

[[link]]
at = "tcp://127.0.0.1:{1}"
serves = ["K2"]
ask_with = "how"
"""


def links(tmp_path: Path, text: str, layout: str = YARD) -> list[LinkUse]:
    path = tmp_path / "links.toml"
    path.write_text(text, "utf-8")
    return read_links(path, compiled(layout).layout)


def test_each_has_what_it_serves_and_how_it_speaks(tmp_path: Path) -> None:
    one, other = links(tmp_path, TWO.format(1, 2))
    assert (str(one.place), one.serves, one.pattern.on) == (
        "tcp://127.0.0.1:1",
        frozenset(["K1"]),
        ("1",),
    )
    assert (other.serves, other.ask, other.target.name) == (frozenset(["K2"]), "how", "csv")


def test_commands_go_where_their_decoder_is(tmp_path: Path) -> None:
    c = undecided(YARD)
    one, other = links(tmp_path, TWO.format(1, 2))
    texts = Texts(tmp_path / "yard.crank", c)
    assert {d for d in texts.lines(one) if isinstance(d, Throw | Show)} == {
        Throw("P", "straight"),
        Throw("P", "diverging"),
        Show("W", "stop"),
        Show("W", "proceed"),
    }
    assert {d.signal for d in texts.lines(other) if isinstance(d, Show)} == {"S", "D"}


def test_a_lamp_of_the_panel_is_lit_where_it_can_be_put_out(tmp_path: Path) -> None:
    numbered = YARD.replace("decoder kind", "numbering from decoder 1\ndecoder kind")
    c = undecided(f"{numbered}lamp W to B = K2.3 red\n")
    packets = TWO.replace('ask_with = "how"', 'target = "packets"')
    _, other = links(tmp_path, packets.format(1, 2))
    lines = Texts(tmp_path / "yard.crank", c).lines(other)
    lit, out = Light("W to B", lit=True), Light("W to B", lit=False)
    assert lines[lit] != lines[out]
    _, in_csv = links(tmp_path, TWO.format(1, 2))
    assert lit not in Texts(tmp_path / "yard.crank", c).lines(in_csv)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("link = []", "holds no links"),
        ("[[link]]\nserves = []", "missing required field `at`"),
        ('[[link]]\nat = "nowhere"', "link 1: `nowhere` names no place"),
        ('[[link]]\nat = "tcp://a:1"\nserves = ["K3"]', "link 1: the layout has no decoder `K3`"),
        ('[[link]]\nat = "tcp://a:1"\nserves = ["K1"]', "no link serves K2"),
        ('[[link]]\nat = "tcp://a:1"\n[[link]]\nat = "tcp://a:1"', "two links to tcp://a:1"),
        ('[[link]]\nat = "tcp://a:1"\non = "1"', "give that too"),
        ('[[link]]\nat = "tcp://a:1"\nreports_as = "{input}"', "must hold {state}"),
        ('[[link]]\nat = "tcp://a:1"\nbaud = 3', "unknown field `baud`"),
        ("nonsense", "is not TOML"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(LinksError) as error:
        links(tmp_path, text)
    assert says in str(error.value)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(LinksError, match="cannot be read"):
        read_links(tmp_path / "none.toml", compiled(YARD).layout)


def test_a_signal_on_decoders_behind_two_links_is_refused(tmp_path: Path) -> None:
    shows = "signal W shows stop at K1.2 red, clear at K2.3 green"
    apart = YARD.replace("signal W = K1.2", shows)
    c = undecided(apart)
    one, _ = links(tmp_path, TWO.format(1, 2), apart)
    with pytest.raises(LinksError, match="W is on K1 and K2, and only K1 is behind"):
        Texts(tmp_path / "yard.crank", c).lines(one)


def test_two_lines_work_one_railway(tmp_path: Path) -> None:
    """Each side hears what it serves and reports in its own words."""
    layout = tmp_path / "yard.crank"
    layout.write_text(YARD, "utf-8")
    with socket.create_server(("127.0.0.1", 0)) as one, socket.create_server(
        ("127.0.0.1", 0)
    ) as other:  # fmt: skip
        heard: dict[str, bytes] = {"one": b"", "other": b""}

        def side(name: str, server: socket.socket, says: str) -> None:
            line, _ = server.accept()
            with line:
                line.settimeout(PATIENCE)
                line.sendall(says.encode())
                while data := line.recv(1000):
                    heard[name] += data

        says_one = "S A 0\nS P 0\nP lies straight\n"  # the last is none of its words
        says_other = "B clear\nC clear\nP lies straight\n"
        threads = [
            threading.Thread(target=side, args=("one", one, says_one), daemon=True),
            threading.Thread(target=side, args=("other", other, says_other), daemon=True),
        ]
        for thread in threads:
            thread.start()
        file = tmp_path / "links.toml"
        file.write_text(TWO.format(one.getsockname()[1], other.getsockname()[1]), "utf-8")
        with Program.start(layout, "--links", file, "--journal", tmp_path / "j") as program:
            program.wait_for(rf"{other.getsockname()[1]} is here")
            program.wait_for(rf"{one.getsockname()[1]} is here")
            assert program.stop() == 130
        for thread in threads:
            thread.join(PATIENCE)
    assert b"W" in heard["one"] and b"S," not in heard["one"]
    assert heard["other"].startswith(b"signal") or b"S" in heard["other"]
    assert b"how" in heard["other"] and b"how" not in heard["one"]
    assert b"W" not in heard["other"]
