"""The command `editor`: the language server, which an editor starts."""

from __future__ import annotations

import logging
import sys

from bellcrank.commands.exit_statuses import PROVED, fail

LEFT = 1
"""The editor has gone without saying so, as the protocol has it."""


def serve_editor(stdio: bool) -> int:
    """Run the command; returns the exit status. stdio: as it speaks in any case."""
    try:
        from bellcrank.editing.server import serve
    except ModuleNotFoundError as error:
        if (error.name or "").split(".")[0] not in ("pygls", "lsprotocol"):
            raise
        return fail(
            "pygls is needed to speak to an editor and is not installed: "
            "`pip install 'bellcrank[editor]'` brings it"
        )
    if sys.stdin.isatty():
        return fail(
            "an editor starts this, and speaks to it; grammar/editors/README.md says how to set "
            "yours up"
        )
    logging.basicConfig(stream=sys.stderr, level=logging.CRITICAL)
    return PROVED if serve() else LEFT
