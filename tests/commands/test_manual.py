"""Pages of the manual say what the help says, and the programs that show them find no fault."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from bellcrank.commands.cli import main
from bellcrank.commands.listing import COMMANDS
from bellcrank.commands.manual import ManualPage, as_markdown, as_roff, manual_pages

PAGES = manual_pages()


def squeezed(text: str) -> str:
    """A text without blanks, at which help may be broken, and without what marks code."""
    return "".join(text.replace("`", "").split())


def plain(roff: str) -> str:
    """A page without what only says how it is set."""
    text = re.sub(r"\\\[u([0-9A-F]{4})\]", lambda m: chr(int(m[1], 16)), roff)
    text = re.sub(r"\\f[BPR]|\\&|^\.(?:PP|TP|nf|fi)$", "", text, flags=re.M)
    return text.replace("\\-", "-").replace("\\e", "\\")


def test_there_is_a_page_on_the_whole_and_one_on_each_command() -> None:
    assert [page.name for page in PAGES] == [
        "bellcrank",
        *(f"bellcrank {name}" for name in COMMANDS),
    ]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.file)
def test_a_page_says_all_that_the_help_says(
    page: ManualPage, capsys: pytest.CaptureFixture[str]
) -> None:
    main([*page.name.split()[1:], "--help"])
    shown = squeezed(capsys.readouterr().out)
    said = [word for pair in (*page.arguments, *page.options) for word in pair]
    said += [*page.examples, *page.statuses, *(p.text for p in page.description)]
    said += [purpose for _, purpose in page.commands]
    assert len(said) > 3
    for text in said:
        assert squeezed(text) in shown
        assert squeezed(text) in squeezed(plain(as_roff(page)))
        assert squeezed(text) in squeezed(as_markdown(page))


@pytest.mark.parametrize(
    "program",
    [["groff", "-man", "-ww", "-z", "-Tutf8"], ["mandoc", "-T", "lint", "-W", "warning"]],
    ids=lambda words: words[0],
)
def test_the_programs_that_show_pages_find_no_fault(program: list[str], tmp_path: Path) -> None:
    if shutil.which(program[0]) is None:
        pytest.skip(f"{program[0]} is not installed")
    subprocess.run([sys.executable, "-m", "bellcrank.commands.manual", str(tmp_path)], check=True)
    files = sorted(str(path) for path in tmp_path.glob("*.1"))
    assert len(files) == len(COMMANDS) + 1
    done = subprocess.run([*program, *files], capture_output=True, text=True, check=False)
    said = (done.stdout + done.stderr).splitlines()
    # Without a date two builds of one version are the same.
    assert [line for line in said if "missing date" not in line] == []


def test_a_line_of_text_is_never_taken_for_a_request() -> None:
    page = ManualPage("bellcrank x", ".start", "", (), (), ((".a", "'b -c \\d"),), (), (), ())
    rows = as_roff(page).splitlines()
    assert "\\&'b \\-c \\ed" in rows
    assert "bellcrank\\-x \\- .start" in rows


def test_without_a_folder_it_says_what_to_name() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bellcrank.commands.manual"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert done.stderr == "name the folder to write to, such as ~/.local/share/man/man1\n"
