"""Obligations as files: for any SMT-LIB 2.6 solver, and for people."""

from __future__ import annotations

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving.obligation_words import in_words, shape_in_words
from bellcrank.proof.moving.shapes import smt_text
from bellcrank.proof.standing.obligations import SENTENCES
from bellcrank.proof.standing.smt_script import write_script
from bellcrank.proof.verdict import MovingVerdict, Verdict
from bellcrank.routes.route_model import RouteTable

IN_WORDS = "moving-in-words.txt"


def obligation_files(
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    machine: Machine,
    standing: Verdict,
    moving: MovingVerdict,
) -> dict[str, bytes]:
    """The files by name: one for each property of the standing check and one for each route
    that can never be set, which the others take as not set; one for each different obligation
    of the moving proof, and one that tells those in words. What is proved is answered `unsat`.
    """
    files = {}
    script = write_script(layout, table, locking)
    for name, sentence in SENTENCES.items():
        text = f"; routes as they stand: {sentence}\n" + script.obligation(
            [script.violations[name], *script.unset(standing.never_set)]
        )
        files[f"standing-{name}.smt2"] = text.encode("ascii")
    for number, route in enumerate(standing.never_set, start=1):
        said = f"routes as they stand: {route} can never be set"
        comment = f"; {said}\n".encode("ascii", "backslashreplace").decode("ascii")
        text = comment + script.obligation([script.asked, script.routes[route]])
        files[f"standing-never-set-{number}.smt2"] = text.encode("ascii")
    width = len(str(len(moving.questions)))
    told = []
    for number, question in enumerate(moving.questions, start=1):
        file = f"moving-{number:0{width}}.smt2"
        words = in_words(question.example, machine.variables)
        told.append(
            f"{file}, answered: {question.answer}\n\n{words}\n\n{shape_in_words(question.shape)}\n"
        )
        comment = "".join(f"; {line}\n" for line in words.splitlines())
        comment = comment.encode("ascii", "backslashreplace").decode("ascii")
        text = f"{comment}; answered: {question.answer}\n" + smt_text(question.shape)
        files[file] = text.encode("ascii")
    files[IN_WORDS] = f"\n{'-' * 72}\n\n".join(told).encode()
    return files
