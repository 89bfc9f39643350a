"""What is joined to what on the bench: by decoder, by drive and by signal.

Only what the layout says, in its own names. Where it says nothing there is None, and
whoever prints it leaves a blank to fill in.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from bellcrank.document.data import Data

SIDES = ("green", "red")


def decoder_outputs(document: Data) -> list[Data]:
    """Each decoder with its outputs in order, and what each side or value of them does.

    use: the drive or signal that an output is for; `does` says for each of its states by
    which side or value it is brought about. An output that nothing uses has no uses.
    """
    uses = _uses(document)
    return [
        {
            **decoder,
            "last": decoder["address"] + decoder["outputs"] - 1,
            "used": sum(bool(uses[decoder["name"], n]) for n in range(1, decoder["outputs"] + 1)),
            "list": [
                {
                    "output": n,
                    "number": decoder["address"] + n - 1,
                    "uses": uses[decoder["name"], n],
                    "rows": _rows(uses[decoder["name"], n], decoder["terminals"][n - 1]),
                }
                for n in range(1, decoder["outputs"] + 1)
            ],
        }
        for decoder in document["hardware"]["decoders"]
    ]


def _uses(document: Data) -> dict[tuple[str, int], list[Data]]:
    """The devices on each output, by the decoder's name and the number on it."""
    uses: dict[tuple[str, int], list[Data]] = defaultdict(list)
    for device in devices(document):
        for state in device["states"]:
            if state["decoder"] is None:
                continue
            on = uses[state["decoder"], state["output"]]
            if not on or on[-1]["name"] != device["name"] or on[-1]["device"] != device["device"]:
                on.append({**device, "does": []})
            on[-1]["does"].append(state)
    return uses


def devices(document: Data) -> list[Data]:
    """Drives and then signals, with each of their states: where it is wired, and by which wire.

    wire, common: names of the wires if the layout gives them. A wire belongs to the
    position that it throws the drive to, so with crossed wiring it is joined to the
    terminal of the other side: that one is in `side` already.
    """
    layout = document["layout"]
    found = []
    for drive in layout["drives"]:
        wires = drive["wires"] or [None] * (len(drive["positions"]) + 1)
        found.append(
            {
                "device": "drive",
                "name": drive["name"],
                "action": drive["action"],
                "milliseconds": drive["milliseconds"],
                "crossed": drive["crossed"],
                "common": wires[-1],
                "states": [
                    _state(p, p["position"], wire)
                    for p, wire in zip(drive["positions"], wires[:-1], strict=True)
                ],
            }
        )
    for signal in layout["signals"]:
        found.append(
            {
                "device": "signal",
                "name": signal["name"],
                "action": None,
                "milliseconds": None,
                "crossed": False,
                "common": None,
                "states": [_state(a, a["name"], None) for a in signal["aspects"]],
            }
        )
    return found


def _state(wired: Data, name: str, wire: str | None) -> Data:
    return {
        "state": name,
        "decoder": wired["decoder"],
        "output": wired["output"],
        "number": wired["number"],
        "side": wired["side"],
        "value": wired.get("value"),
        "wire": wire,
    }


def _rows(uses: Iterable[Data], terminals: Data) -> list[Data]:
    """A row for each terminal of an output that something is joined to.

    A servo has one plug for all its wires, and what answers to values is no matter of
    sides: for these one row, unless the layout names wires or terminals.
    """
    rows = []
    named = any(terminals[t] for t in (*SIDES, "common"))
    for use in uses:
        wires = [use["common"], *(state["wire"] for state in use["does"])]
        by_value = [s for s in use["does"] if s["side"] is None]
        if by_value or (use["action"] == "servo" and not named and not any(wires)):
            rows.append(_row(use, "all", None, None, use["does"]))
            continue
        for side in SIDES:
            does = [s for s in use["does"] if s["side"] == side]
            if does:
                wire = next((s["wire"] for s in does if s["wire"]), None)
                rows.append(_row(use, side, terminals[side], wire, does))
        if use["action"] != "motor" or terminals["common"] or use["common"]:
            rows.append(_row(use, "common", terminals["common"], use["common"], []))
    return rows


def _row(use: Data, side: str, terminal: str | None, wire: str | None, does: list[Data]) -> Data:
    return {
        "device": use["device"],
        "name": use["name"],
        "action": use["action"],
        "crossed": use["crossed"],
        "side": side,
        "terminal": terminal,
        "wire": wire,
        "does": does,
    }


def device_wires(document: Data) -> list[Data]:
    """Drives and signals with the rows of all their outputs, in the order of their states."""
    rows: dict[tuple[str, str], list[Data]] = defaultdict(list)
    for decoder in decoder_outputs(document):
        for output in decoder["list"]:
            for row in output["rows"]:
                place = {
                    "decoder": decoder["name"],
                    "output": output["output"],
                    "number": output["number"],
                }
                rows[row["device"], row["name"]].append({**row, **place})
    found = []
    for device in devices(document):
        order = [state["state"] for state in device["states"]]
        of_it = rows[device["device"], device["name"]]
        of_it.sort(key=lambda row: _place(row, order))
        found.append({**device, "rows": of_it})
    return found


def _place(row: Data, order: list[str]) -> tuple[bool, int]:
    """Among the rows of one output: by the first state, what is common to all last."""
    return (True, 0) if not row["does"] else (False, order.index(row["does"][0]["state"]))
