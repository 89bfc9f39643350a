"""Descriptions of targets that mean harm, or come from strange editors."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from bellcrank.emit.options import LONGEST_PATTERN
from bellcrank.emit.target import LONGEST_DESCRIPTION, TargetError, load_target

SOUND = "context = 1\n[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"

TEXT = SOUND + "[options.a]\ntype = 'text'\n"


def refusal(folder: Path, text: str | bytes) -> str:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    (folder / "target.toml").write_bytes(data)
    began = time.process_time()
    with pytest.raises(TargetError) as caught:
        load_target(str(folder))
    assert time.process_time() - began < 5
    said = str(caught.value).replace(str(folder), "FOLDER")
    assert said.isprintable() and len(said) < 400
    return said


def test_a_byte_order_mark_does_not_count(tmp_path: Path) -> None:
    (tmp_path / "target.toml").write_text("\ufeff" + SOUND, "utf-8")
    assert load_target(str(tmp_path)).files[0].path == "out.txt"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 5_000 + "]" * 5_000, "nested too deeply"),
        ("a = " + "{a = " * 3_000, "nested too deeply"),
        ("a = " + "9" * 5_000, "cannot be read: Exceeds the limit"),
        (SOUND + "#" * LONGEST_DESCRIPTION, "has over 20,000 bytes"),
        (".".join("a" * 9_990) + " = 1", "does not say for which context"),
        ("context = '" + "x" * 15_000 + "'", "is written for context"),
        (TEXT + "pattern = false", "the pattern of the option a is a text, not False"),
        (TEXT + "pattern = []", "the pattern of the option a is a text, not []"),
        (TEXT + f"pattern = '{'(?i)' + '[^a]' * LONGEST_PATTERN}'", "has over 500 characters"),
        (TEXT + f"pattern = '{'(' * 200 + ')' * 199}'", "is not a regular expression"),
        (TEXT + "default = [" + "1, " * 6_000 + "]", "the default of the option a is a text"),
        (SOUND + "[options.a]\ntype = 'number'\ndefault = " + "9" * 4_000, "within bounds"),
        (SOUND.replace("out.txt", "../" + "x" * 9_000), "leads out of its folder"),
        (b"\xff\xfe", "cannot be read"),
        (b"\0", "cannot be read"),
    ],
    ids=lambda value: repr(value)[:40],
)
def test_a_description_that_goes_beyond_bounds_is_refused_in_words(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    assert said in refusal(tmp_path, text)


def test_a_pattern_that_python_would_warn_of_says_nothing(
    tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    (tmp_path / "target.toml").write_text(TEXT + "pattern = '[[a]'\n")
    assert load_target(str(tmp_path)).options[0].pattern == "[[a]"
    assert not list(recwarn)


@pytest.mark.parametrize("sign", [r"\u001b", r"\n", r"\u007f", r"\u202e", r"\u0085", r"\u2028"])
def test_a_path_holds_nothing_that_cannot_be_seen(tmp_path: Path, sign: str) -> None:
    said = refusal(tmp_path, f'context = 1\n[[files]]\npath = "a{sign}b"\ntemplate = "it"\n')
    assert "holds a character that cannot be seen" in said


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no such files here")
def test_a_description_that_is_a_pipe_or_a_device_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "target.toml")
    with pytest.raises(TargetError, match="is not a file that holds a text"):
        load_target(str(tmp_path))
    (tmp_path / "target.toml").unlink()
    (tmp_path / "target.toml").symlink_to("/dev/zero")
    with pytest.raises(TargetError, match="is not a file that holds a text"):
        load_target(str(tmp_path))
