"""The work of a target's templates, as a value: it can be done here or within bounds.

Templates run in Jinja's sandbox: they see the document, the options and the filters, and
no attribute of Python.
"""

from __future__ import annotations

import re
import traceback
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from importlib.resources.abc import Traversable
from typing import TYPE_CHECKING, Any

import jinja2
from jinja2.exceptions import SecurityError

from bellcrank.diagnostics import printable
from bellcrank.emit.filters import compact, css_text, csv_row, json_text, keyed, pick
from bellcrank.emit.sandbox import RefusedError, Sandbox, stays_inside
from bellcrank.emit.work import FailedError
from bellcrank.terminal.outcome_words import status_words

if TYPE_CHECKING:
    from bellcrank.document.document_types import Document
    from bellcrank.document.plain import Data

OF_DOCUMENT: Mapping[str, tuple[str, ...]] = {
    "wiring_list": ("decoder_outputs", "device_wires"),
    "feed_list": ("feed_rows", "gap_rows"),
    "input_list": ("detector_inputs", "named_inputs"),
    "frog_list": ("frog_rows",),
    "labels": ("label_sheets", "loose_labels"),
    "chapters": ("chosen_chapters",),
    "parts_list": ("parts_list",),
    "job_cards": ("job_cards",),
    "trial_checklist": (
        "control_rows",
        "drive_checks",
        "signal_checks",
        "route_checks",
        "refusals",
        "tried_reasons",
    ),
}
"""What is drawn from the document for paper, by the module of `paper` that has it; each is a
filter by its name."""

OF_PLAN = "plan_sheets"
"""Likewise, from the plan: module and filter."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A text to be made. own: what its template sees beside what all see."""

    template: str
    own: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rendering:
    """The texts that templates of one target make.

    target: what messages call it. folder: where the templates are.
    context: what all of them see. document: with its types, where it is at hand; otherwise
        it is made of the plain one. longest: characters of one text; None for templates
        that come with the compiler.
    """

    target: str
    folder: Traversable
    pieces: tuple[Piece, ...]
    context: Data
    document: Document | None
    longest: int | None

    def run(self) -> list[str]:
        """The texts, in the order of the pieces.

        Raises FailedError with a sentence if a template fails or refuses.
        """
        environment = self._environment()
        return [self._text(environment, piece) for piece in self.pieces]

    def _environment(self) -> Sandbox:
        environment = Sandbox(self.folder, stays_inside)
        environment.filters["compact"] = compact
        environment.filters["csv"] = csv_row
        environment.filters["json"] = json_text
        environment.filters["css_text"] = css_text
        environment.filters["status_words"] = status_words
        environment.filters["keyed"] = keyed
        environment.filters["pick"] = pick
        environment.filters[OF_PLAN] = partial(_prepared, OF_PLAN, OF_PLAN)
        for module, names in OF_DOCUMENT.items():
            for name in names:
                environment.filters[name] = partial(self._of_document, module, name)
        return environment

    def _of_document(
        self, module: str, name: str, value: object, /, *given: Any, **named: Any
    ) -> Any:
        """What a filter makes of the document, which it reads with its types."""
        if value is not self.context["document"]:
            raise TypeError(f"{name} is a filter of `document`")
        return _prepared(module, name, self._typed(), *given, **named)

    def _typed(self) -> Document:
        if self.document is not None:
            return self.document
        from bellcrank.document.document_types import Document

        typed: Document = import_module("msgspec").convert(self.context["document"], Document)
        return typed

    def _text(self, environment: Sandbox, piece: Piece) -> str:
        try:
            parts = []
            length = 0
            template = environment.get_template(piece.template)
            for part in template.generate({**self.context, **piece.own}):
                length += len(part)
                if self.longest is not None and length > self.longest:
                    raise SecurityError(f"it writes more than {self.longest:,} characters")
                parts.append(part)
            text = "".join(parts)
            text.encode("utf-8")
            return text
        except RefusedError as error:
            raise FailedError(f"the target {self.target}: {error}") from None
        except jinja2.TemplateNotFound as error:
            raise FailedError(f"the target {self.target} has no template {error.name}") from None
        except Exception as error:
            # A template can bring about whatever Python raises for its values.
            where = _place(error, environment, piece.template)
            raise FailedError(
                f"the target {self.target} fails in {where}: {_said(error)}"
            ) from None


def _prepared(module: str, name: str, *given: Any, **named: Any) -> Any:
    """What a filter for paper makes, as plain data. It is imported when it is used: most
    templates draw nothing."""
    made = getattr(import_module(f"bellcrank.paper.{module}"), name)(*given, **named)
    return import_module("msgspec").to_builtins(made)


def _place(error: Exception, environment: Sandbox, template: str) -> str:
    """The template and line where it failed, as far as can be told: the innermost, where
    templates include or import others."""
    if isinstance(error, jinja2.TemplateSyntaxError):
        return f"{error.name or template}:{error.lineno}"
    known = {template, *environment.loaded}
    lines = [
        f"{frame.filename}:{frame.lineno}"
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename in known
    ]
    return lines[-1] if lines else template


def _said(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "it goes round in a circle or is nested too deeply"
    if isinstance(error, MemoryError):
        return "it needs more memory than a template may"
    # Where a value lies in memory tells the user nothing.
    said = re.sub(r" at 0x[0-9a-fA-F]+", "", str(error))
    return printable(" ".join(said.split())) or type(error).__name__
