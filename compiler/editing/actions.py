"""What an editor offers to do: a misspelt word put right, missing rules written, the usual form."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator

from lsprotocol import types as lsp

from bellcrank.diagnostics import Diagnostic, Instead, has_errors
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.proof_messages import Mending
from bellcrank.editing.texts import Text
from bellcrank.editing.told import Locate, diagnostic_for_editor
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import parse
from bellcrank.syntax.reading import as_read

_LINE = re.compile(r"[^\n]*\n|[^\n]+")

PICTURE, PAGE = "bellcrank.picture", "bellcrank.page"
"""Commands of the server, which take the address of a text."""


def shown_beside(uri: str) -> list[lsp.Command]:
    """The picture and the page of the layout of a text."""
    return [
        lsp.Command("show the picture beside the text", PICTURE, arguments=[uri]),
        lsp.Command("show the page beside the text", PAGE, arguments=[uri]),
    ]


def quick_fixes(
    analysis: Analysis, file: str, text: Text, asked: lsp.Range, uri: str, locate: Locate
) -> Iterator[lsp.CodeAction]:
    """A word in the place of a misspelt one, for each diagnostic at a place that has one."""
    for diagnostic in analysis.draft.diagnostics:
        if diagnostic.span.file != file or not _touch(text.range_of(diagnostic.span), asked):
            continue
        edit = _instead(diagnostic, text)
        if edit is not None:
            yield lsp.CodeAction(
                f"write `{edit.new_text}`" if edit.new_text else "take it out",
                kind=lsp.CodeActionKind.QuickFix,
                diagnostics=[diagnostic_for_editor(diagnostic, locate)],
                is_preferred=True,
                edit=lsp.WorkspaceEdit(changes={uri: [edit]}),
            )


def _touch(one: lsp.Range, other: lsp.Range) -> bool:
    return _place(one.start) <= _place(other.end) and _place(other.start) <= _place(one.end)


def _place(position: lsp.Position) -> tuple[int, int]:
    return position.line, position.character


def _instead(diagnostic: Diagnostic, text: Text) -> lsp.TextEdit | None:
    """The edit that follows a hint to put one word for another, if that word stands once in
    what the diagnostic is about."""
    hint = diagnostic.hint
    if not isinstance(hint, Instead):
        return None
    start, end = text.stretch(diagnostic.span)
    found = list(re.finditer(_by_itself(hint.wrong), text.text[start:end]))
    if len(found) != 1:
        return None
    at = found[0]
    return lsp.TextEdit(text.range(start + at.start(), start + at.end()), hint.right)


def _by_itself(wrong: str) -> str:
    """A pattern of words, with any blanks between them, that are no part of longer ones."""
    words = r"[ \t]+".join(map(re.escape, wrong.split(" ")))
    before = r"(?<!\w)" if re.match(r"\w", wrong) else ""
    after = r"(?!\w)" if re.search(r"\w\Z", wrong) else ""
    return before + words + after


def missing_rules(mending: Mending, texts: dict[str, tuple[str, Text]]) -> lsp.CodeAction:
    """The rules that written locking lacks, put where `check --fix` puts them.

    texts: the address and the text of each file of the layout, by its name.
    """
    changes = {}
    for name, new in mending.texts.items():
        uri, text = texts[name]
        changes[uri] = edits_to(text, new)
    count = len(mending.lines)
    return lsp.CodeAction(
        f"write the missing rule{'' if count == 1 else 's'}: {'; '.join(mending.lines)}",
        kind=lsp.CodeActionKind.QuickFix,
        is_preferred=True,
        edit=lsp.WorkspaceEdit(changes=changes),
    )


def formatted(text: Text, name: str) -> list[lsp.TextEdit] | None:
    """The edits that bring a text into the usual form; None if it cannot be read."""
    source, found = parse(as_read(text.text), name)
    if has_errors(found):
        return None
    return edits_to(text, format_source(source))


def edits_to(text: Text, new: str) -> list[lsp.TextEdit]:
    """The edits of whole lines that make a text another, with its own line ends.

    new: with plain line ends.
    """
    old = _LINE.findall(text.text)
    newline = "\r\n" if "\r\n" in text.text else "\n"
    wanted = [line.replace("\n", newline) for line in _LINE.findall(new)]
    starts = [0]
    for line in old:
        starts.append(starts[-1] + len(line))
    edits = []
    matcher = difflib.SequenceMatcher(None, old, wanted, autojunk=False)
    for tag, first, last, of, upto in matcher.get_opcodes():
        if tag != "equal":
            place = text.range(starts[first], starts[last])
            edits.append(lsp.TextEdit(place, "".join(wanted[of:upto])))
    return edits
