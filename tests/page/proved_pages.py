"""Pages of layouts whose controller is proved, or as if it were."""

from __future__ import annotations

from functools import cache

from msgspec.structs import replace
from opened import EXAMPLES
from sound_layouts import compiled_file

from bellcrank import Checked, prove
from bellcrank.document.build_document import build_document
from bellcrank.emit.extras import extras
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target


@cache
def controlled(name: str) -> Checked:
    """An example that is proved, and its controller too."""
    return prove(compiled_file(EXAMPLES / f"{name}.crank"), controller=True)


def page_as_if_proved(c: Checked) -> bytes:
    """A page with its controller, though it would take long to prove it."""
    document = build_document(c, ("controller", "vectors"))
    proved = replace(document.moving, outcome="proved")
    document = replace(document, status="proved", controlled=proved)
    target = load_target("page")
    return render_target(target, document, extras=extras(c, document))["page.html"]
