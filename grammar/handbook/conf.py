"""What Sphinx is told of the pages that `build.py` lays out. Nothing is loaded from a network."""

from __future__ import annotations

import inspect
import re

from bellcrank.version import __version__

project = "Bellcrank"
version = release = __version__
copyright = "the authors of Bellcrank, MIT licence"
extensions = ["myst_parser", "sphinx.ext.autodoc"]
exclude_patterns = ["files/**/*.md"]
highlight_language = "text"
smartquotes = False  # what stands in a page is typed as it stands

myst_heading_anchors = 6
myst_enable_extensions = ["deflist"]

html_theme = "furo"
html_title = "Bellcrank"
html_static_path = ["static"]
html_css_files = ["handbook.css"]
html_copy_source = False
html_show_sphinx = False
html_theme_options = {"navigation_with_keys": False}

autodoc_member_order = "bysource"
autodoc_typehints = "description"
autodoc_preserve_defaults = True
nitpick_ignore_regex = [("py:.*", ".*")]  # types of parts that have no page of their own

_FIELD = re.compile(r"(?:^|(?<=\. ))(\w+)((?:, \w+)*): ")


def as_fields(lines: list[str], names: set[str]) -> list[str]:
    """A docstring in the form that Sphinx knows. Here one says of a parameter `name: what it
    means`, several in a paragraph, and puts code in backticks. names: of the parameters."""
    rows: list[str] = []
    for part in re.split(r"\n\s*\n", "\n".join(lines)):
        # A sentence that begins a line of its own, after a full stop, is about the whole.
        text = re.sub(r"(?<=\.)\n(?=[A-Z])", "\n\n", part)
        for paragraph in text.split("\n\n"):
            said = " ".join(paragraph.split())
            rows += [*_fields(said, names), ""]
    return [re.sub(r"`([^`]+)`", r"``\1``", row) for row in rows]


def _fields(said: str, names: set[str]) -> list[str]:
    found = [m for m in _FIELD.finditer(said) if {m[1], *m[2].split(", ")[1:]} <= names]
    begins = [m.start() for m in found] + [len(said)]
    rows = [said[: begins[0]].strip()]
    for match, end in zip(found, begins[1:], strict=True):
        for name in (match[1] + match[2]).split(", "):
            rows.append(f":param {name}: {said[match.end() : end].strip()}")
    return [row for row in rows if row]


def _document(app, what, name, obj, options, lines):  # type: ignore[no-untyped-def]
    try:
        names = set(inspect.signature(obj).parameters)
    except (TypeError, ValueError):
        names = set()
    lines[:] = as_fields(lines, names)


def setup(app):  # type: ignore[no-untyped-def]
    app.connect("autodoc-process-docstring", _document)
