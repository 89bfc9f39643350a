"""Obligations as files that any SMT-LIB 2.6 solver reads."""

from __future__ import annotations

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking
from bellcrank.proof.moving.shapes import smt_text
from bellcrank.proof.standing.obligations import SENTENCES
from bellcrank.proof.standing.script import write_script
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import RouteTable


def obligation_files(
    layout: Layout, table: RouteTable, locking: Locking, moving: MovingVerdict
) -> dict[str, bytes]:
    """The files by name: one for each property of the standing check, one for each
    different obligation of the moving proof. What is proved is answered `unsat`."""
    files = {}
    script = write_script(layout, table, locking)
    for name, sentence in SENTENCES.items():
        text = f"; routes as they stand: {sentence}\n" + script.obligation(
            [script.violations[name]]
        )
        files[f"standing-{name}.smt2"] = text.encode("ascii")
    width = len(str(len(moving.questions)))
    for number, question in enumerate(moving.questions, start=1):
        example = question.example.encode("ascii", "backslashreplace").decode("ascii")
        text = f"; {example}\n; answered: {question.answer}\n" + smt_text(question.shape)
        files[f"moving-{number:0{width}}.smt2"] = text.encode("ascii")
    return files
