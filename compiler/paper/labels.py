"""Labels for the bench: what stands on each, and where on a sheet it is printed.

One label a drive, a signal, a decoder and a detector. Lengths are in millimetres, from the upper
left corner of the sheet or of the label; sizes of letters too. Nothing is drawn here.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from rich.cells import cell_len

from bellcrank.document.detector_types import Detector
from bellcrank.document.document_types import Document
from bellcrank.document.hardware_types import Decoder, NamedOutput
from bellcrank.document.layout_types import Aspect, WiredPosition

SHEETS = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of the sheets: ISO 216 A4, and 8.5 by 11 inches."""

SMALLEST = (12.0, 6.0)
"""Of a smaller label nothing could be read."""

LEAST_MARGIN = 8.0
"""What most printers leave white, and a line of small print in it (common practice)."""

_SIZE = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", re.ASCII)

LARGEST_NAME, LARGEST_LINE = 7.0, 2.9
LEAST_LINE = 1.55
"""Letters of 1.55 mm are 4.4 points: as small as a label gets before a line is left out."""

SHARES = (0.5, 0.42, 0.34, 0.26)
"""How much of a label its name may take up at most; each is tried."""

LONG_NAME = 12
"""Signs from which a name may be broken into two lines."""

LEADING = 1.22
"""From one line to the next, in sizes of its letters."""


LabelOf = Literal["drive", "signal", "output", "decoder", "detector"]


@dataclass(frozen=True, slots=True)
class Words:
    """What a label says: whose it is, its name, and the lines beside that."""

    of: LabelOf
    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A line of print and where it begins."""

    text: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Label:
    """A label set out. left_out: how many lines could not be read and are not there."""

    of: LabelOf
    name: str
    name_size: float
    name_lines: tuple[Line, ...]
    line_size: float
    lines: tuple[Line, ...]
    left_out: int


@dataclass(frozen=True, slots=True)
class PlacedLabel(Label):
    """A label at its place on its sheet."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class LabelSheets:
    """Every label at its place. left_out: how many labels lack lines."""

    width: float
    height: float
    sheet: str
    sheet_width: float
    sheet_height: float
    margin: float
    gap: float
    columns: int
    rows: int
    count: int
    left_out: int
    sheets: tuple[tuple[PlacedLabel, ...], ...]


def label_sheets(
    document: Document, label: str, sheet: str, margin: float, gap: float
) -> LabelSheets:
    """Every label at its place on its sheet.

    label: width and height, as "38x12 mm". sheet: a name in SHEETS. margin: what
    stays white all round. gap: between two labels.
    Raises ValueError, with a sentence, for sizes that do not go together.
    """
    width, height = label_size(label)
    if sheet not in SHEETS:
        raise ValueError(f"there is no sheet {sheet}: take one of {', '.join(SHEETS)}")
    margin, gap = float(margin), float(gap)
    if margin < LEAST_MARGIN:
        raise ValueError(f"a margin of {margin:g} mm is too small: at least {LEAST_MARGIN:g} mm")
    if gap < 0:
        raise ValueError(f"a gap of {gap:g} mm is none: 0 or more")
    sheet_width, sheet_height = SHEETS[sheet]
    columns = _how_many(sheet_width - 2 * margin, width, gap)
    rows = _how_many(sheet_height - 2 * margin, height, gap)
    if not columns or not rows:
        raise ValueError(
            f"a label of {width:g} x {height:g} mm does not fit on a sheet {sheet} "
            f"with a margin of {margin:g} mm"
        )
    placed = []
    for number, words in enumerate(label_words(document)):
        row, column = divmod(number % (columns * rows), columns)
        set_at = set_out(words, width, height)
        placed.append(
            PlacedLabel(
                set_at.of,
                set_at.name,
                set_at.name_size,
                set_at.name_lines,
                set_at.line_size,
                set_at.lines,
                set_at.left_out,
                x=_mm(margin + column * (width + gap)),
                y=_mm(margin + row * (height + gap)),
            )
        )
    each = columns * rows
    return LabelSheets(
        width=_mm(width),
        height=_mm(height),
        sheet=sheet,
        sheet_width=_mm(sheet_width),
        sheet_height=_mm(sheet_height),
        margin=_mm(margin),
        gap=_mm(gap),
        columns=columns,
        rows=rows,
        count=len(placed),
        left_out=sum(bool(label.left_out) for label in placed),
        sheets=tuple(tuple(placed[first : first + each]) for first in range(0, len(placed), each)),
    )


@dataclass(frozen=True, slots=True)
class LooseLabel(Label):
    """A label by itself. width, height: in millimetres."""

    width: float
    height: float


def loose_labels(document: Document, label: str) -> list[LooseLabel]:
    """Every label by itself, as large as on the sheets of labels.

    Raises ValueError, with a sentence, for a size that is none.
    """
    width, height = label_size(label)
    return [
        LooseLabel(
            one.of,
            one.name,
            one.name_size,
            one.name_lines,
            one.line_size,
            one.lines,
            one.left_out,
            width=_mm(width),
            height=_mm(height),
        )
        for one in (set_out(words, width, height) for words in label_words(document))
    ]


def label_size(said: str) -> tuple[float, float]:
    """Width and height of a label in millimetres. Raises ValueError with a sentence."""
    match = _SIZE.fullmatch(said)
    if match is None:
        raise ValueError(f"`{said}` is not the size of a label: write it as 38x12 mm")
    width, height = float(match[1]), float(match[2])
    if width < SMALLEST[0] or height < SMALLEST[1]:
        raise ValueError(
            f"a label of {width:g} x {height:g} mm is too small to read: "
            f"at least {SMALLEST[0]:g} x {SMALLEST[1]:g} mm"
        )
    return width, height


def _how_many(room: float, size: float, gap: float) -> int:
    # A thousandth of a millimetre, for sums of decimals that end a hair too high.
    return max(0, int((room + gap + 0.001) // (size + gap)))


def _mm(length: float) -> float:
    return round(length, 3)


# ---------------------------------------------------------------- what they say


def label_words(document: Document) -> list[Words]:
    """For each label what it says."""
    return [
        *(
            _of_drive(name, d.positions)
            for d in document.layout.drives
            for name in (d.works if d.motors > 1 else [d.name])
        ),
        *(
            _of_signal(name, s.aspects)
            for s in document.layout.signals
            if not s.imagined
            for name in (s.name, *s.repeaters)
        ),
        *(_of_output(o) for o in document.hardware.outputs),
        *(_of_decoder(d) for d in document.hardware.decoders),
        *(_of_detector(d) for d in document.hardware.detectors),
    ]


@dataclass(frozen=True, slots=True)
class _Does:
    """What a side or value of an output does."""

    number: int | None
    decoder: str
    output: int | None
    words: str


def _of_drive(name: str, positions: Iterable[WiredPosition]) -> Words:
    does = [
        _Does(p.number, p.decoder, p.output, f"{_sent(p)} {p.position}")
        for p in positions
        if p.decoder is not None
    ]
    return Words("drive", name, _output_lines(does) or ("by hand",))


def _sent(state: WiredPosition | Aspect) -> str:
    return state.side if state.side is not None else f"value {state.value}"


def _of_signal(name: str, aspects: Iterable[Aspect]) -> Words:
    shown: dict[tuple[int | None, str, int | None, str], list[str]] = defaultdict(list)
    for a in aspects:
        if a.decoder is None:
            continue
        shown[a.number, a.decoder, a.output, _sent(a)].append(_seen(a.name, a.blinking))
        for lamp in a.lights:
            of = lamp.number, lamp.decoder, lamp.output, lamp.side
            shown[of].append(_seen(a.name, lamp.blinking))
    does = [
        _Does(number, decoder, output, f"{sent} {'/'.join(seen)}")
        for (number, decoder, output, sent), seen in shown.items()
    ]
    return Words("signal", name, _output_lines(does) or ("not wired",))


def _seen(aspect: str, blinking: bool) -> str:
    return f"{aspect} blinking" if blinking else aspect


def _of_output(named: NamedOutput) -> Words:
    does = [
        _Does(named.number, named.decoder, named.output, f"{s.side} {s.state}")
        for s in named.states
    ]
    return Words("output", named.name, _output_lines(does))


def _output_lines(does: Sequence[_Does]) -> tuple[str, ...]:
    """A line an output, and a line for what each side does; of several outputs one line
    for what all sides do."""
    outputs = list(dict.fromkeys((d.number, d.decoder, d.output) for d in does))
    lines = []
    for number, decoder, output in outputs:
        lines.append(f"{number} · {decoder}.{output}")
        words = [d.words for d in does if d.number == number]
        lines += words if len(outputs) == 1 else [", ".join(words)]
    return tuple(lines)


def _of_decoder(decoder: Decoder) -> Words:
    lines = _addressed(decoder, decoder.outputs)
    return Words("decoder", decoder.name, lines)


def _of_detector(detector: Detector) -> Words:
    lines = _addressed(detector, detector.inputs)
    return Words("detector", detector.name, lines)


def _addressed(one: Decoder | Detector, size: int) -> tuple[str, ...]:
    """Its numbers, of which there are so many, its kind, and its switches."""
    first, last = one.address, one.address + size - 1
    lines = [f"{first}" if first == last else f"{first}–{last}", one.kind]
    if one.rotary_bank:
        lines.append(f"shows {' '.join(r.shows for r in one.rotary_bank)}")
    if one.switches:
        on = ", ".join(str(k) for k in one.switches_on)
        lines.append(f"on: {on}" if on else "all off")
    return tuple(lines)


# ------------------------------------------------------------ how they are set out


@dataclass(frozen=True, slots=True)
class _Arranged:
    """One way to set out a name and some lines: sizes, and where each line begins."""

    names: Sequence[str]
    name_size: float
    name_places: Sequence[tuple[float, float]]
    line_size: float
    places: Sequence[tuple[float, float]]


def set_out(words: Words, width: float, height: float) -> Label:
    """A label's letters: sizes, and where each line of print begins.

    The name stands beside its lines or above them, in one line or broken into two,
    whichever lets all of it be larger. Lines that could not be read are left out, the last first.
    """
    pad = min(1.6, height / 8)
    inner, tall = width - 2 * pad, height - 2 * pad
    names = [[words.name], *_broken(words.name)]
    lines = words.lines
    for kept in range(len(lines), -1, -1):
        best = max(
            (
                way(name, lines[:kept], inner, tall, share if kept else 1.0)
                for name in names
                for way in (_beside, _above)
                for share in SHARES
            ),
            key=lambda a: (_readable(a, kept), _least(a, kept)),
        )
        if _readable(best, kept) or not kept:
            break
    return Label(
        of=words.of,
        name=words.name,
        name_size=round(best.name_size, 2),
        name_lines=_placed(best.names, best.name_places, pad),
        line_size=round(best.line_size, 2),
        lines=_placed(lines[:kept], best.places, pad),
        left_out=len(lines) - kept,
    )


def _readable(arranged: _Arranged, lines: int) -> bool:
    name = arranged.name_size
    line = arranged.line_size if lines else name
    return min(name, line) >= LEAST_LINE


def _least(arranged: _Arranged, lines: int) -> float:
    """How large it all is: the lines, or half the name, whichever is less."""
    name = arranged.name_size / 2
    line = arranged.line_size if lines else name
    return min(name, line)


def _placed(
    texts: Sequence[str], places: Sequence[tuple[float, float]], pad: float
) -> tuple[Line, ...]:
    return tuple(
        Line(text, _mm(pad + x), _mm(pad + y)) for text, (x, y) in zip(texts, places, strict=True)
    )


def _broken(name: str) -> list[list[str]]:
    """A long name in two lines, after the sign nearest its middle that parts words."""
    places = [at for at in range(1, len(name)) if name[at - 1] in "._"]
    if len(name) < LONG_NAME or not places:
        return []
    at = min(places, key=lambda at: abs(2 * at - len(name)))
    return [[name[:at], name[at:]]]


RISE = 0.74
"""From the top of capital letters to the line they stand on, in sizes, with a little air."""


def _beside(
    names: Sequence[str], lines: Sequence[str], inner: float, tall: float, share: float
) -> _Arranged:
    """The name to the left, its lines to the right of it, both in the middle of the height."""
    widest = max(extent(name, bold=True) for name in names)
    name_size = min(LARGEST_NAME, tall / _high(names), share * inner / widest)
    taken = name_size * widest + 1.5
    line_size = _line_size(lines, inner - taken, tall)
    return _Arranged(
        names,
        name_size,
        _stacked(names, name_size, 0.0, (tall - name_size * _high(names)) / 2),
        line_size,
        _stacked(lines, line_size, taken, (tall - line_size * _high(lines)) / 2),
    )


def _above(
    names: Sequence[str], lines: Sequence[str], inner: float, tall: float, share: float
) -> _Arranged:
    """The name over its lines."""
    widest = max(extent(name, bold=True) for name in names)
    name_size = min(LARGEST_NAME, share * tall / _high(names), inner / widest)
    top = name_size * _high(names) + 0.7
    line_size = _line_size(lines, inner, tall - top)
    return _Arranged(
        names,
        name_size,
        _stacked(names, name_size, 0.0, 0.0),
        line_size,
        _stacked(lines, line_size, 0.0, top),
    )


def _high(lines: Sequence[str]) -> float:
    """How high lines of print are together, in sizes of their letters."""
    return LEADING * (len(lines) - 1) + RISE if lines else 0.0


def _stacked(lines: Sequence[str], size: float, x: float, top: float) -> list[tuple[float, float]]:
    """Where each line begins, and the height that it stands on."""
    return [(x, top + size * (RISE + LEADING * k)) for k in range(len(lines))]


def _line_size(lines: Sequence[str], room: float, tall: float) -> float:
    if not lines:
        return 0.0
    widest = max(extent(line) for line in lines)
    # What hangs below the last line, a g or a comma, must find room too.
    return max(0.0, min(LARGEST_LINE, room / widest, tall / (_high(lines) + 0.22)))


_NARROW = frozenset("iljtfrI.,:;|!'()[] ·")
_WIDE = frozenset("wGOQCD&–")
_WIDEST = frozenset("mMW@%—")


def extent(text: str, *, bold: bool = False) -> float:
    """How wide a text is at most, in sizes of its letters, in the usual sans serif faces.

    Their widths differ, so this is on the wide side; the letters of the east that fill a
    square count as one.
    """
    total = 0.0
    for letter in text:
        if cell_len(letter) > 1 or letter in _WIDEST:
            total += 1.0
        elif letter in _NARROW:
            total += 0.4
        elif letter in _WIDE:
            total += 0.82
        else:
            total += 0.72 if letter.isupper() else 0.6
    return max(0.3, total * (1.06 if bold else 1.0))
