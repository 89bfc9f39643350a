"""What a target may ask for beside the document, made only if it does.

`extras = [...]` in a target.toml names them; each becomes a name in its templates.
"""

from __future__ import annotations

from functools import cache

from bellcrank.compilation import Sound
from bellcrank.document.document_types import Document
from bellcrank.emit.extra_names import Extras
from bellcrank.page.page import page_data, squeezed
from bellcrank.page.plan_shown import plan_shown
from bellcrank.paper.plan_outputs import wiring_on_plan
from bellcrank.picture import Annotations, drawing, one_way


def extras(sound: Sound, document: Document) -> Extras:
    """The extras of a layout.

    page: what the page's script reads, squeezed. picture: the track plan as SVG, with heads
    where trains run one way only.
    plan: the same before it has a width, with a key, for the filter `plan_sheets`.
    bench_plan: the same with the output or input of each symbol.
    """
    entered = one_way(sound.layout, sound.table)
    on_screen = Annotations(one_way=entered)
    on_paper = Annotations(key=True, one_way=entered, positions=True)
    drawn = cache(lambda: drawing(sound.layout, annotations=on_screen))
    return {
        "page": lambda: squeezed(page_data(sound, document) | plan_shown(drawn())),
        "picture": lambda: drawn().picture().svg(),
        "plan": lambda: drawing(sound.layout, annotations=on_paper),
        "bench_plan": lambda: drawing(sound.layout, wiring_on_plan(document), annotations=on_paper),
    }
