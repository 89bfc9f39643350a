"""How a shell completes the words of a command line. What it takes to know them is loaded
when they are asked for."""

from __future__ import annotations

import click
from click.shell_completion import CompletionItem


def routes(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The words with which the name of a route may go on."""
    from bellcrank.commands.route_words import next_words
    from bellcrank.compilation import Broken, compile_file

    file, given = ctx.params.get("file"), ctx.params.get(param.name or "")
    if file is None:
        return []
    c = compile_file(file)
    if isinstance(c, Broken):
        return []
    words = next_words(tuple(given or ()), c.table.routes)
    return [CompletionItem(word) for word in words if word.startswith(incomplete)]


def targets(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The built-in targets; where none fits, it may be a folder."""
    from bellcrank.emit.description import built_in_targets

    found = [CompletionItem(name) for name in built_in_targets() if name.startswith(incomplete)]
    return found or [CompletionItem(incomplete, type="dir")]


def codes(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The codes of errors and warnings, the words of a verdict, and what it assumes."""
    from bellcrank.diagnostics.error_pages import known_codes
    from bellcrank.diagnostics.explained import assumption_pages, verdict_words

    pages = {**verdict_words(), **assumption_pages()}
    titles = known_codes() | {word: page.title for word, page in pages.items()}
    return [
        CompletionItem(name, help=title)
        for name, title in titles.items()
        if name.casefold().startswith(incomplete.casefold())
    ]
