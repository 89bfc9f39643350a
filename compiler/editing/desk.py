"""What lies open, what is known of it, and what is being found out.

A change makes the layouts dirty that the changed text belongs to. They are compiled in a thread,
one at a time, each as its texts stand at that moment; a change that comes meanwhile has the work
given up between two stages, and it begins anew. So there is never more waiting than one run for
each open layout, however fast somebody types, and what is published is always of the texts of
which the editor has the version that is named with it.

All methods are called from the event loop. Only `analyse` runs in the thread, of immutable values.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from lsprotocol import types as lsp
from pygls.uris import from_fs_path, to_fs_path

from bellcrank.diagnostics import Span
from bellcrank.editing.analysis import Analysis, Place, SupersededError, Superseding, analyse
from bellcrank.editing.texts import Text, Units
from bellcrank.editing.told import diagnostic_for_editor
from bellcrank.editing.uses import Uses

Publish = Callable[[lsp.PublishDiagnosticsParams], None]

Further = Callable[[Analysis], Iterable[tuple[Span, lsp.Diagnostic]]]
"""Diagnostics of a layout beside those of the compiler, and where they stand."""


class GoneError(Exception):
    """A text that is asked about is not open, or not any more."""


@dataclass(frozen=True, slots=True)
class Document:
    """A text as it is in the editor."""

    uri: str
    version: int | None
    text: Text


@dataclass(slots=True)
class Desk:
    """All open texts, and their layouts.

    publish: sends diagnostics to the editor. settled: is told of each analysis that is of the
        texts as they are. touched: is told of each layout of which texts have changed.
    further: as there. complain: is told of what failed and should not.
    """

    publish: Publish
    settled: Callable[[Analysis], None] = lambda _: None
    touched: Callable[[Place], None] = lambda _: None
    further: Further = lambda _: ()
    complain: Callable[[BaseException], None] = lambda _: None
    units: Units = "utf-16"
    folders: tuple[Path, ...] = ()
    documents: dict[Place, Document] = field(default_factory=dict)
    analyses: dict[Place, Analysis] = field(default_factory=dict)
    _routed: dict[Place, Analysis] = field(default_factory=dict)
    _roots: dict[Place, tuple[Place, ...]] = field(default_factory=dict)
    _dirty: dict[Place, object] = field(default_factory=dict)
    _published: set[Place] = field(default_factory=set)
    _uses: Uses = field(default_factory=Uses)
    _running: tuple[Place, Superseding] | None = None
    _worker: asyncio.Task[None] | None = None
    _waiting: list[asyncio.Future[None]] = field(default_factory=list)
    _pool: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(1, "compile"), repr=False
    )

    # ------------------------------------------------------------ what happens

    def open(self, uri: str, version: int | None, text: str) -> None:
        self._changed(place_of(uri), Document(uri, version, Text(text, self.units)))

    def change(
        self,
        uri: str,
        version: int | None,
        changes: Sequence[lsp.TextDocumentContentChangeEvent],
    ) -> None:
        """Raises GoneError if the text is not open."""
        place = place_of(uri)
        text = self.document(place).text
        for change in changes:
            text = text.changed(change)
        self._changed(place, Document(uri, version, text))

    def close(self, uri: str) -> None:
        place = place_of(uri)
        if self.documents.pop(place, None) is None:
            return
        roots = self._roots.pop(place, ())
        wanted = {root for others in self._roots.values() for root in others}
        for root in roots:
            if root in wanted:
                self._touch(root)  # its file on the disk stands for the text again
            else:
                self._forget(root)
        self._tell({place} | self._published)

    def look_again(self) -> None:
        """Files on the disk have changed: whatever is open may say something else."""
        for place in self.documents:
            self._find_roots(place)
        for root in {root for roots in self._roots.values() for root in roots}:
            self._touch(root)

    def stop(self) -> None:
        """Give up all work."""
        self._dirty.clear()
        if self._running is not None:
            self._running[1].give_up()
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _changed(self, place: Place, document: Document) -> None:
        self.documents[place] = document
        before = self._roots.get(place, ())
        self._find_roots(place)
        for root in {*before, *self._roots[place]}:
            self._touch(root)
        wanted = {root for roots in self._roots.values() for root in roots}
        for root in set(before) - wanted:
            self._forget(root)

    def _find_roots(self, place: Place) -> None:
        texts = {p: d.text.text for p, d in self.documents.items()}
        self._roots[place] = self._uses.roots(place, texts, self.folders)

    def _touch(self, root: Place) -> None:
        """A layout has to be compiled anew."""
        # What was changed last is what somebody looks at.
        self._dirty = {root: object(), **{r: v for r, v in self._dirty.items() if r != root}}
        if self._running is not None and self._running[0] == root:
            self._running[1].give_up()
        self.touched(root)
        if self._worker is None or self._worker.done():
            self._worker = asyncio.get_running_loop().create_task(self._work())

    def _forget(self, root: Place) -> None:
        self._dirty.pop(root, None)
        self.analyses.pop(root, None)
        self._routed.pop(root, None)
        self.touched(root)
        self._wake()

    # ---------------------------------------------------------- what is found out

    async def _work(self) -> None:
        loop = asyncio.get_running_loop()
        while self._dirty:
            root, wanted = next(iter(self._dirty.items()))
            texts = {place: document.text.text for place, document in self.documents.items()}
            progress = Superseding()
            self._running = (root, progress)
            try:
                analysis = await loop.run_in_executor(self._pool, analyse, root, texts, progress)
            except SupersededError:
                continue
            except Exception as error:  # a fault of the compiler: the editor goes on
                self.complain(error)
                if self._dirty.get(root) is wanted:
                    del self._dirty[root]
                    self.analyses.pop(root, None)
                    self._wake()
                continue
            finally:
                self._running = None
            if self._dirty.get(root) is not wanted:
                continue
            del self._dirty[root]
            before = self.analyses.get(root)
            self.analyses[root] = analysis
            if analysis.draft.table is not None:
                self._routed[root] = analysis
            self._tell({*analysis.name_of, *(before.name_of if before else ())})
            self._wake()
            self.settled(analysis)

    def tell_of(self, analysis: Analysis) -> None:
        """Publish what is known of a layout once more: more has been found out."""
        if self.analyses.get(analysis.root) is analysis:
            self._tell(set(analysis.name_of))

    def _tell(self, places: Iterable[Place]) -> None:
        """Publish the diagnostics of some texts, unless they are just being found out."""
        for place in places:
            about = [a for a in self.analyses.values() if place in a.name_of]
            if any(
                root in self._dirty
                for root in (*self._roots.get(place, ()), *(a.root for a in about))
            ):
                continue
            found = [d for analysis in about for d in self._diagnostics(analysis, place)]
            once = list({(str(d.range), d.code, d.message): d for d in found}.values())
            document = self.documents.get(place)
            if not once and place not in self._published and document is None:
                continue
            self._published.add(place)
            if document is None and not once:
                self._published.discard(place)
            self.publish(
                lsp.PublishDiagnosticsParams(
                    self.uri_of(place), once, document.version if document else None
                )
            )

    def _diagnostics(self, analysis: Analysis, place: Place) -> Iterable[lsp.Diagnostic]:
        name = analysis.name_of[place]

        def locate(span: Span) -> lsp.Location:
            return self.location(analysis, span)

        for diagnostic in analysis.draft.diagnostics:
            if diagnostic.span.file == name:
                yield diagnostic_for_editor(diagnostic, locate)
        for span, more in self.further(analysis):
            if span.file == name:
                yield more

    def _wake(self) -> None:
        for waiting in self._waiting:
            if not waiting.done():
                waiting.set_result(None)
        self._waiting.clear()

    # -------------------------------------------------------------- what is asked

    def document(self, place: Place) -> Document:
        """An open text. Raises GoneError if it is not open."""
        if place not in self.documents:
            raise GoneError
        return self.documents[place]

    async def current(self, place: Place) -> tuple[Document, Analysis]:
        """An open text and what is known of it, once that is found out.

        Raises GoneError if it is not open, has changed meanwhile, or could not be compiled.
        """
        document = self.document(place)
        while any(root in self._dirty for root in self._roots.get(place, ())):
            waiting = asyncio.get_running_loop().create_future()
            self._waiting.append(waiting)
            await waiting
            if self.documents.get(place) is not document:
                raise GoneError
        analysis = self.known(place)
        if analysis is None:
            raise GoneError
        return document, analysis

    def known(self, place: Place) -> Analysis | None:
        """What was found out last of a text, which may have changed since."""
        for root in self._roots.get(place, ()):
            if (analysis := self.analyses.get(root)) and place in analysis.name_of:
                return analysis
        return None

    def routed(self, place: Place) -> Analysis | None:
        """What was found out of a text when its routes could be found last: a line that is just
        being written cannot be read, and then there are none."""
        found = (self._routed.get(root) for root in self._roots.get(place, ()))
        return next((a for a in found if a and place in a.name_of), None)

    def text_of(self, analysis: Analysis, name: str) -> Text:
        """The text of a file of a layout, as the editor has it or as it was read."""
        document = self.documents.get(analysis.places[name])
        return document.text if document else Text(analysis.draft.program.texts[name], self.units)

    def location(self, analysis: Analysis, span: Span) -> lsp.Location:
        """Where a span is. One in a file that could not be read is at its beginning."""
        if span.file not in analysis.places:
            begin = lsp.Position(0, 0)
            return lsp.Location(self.uri_of(analysis.root), lsp.Range(begin, begin))
        text = self.text_of(analysis, span.file)
        return lsp.Location(self.uri_of(analysis.places[span.file]), text.range_of(span))

    def uri_of(self, place: Place) -> str:
        """The address of a text, spelt as the editor spells it if it is open."""
        if place in self.documents:
            return self.documents[place].uri
        return place if isinstance(place, str) else from_fs_path(str(place)) or place.as_uri()


def place_of(uri: str) -> Place:
    """Where a text is from that the editor calls by an address."""
    path = to_fs_path(uri) if uri.startswith("file:") else None
    if path is None:
        return uri
    try:
        return Path(path).resolve()
    except (OSError, RuntimeError, ValueError):
        return uri
