"""The moving proof beside two general-purpose model checkers, on the same machine, in one run.

    python tests/bench/provers.py                     all layouts, ten minutes of CPU time each
    python tests/bench/provers.py --seconds 100       less
    python tests/bench/provers.py "harbour terminus"  one of them

Abc (Debian's berkeley-abc) is given the machine as a circuit, with everything that must always
hold as one output, and proves it by property directed reachability (IC3/PDR); spin (Debian's
spin, and gcc) is given the Promela that the target `spin` prints, and goes through all states
in at most 8 GB. What is not installed is left out. All
seconds are CPU seconds, each in a process of its own. Of abc and spin they are for the proof alone,
their files being written and compiled. Ours are told twice, and so are the ratios: of a whole
`check` from the start of Python and from the text on, and of its moving proof alone, the machine
being made.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "outside")]

from aiger import EncodingName, circuit  # noqa: E402
from bench.generate import TERMINUS, chain  # noqa: E402
from bench.moving import apart  # noqa: E402
from pdr_runs import ABC, pdr, used_by  # noqa: E402
from sound_layouts import compiled  # noqa: E402
from spin_runs import measure as spin_measure  # noqa: E402
from spin_runs import missing_tools  # noqa: E402

from bellcrank.proof.moving.moving_proof import prove_moving  # noqa: E402

EXAMPLES = TESTS.parent / "examples"

MEGABYTES = 8_000
"""Memory for spin."""

PROOF_OF = "--proof-of"
"""With this word and a file only the moving proof is measured, for a process of its own."""

ENCODING: EncodingName = "binary"
"""With this one abc is the faster of the two."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Seconds of both. answered: whether the other came to an answer, the same as ours.

    size: how large the machine is to the other: latches, or states.
    ours, proof: of a check from the text on, and of its moving proof alone.
    """

    routes: int
    size: int
    ours: float
    proof: float
    other: float
    answered: bool
    megabytes: float

    @property
    def ratio(self) -> float:
        return self.other / self.ours

    @property
    def ratio_of_proofs(self) -> float:
        return self.other / self.proof


def small_terminus(roads: int) -> str:
    """A ladder of so many roads that end at buffer stops."""
    ladder = [f"P{i}" for i in range(1, roads)]
    lines = [
        'layout "Small Terminus" on two rails',
        f"points {', '.join(ladder)}",
        "run edge WEST - A - >H - P1.toe",
    ]
    for n, points in enumerate(ladder, 1):
        lines.append(f"run {points}.straight - <S{n} - T{n} - stop")
        beyond = f"P{n + 1}.toe" if n + 1 < roads else f"<S{roads} - T{roads} - stop"
        lines.append(f"run {points}.diverging - {beyond}")
    return "\n".join(lines) + "\n"


def _example(name: str) -> str:
    return (EXAMPLES / f"{name}.crank").read_text(encoding="utf-8")


def _corpus(name: str) -> str:
    return (TESTS / "corpus" / f"{name}.crank").read_text(encoding="utf-8")


FOR_PDR: dict[str, Callable[[], str]] = {
    "station of two tracks": lambda: chain(1, 2),
    "harbour terminus": lambda: _example("harbour-terminus"),
    "terminus with ladders": lambda: _corpus("terminus-ladder/railway"),
    "four-track station": lambda: _example("four-track-station"),
    "terminus of 35 routes": lambda: TERMINUS,
    "through station of 48 routes": lambda: chain(1, 12),
}

FOR_SPIN: dict[str, Callable[[], str]] = {
    "station of two tracks": lambda: chain(1, 2),
    "terminus of four roads": lambda: small_terminus(4),
}
"""The last is the largest that spin finishes in that memory and ten minutes."""


def ours(text: str, folder: Path) -> tuple[float, float]:
    """CPU seconds of a check, and of its moving proof alone, each in a process of its own."""
    file = folder / "layout.crank"
    file.write_text(text, encoding="utf-8")
    used = used_by([sys.executable, "-m", "bellcrank", "check", "--afresh", str(file)])
    assert used.code == 0, used.said
    return used.cpu, apart(__file__, PROOF_OF, str(file))["cpu"]


def tell_proof(file: Path) -> None:
    """Print the CPU seconds of the moving proof of a layout's machine."""
    machine = compiled(file.read_text(encoding="utf-8")).machine
    begun = time.process_time()
    outcome = prove_moving(machine).outcome
    spent = time.process_time() - begun
    assert outcome == "proved", outcome
    print(json.dumps({"cpu": spent}))


def beside_pdr(text: str, seconds: int) -> Beside:
    """Both on a layout of which everything is proved."""
    c = compiled(text)
    written = circuit(c.machine, ENCODING)
    with tempfile.TemporaryDirectory() as folder:
        own, proof = ours(text, Path(folder))
        run = pdr(written, Path(folder), seconds)
    assert run.verdict != "violated", run
    answered = run.verdict == "holds"
    latches = len(written.following)
    return Beside(len(c.table.routes), latches, own, proof, run.cpu, answered, run.megabytes)


def beside_spin(text: str, seconds: int) -> Beside:
    """Both on a layout of which everything is proved."""
    c = compiled(text)
    with tempfile.TemporaryDirectory() as folder:
        own, proof = ours(text, Path(folder))
        run = spin_measure(text, Path(folder), seconds=seconds, megabytes=MEGABYTES)
    assert not run.violated, run
    answered = run.unfinished is None
    return Beside(len(c.table.routes), run.states, own, proof, run.cpu, answered, run.megabytes)


def _row(name: str, size: str, found: Beside) -> str:
    least = "" if found.answered else "no answer in "
    more = "" if found.answered else "over "
    return (
        f"| {name} | {found.routes} | {found.size:,} {size} | {least}{found.other:,.1f} "
        f"| {found.megabytes:,.0f} | {found.ours:.2f} | {more}{found.ratio:,.0f} "
        f"| {found.proof:.2f} | {more}{found.ratio_of_proofs:,.0f} |"
    )


def rows(seconds: int, names: list[str]) -> Iterator[str]:
    """A table in Markdown for each of the two."""
    for tool, layouts, size, beside, missing in (
        ("PDR", FOR_PDR, "latches", beside_pdr, [] if ABC else ["berkeley-abc"]),
        ("spin", FOR_SPIN, "states", beside_spin, missing_tools()),
    ):
        chosen = {n: text for n, text in layouts.items() if not names or n in names}
        if missing:
            yield f"{tool}: not installed: {', '.join(missing)}"
        elif chosen:
            yield (
                f"| layout | routes | size | {tool}, s | its MB "
                "| from the text, s | ratio | proof alone, s | ratio |"
            )
            yield "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
            for name, text in chosen.items():
                yield _row(name, size, beside(text(), seconds))
        yield ""


def main() -> None:
    options = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    options.add_argument("names", nargs="*", choices=[[], *FOR_PDR, *FOR_SPIN], metavar="LAYOUT")
    options.add_argument("--seconds", type=int, default=600)
    options.add_argument(PROOF_OF, type=Path, help=argparse.SUPPRESS)
    chosen = options.parse_args()
    if chosen.proof_of is not None:
        tell_proof(chosen.proof_of)
        return
    for row in rows(chosen.seconds, chosen.names):
        print(row, flush=True)


if __name__ == "__main__":
    main()
