"""The commands of the command line: what each is called, where it is, and what it is for.

They are listed here so that help and completion can name them all without loading any.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import Any


@dataclass(frozen=True, slots=True)
class Listed:
    """A command: the module and the function that run it, and its purpose in a few words.

    Its words are declared in a module of the same name in `declared/`.
    """

    module: str
    function: str
    purpose: str

    def declared(self) -> Any:
        """Its words, as click has them."""
        return import_module(f"bellcrank.commands.declared.{self.module}").DECLARED

    def body(self) -> Callable[..., int]:
        """What runs it: takes its words by name and returns the exit status."""
        run: Callable[..., int] = getattr(
            import_module(f"bellcrank.commands.{self.module}"), self.function
        )
        return run


COMMANDS: dict[str, Listed] = {
    "new": Listed("new", "new", "write a first layout, to change into your own"),
    "check": Listed("check", "check", "prove the layout, or show what is wrong"),
    "build": Listed("build", "build", "prove the layout and write its files"),
    "table": Listed("table", "table", "show the control table and the conflict matrix"),
    "why": Listed("why", "why", "explain a route, or why two routes conflict or may run together"),
    "compare": Listed(
        "compare", "compare", "tell what changed between two texts, and what to do at the bench"
    ),
    "commands": Listed(
        "timetable",
        "show_timetable",
        "show what is sent, and when, to set or cancel a route or to start up",
    ),
    "rehearse": Listed(
        "rehearse", "rehearse", "run events on the layout, by a script or one by one"
    ),
    "run": Listed("run", "run_command", "run the railway, a real or a simulated one, from a page"),
    "journal": Listed(
        "journal", "journal", "tell what was run, and write a session of it as a script"
    ),
    "send": Listed("send", "send_command", "play the commands of a route over a connection"),
    "commission": Listed(
        "commission",
        "commission_command",
        "throw every drive, try every route, and put crossed wiring right",
    ),
    "picture": Listed("picture", "picture", "draw the track plan"),
    "format": Listed("format", "in_usual_form", "write a layout file in the usual form"),
    "explain": Listed(
        "explain", "explain_code", "explain an error by its code, or a word of a verdict"
    ),
    "editor": Listed("editor", "serve_editor", "help an editor while a layout is being written"),
    "completion": Listed(
        "completion", "completion", "print the script by which a shell completes what is typed"
    ),
}
"""In the order of the help."""

ALSO_CALLED = {
    "prove": "check",
    "verify": "check",
    "validate": "check",
    "test": "check",
    "create": "new",
    "init": "new",
    "start": "new",
    "compile": "build",
    "make": "build",
    "write": "build",
    "routes": "table",
    "list": "table",
    "draw": "picture",
    "plan": "picture",
    "show": "picture",
    "simulate": "rehearse",
    "play": "rehearse",
    "serve": "run",
    "throw": "send",
    "fmt": "format",
    "help": "--help",
}
"""Words that people try, and what they lead to."""
