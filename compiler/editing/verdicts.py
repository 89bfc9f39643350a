"""What is known of the proof of each layout that is open, as an editor has it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from lsprotocol import types as lsp

from bellcrank.diagnostics import Span, printable
from bellcrank.editing.analysis import Analysis, Place
from bellcrank.editing.proof_messages import Finding, Mending, Verdict
from bellcrank.editing.told import SOURCE, Locate

_SEVERITIES = {
    "error": lsp.DiagnosticSeverity.Error,
    "warning": lsp.DiagnosticSeverity.Warning,
    "information": lsp.DiagnosticSeverity.Information,
}


@dataclass(slots=True)
class Verdicts:
    """Keeps the last verdict on each layout, and the rules that it lacks."""

    _verdicts: dict[Place, Verdict] = field(default_factory=dict)
    _mendings: dict[Place, Mending] = field(default_factory=dict)

    def take(self, analysis: Analysis, said: Verdict | Mending) -> bool:
        """Keep what was said of a layout, if it is of its source as it stands."""
        if said.source_hash != analysis.source_hash:
            return False
        if isinstance(said, Verdict):
            self._verdicts[analysis.root] = said
        else:
            self._mendings[analysis.root] = said
        return True

    def forget(self, root: Place) -> None:
        self._verdicts.pop(root, None)
        self._mendings.pop(root, None)

    def of(self, analysis: Analysis) -> Verdict | None:
        """The verdict on a layout as it stands, if there is one by now."""
        said = self._verdicts.get(analysis.root)
        return said if said and said.source_hash == analysis.source_hash else None

    def mending_of(self, analysis: Analysis) -> Mending | None:
        """The rules that a layout lacks as it stands, if they are known and there are any."""
        said = self._mendings.get(analysis.root)
        return said if said and said.texts and said.source_hash == analysis.source_hash else None

    def diagnostics(
        self, analysis: Analysis, locate: Locate
    ) -> Iterator[tuple[Span, lsp.Diagnostic]]:
        """What the proof says of a layout, and where."""
        said = self.of(analysis)
        root = "" if isinstance(analysis.root, str) else analysis.root.name
        for finding in said.findings if said else ():
            elsewhere = bool(root) and finding.at.file != root
            remark = f"\nin the layout {root}" if elsewhere else ""
            yield finding.at, _for_editor(finding, remark, locate)


def _for_editor(finding: Finding, remark: str, locate: Locate) -> lsp.Diagnostic:
    return lsp.Diagnostic(
        locate(finding.at).range,
        "\n".join(map(printable, f"{finding.sentence}{remark}".split("\n"))),
        severity=_SEVERITIES[finding.gravity],
        code=finding.outcome,
        source=SOURCE,
        related_information=[
            lsp.DiagnosticRelatedInformation(locate(step.at), printable(step.sentence))
            for step in finding.steps
        ]
        or None,
    )
