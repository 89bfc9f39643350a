"""How a command ends, as the shell is told it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bellcrank.terminal.console import say

if TYPE_CHECKING:  # so that the command line need not load the compiler to say how it ended
    from bellcrank.compilation import Checked

PROVED, REFUTED, FAULTY, UNDECIDED = 0, 1, 2, 3

STOPPED = 130
"""What a shell reports of a program stopped by Ctrl-C."""

UNREAD = 141
"""What a shell reports of a program whose reader went away."""

OF_A_PROOF = """\
exit status:
  0  proved, and every expectation holds; or no routes, and so nothing to prove
  1  refuted, or an expectation fails
  2  an error in the input or on the command line
  3  undecided: no answer, within the time limit if one was given
130  stopped by Ctrl-C; 141 if what reads the output went away"""

_STATUS = {"proved": PROVED, "no routes": PROVED, "undecided": UNDECIDED}


def status(c: Checked) -> int:
    """The exit status that says what came of the proof."""
    if c.moving.interrupted:
        return STOPPED
    return REFUTED if c.refuted else _STATUS[c.outcome]


def fail(message: str) -> int:
    """Say why nothing is done; returns the exit status for it."""
    say(message)
    return FAULTY
