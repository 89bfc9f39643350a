"""The sheets for the bench: well formed, alone, and with everything on them once.

Read by html5lib in its strict mode: an error in the HTML standard's parsing fails.
"""

from __future__ import annotations

import csv
import itertools
import re
import xml.etree.ElementTree as ET
from collections import Counter
from functools import cache
from typing import Any

import html5lib
import pytest
from bench_layouts import HEARD, UNWIRED, WIRED, example, example_plan, plan, told
from in_campaigns import in_campaigns
from msgspec.structs import replace

from bellcrank.document.document_types import Document
from bellcrank.document.part import DrivePosition
from bellcrank.document.route_types import Conflict
from bellcrank.emit.description import TargetError, default_targets
from bellcrank.emit.render import NO_OPTIONS, render_target
from bellcrank.emit.target import load_target

H = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"

DOCUMENTS = {
    "four-track-station": lambda: example("four-track-station"),
    "hand-worked-branch": lambda: example("hand-worked-branch"),
    "wired": lambda: told(WIRED),
    "unwired": lambda: told(UNWIRED),
    "heard": lambda: told(HEARD),
}

PLANS = {
    "four-track-station": lambda: example_plan("four-track-station"),
    "hand-worked-branch": lambda: example_plan("hand-worked-branch"),
    "wired": lambda: plan(WIRED),
    "unwired": lambda: plan(UNWIRED),
    "heard": lambda: plan(HEARD),
}

every_layout = pytest.mark.parametrize(
    "name", in_campaigns(DOCUMENTS, lambda name: name == "four-track-station")
)


@cache
def sheets(name: str) -> str:
    return made_of(DOCUMENTS[name](), PLANS[name]())


def made_of(data: Document, plan: dict[str, Any], given: Any = NO_OPTIONS) -> str:
    made = render_target(load_target("sheets"), data, given, plan)
    return made["sheets.html"].decode("utf-8")


@cache
def page(name: str) -> ET.Element:
    return parsed(sheets(name))


FULL = {"checklist": "full"}
ALL = {"chapters": "all"}


@cache
def full_checklist(name: str) -> ET.Element:
    made = made_of(DOCUMENTS[name](), PLANS[name](), FULL | {"chapters": "checklist"})
    return titled(parsed(made), "Commissioning")


def parsed(made: str) -> ET.Element:
    return html5lib.HTMLParser(strict=True).parse(made)


def text(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def chapter(name: str, title: str) -> ET.Element | None:
    return titled(page(name), title)


def titled(root: ET.Element, title: str) -> ET.Element | None:
    for section in root.iter(f"{H}section"):
        heads = [text(h) for h in section.iter(f"{H}h2")]
        if any(title in head for head in heads):
            return section
    return None


def table(section: ET.Element | None, css: str) -> ET.Element:
    assert section is not None
    return next(t for t in section.iter(f"{H}table") if t.get("class") == css)


def body_rows(section: ET.Element | None, css: str) -> list[list[str]]:
    return [
        [text(cell) for cell in row if cell.tag in (f"{H}td", f"{H}th")]
        for body in table(section, css).iter(f"{H}tbody")
        for row in body.iter(f"{H}tr")
    ]


def test_sheets_are_written_only_where_they_are_asked_for() -> None:
    assert "sheets" not in default_targets()


@every_layout
def test_each_heading_has_its_place_and_each_row_says_what_it_is_of(name: str) -> None:
    root = page(name)
    assert root.get("lang") == "en"
    assert [text(h) for h in root.iter(f"{H}h1")] == [DOCUMENTS[name]().plain["layout"]["title"]]
    levels = [int(e.tag[-1]) for e in root.iter() if re.fullmatch(rf"{re.escape(H)}h\d", e.tag)]
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    for head in root.iter(f"{H}th"):
        assert head.get("scope") in ("row", "col")
    for drawing in root.iter(f"{SVG}svg"):
        if drawing.get("class") != "row":
            assert text(drawing.find(f"{SVG}title"))
    named = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(named) == len(set(named))
    for link in root.iter(f"{H}a"):
        assert link.get("href", "").removeprefix("#") in named


@every_layout
def test_nothing_outside_the_file_is_asked_for(name: str) -> None:
    root = page(name)
    for element in root.iter():
        assert element.tag not in (f"{H}link", f"{H}script", f"{H}img", f"{H}iframe", f"{H}base")
        for attribute, value in element.items():
            if attribute in ("src", "srcset", "data", "action") or attribute.endswith("href"):
                assert value.startswith("#")
            assert not attribute.startswith("on")
    styles = "".join(text(s) for s in root.iter(f"{H}style"))
    assert "url(" not in styles and "@import" not in styles and "@font-face" not in styles


@every_layout
def test_two_builds_are_the_same_byte_for_byte_and_hold_no_date(name: str) -> None:
    assert made_of(DOCUMENTS[name](), PLANS[name]()) == sheets(name)
    assert not re.search(r"\b20\d\d-\d\d", sheets(name))


@every_layout
def test_the_cover_and_the_head_of_each_chapter_carry_the_stamp(name: str) -> None:
    data = DOCUMENTS[name]().plain
    cover = next(s for s in page(name).iter(f"{H}section") if "cover" in s.get("class", ""))
    said = text(cover)
    for part in (
        *data["compiler"].values(),
        data["status"],
        data["notice"],
        data["source"]["sha256"],
    ):
        assert part in said
    stamps = [text(p) for p in page(name).iter(f"{H}p") if p.get("class") == "stamp"]
    assert len(stamps) >= 3
    for stamp in stamps:
        assert data["status"] in stamp and data["source"]["sha256"][:12] in stamp


def test_the_cover_of_an_unproved_layout_cannot_be_overlooked() -> None:
    wrong, right = page("wired"), page("four-track-station")
    for root, word in ((wrong, "UNPROVED"), (right, "PROVED")):
        status = next(e for e in root.iter(f"{H}div") if e.get("class") == "status")
        assert text(status.find(f"{H}strong")) == word
    assert wrong.find(f"{H}body").get("class") == "unproved"
    assert right.find(f"{H}body").get("class") is None
    assert "What is not proved" in text(wrong)
    assert "UNPROVED" not in text(right)


@pytest.mark.campaign
def test_the_missing_rule_stands_on_the_cover() -> None:
    data = example("harbour-terminus-forgetful")
    made = made_of(data, example_plan("harbour-terminus-forgetful"))
    assert "Missing rule: <b>W1 to T1 locks G1 to T2</b>" in made


# ------------------------------------------------------------------------ chapters


@pytest.mark.parametrize("name", ["four-track-station", "wired", "heard"])
def test_each_decoder_and_detector_is_drawn_once_with_its_switches_as_they_must_stand(
    name: str,
) -> None:
    section = chapter(name, "Wiring")
    assert section is not None
    cards = {text(a.find(f".//{H}h3")): a for a in section.iter(f"{H}article")}
    hardware = DOCUMENTS[name]().plain["hardware"]
    decoders = [*hardware["decoders"], *hardware["detectors"]]
    assert list(cards) == [d["name"] for d in decoders]
    for decoder in decoders:
        drawing = cards[decoder["name"]].find(f".//{SVG}svg")
        if not decoder["switches"]:
            assert drawing is None
            continue
        sliders = [
            float(r.get("y")) for r in drawing.iter(f"{SVG}rect") if r.get("fill") == "#111111"
        ]
        on = [k for k, y in enumerate(sliders, start=1) if y == min(3.1, *sliders)]
        assert len(sliders) == decoder["switches"]
        assert on == decoder["switches_on"]
        marked = [t for t in drawing.iter(f"{SVG}text") if text(t) == "fixed"]
        assert len(marked) == sum(s["fixed"] for s in decoder["switch_bank"])
        assert "ON" in [text(t) for t in drawing.iter(f"{SVG}text")]


@every_layout
def test_every_drive_signal_decoder_and_detector_has_one_label(name: str) -> None:
    data = DOCUMENTS[name]().plain
    labels = [
        (g.get("data-of"), g.get("data-name"))
        for g in page(name).iter(f"{SVG}g")
        if g.get("class") == "label"
    ]
    assert labels == [
        *(("drive", d["name"]) for d in data["layout"]["drives"]),
        *(("signal", s["name"]) for s in data["layout"]["signals"]),
        *(("decoder", d["name"]) for d in data["hardware"]["decoders"]),
        *(("detector", d["name"]) for d in data["hardware"]["detectors"]),
    ]


def test_the_wiring_list_names_the_users_wires_and_terminals_and_leaves_blanks() -> None:
    section = chapter("wired", "Wiring")
    assert section is not None
    first, *_ = [t for t in section.iter(f"{H}table") if t.get("class") == "wires"]
    rows = [[text(c) for c in r] for b in first.iter(f"{H}tbody") for r in b.iter(f"{H}tr")]
    assert rows[:4] == [
        ["1", "21", "green", "A1", "brown", "drive P1, diverging (crossed), coil 200 ms", ""],
        ["1", "21", "red", "B1", "white", "drive P1, straight (crossed)", ""],
        ["1", "21", "common", "C", "black", "drive P1, common wire", ""],
        ["2", "22", "green", "A2", "", "drive P2, straight, motor 3000 ms", ""],
    ]
    assert rows[-1] == ["Free, nothing is joined to it: output 3 (23)"]
    blank = first.findall(f".//{H}span[@class='blank']")
    # P2 and S1 have terminals but no wires: two sides and a common each.
    assert len(blank) == 6


def test_an_aspect_or_position_by_value_has_its_value_on_the_wire() -> None:
    rows = [r for t in chapter("wired", "Wiring").iter(f"{H}table") for r in rows_of(t)]
    assert [
        "1",
        "5",
        "all",
        "",
        "",
        "signal H, its wires: value 0 stop, value 4 caution, value 16 clear",
        "",
    ] in rows


def test_the_wiring_says_what_each_input_is_on_for() -> None:
    wiring = chapter("heard", "Wiring")
    tables = {
        text(a.find(f".//{H}h3")): rows_of(t)
        for a in wiring.iter(f"{H}article")
        for t in a.iter(f"{H}table")
    }
    assert tables["N1"] == [
        ["1", "6", "I1", "", "section A occupied", "on", ""],
        ["2", "7", "I2", "", "section P occupied", "on", ""],
        ["4", "9", "I4", "", "drive P straight", "on", ""],
        ["Free, nothing is joined to it: input 3 (8)"],
    ]
    assert tables["N2"] == [["1", "1", "", "", "section C occupied", "on", ""]]
    named = next(t for t in wiring.iter(f"{H}table") if text(t.find(f".//{H}th")) == "Named")
    assert rows_of(named) == [
        ["wharf/b", "section B occupied", "on", ""],
        ["wharf/in", "button W to B", "on", ""],
        ["wharf/not in", "button to cancel W to B", "on", ""],
        ["wharf/W", "button W", "on", ""],
        ["wharf/C", "button C", "on", ""],
        ["wharf/none", "button to cancel what is set from W", "on", ""],
    ]
    assert ["2", "2", "red", "", "", "lamp W to B, lit", ""] in tables["K1"]


def rows_of(table: ET.Element) -> list[list[str]]:
    return [[text(c) for c in r] for b in table.iter(f"{H}tbody") for r in b.iter(f"{H}tr")]


@every_layout
def test_the_control_table_has_each_route_once_with_what_it_needs(name: str) -> None:
    data = DOCUMENTS[name]().plain
    rows = body_rows(chapter(name, "Control table"), "control")
    numbers = {r["name"]: n for n, r in enumerate(data["routes"], start=1)}
    assert [(int(row[0]), row[1]) for row in rows] == [(n, r) for r, n in numbers.items()]
    heads = [text(h) for h in table(chapter(name, "Control table"), "control").iter(f"{H}th")]
    at = heads.index("Conflicting routes")
    for route, row in zip(data["routes"], rows, strict=True):
        assert row[2].startswith(f"{route['from']} {route['aspect']}")
        assert row[3].startswith(route["to"])
        for need in route["positions"]:
            assert need["drive"] in row[4] and need["position"] in row[4]
        assert unfolded(row[at]) == sorted(numbers[other] for other in route["conflicts"])


def unfolded(ranges: str) -> list[int]:
    """Numbers from a text such as 1, 3–6, 9."""
    found: list[int] = []
    for part in ranges.split(", "):
        first, _, last = part.partition("–")
        if first:
            found += range(int(first), int(last or first) + 1)
    return found


@every_layout
def test_every_drive_is_thrown_every_way_and_ticked(name: str) -> None:
    data = DOCUMENTS[name]().plain
    throws = table(chapter(name, "Commissioning"), "drives")
    rows = [r for b in throws.iter(f"{H}tbody") for r in b.iter(f"{H}tr")]
    positions = {d["name"]: len(d["positions"]) for d in data["layout"]["drives"]}
    found = []
    for row in rows:
        drive, position, send, _, _ = (text(cell) for cell in row)
        found.append((drive, position, send))
        expected = [text(b) for b in row.iter(f"{H}span") if b.get("class") == "right"]
        assert expected == [position]
        ticks = [b for b in row.iter(f"{H}span") if b.get("class") == "tick"]
        assert len(ticks) == positions[drive]
    assert found == [
        (
            d["name"],
            p["position"],
            f"{p['number']} {p['side']} ({p['decoder']}.{p['output']})"
            if p["decoder"]
            else "by hand",
        )
        for d in data["layout"]["drives"]
        for p in d["positions"]
    ]


@every_layout
def test_each_route_is_tried_once_with_its_positions_and_signals(name: str) -> None:
    data = DOCUMENTS[name]().plain
    rows = body_rows(full_checklist(name), "routes")
    assert [row[1] for row in rows] == [r["name"] for r in data["routes"]]
    for route, row in zip(data["routes"], rows, strict=True):
        commands = [c for c in data["commands"] if c["route"] == route["name"]]
        for c in commands:
            if c["phase"] == "drives":
                assert f"{c['name']} {c['state']}" in row[2]
            elif c["phase"] == "signals to stop" and c["name"] != route["from"]:
                assert c["name"] in row[3].split(", ")
        assert row[4] == f"{route['from']} {route['aspect']}"


@every_layout
def test_the_short_checklist_says_of_each_route_how_drives_lie_and_what_its_signal_shows(
    name: str,
) -> None:
    data = DOCUMENTS[name]().plain
    section = chapter(name, "Commissioning")
    assert section is not None
    tries = next(u for u in section.iter(f"{H}ul") if u.get("class") == "tries")
    said = [text(li) for li in tries.iter(f"{H}li")]
    assert len(said) == len(data["routes"])
    for number, (route, line) in enumerate(zip(data["routes"], said, strict=True), start=1):
        head, *lies = line.split("; ")
        assert head == f"{number} {route['name']}: {route['from']} {route['aspect']}"
        found = {
            (drive, group.split(" ", 1)[0])
            for group in lies
            for drive in group.split(" ", 1)[1].split(", ")
        }
        assert found == {
            (c["name"], c["state"])
            for c in data["commands"]
            if c["route"] == route["name"] and c["phase"] == "drives"
        }


@every_layout
def test_each_reason_for_refusal_is_tried_once_with_two_routes_that_have_it(name: str) -> None:
    data = DOCUMENTS[name]().plain
    section = chapter(name, "Commissioning")
    assert section is not None
    names = dict(enumerate((r["name"] for r in data["routes"]), start=1))
    of_pair = {
        frozenset(c["routes"]): {
            (r["kind"], of)
            for r in c["reasons"]
            for of in (*r["where"], *(o["drive"] for o in r["opposed"]))
        }
        for c in data["conflicts"]
    }
    tried = Counter()
    for ul in section.iter(f"{H}ul"):
        for li in ul.iter(f"{H}li") if ul.get("class") == "tries three" else ():
            of = text(li.find(f"{H}b"))
            reason, first, second = re.fullmatch(
                rf"(.+) {re.escape(of)}: (\d+), then (\d+)(?: \+)?", text(li)
            ).groups()
            tried[reason, of] += 1
            pair = of_pair[frozenset((names[int(first)], names[int(second)]))]
            assert (reason, of) in pair
            assert text(li).endswith("+") == (len(pair) > 1)
    assert tried == Counter(set().union(*of_pair.values()))


@every_layout
def test_the_full_checklist_tries_each_pair_of_conflicting_routes_once_by_number(
    name: str,
) -> None:
    data = DOCUMENTS[name]().plain
    names = dict(enumerate((r["name"] for r in data["routes"]), start=1))
    pairs: Counter[frozenset[str]] = Counter()
    for ul in full_checklist(name).iter(f"{H}ul"):
        for li in ul.findall(f"{H}li") if ul.get("class") == "refusals" else ():
            first, *others = (int(n) for n in re.findall(r"\d+", text(li)))
            pairs.update(frozenset((names[first], names[other])) for other in others)
    assert pairs == Counter(frozenset(c["routes"]) for c in data["conflicts"])


def test_each_fitting_has_a_card_that_says_what_to_send_and_has_its_label() -> None:
    data = told(WIRED).plain
    root = parsed(made_of(told(WIRED), plan(WIRED), {"chapters": "cards"}))
    cards = {
        text(a.find(f"{H}h3")).split(" ")[0]: a
        for a in root.iter(f"{H}article")
        if a.get("class") == "card"
    }
    assert list(cards) == ["P1", "P2", "P3", "TT"]
    for drive in data["layout"]["drives"]:
        said = text(cards[drive["name"]])
        for p in drive["positions"]:
            sent = f"Send {p['number']} {p['side']} ({p['decoder']}.{p['output']})"
            thrown = "Throw it by hand" if p["decoder"] is None else sent
            assert f"{thrown}: {drive['name']} lies {p['position']}." in said
        drawings = [text(d.find(f"{SVG}title")) for d in cards[drive["name"]].iter(f"{SVG}svg")]
        assert f"Label of {drive['name']}" in drawings
    first = cards["P1"]
    assert text(first).index("Unplug every supply") < text(first).index("common wire")
    assert [r[:4] for r in rows_of(next(first.iter(f"{H}table")))] == [
        ["black", "drive P1, common wire", "K1.1", "C"],
        ["white", "drive P1, straight (crossed)", "K1.1 red", "B1"],
        ["brown", "drive P1, diverging (crossed)", "K1.1 green", "A1"],
    ]


def test_only_the_chosen_chapters_are_printed_and_a_wrong_one_is_told_in_a_sentence() -> None:
    root = parsed(made_of(told(HEARD), plan(HEARD), {"chapters": "labels, plan"}))
    ids = [h.get("id") for h in root.iter(f"{H}h2")]
    # A layout that is not proved has its cover too.
    assert ids[-1] == "labels" and not {"parts", "wiring", "control"} & set(ids)
    with pytest.raises(TargetError, match=r"no chapter `wirng`: did you mean `wiring`\?"):
        made_of(told(HEARD), plan(HEARD), {"chapters": "wirng"})


def test_the_parts_list_is_the_same_in_its_file_and_on_the_sheets() -> None:
    made = render_target(load_target("sheets"), told(WIRED), NO_OPTIONS, plan(WIRED))
    head, *rows = csv.reader(made["parts-list.csv"].decode().splitlines())
    assert head[:5] == ["part", "kind", "count", "names", "free"]
    assert "status: UNPROVED" in head
    on_paper = body_rows(chapter("wired", "Parts list"), "parts")
    assert [
        [part, kind, count, names.replace("; ", ", "), free.replace("; ", ", ")]
        for part, kind, count, names, free, *_ in rows
    ] == [[*row[:4], row[4].removesuffix("none")] for row in on_paper]


def test_the_track_plan_stands_on_the_cover_with_every_element() -> None:
    cover = next(s for s in page("wired").iter(f"{H}section") if "cover" in s.get("class", ""))
    (plan_on_it,) = cover.iter(f"{SVG}svg")
    named = {e.get("data-element") for e in plan_on_it.iter() if e.get("data-element")}
    assert named == {e["name"] for e in told(WIRED).plain["layout"]["elements"]}


def test_a_plan_too_wide_for_the_cover_has_sheets_of_its_own_that_the_contents_name() -> None:
    pieces = " - ".join(f"PIECE_{n}" for n in range(200))
    long = {"bench_plan": plan(f"run edge WEST - {pieces} - edge EAST\n")["plan"]}
    root = html5lib.HTMLParser(strict=True).parse(made_of(told(UNWIRED), long))
    sheets_of_it = [s for s in root.iter(f"{H}section") if "plan-sheet" in s.get("class", "")]
    assert len(sheets_of_it) > 1
    assert text(sheets_of_it[0].find(f".//{H}h2")) == "Track plan"
    assert all(s.find(f".//{SVG}svg/{SVG}title") is not None for s in sheets_of_it)
    stamps = [text(p) for s in sheets_of_it for p in s.iter(f"{H}p") if p.get("class") == "stamp"]
    assert len(stamps) == len(sheets_of_it)
    assert next(a.get("href") for a in root.iter(f"{H}a")) == "#plan"


NUMBERED = WIRED + "numbering from decoder 0\n"


def test_beside_each_throw_and_aspect_stand_the_bytes_of_the_packet_for_it() -> None:
    data = told(NUMBERED)
    root = parsed(made_of(data, plan(NUMBERED), FULL))
    found = {}
    for row in root.iter(f"{H}tr"):
        for cell in [*row.iter(f"{H}td"), *row.iter(f"{H}span")]:
            packets = [p for p in cell if p.get("class") == "packet"]
            if packets:
                name, words = text(row[0]), text(cell)
                state = text(cell.find(f"{H}b")) if cell.find(f"{H}b") is not None else text(row[1])
                found[name, state] = [text(code) for code in packets[0].iter(f"{H}code")]
                assert words.startswith(str(number_of(data.plain, name, state))) or state in words
    expected = {
        (c["name"], c["state"]): [c["packet"]["on"]]
        + ([c["packet"]["off"]] if c["how"] == "coil" else [])
        for c in data.plain["commands"]
        if c["packet"]
    }
    assert len(expected) > 8
    assert {key: found[key] for key in expected} == expected
    wired = {(s["name"], s["state"]) for s in data.plain["states"] if s["number"] is not None}
    assert set(found) == wired


def number_of(data: dict[str, Any], name: str, state: str) -> int:
    (number,) = [s["number"] for s in data["states"] if (s["name"], s["state"]) == (name, state)]
    assert isinstance(number, int)
    return number


def test_a_layout_that_numbers_no_outputs_for_packets_has_none_on_its_sheets() -> None:
    assert told(WIRED).plain["hardware"]["first_decoder"] is None
    assert 'class="packet"' not in made_of(told(WIRED), plan(WIRED), FULL)


@pytest.mark.parametrize("name", ["hand-worked-branch", "unwired"])
def test_a_layout_without_hardware_says_so_and_leaves_those_chapters_out(name: str) -> None:
    assert chapter(name, "Wiring") is None
    assert "the layout names no decoder" in text(page(name))


def test_each_caution_stands_where_it_belongs() -> None:
    wiring, trying = (text(chapter("wired", t)) for t in ("Wiring", "Commissioning"))
    assert "Unplug every supply before you wire" in wiring
    assert "A coil needs a pulse and not a level" in wiring
    assert "static" in wiring
    assert "Mains voltage is for a qualified person only" in wiring
    assert "electrical codes" in wiring
    assert "A coil needs a pulse and not a level" in trying
    assert "Not certified for trains that carry people" in text(page("wired"))


LOOP = """
layout "Gull Loop" on two rails
points P1
run edge HILL - A - <B - C - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
reverser LA, LB
decoder kind pair { outputs 2 }
decoder K1 pair at 1
drive P1 = K1.1
"""


def test_cautions_depend_on_what_is_wired() -> None:
    root = parsed(made_of(told(LOOP), plan(LOOP), ALL))
    said = text(root)
    assert "A coil needs a pulse" not in said and "left on, it burns out" not in said
    for title in ("Feeds", "Commissioning"):
        part = text(titled(root, title))
        assert "at reduced current first, with a lamp in one lead of the track" in part
    for title in ("Wiring, decoder", "Wiring, drive", "Commissioning", "Job cards"):
        assert "P1 is not said: it may be a coil" in text(titled(root, title)) or (
            "What drives P1 the layout does not say: it may be a coil" in text(titled(root, title))
        )
    cover = text(next(s for s in root.iter(f"{H}section") if "cover" in s.get("class", "")))
    for word in ("fuse", "static", "fresh air", "small children", "batteries", "electrical codes"):
        assert word in cover
    pulsed = LOOP + "output HOOK = K1.2 green  coil 400 ms\n"
    assert "A coil needs a pulse" in text(parsed(made_of(told(pulsed), plan(pulsed))))
    wired = text(parsed(made_of(told(WIRED), plan(WIRED), ALL)))
    assert "reduced current first" not in wired and "it may be a coil" not in wired
    assert "A coil needs a pulse" in wired


# -------------------------------------------------------------------- what is given


def test_a_title_cannot_end_the_style_or_the_text_it_stands_in() -> None:
    odd = WIRED.replace("Kelp & <Brine> \\\\", "</style><b>&amp;\\A }")
    made = made_of(told(odd), plan(odd))
    root = html5lib.HTMLParser(strict=True).parse(made)
    assert len(list(root.iter(f"{H}style"))) == 1
    assert [text(h) for h in root.iter(f"{H}h1")] == [told(odd).plain["layout"]["title"]]


def test_sizes_are_options_and_one_that_does_not_fit_is_refused_in_a_sentence() -> None:
    given = {"label": "50x20 mm", "sheet": "letter", "margin": "10", "gap": "0"}
    made = made_of(told(WIRED), plan(WIRED), given)
    assert made.count('<rect width="50.0" height="20.0"') == 12
    assert "size: letter;" in made
    with pytest.raises(TargetError, match="a label of 300 x 20 mm does not fit on a sheet A4"):
        made_of(told(WIRED), plan(WIRED), {"label": "300x20"})
    with pytest.raises(TargetError, match="label cannot be `large`"):
        made_of(told(WIRED), plan(WIRED), {"label": "large"})


def station(data: Document, roads: int) -> Document:
    """The document of a station in which each of so many roads has a route in and one out,
    all of them through one throat: every two of its routes conflict."""
    some = data.routes[0]
    drives = [DrivePosition(drive=f"P{n}", position="diverging") for n in range(1, 9)]
    ends = {
        f"{start} to {end}": (start, end, road)
        for road, signal in ((f"PLATFORM_{n}", f"DEPARTURE_{n}") for n in range(1, roads + 1))
        for start, end in (("ARRIVAL", road), (signal, "WEST"))
    }
    routes = [
        replace(
            some,
            name=name,
            from_=start,
            to=end,
            sections=["THROAT", "LADDER", road],
            sections_clear=["THROAT", "LADDER", road],
            positions=drives,
            conflicts={other: ["shared section"] for other in ends if other != name},
        )
        for name, (start, end, road) in ends.items()
    ]
    command = next(c for c in data.commands if c.phase == "drives")
    return replace(
        data,
        routes=routes,
        conflicts=[
            Conflict(routes=list(pair), reasons=[]) for pair in itertools.combinations(ends, 2)
        ],
        commands=[
            replace(command, route=r.name, name=p.drive, state=p.position)
            for r in routes
            for p in r.positions
        ],
        timetables=[],
    )


def test_a_station_of_three_hundred_routes_stays_under_two_megabytes() -> None:
    data = station(told(WIRED), 150)
    assert len(data.routes) == 300
    # Every two conflict: no station of that size can have more to tell.
    assert len(data.conflicts) == 300 * 299 // 2
    made = made_of(data, plan(WIRED), FULL).encode()
    assert made.count(b"<li>") > 44_850
    assert len(made) < 2_000_000
