"""By what an answer was found: the code that proves, and the solver, each with its version.

A fault of either may have made an answer wrong. It is therefore a part of every key: once the
fault is put right, nothing that was kept before is found any more.
"""

from __future__ import annotations

from functools import cache

import z3

from bellcrank.proof.running_code import digest_of_code

ROOMS = ("bellcrank.proof", "bellcrank.running", "bellcrank.machine")
"""The rooms whose code has a part in an answer: what states obligations and decides them, and
what packs a machine."""


@cache
def method() -> str:
    """A digest of that code, and the solver's version."""
    return f"{digest_of_code(*ROOMS)} z3 {z3.get_version_string()}"
