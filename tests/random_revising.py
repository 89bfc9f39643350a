"""Somebody who revises the four-track station at random, most often so that it can still be proved.

Lines are put for others and put back, pieces of track come and go, remarks are typed letter by
letter; in between somebody types nonsense and takes it back. Seeded, so that what fails can be done
again.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

from random_typing import Typist

Pair = tuple[str, str]
"""Two texts of which one may stand for the other."""

WITHIN_THE_LOCKING: tuple[Pair, ...] = (
    (" - T1 - stop", " - X1 - T1 - stop"),
    ("- M - P12", "- M - M2 - P12"),
    ("- DN - >H1", "- DN - DN2 - >H1"),
    ("overlap H1 = PA\n", "overlap H1 = PA, PC\n"),
    ("overlap H1 = PA\n", "# without an overlap\n"),
    ("flank derive\n", "# without flank protection\n"),
    ("route SLOW = H1 to T4 shows caution\n", "route SLOW = H1 to T4\n"),
    (" - SAND - stop", " - DRAG - stop"),
    ("signal U0 shunt\n", "signal U0\n"),
    ("expect H0 to H1 with D4 to UP ", "expect H0 to H1 with D4 to UP via N "),
    ("expect H0 to H1 with D4 to UP ", "expect H0 to H1 never with D4 to UP "),
    ("expect SLOW never with D1 to UP via M ", "expect SLOW with D1 to UP via M "),
)
"""Of what the proof is about. With the last two expectations do not hold."""

WITHIN_THE_HARDWARE: tuple[Pair, ...] = (
    ("K5 servo at 9", "K5 servo at 13"),
    ("K4 lamp at 105", "K4 lamp at 205"),
    ("drive PA = K1.1  servo 1200 ms  detected", "drive PA = K1.1  servo 900 ms"),
    ("drive P12 = K2.3  servo 1200 ms", "drive P12 = K2.3  servo 1200 ms  crossed"),
    ("signal D4 = K4.4", "signal D4"),
    ("two at a time", "one at a time"),
    ("Quillhaven Central", "Quillhaven Low Level"),
)
"""Of what stands at the bench."""


@dataclass
class Reviser(Typist):
    """undo: the text to go back to, if the last change was nonsense."""

    undo: str | None = field(default=None, init=False)

    def revise(self) -> None:
        """One change."""
        chance = self.chance.random()
        if self.undo is not None and chance < 0.8:
            self.take_back()
        elif chance < 0.45:
            self._remark()
        elif chance < 0.65:
            self._put_for(*self.chance.choice(WITHIN_THE_HARDWARE))
        elif chance < 0.75:
            self._put_for(*self.chance.choice(WITHIN_THE_LOCKING))
        elif chance < 0.80:
            self._all(self.first)
            self.undo = None
        else:
            self.undo = self.undo or self.editor.text(self.uri)
            self.type()

    def take_back(self) -> None:
        """Put back the text that there was before the nonsense."""
        if self.undo is not None:
            self._all(self.undo)
            self.undo = None

    def _put_for(self, one: str, other: str) -> None:
        """The one for the other, whichever stands there; nothing but an empty line if neither."""
        text = self.editor.text(self.uri)
        old, new = (one, other) if one in text else (other, one)
        at = text.find(old)
        if at < 0:
            self._put(len(text), None, "\n")
        else:
            self._put(at, at + len(old), new)

    def _remark(self) -> None:
        """A letter into a remark, out of it again, or a remark of its own."""
        text = self.editor.text(self.uri)
        at = text.find("# ", self.chance.randrange(len(text)))
        if at < 0:
            self._put(len(text), None, "\n# ")
        elif self.chance.random() < 0.5:
            self._put(at + 2, None, self.chance.choice("abc "))
        elif at + 2 < len(text) and text[at + 2] not in "\r\n":
            self._put(at + 2, at + 3, "")
        else:
            self._put(at, None, "\n")

    def _all(self, text: str) -> None:
        """Another text for the whole of it."""
        self._put(0, len(self.editor.text(self.uri)), text)

    async def pause(self) -> None:
        """As long as somebody takes to the next letter, who types in haste or hesitates."""
        await asyncio.sleep(self.chance.choice((0, 0, 0, 0.005, 0.02, 0.1)))
