"""The PDF of the sheets, measured: labels have the size that was stated."""

from __future__ import annotations

import io
import sys
from functools import cache
from importlib.resources import files
from pathlib import Path

import pdfplumber
import pytest
from bench_layouts import WIRED, example, example_plan, plan, told
from in_campaigns import in_campaigns

from bellcrank.commands.cli import main
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.paper.pdf import PdfError, pdf_from

MM = 72 / 25.4
"""Points of a PDF in a millimetre (ISO 32000-1, section 8.3.2.3)."""

try:
    import weasyprint  # noqa: F401

    without = None
except OSError as error:
    without = str(error)

drawn = pytest.mark.skipif(without is not None, reason=f"no Pango for weasyprint: {without}")

SIZES = [("38x12 mm", "A4", 14, 3), ("25.4 x 9.5 mm", "letter", 12, 0), ("64x34 mm", "A4", 9, 2.5)]

every_size = pytest.mark.parametrize("size", in_campaigns(SIZES, lambda size: size != SIZES[0]))


@cache
def sheets(label: str, sheet: str, margin: float, gap: float) -> bytes:
    given = {"label": label, "sheet": sheet, "margin": str(margin), "gap": str(gap)}
    page = render_target(load_target("sheets"), told(WIRED), given, plan(WIRED))["sheets.html"]
    return pdf_from(page, "sheets.html")


def label_page(made: bytes) -> pdfplumber.page.Page:
    pages = pdfplumber.open(io.BytesIO(made)).pages
    return next(p for p in pages if "100mm:measure" in (p.extract_text() or "").replace(" ", ""))


@drawn
@every_size
def test_labels_have_the_stated_size_and_places_within_a_tenth_of_a_millimetre(
    size: tuple[str, str, float, float],
) -> None:
    label, sheet, margin, gap = size
    width, height = (float(part) for part in label.removesuffix("mm").split("x"))
    page = label_page(sheets(*size))
    wide, high = {"A4": (210, 297), "letter": (8.5 * 25.4, 11 * 25.4)}[sheet]
    assert page.width / MM == pytest.approx(wide, abs=0.1)
    assert page.height / MM == pytest.approx(high, abs=0.1)
    boxes = [r for r in page.rects if r["stroke"] and r["height"] > 3 * MM]
    assert len(boxes) == 12
    for box in boxes:
        assert box["width"] / MM == pytest.approx(width, abs=0.1)
        assert box["height"] / MM == pytest.approx(height, abs=0.1)
    assert boxes[0]["x0"] / MM == pytest.approx(margin, abs=0.1)
    assert boxes[0]["top"] / MM == pytest.approx(margin, abs=0.1)
    assert (boxes[1]["x0"] - boxes[0]["x1"]) / MM == pytest.approx(gap, abs=0.1)


@drawn
@every_size
def test_every_letter_on_a_label_is_inside_its_box(size: tuple[str, str, float, float]) -> None:
    page = label_page(sheets(*size))
    boxes = [r for r in page.rects if r["stroke"] and r["height"] > 3 * MM]
    top, bottom = min(b["top"] for b in boxes), max(b["bottom"] for b in boxes)
    words = [w for w in page.extract_words() if top < (w["top"] + w["bottom"]) / 2 < bottom]
    assert len(words) > 40
    for word in words:
        assert [
            box
            for box in boxes
            if box["x0"] < word["x0"]
            and word["x1"] < box["x1"]
            and box["top"] < (word["top"] + word["bottom"]) / 2 < box["bottom"]
        ], word["text"]


@drawn
def test_the_line_to_measure_is_a_hundred_millimetres_long() -> None:
    page = label_page(sheets(*SIZES[0]))
    rule = max((c for c in page.curves + page.lines), key=lambda c: c["x1"] - c["x0"])
    assert (rule["x1"] - rule["x0"]) / MM == pytest.approx(100, abs=0.1)


@drawn
def test_chapters_follow_one_another_and_each_page_says_its_status() -> None:
    pages = pdfplumber.open(io.BytesIO(sheets(*SIZES[0]))).pages
    texts = [p.extract_text() or "" for p in pages]
    heads = (
        "1 Parts list",
        "2 Wiring",
        "4 Feeds",
        "5 Commissioning",
        "6 Control table",
        "7 Labels",
    )
    lines = [line for text in texts for line in text.splitlines()]
    found = [head for line in lines for head in heads if line.startswith(head)]
    # The cover names them all first.
    assert found[-len(heads) :] == list(heads)
    assert all("UNPROVED" in t for t in texts)
    # Sheets of labels have nothing at their foot.
    assert f"page {len(pages) - 1} of {len(pages)}" in texts[-2]
    assert all(p.width < p.height for p in pages), "a narrow control table stands upright"


@drawn
@pytest.mark.campaign
@pytest.mark.parametrize(
    ("name", "most", "across"),
    [
        ("harbour-terminus", 6, False),
        ("four-track-station", 11, True),
    ],
)
def test_sheets_are_few_and_their_letters_large_enough_to_read(
    name: str, most: int, across: bool
) -> None:
    page = render_target(load_target("sheets"), example(name), {}, example_plan(name))
    pages = pdfplumber.open(io.BytesIO(pdf_from(page["sheets.html"], "sheets.html"))).pages
    assert len(pages) <= most
    # Labels are as large as they are asked for.
    for one in pages[:-1]:
        small = {c["text"] for c in one.chars if c["size"] < 7.99 and c["text"].strip()}
        assert not small, one.page_number
    # A control table with overlaps and flanks lies on its side.
    assert any(p.width > p.height for p in pages) == across


@drawn
def test_the_track_plan_is_drawn_on_the_cover_with_letters_to_be_read_at_arms_length() -> None:
    cover = pdfplumber.open(io.BytesIO(sheets(*SIZES[0]))).pages[0]
    words = {w["text"]: w for w in cover.extract_words(extra_attrs=["size"])}
    for name in ("P1", "P2", "P3", "TT", "T8"):
        assert words[name]["size"] / MM >= 2.83, name


LONG = "layout \"Reedham Loops\" on two rails\n" + "".join(
    f"""points P{n}W, P{n}E
run P{n}W.straight - <W{n} - A{n} - >E{n} - P{n}E.straight
run P{n}W.diverging - <V{n} - B{n} - >F{n} - P{n}E.diverging
run {"edge WEST" if n == 0 else f"P{n - 1}E.toe"} - L{n} - >H{n} - P{n}W.toe
"""
    for n in range(4)
) + "run P3E.toe - <R - C - edge EAST\n"  # fmt: skip


@drawn
def test_what_comes_after_a_plan_on_its_side_begins_on_an_upright_page() -> None:
    told_of, drawing = told(LONG), plan(LONG)
    page = render_target(load_target("sheets"), told_of, {}, drawing)["sheets.html"]
    pages = pdfplumber.open(io.BytesIO(pdf_from(page, "sheets.html"))).pages
    on_its_side = [p for p in pages if p.width > p.height and "Track plan" in p.extract_text()]
    assert on_its_side
    for each in on_its_side:
        assert "Parts list" not in each.extract_text()
        assert "Commissioning" not in each.extract_text()


@drawn
def test_no_line_of_print_leaves_the_page() -> None:
    for page in pdfplumber.open(io.BytesIO(sheets(*SIZES[0]))).pages:
        for word in page.extract_words():
            assert word["x0"] > 0 and word["x1"] < page.width - 8 * MM, word["text"]


@drawn
def test_the_same_page_gives_the_same_bytes() -> None:
    page = b"<title>Twice</title><p>the same</p>"
    assert pdf_from(page, "page.html") == pdf_from(page, "page.html")


@drawn
@pytest.mark.parametrize(
    "part",
    [
        "<img src='http://127.0.0.1:9/secret.png'>",
        "<img src='picture.png'>",
        "<style>@import 'file:///etc/hostname';</style>",
    ],
)
def test_a_page_that_asks_for_anything_outside_itself_is_refused(part: str) -> None:
    with pytest.raises(PdfError, match=r"mine\.html asks for something outside itself"):
        pdf_from(f"<p>{part}</p>".encode(), "mine.html")


# ---------------------------------------------------------------- the command line


@pytest.fixture
def layout(tmp_path: Path) -> Path:
    file = tmp_path / "quay.crank"
    file.write_text(
        'layout "Quay" on two rails\npoints P\nrun edge WEST - A - >W - P.toe\n'
        "run P.straight - <S - B - stop\nrun P.diverging - <D - C - stop\n",
        "utf-8",
    )
    return file


@drawn
def test_build_writes_the_pdf_beside_the_page(layout: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["build", str(layout), "--target", "sheets", "--pdf", "--out", str(out)]) == 0
    assert sorted(p.name for p in out.iterdir()) == [
        "bellcrank-build.json",
        "parts-list.csv",
        "sheets.html",
        "sheets.pdf",
    ]
    assert (out / "sheets.pdf").read_bytes().startswith(b"%PDF-")


def test_without_the_library_a_sentence_says_what_to_install(
    layout: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    out = tmp_path / "out"
    assert main(["build", str(layout), "--target", "sheets", "--pdf", "--out", str(out)]) == 2
    assert "pip install 'bellcrank[paper]'" in capsys.readouterr().err
    assert not out.exists()


def test_pdf_of_a_target_without_pages_is_refused(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["build", str(layout), "--pdf"]) == 2
    assert "--pdf is for targets of pages" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("files", "why"),
    [
        ('path = "a.html"\ntemplate = "t"\npdf = "../a.pdf"', "is not a path for a PDF"),
        ('path = "a.html"\ntemplate = "t"\npdf = "a.html"', "is not a path for a PDF"),
        ('path = "a.html"\ntemplate = "t"\npdf = 1', "is not a path for a PDF"),
        (
            'path = "a.html"\ntemplate = "t"\npdf = "a.pdf"\n[[files]]\n'
            'path = "a.pdf"\ntemplate = "t"',
            "go to one path",
        ),
    ],
)
def test_where_a_pdf_goes_is_looked_at_before_anything_is_built(
    files: str, why: str, layout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine").mkdir()
    said = f'name = "mine"\ncontext = 1\n[[files]]\n{files}\n'
    (tmp_path / "mine" / "target.toml").write_text(said, "utf-8")
    assert main(["build", str(layout), "--target", str(tmp_path / "mine"), "--pdf"]) == 2
    assert why in capsys.readouterr().err


@drawn
def test_no_row_of_a_table_is_left_alone_on_a_page() -> None:
    """Of tables that are a row longer each, some would end so."""
    page = (
        "<!doctype html><style>@page { size: 100mm 60mm; margin: 5mm } "
        + (files("bellcrank.targets") / "sheets" / "sheets.css").read_text("utf-8")
        + "</style><table><thead><tr><th>Head</th></tr></thead><tbody>{}</tbody></table>"
    )
    for count in range(5, 13):
        rows = "".join(f"<tr><td>row {n}</td></tr>" for n in range(count))
        made = pdfplumber.open(io.BytesIO(pdf_from(page.replace("{}</tbody>", rows).encode(), "x")))
        for sheet in made.pages:
            assert (sheet.extract_text() or "").count("row ") > 1
